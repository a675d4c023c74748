"""The telemetry part of a vehicle file: packets, their fields, and bits of fields."""

import re
from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from decoders.layout import WireKind
from groundstation.config.filetable import Count, FileTable, Found, Number
from groundstation.config.quantities import is_unit, shown
from groundstation.config.spelling import did_you_mean
from groundstation.config.wire import ID_BITS, WIRE_TYPES, column_unit, raw_range
from groundstation.measurements import MAX_PYRO_CHANNEL, measurement, names

SHARED_MEANINGS = frozenset({"sequence", "vehicle_time"})
"""Meanings that fields of several packets may have; every other belongs to one field."""

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_PYRO_NUMBER = re.compile(r"pyro_([0-9]+)_")

_UNIT_TEXT = "unit of the value that scale and offset make of the raw number"
_SCALE_TEXT = "value = raw number * scale + offset"
_VALID_TEXT = "[least, greatest] in `unit`: what the sensor can tell, beyond which a value counts as unknown"
_MEANING_TEXT = "the standard measurement that the field carries"
_NAME_TEXT = "letters, digits, underscores and hyphens; the column's name"


class BitEntry(FileTable):
    """Some bits of a field: `at` counts from the least significant bit."""

    name: str = Field(description=_NAME_TEXT)
    at: Count = Field(ge=0, le=63, description="place of the lowest bit, counted from the least significant bit")
    width: Count = Field(default=1, ge=1, le=64, description="number of bits")
    scale: Number = Field(default=1.0, description=_SCALE_TEXT)
    offset: Number = Field(default=0.0, description=_SCALE_TEXT)
    unit: str = Field(default="1", description=_UNIT_TEXT)
    valid: tuple[Number, Number] | None = Field(default=None, description=_VALID_TEXT)
    meaning: str | None = Field(default=None, description=_MEANING_TEXT)
    text: str = Field(default="", description="what the bits say, for people")

    def faults(self) -> Iterator[Found]:
        """A name, unit, meaning or range that cannot be."""
        yield from _name_faults(self.name)
        yield from _value_faults(self, raw_range(WireKind.UNSIGNED, self.width))
        if self.meaning == "sequence":
            yield Found(("meaning",), 'found "sequence" on bits of a field, expected it on a field of its own')


class FieldEntry(FileTable):
    """One field of a packet; a field with `bits` is only what holds them, and no column of its own."""

    name: str = Field(description=_NAME_TEXT)
    type: str = Field(description="u8, u16, u24 … u64 unsigned; i8 … i64 signed; f32, f64; bool (one byte)")
    unit: str = Field(default="1", description=_UNIT_TEXT)
    scale: Number = Field(default=1.0, description=_SCALE_TEXT)
    offset: Number = Field(default=0.0, description=_SCALE_TEXT)
    valid: tuple[Number, Number] | None = Field(default=None, description=_VALID_TEXT)
    meaning: str | None = Field(default=None, description=_MEANING_TEXT)
    bits: tuple[BitEntry, ...] = Field(default=(), description="what single bits of an unsigned field say")
    text: str = Field(default="", description="what the field says, for people")

    def faults(self) -> Iterator[Found]:
        """A name, type, unit, meaning or range that cannot be, and bits that collide."""
        yield from _name_faults(self.name)
        if self.type not in WIRE_TYPES:
            expected = "expected u8 to u64, i8 to i64 in whole bytes, f32, f64 or bool"
            yield Found(("type",), f"found {shown(self.type)}, {expected}{_nearest_type(self.type)}")
            return
        kind, bits = WIRE_TYPES[self.type]
        if self.bits:
            yield from self._container_faults(kind, bits)
            return
        yield from _value_faults(self, raw_range(kind, bits))
        if kind is WireKind.BOOLEAN:
            yield from self._plain("on a bool, expected none: a bool is 0 or 1")
        if self.meaning == "sequence":
            if kind is not WireKind.UNSIGNED:
                yield Found(("type",), f'found {shown(self.type)} for the meaning "sequence", expected u8 to u64')
            yield from self._plain('on the meaning "sequence", expected none: it counts packets')

    def _plain(self, text: str) -> Iterator[Found]:
        for key in ("unit", "scale", "offset"):
            value = getattr(self, key)
            if value != type(self).model_fields[key].default:
                yield Found((key,), f"found {shown(value)} {text}")

    def _container_faults(self, kind: WireKind, bits: int) -> Iterator[Found]:
        if kind is not WireKind.UNSIGNED:
            yield Found(("type",), f"found {shown(self.type)} on a field with bits, expected u8 to u64")
        for key in ("unit", "scale", "offset", "valid", "meaning"):
            value = getattr(self, key)
            if value != type(self).model_fields[key].default:
                yield Found((key,), f"found {shown(value)} on a field with bits, expected it on one of the bits")
        taken: dict[int, str] = {}
        for place, part in enumerate(self.bits):
            last = part.at + part.width - 1
            if last >= bits:
                span = f"bit {last}" if part.width == 1 else f"bits {part.at} to {last}"
                yield Found(("bits", place), f"found {span}, expected bits from 0 to {bits - 1} of the {self.type}")
            for bit in range(part.at, last + 1):
                if bit in taken:
                    text = f"found bit {bit}, which belongs to {shown(taken[bit])}, expected a bit of its own"
                    yield Found(("bits", place), text)
                    break
                taken[bit] = part.name


