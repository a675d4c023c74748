"""A description as the telemetry part of a vehicle file, in TOML, for layouts that come from elsewhere."""

import json
import tomllib
from collections.abc import Iterator

from pydantic import ValidationError

from decoders.calibration import DegreesMinutes, Points, Polynomial
from decoders.layout import BitOrder, ChecksumPlace, Field, Layout, LineMark, Packet, WireKind
from groundstation.config.packets import Telemetry
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.known_parts import PLAIN_KINDS, Target, refuse_unknown

_TARGET = Target(
    "a vehicle file",
    kinds=PLAIN_KINDS | {WireKind.TEXT, WireKind.QUATERNION},
    field=frozenset({"bit_order", "curve", "labels", "count"}),
    packet=frozenset({"filler"}),
    layout=frozenset({"id_first_bit", "id_bit_order", "line_mark"}),
)
_PRIMARY_HEADER_BITS = 48  # CCSDS 133.0-B: the vehicle file leaves it to the framing
_LONGEST_PAD = 2048  # bits


def telemetry_toml(description: Description) -> str:
    """The [telemetry] table and its packets.

    Raises:
        LayoutToolError: A layout that a vehicle file cannot describe; the message says what of it.
    """
    layout = description.layout
    refuse_unknown(layout, _TARGET)
    bits_first = _bits_first(layout)
    lines = [
        "[telemetry]",
        f"framing = {_framing(layout)}",
        f"checksum = {_checksum(layout)}",
        f"checksum_order = {_text(layout.checksum_order.value)}",
        f"byte_order = {_text(layout.byte_order.value)}",
    ]
    if bits_first is not None:
        lines.append(f"bit_order = {_text(bits_first.value)}")
    if layout.framing != "ccsds":
        lines.append(f"id_type = {_text(_id_type(layout))}")
        byte, bit = divmod(layout.id_first_bit, 8)
        lines += [f"{key} = {value}" for key, value in (("id_at", byte), ("id_at_bit", bit)) if value]
    for packet in layout.packets:
        lines += ["", *_packet(description, packet)]
    text = "\n".join(lines) + "\n"
    _check(text)
    return text


def _id_type(layout: Layout) -> str:
    return f"u{layout.id_bits}" if layout.id_bits and layout.line_mark is LineMark.TAG else "none"


def _check(text: str) -> None:
    """What was written has to be what a vehicle file takes."""
    try:
        Telemetry.model_validate(tomllib.loads(text)["telemetry"])
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "telemetry"
        raise LayoutToolError(f"a vehicle file cannot describe this: {first['msg']}", where=where) from error


def _bits_first(layout: Layout) -> BitOrder | None:
    """The one bit order of the numbers that do not keep to whole bytes."""
    orders = {item.bit_order for packet in layout.packets for item in packet.fields if not _is_header(layout, item)}
    orders.discard(None)
    for packet in layout.packets:
        for item in packet.fields:
            if item.bit_order is not None and item.first_bit % 8 == 0 and item.bits % 8 == 0:
                raise LayoutToolError(
                    "is sent in another byte order than most numbers, which a vehicle file cannot say",
                    where=f"{packet.name}.{item.name}",
                )
    if len(orders) > 1:
        raise LayoutToolError("found both bit orders, of which a vehicle file has one", where="bit_order")
    return orders.pop() if orders else None


def _is_header(layout: Layout, item: Field) -> bool:
    """Whether a field is in the primary header of a space packet, which a vehicle file does not list."""
    return layout.framing == "ccsds" and item.first_bit < _PRIMARY_HEADER_BITS


def _framing(layout: Layout) -> str:
    parts = [f"kind = {_text(layout.framing)}"]
    if layout.sync is not None:
        parts.append(f"sync = {_text(layout.sync.word.hex(' ').upper())}")
        if (length := layout.sync.length) is not None:
            told = f'type = "u{length.bits}", at = {length.at}, counts = "after sync word", less = {length.adds}'
            parts.append(f"length = {{ {told}, byte_order = {_text(length.byte_order.value)} }}")
        parts.append(f"header = {layout.sync.header}")
    if layout.separator != ",":
        parts.append(f"separator = {_text(layout.separator)}")
    return _text(layout.framing) if len(parts) == 1 else f"{{ {', '.join(parts)} }}"


def _checksum(layout: Layout) -> str:
    parts = [f"kind = {_text(layout.checksum)}"]
    if (crc := layout.crc) is not None:
        parts = [
            'kind = "crc"',
            f"width = {crc.width}",
            f"polynomial = {crc.polynomial:#x}",
            f"init = {crc.init:#x}",
            f"reflect_in = {str(crc.reflect_in).lower()}",
            f"reflect_out = {str(crc.reflect_out).lower()}",
            f"xor_out = {crc.xor_out:#x}",
        ]
    if layout.checksum_place is not ChecksumPlace.END:
        parts.append(f"place = {_text(layout.checksum_place.value)}")
    covers, skip = "body", layout.checksum_from
    if skip < 0:
        header = layout.sync.header if layout.sync else 0
        word = len(layout.sync.word) if layout.sync else 4
        covers, before = ("header and body", header) if -skip <= header else ("frame", header + word)
        skip += before
        parts.append(f"covers = {_text(covers)}")
    if skip:
        parts.append(f"skip = {skip}")
    if layout.checksum_until:
        parts.append(f"leave = {layout.checksum_until}")
    return _text(layout.checksum) if len(parts) == 1 and crc is None else f"{{ {', '.join(parts)} }}"


