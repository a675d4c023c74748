"""What is wrong or risky in a description, beyond what loading it refuses; each remark with what to change.

Thresholds are common practice without a source, except where a remark's text is arithmetic.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from decoders.checksums import checksum_of
from decoders.errors import DecodersError
from decoders.fields import raw_limits, value_of
from decoders.layout import Layout, LineMark, Packet, WireKind
from decoders.line_beside import is_beside
from decoders.stream import StreamDecoder
from groundstation.layout_tools.c_words import identifier
from groundstation.layout_tools.described import Description, Item

_SHORT_WRAP_S = 60.0  # an outage longer than a counter's round leaves unknown how many packets were lost
_SHORT_CLOCK_S = 600.0
_FEW_STEPS = 32  # within a valid range
_BEYOND = 0.02  # of a valid range: so far it may reach beyond the raw number, such as for a quaternion's parts
_LONG_FRAME = 16  # bytes that a checksum of 8 bits can be trusted with
_ROUGH_POSITION_M = 1.0
_EARTH_RADIUS_M = 6378137.0  # WGS 84 semi-major axis, NGA.STND.0036_1.0.0


class Weight(StrEnum):
    """How bad a remark is."""

    FAULT = "fault"  # packets or values will be wrong
    RISK = "risk"  # works, until it does not
    HINT = "hint"  # could be better


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing about a description: where, what was found, and what to change."""

    weight: Weight
    where: str
    text: str
    fix: str

    def __str__(self) -> str:
        return f"{self.weight.value}: {self.where}: {self.text}; {self.fix}"


def remarks(description: Description) -> tuple[Remark, ...]:
    """Every remark, the worst first, in the order of the description."""
    found = [*_decodable(description.layout), *_stream(description)]
    for packet in description.layout.packets:
        found += _packet(description, packet)
    order = list(Weight)
    return tuple(sorted(found, key=lambda remark: order.index(remark.weight)))


def _decodable(layout: Layout) -> Iterator[Remark]:
    try:
        StreamDecoder(layout)
    except DecodersError as error:
        yield Remark(Weight.FAULT, "telemetry", str(error), "nothing decodes until this is changed")


def _stream(description: Description) -> Iterator[Remark]:
    layout = description.layout
    try:
        size = checksum_of(layout).size
    except DecodersError:
        return
    longest = max(packet.length for packet in layout.packets)
    if size == 0:
        yield Remark(
            Weight.RISK,
            "telemetry.checksum",
            "there is none: damaged packets pass as sound ones",
            'have the firmware send one, such as "CRC-16/IBM-3740"',
        )
    elif size == 1 and longest > _LONG_FRAME:
        yield Remark(
            Weight.RISK,
            "telemetry.checksum",
            f"8 bits over {longest} bytes: of the damaged frames 1 in 256 passes as sound",
            'use one of 16 bits, such as "CRC-16/IBM-3740"',
        )
    yield from _sync(layout, size, longest)
    if size == 0 and layout.line_mark is LineMark.COUNT:
        yield Remark(
            Weight.RISK,
            "telemetry.id_type",
            "the number of values tells packets apart: a line that has lost some passes as another packet",
            "have the firmware send a tag in front of each line, or a checksum behind it",
        )
    if is_beside(layout) and layout.envelope.line.startswith("{"):
        yield Remark(
            Weight.HINT,
            "telemetry.receiver",
            "its line begins with a number: behind a damaged packet it is not known where that begins",
            'have the receiver print a word in front, such as "RSSI"',
        )
    meanings = {item.meaning for item in description.items.values()}
    if description.items and "sequence" not in meanings:
        yield Remark(
            Weight.HINT,
            "telemetry",
            "no field counts packets: lost packets cannot be counted",
            'add a u16 with meaning = "sequence"',
        )
    if description.items and "vehicle_time" not in meanings:
        yield Remark(
            Weight.HINT,
            "telemetry",
            "no field has the vehicle's clock: times are those of arrival, and dumps cannot be imported",
            'add a u32 in ms with meaning = "vehicle_time"',
        )


def _sync(layout: Layout, checksum_size: int, longest: int) -> Iterator[Remark]:
    if layout.sync is None:
        return
    if len(layout.sync.word) == 1:
        yield Remark(
            Weight.RISK,
            "telemetry.sync",
            "the sync word is one byte: it stands in every 256th byte of any data",
            "use two to four bytes",
        )
    length = layout.sync.length
    if length is not None:
        most = layout.sync.header + checksum_size + longest - length.adds
        if most >= 1 << length.bits or most < 0:
            yield Remark(
                Weight.FAULT,
                "telemetry.sync",
                f"the longest packet needs the length {most}, which {length.bits} bits cannot hold",
                "use a wider length, or correct what it counts",
            )


