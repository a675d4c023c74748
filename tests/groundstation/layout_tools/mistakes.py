"""Frames of firmwares that make one mistake each, against the description they should have followed."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from decoders.checksums import checksum_of
from decoders.crc import CATALOGUE
from decoders.delimited import Delimited
from decoders.errors import LayoutError
from decoders.framing import framing
from decoders.layout import ByteOrder, Field, Layout, LengthField, Packet, Sync, WireKind
from decoders.packing import FrameEncoder
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.layout_tools.described import Description, described
from groundstation.layout_tools.hypothesis import Mistake

CURLEW = described(load_vehicle(EXAMPLE_VEHICLE))
_LENGTH = LengthField(8, at=0, adds=3, byte_order=ByteOrder.LITTLE)  # counts the body; header and checksum not


def with_layout(layout: Layout) -> Description:
    """The example's packets in another framing."""
    return replace(CURLEW, layout=layout)


DESCRIPTIONS = {
    "cobs, little": CURLEW,
    "slip, big": with_layout(replace(CURLEW.layout, framing="slip", byte_order=ByteOrder.BIG)),
    "rfc 1662, CRC-32": with_layout(
        replace(CURLEW.layout, framing="rfc 1662", checksum="CRC-32/ISO-HDLC", checksum_order=ByteOrder.BIG)
    ),
    "sync with length, big": with_layout(
        replace(
            CURLEW.layout,
            framing="sync",
            sync=Sync(b"\xa5\x5a", replace(_LENGTH, adds=3), header=1),
            byte_order=ByteOrder.BIG,
            checksum="CRC-16/XMODEM",
            checksum_order=ByteOrder.BIG,
        )
    ),
    "fixed length": with_layout(replace(CURLEW.layout, framing="fixed length")),
}
STUFFED = ("cobs, little", "slip, big", "rfc 1662, CRC-32")


@dataclass(frozen=True)
class Case:
    """A description, the bytes of a firmware that does not follow it, and the field that the mistake is in."""

    description: Description
    data: bytes
    field: str = ""


def plausible(description: Description, packet: Packet, chance: random.Random) -> dict[str, float]:
    """Values as a vehicle on the pad or in flight would send them, in the columns' units."""
    direction = [chance.gauss(0, 1) for _ in range(4)]
    length = math.sqrt(sum(d * d for d in direction))
    fixed = dict(
        zip(("attitude_w", "attitude_x", "attitude_y", "attitude_z"), (d / length for d in direction), strict=True)
    )
    fixed |= {
        "sequence": chance.randrange(60000),
        "vehicle_time": chance.uniform(5, 3000),
        "accel_x": chance.gauss(0, 1),
        "accel_y": chance.gauss(0, 1),
        "accel_z": chance.choice([9.8, 9.8, 45.0]) + chance.gauss(0, 0.3),
        "pressure": chance.uniform(70000, 102000),
        "battery_voltage": chance.uniform(11.0, 12.6),
        "battery_current": chance.uniform(0.1, 3.0),
        "battery_temperature": 273.15 + chance.uniform(-5, 40),
        "temperature": 273.15 + chance.uniform(-5, 50),
        "pyro_supply_voltage": chance.uniform(11.0, 12.6),
        "gnss_latitude": math.radians(chance.uniform(-60, 60)),
        "gnss_longitude": math.radians(chance.uniform(-170, 170)),
        "gnss_height": chance.uniform(0, 1500),
        "gnss_fix": chance.choice([1, 2, 4]),
        "gnss_satellites": chance.randrange(5, 20),
        "vehicle_phase": chance.randrange(5),
        "reset_count": chance.randrange(1, 9),
        "pyro_1_resistance": chance.uniform(1, 3),
        "pyro_2_resistance": chance.uniform(1, 3),
        "pyro_3_resistance": chance.uniform(15, 50),
    }
    values: dict[str, float] = {}
    for item in description.of(packet):
        meaning = item.meaning or ""
        if meaning in fixed:
            values[item.field.name] = fixed[meaning]
        elif item.field.bits == 1:
            values[item.field.name] = chance.randrange(2)
        elif meaning.startswith("gyro"):
            values[item.field.name] = math.radians(chance.gauss(0, 20))
        else:
            values[item.field.name] = math.radians(chance.gauss(0, 2))
    return values