def _packet(description: Description, packet: Packet) -> Iterator[str]:
    layout = description.layout
    yield "[[telemetry.packet]]"
    yield f"name = {_text(packet.name)}"
    if layout.id_bits:
        yield f"id = {packet.id}"
    if packet.tag:
        yield f"tag = {_text(packet.tag)}"
    rate = description.rates_hz.get(packet.name)
    yield f"rate_hz = {1.0 if rate is None else rate!r}" + ("" if rate is not None else "  # not known: put yours")
    yield "fields = ["
    at = _PRIMARY_HEADER_BITS if layout.framing == "ccsds" else 0
    for number, (first, end, group) in enumerate(_numbers(description, packet)):
        yield from _pads(layout, at, first, number)
        if len(group) == 1 and group[0].field.container_bits is None:
            yield f"  {{ {', '.join(_field(group[0]))} }},"
        else:
            yield f'  {{ name = "bits_{first // 8}", type = "u{end - first}", bits = ['
            yield from (f"      {{ {', '.join(_bits(item))} }}," for item in group)
            yield "    ] },"
        at = end
    yield from _pads(layout, at, 8 * packet.length, len(packet.fields))
    yield "]"


def _numbers(description: Description, packet: Packet) -> list[tuple[int, int, list[Item]]]:
    """Every number of a packet, first bit and end, with the fields that are it or are bits of it; by their place."""
    found: dict[tuple[int, int], list[Item]] = {}
    for item in description.of(packet):
        if not _is_header(description.layout, item.field):
            found.setdefault((item.field.first_bit, item.field.first_bit + item.field.span), []).append(item)
    return [(first, end, group) for (first, end), group in sorted(found.items(), key=lambda pair: pair[0])]


def _pads(layout: Layout, at: int, first: int, number: int) -> Iterator[str]:
    """Bits of nothing up to the next field; the discriminator stands in none of them."""
    id_at, id_end = layout.id_first_bit, layout.id_first_bit + layout.id_bits
    gaps = [(at, first)]
    if layout.id_bits and layout.framing != "ccsds" and at <= id_at and id_end <= first:
        gaps = [(at, id_at), (id_end, first)]
    for part, (start, end) in enumerate(gaps):
        while start < end:
            bits = min(end - start, _LONGEST_PAD)
            yield f'  {{ name = "pad_{number}_{part}_{start}", type = "pad{bits}" }},'
            start += bits


def _field(item: Item) -> Iterator[str]:
    field = item.field
    yield f"name = {_text(field.name)}"
    yield f"type = {_text(_type(field))}"
    if field.count > 1:
        yield f"count = {field.count}"
    yield from _value(item, field.curve is None)
    match field.curve:
        case Polynomial():
            yield f"polynomial = [{', '.join(repr(c) for c in field.curve.coefficients)}]"
        case Points():
            points = zip(field.curve.raw, field.curve.value, strict=True)
            yield f"table = [{', '.join(f'[{raw!r}, {value!r}]' for raw, value in points)}]"
        case DegreesMinutes():
            yield f'scale = {1.0 / field.curve.per_minute!r}, form = "degrees and minutes"'
            if field.curve.letter:
                yield f"letter = {_text(field.curve.letter)}"
    if field.labels:
        yield f"labels = {_labels(field)}"
    yield from _words(item)


def _bits(item: Item) -> Iterator[str]:
    field = item.field
    if field.kind not in (WireKind.UNSIGNED, WireKind.BOOLEAN):
        raise LayoutToolError(f"{field.kind.value} bits of a number cannot stand in a vehicle file", where=item.where)
    yield f"name = {_text(field.name)}"
    yield f"at = {field.shift}"
    yield f"width = {field.bits}"
    yield from _value(item, True)
    if field.labels:
        yield f"labels = {_labels(field)}"
    yield from _words(item)


def _type(field: Field) -> str:
    match field.kind:
        case WireKind.FLOAT:
            return f"f{field.bits}"
        case WireKind.BOOLEAN if field.bits == 8:
            return "bool"
        case WireKind.SIGNED:
            return f"i{field.bits}"
        case WireKind.TEXT:
            return f"text{field.bits // 8}"
        case WireKind.QUATERNION:
            return f"quaternion{(field.bits - 2) // 3}"
        case _:
            return f"u{field.bits}"


def _value(item: Item, is_scaled: bool) -> Iterator[str]:
    if item.unit != "1":
        yield f"unit = {_text(item.unit)}"
    if is_scaled and item.file_scale != 1.0:
        yield f"scale = {item.file_scale!r}"
    if is_scaled and item.file_bias != 0.0:
        yield f"offset = {item.file_bias!r}"
    if item.file_valid is not None:
        yield f"valid = [{item.file_valid[0]!r}, {item.file_valid[1]!r}]"


def _words(item: Item) -> Iterator[str]:
    if item.meaning:
        yield f"meaning = {_text(item.meaning)}"
    if item.text:
        yield f"text = {_text(item.text)}"


def _labels(field: Field) -> str:
    return "[" + ", ".join(f"[{raw}, {_text(label)}]" for raw, label in field.labels) + "]"


def _text(text: str) -> str:
    """A basic string of TOML, which escapes as JSON does; DEL is escaped too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
