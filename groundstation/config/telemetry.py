"""From the telemetry part of a vehicle file to a layout the decoders read, and to the sources of each measurement.

Decoded columns are in the unit of their measurement: the file's scale and offset (value = raw * scale + offset, in
the field's `unit`) and the unit's own conversion become one scale and one bias. A field without a meaning keeps the
unit the file gives it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from decoders.layout import Address, BitOrder, ByteOrder, Envelope, Field, Layout, LineMark, Packet, WireKind
from groundstation.config.fields import BitEntry, FieldEntry
from groundstation.config.packets import PacketEntry, Telemetry
from groundstation.config.placing import Discriminator, Placed, bit_order_at, placed
from groundstation.config.vehicle import Vehicle
from groundstation.config.wire import column_unit
from groundstation.labels import NO_LABELS, Labels
from groundstation.measurements import CALLSIGN
from groundstation.timeline import Source

HEADER_COUNT = "ccsds_count"
"""Column of the packet counter in a space packet's primary header."""

# 133.0-B, 4.1.3: version 0, telemetry, no secondary header; unsegmented; the rest is written by others
_PRIMARY_HEADER = bytes([0, 0, 0xC0, 0, 0, 0])


@dataclass(frozen=True, slots=True)
class Column:
    """One decoded column of numbers: its name, its meaning, and the valid range in the column's unit.

    `field` is the field of the layout that it comes from, one element of it where that is an array; `entry` is what
    the file says of it, None for the counter of a space packet's header.
    """

    packet: str
    name: str
    field: Field
    meaning: str | None
    least: float
    greatest: float
    entry: FieldEntry | BitEntry | None

    @property
    def source(self) -> Source:
        """Where a timeline finds it."""
        return Source(self.packet, self.name, self.field.unit, self.least, self.greatest, self.labels)

    @property
    def labels(self) -> Labels:
        """What the file calls its values; none where a curve or table bends what the raw numbers mean."""
        field = self.field
        return Labels(field.labels, field.scale, field.bias) if field.labels and field.curve is None else NO_LABELS


def layout_of(vehicle: Vehicle) -> Layout:
    """The layout that decoding follows; bit fields stand in it, the numbers they are bits of do not."""
    telemetry = vehicle.telemetry
    checksum, framing = telemetry.checksum, telemetry.framing
    discriminator = telemetry.discriminator
    envelope = _envelope(telemetry)
    return Layout(
        framing=framing.kind,
        checksum=checksum.kind,
        byte_order=ByteOrder(telemetry.byte_order),
        packets=tuple(_packet(telemetry, place, entry) for place, entry in enumerate(telemetry.packets)),
        id_bits=discriminator.bits,
        checksum_order=ByteOrder(checksum.order or telemetry.checksum_order),
        checksum_place=checksum.checksum_place,
        checksum_from=checksum.first_byte(framing, 0 if envelope.line else envelope.before),
        checksum_until=checksum.leave,
        crc=checksum.crc,
        sync=framing.sync_of(checksum.size),
        separator=framing.separator,
        id_first_bit=discriminator.first_bit,
        id_bit_order=bit_order_at(discriminator.first_bit, discriminator.bits, _id_bit_order(telemetry)),
        address=_address(telemetry),
        envelope=envelope,
        line_mark=LineMark.COUNT if telemetry.is_told_by_count else LineMark.TAG,
    )


def sources_of(vehicle: Vehicle) -> dict[str, Source]:
    """Every series there is: the standard measurements, then each `packet.field`, all in the order of the file.

    A measurement that several packets carry is read from the first of them.
    """
    every = list(columns(vehicle))
    standard: dict[str, Source] = {}
    for column in every:
        if column.meaning is not None:
            standard.setdefault(column.meaning, column.source)
    return standard | {f"{column.packet}.{column.name}": column.source for column in every}


def columns_of(vehicle: Vehicle) -> dict[str, tuple[str, ...]]:
    """The names of the columns of numbers that each packet decodes to, by the packet's name."""
    names: dict[str, tuple[str, ...]] = {entry.name: () for entry in vehicle.telemetry.packets}
    for column in columns(vehicle):
        names[column.packet] += (column.name,)
    return names


def texts_of(vehicle: Vehicle) -> dict[str, tuple[str, ...]]:
    """The names of the columns of text that each packet decodes to, by the packet's name."""
    return {
        packet.name: tuple(name for item in packet.fields if item.kind is WireKind.TEXT for name in item.columns)
        for packet in layout_of(vehicle).packets
    }


def callsigns_of(vehicle: Vehicle) -> dict[str, str]:
    """The column of text that carries the callsign, by the packet's name."""
    return {
        packet.name: field.name
        for packet in reversed(vehicle.telemetry.packets)
        for field in packet.fields
        if field.meaning == CALLSIGN
    }


def columns(vehicle: Vehicle) -> Iterator[Column]:
    """Every decoded column of numbers of every packet, in the order of the file."""
    for entry in vehicle.telemetry.packets:
        yield from _columns(vehicle.telemetry, entry)


def _packet(telemetry: Telemetry, place: int, entry: PacketEntry) -> Packet:
    """A packet of the layout; lines of text are numbered, as their tags tell them apart."""
    numbered = telemetry.is_lines or entry.id is None
    *shorter, length = telemetry.lengths(entry)
    return Packet(
        name=entry.name,
        id=place if numbered or entry.id is None else entry.id,
        length=length,
        fields=tuple(_fields(telemetry, entry)),
        tag=entry.tag or "",
        shorter=tuple(shorter),
        filler=_PRIMARY_HEADER if telemetry.is_space_packets else b"",
    )