def frame(layout: Layout, packet: str, values: dict[str, float]) -> bytes:
    return FrameEncoder(layout).encode(packet, values)


def some(description: Description, chance: random.Random) -> tuple[Packet, dict[str, float]]:
    packet = chance.choice(description.layout.packets)
    return packet, plausible(description, packet, chance)


def swapped_bytes(description: Description, chance: random.Random) -> Case:
    packet, values = some(description, chance)
    layout = description.layout
    other = ByteOrder.BIG if layout.byte_order is ByteOrder.LITTLE else ByteOrder.LITTLE
    return Case(description, frame(replace(layout, byte_order=other), packet.name, values))


def wrong_start(description: Description, chance: random.Random) -> Case:
    packet, values = some(description, chance)
    model = CATALOGUE[description.layout.checksum]
    ones = (1 << model.width) - 1
    init = chance.choice([n for n in (0, ones, 0x1D0F) if n != model.init])
    wrong = replace(description.layout, crc=replace(model, init=init))
    return Case(description, frame(wrong, packet.name, values))


def wrong_checksum_order(description: Description, chance: random.Random) -> Case:
    packet, values = some(description, chance)
    layout = description.layout
    other = ByteOrder.BIG if layout.checksum_order is ByteOrder.LITTLE else ByteOrder.LITTLE
    return Case(description, frame(replace(layout, checksum_order=other), packet.name, values))


