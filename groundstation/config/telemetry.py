"""From the telemetry part of a vehicle file to a layout the decoders read, and to the sources of each measurement.

Decoded columns are in the unit of their measurement: the file's scale and offset (value = raw * scale + offset, in
the field's `unit`) and the unit's own conversion become one scale and one bias. A field without a meaning keeps the
unit the file gives it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from decoders.layout import ByteOrder, Field, Layout, Packet, WireKind
from groundstation.config.packets import BitEntry, FieldEntry, PacketEntry
from groundstation.config.vehicle import Vehicle
from groundstation.config.wire import ID_BITS, WIRE_TYPES, column_unit
from groundstation.timeline import Source


@dataclass(frozen=True, slots=True)
class Column:
    """One decoded column: the field of the layout, its meaning, and the valid range in the column's unit."""

    packet: str
    field: Field
    meaning: str | None
    least: float
    greatest: float

    @property
    def source(self) -> Source:
        """Where a timeline finds it."""
        return Source(self.packet, self.field.name, self.field.unit, self.least, self.greatest)


def layout_of(vehicle: Vehicle) -> Layout:
    """The layout that decoding follows; bit fields stand in it, the numbers they are bits of do not."""
    telemetry = vehicle.telemetry
    id_bits = ID_BITS[telemetry.id_type]
    packets = []
    for entry in telemetry.packets:
        length = (id_bits + sum(WIRE_TYPES[f.type][1] for f in entry.fields)) // 8
        fields = tuple(column.field for column in _columns(entry, id_bits))
        packets.append(Packet(entry.name, entry.id, length, fields))
    return Layout(
        framing=telemetry.framing,
        checksum=telemetry.checksum,
        byte_order=ByteOrder(telemetry.byte_order),
        packets=tuple(packets),
        id_bits=id_bits,
        checksum_order=ByteOrder(telemetry.checksum_order),
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
    return standard | {f"{column.packet}.{column.field.name}": column.source for column in every}


def columns_of(vehicle: Vehicle) -> dict[str, tuple[str, ...]]:
    """The names of the columns each packet decodes to, by the packet's name."""
    return {
        entry.name: tuple(column.field.name for column in _columns(entry, ID_BITS[vehicle.telemetry.id_type]))
        for entry in vehicle.telemetry.packets
    }


def columns(vehicle: Vehicle) -> Iterator[Column]:
    """Every decoded column of every packet, in the order of the file."""
    for entry in vehicle.telemetry.packets:
        yield from _columns(entry, ID_BITS[vehicle.telemetry.id_type])


def _columns(entry: PacketEntry, id_bits: int) -> Iterator[Column]:
    first_bit = id_bits
    for item in entry.fields:
        kind, bits = WIRE_TYPES[item.type]
        if item.bits:
            for part in item.bits:
                yield _column(entry.name, part, WireKind.UNSIGNED, part.width, first_bit, bits)
        else:
            yield _column(entry.name, item, kind, bits, first_bit, None)
        first_bit += bits


def _column(
    packet: str, entry: FieldEntry | BitEntry, kind: WireKind, bits: int, first_bit: int, container_bits: int | None
) -> Column:
    unit, scale, bias = column_unit(entry.unit, entry.meaning)
    field = Field(
        name=entry.name,
        kind=kind,
        bits=bits,
        first_bit=first_bit,
        scale=entry.scale * scale,
        bias=entry.offset * scale + bias,
        unit=unit,
        container_bits=container_bits,
        shift=entry.at if isinstance(entry, BitEntry) else 0,
    )
    least, greatest = (-np.inf, np.inf) if entry.valid is None else (v * scale + bias for v in entry.valid)
    return Column(packet, field, entry.meaning, least, greatest)
