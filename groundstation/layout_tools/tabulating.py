"""A layout as a table: for each packet where every field stands, its unit, its ranges and its resolution."""

from collections.abc import Iterator

from decoders.checksums import checksum_of
from decoders.fields import raw_limits
from decoders.layout import Packet, WireKind
from groundstation.layout_tools.checking import reachable, resolution
from groundstation.layout_tools.described import Description, Item

_HEAD = ("byte", "bits", "field", "type", "unit", "raw", "values", "resolution", "meaning")


def table_lines(description: Description) -> Iterator[str]:
    """Every packet of a layout, a line a field."""
    layout = description.layout
    check = checksum_of(layout)
    yield (
        f"{description.name}: {layout.framing}, {check.name} ({check.size} bytes, {layout.checksum_order}-endian), "
        f"numbers {layout.byte_order}-endian, fingerprint 0x{description.fingerprint:08X}"
    )
    for packet in layout.packets:
        yield ""
        rate = description.rates_hz.get(packet.name)
        often = "" if rate is None else f", {rate:g} Hz"
        ident = f"id {packet.id}, " if layout.id_bits else ""
        yield f"packet {packet.name}: {ident}{packet.length} bytes{often}"
        yield from _aligned([_HEAD, *_rows(description, packet)])


def _rows(description: Description, packet: Packet) -> Iterator[tuple[str, ...]]:
    if description.layout.id_bits:
        place = f"{description.layout.id_first_bit // 8}"
        yield (place, str(description.layout.id_bits), "id", "unsigned", "", str(packet.id), "", "", "discriminator")
    for item in description.of(packet):
        field = item.field
        bits = str(field.bits) if field.count == 1 else f"{field.count} × {field.bits}"
        byte, first = divmod(field.first_bit, 8)
        place = str(byte) if not first else f"{byte}.{first}"
        if field.is_bit_field:
            place = f"{byte} bit {field.shift}"
        unit = "" if item.unit == "1" else item.unit
        yield (
            place,
            bits,
            field.name,
            field.kind.value,
            unit,
            _raw(item),
            _values(item),
            _step(item),
            item.meaning or "",
        )


def _raw(item: Item) -> str:
    field = item.field
    if field.kind in (WireKind.FLOAT, WireKind.TEXT, WireKind.QUATERNION):
        return ""
    least, greatest = (0, 1) if field.kind is WireKind.BOOLEAN else raw_limits(field)
    return f"{_number(least)} … {_number(greatest)}"


def _values(item: Item) -> str:
    """The valid range, or what the raw number reaches."""
    if item.has_range:
        return f"{_number(item.shown(item.least))} … {_number(item.shown(item.greatest))}"
    ends = reachable(item)
    if ends is None or item.field.kind is WireKind.BOOLEAN:
        return ""
    return f"({_number(item.shown(ends[0]))} … {_number(item.shown(ends[1]))})"


def _step(item: Item) -> str:
    step = resolution(item)
    return "" if step is None else f"{step:.6g}"


def _number(value: float) -> str:
    text = f"{value:.10g}" if abs(value) < 1e10 else f"{value:.3g}"
    return text.replace("-", "−", 1) if text.startswith("-") else text


def _aligned(rows: list[tuple[str, ...]]) -> Iterator[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    for row in rows:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