def widened(packet: Packet, field: Field) -> Packet:
    """The packet with one field of the next usual width."""
    width = next(w for w in (16, 32, 64) if w > field.bits)
    fields = []
    for item in packet.fields:
        if item is field:
            item = replace(item, bits=width)
        elif item.first_bit > field.first_bit:
            item = replace(item, first_bit=item.first_bit + width - field.bits)
        fields.append(item)
    return replace(packet, length=packet.length + (width - field.bits) // 8, fields=tuple(fields))


def field_too_long(description: Description, chance: random.Random) -> Case:
    packet, values = some(description, chance)
    field = chance.choice([f for f in packet.fields if not f.is_bit_field and f.bits < 64])
    packets = tuple(widened(p, field) if p is packet else p for p in description.layout.packets)
    return Case(description, frame(replace(description.layout, packets=packets), packet.name, values), field.name)


def missing_delimiter(description: Description, chance: random.Random) -> Case:
    found = framing(description.layout)
    assert isinstance(found, Delimited)
    frames = []
    for _ in range(chance.choice([1, 2])):
        packet, values = some(description, chance)
        frames.append(frame(description.layout, packet.name, values).strip(found.delimiter))
    return Case(description, b"".join(frames))


def escaped_twice(description: Description, chance: random.Random) -> Case:
    found = framing(description.layout)
    assert isinstance(found, Delimited)
    while True:
        packet, values = some(description, chance)
        once = frame(description.layout, packet.name, values)
        inner = once if chance.random() < 0.5 else once.strip(found.delimiter)
        twice = found.encode(inner)
        if twice != once:  # a frame in which nothing is to be stuffed is right all the same
            return Case(description, twice)


def length_without_header(description: Description, chance: random.Random) -> Case:
    """The description's length counts all; the firmware's only the body, or body and checksum."""
    layout = description.layout
    assert layout.sync is not None
    assert layout.sync.length is not None
    counts_all = replace(layout, sync=replace(layout.sync, length=replace(layout.sync.length, adds=0)))
    packet, values = some(description, chance)
    adds = layout.sync.header + chance.choice([0, checksum_of(layout).size])
    wrong = replace(layout, sync=replace(layout.sync, length=replace(layout.sync.length, adds=adds)))
    return Case(replace(description, layout=counts_all), frame(wrong, packet.name, values))


def signed_for_unsigned(description: Description, chance: random.Random) -> Case:
    """A field with a valid range that the firmware sends signed, below zero, and that is described unsigned."""
    layout = description.layout
    while True:
        packet, values = some(description, chance)
        signed = [
            item
            for item in description.of(packet)
            if (item.field.kind is WireKind.SIGNED and item.least < 0 < item.greatest) or item.unit == "degC"
        ]
        item = chance.choice(signed)
        if (values[item.field.name] - item.field.bias) / item.field.scale > -0.5:
            continue
        described_so = replace(item.field, kind=WireKind.UNSIGNED)
        fields = tuple(described_so if f.name == item.field.name else f for f in packet.fields)
        packets = tuple(replace(p, fields=fields) if p is packet else p for p in layout.packets)
        items = {**description.items, (packet.name, item.field.name): replace(item, field=described_so)}
        wrong = replace(description, layout=replace(layout, packets=packets), items=items)
        return Case(wrong, frame(layout, packet.name, values), item.field.name)


WRONG_FACTORS = (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)


def wrong_scale(description: Description, chance: random.Random) -> Case:
    """A field sent in a unit ten, a hundred or a thousand times off, so that its value cannot be."""
    while True:
        packet, values = some(description, chance)
        item = chance.choice([item for item in description.of(packet) if item.has_range and item.field.bits > 8])
        factor = chance.choice(WRONG_FACTORS)
        shown = item.shown(values[item.field.name]) * factor
        value = shown * item.unit_scale + item.unit_bias
        if item.is_valid(value):
            continue  # nothing shows: no tool can tell
        try:
            return Case(
                description,
                frame(description.layout, packet.name, values | {item.field.name: value}),
                item.field.name,
            )
        except LayoutError:
            continue  # the wire's number would not have held it either


def wrong_discriminator(description: Description, chance: random.Random) -> Case:
    packet, values = some(description, chance)
    others = [p.id for p in description.layout.packets if p is not packet] + [0, 7, 0x20, 0xFF]
    number = chance.choice(others)
    packets = tuple(
        replace(p, id=number if p is packet else 200 + n) for n, p in enumerate(description.layout.packets)
    )
    return Case(description, frame(replace(description.layout, packets=packets), packet.name, values))


Maker = Callable[[Description, random.Random], Case]

MISTAKES: dict[str, tuple[Maker, Mistake, tuple[str, ...]]] = {
    "swapped bytes": (swapped_bytes, Mistake.NUMBER_ORDER, tuple(DESCRIPTIONS)),
    "wrong CRC start value": (wrong_start, Mistake.CHECKSUM_START, tuple(DESCRIPTIONS)),
    "CRC in the wrong order": (wrong_checksum_order, Mistake.CHECKSUM_ORDER, tuple(DESCRIPTIONS)),
    "one field too long": (field_too_long, Mistake.FIELD_WIDTH, tuple(DESCRIPTIONS)),
    "missing delimiter": (missing_delimiter, Mistake.DELIMITER, STUFFED),
    "escaped twice": (escaped_twice, Mistake.STUFFED_TWICE, STUFFED),
    "length counted without header": (length_without_header, Mistake.LENGTH_COUNT, ("sync with length, big",)),
    "signed for unsigned": (signed_for_unsigned, Mistake.SIGNEDNESS, tuple(DESCRIPTIONS)),
    "wrong scale": (wrong_scale, Mistake.SCALE, tuple(DESCRIPTIONS)),
    "wrong discriminator": (wrong_discriminator, Mistake.DISCRIMINATOR, tuple(DESCRIPTIONS)),
}