def _packet(description: Description, packet: Packet) -> Iterator[Remark]:
    names: dict[str, str] = {}
    for item in description.of(packet):
        name = identifier(item.field.name)
        if name in names:
            yield Remark(
                Weight.RISK,
                item.where,
                f"is called the same as {names[name]!r} in C ({name})",
                "give it a name that differs in letters or digits",
            )
        names[name] = item.field.name
        yield from _range(item)
        yield from _counter(description, packet, item)
        yield from _position(item)


def _range(item: Item) -> Iterator[Remark]:
    field = item.field
    if not item.has_range or field.kind in (WireKind.TEXT, WireKind.QUATERNION):
        return
    ends = reachable(item)
    if ends is None:
        return
    least, greatest = ends
    unit = "" if item.unit == "1" else f" {item.unit}"
    step = resolution(item)
    slack = abs(step or 0.0) * item.unit_scale + _BEYOND * (item.greatest - item.least)
    below, above = least - item.least > slack, item.greatest - greatest > slack
    if below and field.kind is WireKind.UNSIGNED and item.shown(item.least) < 0 and abs(item.shown(least)) < 1e-9:
        yield Remark(
            Weight.RISK,
            item.where,
            f"is valid from {item.shown(item.least):.6g}{unit} on, but unsigned: it never goes below 0",
            f'type = "i{field.bits}" if the firmware sends it signed, else valid from 0 on',
        )
    elif below or above:
        end, limit = (item.least, least) if below else (item.greatest, greatest)
        yield Remark(
            Weight.HINT,
            item.where,
            f"is valid to {item.shown(end):.6g}{unit}, but its raw number ends at {item.shown(limit):.6g}{unit}",
            "narrow the valid range, or widen the field or its scale",
        )
    if step is not None and not (step == 1 and item.unit == "1"):  # a number that counts or enumerates has few
        steps = (item.shown(min(item.greatest, greatest)) - item.shown(max(item.least, least))) / step
        if steps < _FEW_STEPS:
            yield Remark(
                Weight.RISK,
                item.where,
                f"has only {math.floor(steps) + 1} steps of {step:.6g}{unit} within its valid range",
                "check the scale, or make it finer",
            )


def _counter(description: Description, packet: Packet, item: Item) -> Iterator[Remark]:
    rate_hz = sum(description.rates_hz.values())
    if item.meaning == "sequence" and rate_hz > 0:
        wrap_s = 2.0**item.field.bits / rate_hz
        if wrap_s < _SHORT_WRAP_S:
            yield Remark(
                Weight.RISK,
                item.where,
                f"{item.field.bits} bits at {rate_hz:g} packets a second start over every {wrap_s:.1f} s: after a "
                "longer outage nobody knows how many were lost",
                f'type = "u{2 * item.field.bits}"',
            )
    if item.meaning == "vehicle_time" and item.field.kind is not WireKind.FLOAT:
        wrap_s = 2.0**item.field.bits * abs(item.field.scale)
        if wrap_s < _SHORT_CLOCK_S:
            yield Remark(
                Weight.RISK,
                item.where,
                f"starts over every {wrap_s:.1f} s: after a longer outage the vehicle's time is unknown",
                f'type = "u{2 * item.field.bits}"',
            )
        rate = description.rates_hz.get(packet.name, 0.0)
        if rate and abs(item.field.scale) > 1.0 / rate:
            yield Remark(
                Weight.RISK,
                item.where,
                f"steps by {abs(item.field.scale):g} s, and {rate:g} packets come a second: several carry one time",
                "send milliseconds",
            )


def _position(item: Item) -> Iterator[Remark]:
    if item.meaning not in ("gnss_latitude", "gnss_longitude") or item.field.bits != 32:
        return
    if item.field.kind is WireKind.FLOAT:
        most = math.pi / 2 if item.meaning == "gnss_latitude" else math.pi
        rough_m = most * 2.0**-24 * 2.0 * _EARTH_RADIUS_M
        if rough_m > _ROUGH_POSITION_M:
            yield Remark(
                Weight.RISK,
                item.where,
                f"is a float of 32 bits: it steps by up to {rough_m:.1f} m on the ground",
                'send a whole number: type = "i32", scale = 1e-7, unit = "deg"',
            )


def reachable(item: Item) -> tuple[float, float] | None:
    """The least and the greatest value that the raw number reaches, in the column's unit; None for floats, texts."""
    field = item.field
    if field.kind in (WireKind.FLOAT, WireKind.TEXT, WireKind.QUATERNION) or field.curve is not None:
        return None
    least, greatest = (0, 1) if field.kind is WireKind.BOOLEAN else raw_limits(field)
    ends = sorted((float(value_of(field, least)), float(value_of(field, greatest))))
    return ends[0], ends[1]


def resolution(item: Item) -> float | None:
    """What one step of the raw number is worth, in the file's unit; None for floats, texts and curves."""
    field = item.field
    if (
        field.kind in (WireKind.FLOAT, WireKind.TEXT, WireKind.QUATERNION, WireKind.BOOLEAN)
        or field.curve is not None
    ):
        return None
    return abs(field.scale / item.unit_scale)