def _fields(telemetry: Telemetry, entry: PacketEntry) -> Iterator[Field]:
    if telemetry.is_space_packets:
        yield _header_count()
    for place in telemetry.places(entry):
        if place.entry.bits:
            for part in place.entry.bits:
                yield _bit_field(place, part)
        elif place.entry.wire.kind is not None:
            yield _field(telemetry, place, place.entry.wire.kind)


def _header_count() -> Field:
    """The packet sequence count of a space packet's primary header (133.0-B, 4.1.3.4)."""
    return Field(HEADER_COUNT, WireKind.UNSIGNED, 14, 18, bit_order=BitOrder.MOST)


def _field(telemetry: Telemetry, place: Placed, kind: WireKind) -> Field:
    entry, wire = place.entry, place.entry.wire
    # elements of an array have their own meanings, but one unit
    unit, scale, bias = column_unit(entry.unit, next((m for m in entry.every_meaning if m), None))
    curve = entry.curve
    own_scale, own_offset = (entry.scale, entry.offset) if curve is None else (1.0, 0.0)
    return Field(
        name=entry.name,
        kind=kind,
        bits=wire.bits,
        first_bit=place.first_bit,
        scale=own_scale * wire.scale * scale,
        bias=own_offset * scale + bias,
        unit=unit,
        bit_order=bit_order_at(place.first_bit, wire.bits, telemetry.bits_first),
        count=entry.count,
        curve=curve,
        labels=entry.labels,
    )


def _bit_field(place: Placed, part: BitEntry) -> Field:
    unit, scale, bias = column_unit(part.unit, part.meaning)
    return Field(
        name=part.name,
        kind=WireKind.UNSIGNED,
        bits=part.width,
        first_bit=place.first_bit,
        scale=part.scale * scale,
        bias=part.offset * scale + bias,
        unit=unit,
        container_bits=place.entry.wire.bits,
        shift=part.at,
        labels=part.labels,
    )


def _columns(telemetry: Telemetry, entry: PacketEntry) -> Iterator[Column]:
    if telemetry.is_space_packets:
        field = _header_count()
        meaning = "sequence" if telemetry.header_counts else None
        yield Column(entry.name, field.name, field, meaning, -np.inf, np.inf, None)
    for place in telemetry.places(entry):
        if place.entry.bits:
            for part in place.entry.bits:
                least, greatest = _valid(part, part.meaning)
                yield Column(entry.name, part.name, _bit_field(place, part), part.meaning, least, greatest, part)
            continue
        kind = place.entry.wire.kind
        if kind is None or kind is WireKind.TEXT:
            continue
        field = _field(telemetry, place, kind)
        meanings = iter(place.entry.every_meaning)
        for element in field.elements:
            for name in element.columns:
                meaning = next(meanings)
                least, greatest = _valid(place.entry, meaning)
                yield Column(entry.name, name, element, meaning, least, greatest, place.entry)
    for place in _around(telemetry):
        kind = place.entry.wire.kind
        if kind is not None:
            field = _field(telemetry, place, kind)
            for name, meaning in zip(field.columns, place.entry.every_meaning, strict=True):
                least, greatest = _valid(place.entry, meaning)
                yield Column(entry.name, name, field, meaning, least, greatest, place.entry)


def _valid(entry: FieldEntry | BitEntry, meaning: str | None) -> tuple[float, float]:
    """The valid range in the column's unit."""
    if entry.valid is None:
        return -np.inf, np.inf
    _, scale, bias = column_unit(entry.unit, meaning)
    least, greatest = (value * scale + bias for value in entry.valid)
    return least, greatest


def _around(telemetry: Telemetry) -> list[Placed]:
    """Each field that the receiver puts around a packet with its place in the run of them."""
    if telemetry.receiver is None:
        return []
    return list(placed(telemetry.receiver.fields, Discriminator(0, 0), 0))


def _envelope(telemetry: Telemetry) -> Envelope:
    receiver = telemetry.receiver
    if receiver is None:
        return Envelope()
    places = [(place, place.entry.wire.kind) for place in _around(telemetry)]
    behind = sum(entry.span for entry in receiver.after_delimiter) // 8
    return Envelope(
        before=sum(entry.span for entry in receiver.before) // 8,
        after=sum(entry.span for entry in receiver.after) // 8 + behind,
        fields=tuple(_field(telemetry, place, kind) for place, kind in places if kind is not None),
        line=receiver.line or "",
        behind=behind,
    )


def _id_bit_order(telemetry: Telemetry) -> BitOrder:
    """A space packet's header is most significant bit first, whatever the fields behind it are."""
    return BitOrder.MOST if telemetry.is_space_packets else telemetry.bits_first


def _address(telemetry: Telemetry) -> Address | None:
    if telemetry.address is None:
        return None
    place = next(p for p in telemetry.places(telemetry.packets[0]) if p.entry.meaning == "vehicle_address")
    bits = place.entry.wire.bits
    order = bit_order_at(place.first_bit, bits, telemetry.bits_first)
    return Address(telemetry.address, bits, place.first_bit, order)
