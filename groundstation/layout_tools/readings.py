"""The fields of one body, each raw and in its unit, and how far their values speak for the way they were read."""

import math
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from decoders.errors import LayoutError
from decoders.fields import Raw, place_of, raw_limits, raw_of, text_place, value_of
from decoders.layout import ByteOrder, Field, Packet, WireKind
from groundstation.layout_tools.described import Description, Item

OUTSIDE_BITS = 7.0
"""What a value outside its valid range costs: even a right description has one in about a hundred (a sensor at
fault); common practice, no source."""

_NORM_BITS = 6.0  # four numbers of about the right size are of unit length by chance once in some dozens
_NORM_ERROR = 0.05
_SAMPLES = 512
_TINY, _HUGE = 1e-12, 1e12  # floats beyond these are no measurement of a rocket


@dataclass(frozen=True, slots=True)
class Reading:
    """One field as it was read: `data` are its bytes, from byte `at` of the body on; `value` NaN for text.

    `valid` is None where the description says nothing of what values can be.
    """

    item: Item
    at: int
    data: bytes
    raw: Raw
    value: float
    valid: bool | None

    @property
    def bits(self) -> float:
        """What the value says for the way it was read, in bits; negative against it."""
        if self.valid is None:
            return 0.0
        return -math.log2(valid_share(self.item)) if self.valid else -OUTSIDE_BITS


def readings(description: Description, packet: Packet, body: bytes, order: ByteOrder) -> tuple[Reading, ...]:
    """Every field that the body is long enough for."""
    return tuple(
        reading(description.element(packet, field, element), body, order)
        for field in packet.fields
        for element in field.elements
        if element.first_bit + element.span <= 8 * len(body)
    )


def reading(item: Item, body: bytes, order: ByteOrder) -> Reading:
    """One field that is no array."""
    field = item.field
    if field.kind is WireKind.TEXT:
        place = text_place(field, item.where)
        return Reading(item, place.start, body[place], body[place], math.nan, None)
    where = place_of(field, order, item.where)
    raw = raw_of(field, body, order)
    data = body[where.start : where.end]
    if isinstance(raw, bytes) or field.kind is WireKind.QUATERNION:
        return Reading(item, where.start, data, raw, math.nan, None)
    if field.kind is WireKind.BOOLEAN:
        number = where.get(body)
        return Reading(item, where.start, data, number, float(raw), None if field.bits == 1 else number in (0, 1))
    value = float(value_of(field, raw))
    return Reading(item, where.start, data, raw, value, validity(item, value))


def validity(item: Item, value: float) -> bool | None:
    """Whether a value can be, as far as the description says."""
    if item.has_range:
        return item.is_valid(value)
    if item.field.kind is WireKind.FLOAT:
        return value == 0.0 or _TINY <= abs(value) <= _HUGE
    return None


def score(read: Sequence[Reading]) -> float:
    """What all values of a body say together, in bits."""
    return sum(one.bits for one in read) + norm_bits(read)


def outside(read: Sequence[Reading]) -> tuple[Reading, ...]:
    """Those whose value cannot be."""
    return tuple(one for one in read if one.valid is False)


def norm_bits(read: Sequence[Reading]) -> float:
    """What the length of a unit quaternion in four fields says; 0 where there is none."""
    parts = [one.value for one in read if one.item.meaning in _ATTITUDE]
    if len(parts) != len(_ATTITUDE):
        return 0.0
    length = math.sqrt(sum(part * part for part in parts))
    return _NORM_BITS if abs(length - 1.0) <= _NORM_ERROR else -OUTSIDE_BITS


_ATTITUDE = frozenset({"attitude_w", "attitude_x", "attitude_y", "attitude_z"})


@lru_cache(maxsize=4096)
def valid_share(item: Item) -> float:
    """The share of all bit patterns of a field that stand for a valid value, never 0."""
    field = item.field
    if field.kind is WireKind.BOOLEAN:
        return 2.0 / (1 << field.bits)
    if field.kind is WireKind.FLOAT:
        return _float_share(item)
    least, greatest = raw_limits(field)
    if field.curve is None:
        ends = sorted(((item.least - field.bias) / field.scale, (item.greatest - field.bias) / field.scale))
        count = min(ends[1], greatest) - max(ends[0], least) + 1
        return min(max(count, 1.0), 2.0**field.bits) / 2.0**field.bits
    numbers = list(sampled(field))
    count = sum(item.is_valid(float(value_of(field, number))) for number in numbers)
    return max(count, 1) / len(numbers)


def sampled(field: Field) -> Iterator[int]:
    """Raw numbers spread evenly over what the field can hold."""
    least, greatest = raw_limits(field)
    span = greatest - least + 1
    step = max(span // _SAMPLES, 1)
    yield from range(least, greatest + 1, step)


def _float_share(item: Item) -> float:
    """Floats in the order of their bit patterns: those from least to greatest, of all there are."""
    if not item.has_range:
        low, high = _TINY, _HUGE
        positive = _pattern(high, item.field.bits) - _pattern(low, item.field.bits)
        return 2.0 * positive / 2.0**item.field.bits
    ends = sorted((item.least - item.field.bias, item.greatest - item.field.bias))
    if item.field.curve is None:
        ends = sorted(end / item.field.scale for end in ends)
    count = _pattern(ends[1], item.field.bits) - _pattern(ends[0], item.field.bits)
    return min(max(count, 1.0) / 2.0**item.field.bits, 1.0)


def _pattern(value: float, bits: int) -> float:
    """How many floats lie between zero and a value; negative below zero."""
    form, whole = ("<f", "<I") if bits == 32 else ("<d", "<Q")
    try:
        packed = struct.pack(form, abs(value))
    except OverflowError:
        packed = struct.pack(form, math.inf)
    return math.copysign(float(struct.unpack(whole, packed)[0]), value)


def moved(packet: Packet, first: int, by: int) -> Packet:
    """The packet as if all its fields from byte `first` of the body on stood `by` bytes later.

    Raises:
        LayoutError: A field would start before the body does.
    """
    fields = []
    for item in packet.fields:
        if item.first_bit >= 8 * first:
            if item.first_bit + 8 * by < 0:
                raise LayoutError("would start before the body", where=f"{packet.name}.{item.name}")
            item = replace(item, first_bit=item.first_bit + 8 * by)
        fields.append(item)
    return replace(packet, length=packet.length + by, fields=tuple(fields), filler=b"")
