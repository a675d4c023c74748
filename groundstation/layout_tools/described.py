"""A layout with what the vehicle file says of it besides: valid ranges, meanings, rates, and units as people write them.

Values are in the unit of the layout's column (SI for standard measurements); `Item.shown` turns them into the unit of
the vehicle file, which is what a person compares with the firmware's source.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from decoders.fingerprint import layout_fingerprint
from decoders.layout import Field, Layout, Packet
from groundstation.config.packets import BitEntry, FieldEntry, PacketEntry
from groundstation.config.telemetry import columns, layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.config.wire import column_unit


@dataclass(frozen=True, slots=True)
class Item:
    """One field of one packet: its meaning, its valid range in the column's unit, and the file's own unit.

    A value in the column's unit is `value in the file's unit * unit_scale + unit_bias`.
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
    """What is known of a stream: `rates_hz` by packet, `fingerprint` in hexadecimal digits."""

    name: str
    layout: Layout
    items: Mapping[tuple[str, str], Item] = field(default_factory=dict)
    rates_hz: Mapping[str, float] = field(default_factory=dict)
    fingerprint: str = ""

    def item(self, packet: Packet, item: Field) -> Item:
        """What is known of a field; of one that the file says nothing more about, only that."""
        return self.items.get((packet.name, item.name)) or Item(packet.name, item, unit=item.unit)

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
    entries = {
        (packet.name, entry.name): entry for packet in vehicle.telemetry.packets for entry in _named_entries(packet)
    }
    items = {}
    for column in columns(vehicle):
        key = (column.packet, column.field.name)
        entry = entries.get(key)
        unit, text = (column.field.unit, "") if entry is None else (entry.unit, entry.text)
        _, unit_scale, unit_bias = column_unit(unit, column.meaning)
        items[key] = Item(
            packet=column.packet,
            field=column.field,
            meaning=column.meaning,
            least=float(column.least),
            greatest=float(column.greatest),
            unit=unit,
            unit_scale=unit_scale,
            unit_bias=unit_bias,
            text=text,
        )
    rates = {packet.name: float(packet.rate_hz) for packet in vehicle.telemetry.packets}
    layout = layout_of(vehicle)
    return Description(vehicle.name, layout, items, rates, f"{layout_fingerprint(layout):08X}")


def _named_entries(packet: PacketEntry) -> Iterator[FieldEntry | BitEntry]:
    for entry in packet.fields:
        if entry.bits:
            yield from entry.bits
        else:
            yield entry
