"""A layout with what the vehicle file says of it besides: valid ranges, meanings, rates, units as people write them.

Values are in the unit of the layout's column (SI for standard measurements); `Item.shown` turns them into the unit of
the vehicle file, which is what a person compares with the firmware's source.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from decoders.fingerprint import layout_fingerprint
from decoders.layout import Field, Layout, Packet, WireKind
from groundstation.config.fields import FieldEntry
from groundstation.config.telemetry import Column, columns, layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.config.wire import column_unit


@dataclass(frozen=True, slots=True)
class Item:
    """One field of one packet: its meaning, its valid range in the column's unit, and the file's own unit.

    A value in the column's unit is `value in the file's unit * unit_scale + unit_bias`; a value in the file's unit is
    `raw number (or its curve) * file_scale + file_bias`, and `file_valid` its valid range, both as the file has them.
    """

    packet: str
    field: Field
    meaning: str | None = None
    least: float = -math.inf
    greatest: float = math.inf
    unit: str = "1"
    unit_scale: float = 1.0
    unit_bias: float = 0.0
    text: str = ""
    file_scale: float = 1.0
    file_bias: float = 0.0
    file_valid: tuple[float, float] | None = None

    @property
    def where(self) -> str:
        """How messages call it."""
        return f"{self.packet}.{self.field.name}"

    @property
    def has_range(self) -> bool:
        """Whether the file says what values can be."""
        return math.isfinite(self.least) or math.isfinite(self.greatest)

    def shown(self, value: float) -> float:
        """A value of the column in the file's unit."""
        return (value - self.unit_bias) / self.unit_scale

    def is_valid(self, value: float) -> bool:
        """Whether the value is within the valid range; never for NaN."""
        slack = 1e-9 * max(abs(self.least), abs(self.greatest)) if self.has_range and math.isfinite(value) else 0.0
        if not math.isfinite(slack):
            slack = 0.0
        return self.least - slack <= value <= self.greatest + slack


@dataclass(frozen=True, slots=True)
class Description:
    """What is known of a stream: items by packet and field, `rates_hz` by packet."""

    name: str
    layout: Layout
    items: Mapping[tuple[str, str], Item] = field(default_factory=dict)
    rates_hz: Mapping[str, float] = field(default_factory=dict)

    @property
    def fingerprint(self) -> int:
        """The layout's, as firmware may send it."""
        return layout_fingerprint(self.layout)

    def item(self, packet: Packet, item: Field) -> Item:
        """What is known of a field; of one that the file says nothing more about, only that."""
        return self.items.get((packet.name, item.name)) or Item(
            packet.name, item, unit=item.unit, file_scale=item.scale, file_bias=item.bias
        )

    def element(self, packet: Packet, item: Field, element: Field) -> Item:
        """What is known of one element of an array (or of a field that is none), wherever it stands."""
        own = self.items.get((packet.name, element.name)) or self.item(packet, item)
        return replace(own, field=element)

    def of(self, packet: Packet) -> Iterator[Item]:
        """The items of a packet, in the layout's order."""
        for item in packet.fields:
            yield self.item(packet, item)

    @property
    def short_name(self) -> str:
        """The name's first word as an identifier in small letters."""
        words = re.findall(r"[a-z0-9]+", self.name.lower())
        word = words[0] if words else "vehicle"
        return word if word[0].isalpha() else f"v{word}"


def described(vehicle: Vehicle) -> Description:
    """What a vehicle file says of its telemetry."""
    layout = layout_of(vehicle)
    items: dict[tuple[str, str], Item] = {}
    for column in columns(vehicle):
        item = _item(column)
        items.setdefault((column.packet, column.field.name), item)
        base = column.field.name.partition("[")[0]
        if base != column.field.name:  # an array's first element speaks for what all have in common
            whole = next(p for p in layout.packets if p.name == column.packet).field(base)
            items.setdefault((column.packet, base), replace(item, field=whole, meaning=None))
    rates = {packet.name: float(packet.rate_hz) for packet in vehicle.telemetry.packets}
    return Description(vehicle.name, layout, items, rates)


def _item(column: Column) -> Item:
    field_, entry = column.field, column.entry
    if entry is None or field_.kind is WireKind.QUATERNION:
        meaning = None if field_.kind is WireKind.QUATERNION else column.meaning
        return Item(
            column.packet,
            field_,
            meaning,
            unit=field_.unit,
            text="" if entry is None else entry.text,
            file_scale=field_.scale,
            file_bias=field_.bias,
        )
    _, unit_scale, unit_bias = column_unit(entry.unit, column.meaning)
    scale, bias = (1.0, 0.0) if field_.curve is not None else (entry.scale, entry.offset)
    wire_scale = entry.wire.scale if isinstance(entry, FieldEntry) else 1.0
    return Item(
        packet=column.packet,
        field=field_,
        meaning=column.meaning,
        least=float(column.least),
        greatest=float(column.greatest),
        unit=entry.unit,
        unit_scale=unit_scale,
        unit_bias=unit_bias,
        text=entry.text,
        file_scale=scale * wire_scale,
        file_bias=bias,
        file_valid=entry.valid,
    )