class PacketEntry(FileTable):
    """One kind of packet: the fields follow the discriminator in the order given, without gaps."""

    name: str = Field(description="letters, digits, underscores and hyphens")
    id: Count = Field(ge=0, description="the discriminator's value in these packets")
    rate_hz: Number = Field(gt=0, description="packets a second the vehicle sends")
    fields: tuple[FieldEntry, ...] = Field(min_length=1, description="in the order in which they are sent")

    def faults(self) -> Iterator[Found]:
        """A name that cannot be."""
        yield from _name_faults(self.name)


class Telemetry(FileTable):
    """The stream: each frame is a discriminator and the fields of one packet, then the checksum over both."""

    framing: Literal["cobs"] = Field(description="consistent overhead byte stuffing, a zero byte between frames")
    checksum: Literal["CRC-16/IBM-3740"] = Field(description="polynomial 0x1021, start 0xFFFF, sent last")
    checksum_order: Literal["little", "big"] = Field(default="little", description="which byte is sent first")
    byte_order: Literal["little", "big"] = Field(description="which byte of a number is sent first")
    id_type: Literal["none", "u8", "u16", "u32"] = Field(default="u8", description="type of the discriminator")
    sequence_counts: Literal["packets of its kind", "all packets"] = Field(
        default="all packets", description="what the packet counter counts"
    )
    packets: tuple[PacketEntry, ...] = Field(alias="packet", min_length=1, description="each kind of packet")

    def faults(self) -> Iterator[Found]:
        """Packets that cannot be told apart, and counters that cannot be one."""
        bits = ID_BITS[self.id_type]
        if bits == 0 and len(self.packets) > 1:
            text = f'found "none" with {len(self.packets)} packets, expected "u8", "u16" or "u32" to tell them apart'
            yield Found(("id_type",), text)
        for place, packet in enumerate(self.packets):
            if bits and packet.id >= 2**bits:
                text = f"found {packet.id}, expected 0 to {2**bits - 1}, which is what a {self.id_type} can hold"
                yield Found(("packet", place, "id"), text)
        if self.sequence_counts == "all packets":
            yield from self._counter_faults()

    def _counter_faults(self) -> Iterator[Found]:
        first: FieldEntry | None = None
        for p, packet in enumerate(self.packets):
            for f, item in enumerate(packet.fields):
                if item.meaning != "sequence":
                    continue
                if first is not None and item.type != first.type:
                    text = (
                        f"found {shown(item.type)} for the counter of all packets, expected {shown(first.type)} "
                        "as in the first packet that has it"
                    )
                    yield Found(("packet", p, "fields", f, "type"), text)
                first = first or item


def _nearest_type(name: str) -> str:
    """The end of a message: the type of the same letter with the nearest width, or else the nearest word."""
    if match := re.fullmatch(r"([uif])([0-9]{1,3})", name):
        widths = [int(known[1:]) for known in WIRE_TYPES if known[0] == match[1] and known != "bool"]
        return f'; did you mean "{match[1]}{min(widths, key=lambda width: abs(width - int(match[2])))}"?'
    return did_you_mean(name, WIRE_TYPES)


def _name_faults(name: str) -> Iterator[Found]:
    if not _NAME.fullmatch(name):
        yield Found(
            ("name",), f"found {shown(name)}, expected a letter, then letters, digits, underscores and hyphens"
        )


def _value_faults(entry: FieldEntry | BitEntry, raw: tuple[float, float]) -> Iterator[Found]:
    """What a field or bits have wrong in scale, meaning, unit and valid range."""
    if entry.scale == 0:
        yield Found(("scale",), "found 0, expected any other number: every value would be the same")
    if entry.meaning is not None and measurement(entry.meaning) is None:
        yield Found(("meaning",), _meaning_text(entry.meaning))
    yield from _unit_faults(entry)
    if entry.valid is None:
        return
    least, greatest = entry.valid
    if not least < greatest:
        yield Found(("valid",), f"found {shown(entry.valid)}, expected the least value first, then the greatest")
        return
    ends = sorted(r * entry.scale + entry.offset for r in raw)
    if ends[1] < least or ends[0] > greatest:
        unit = "" if entry.unit == "1" else f" {entry.unit}"
        text = (
            f"found {shown(entry.valid)}, expected a range that the field can reach: "
            f"it goes from {ends[0]:.10g} to {ends[1]:.10g}{unit}"
        )
        yield Found(("valid",), text)


def _unit_faults(entry: FieldEntry | BitEntry) -> Iterator[Found]:
    if not is_unit(entry.unit):
        yield Found(("unit",), f'found {shown(entry.unit)}, which is not known, expected a unit such as "mV"')
        return
    try:
        column_unit(entry.unit, entry.meaning)
    except ValueError:
        known = measurement(entry.meaning or "")
        assert known is not None
        found = "no unit" if "unit" not in entry.model_fields_set else shown(entry.unit)
        wanted = "no unit" if known.unit == "1" else f"a unit that converts to {known.unit}"
        yield Found(("unit",), f'found {found}, expected {wanted} for the meaning "{entry.meaning}"')


def _meaning_text(meaning: str) -> str:
    known = names()
    match = _PYRO_NUMBER.match(meaning)
    if match is not None:
        if not 1 <= int(match[1]) <= MAX_PYRO_CHANNEL:
            return f"found {shown(meaning)}, expected a channel from 1 to {MAX_PYRO_CHANNEL}"
        known = [name.replace("_N_", f"_{int(match[1])}_") for name in known]
    return f"found {shown(meaning)}, expected the name of a standard measurement{did_you_mean(meaning, known)}"
