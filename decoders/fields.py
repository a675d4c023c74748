"""One field of one packet: where its number stands in a body, what it may be, and what value it means.

The reference for single packets; `decoders.columns` gives the same for many at once.
"""

import math
import struct
from dataclasses import dataclass
from typing import Literal

import numpy as np

from decoders.calibration import DegreesMinutes, nearest_raw, nearest_whole_raw
from decoders.errors import LayoutError
from decoders.layout import BitOrder, ByteOrder, Field, WireKind
from decoders.quaternion import fraction_bits

Raw = int | float | bytes


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number stands: `bits` bits, from bit `shift` on, of the number in `size` bytes from byte `start` on."""

    start: int
    size: int
    byte_order: ByteOrder
    shift: int
    bits: int

    @property
    def end(self) -> int:
        """The byte after the last."""
        return self.start + self.size

    @property
    def mask(self) -> int:
        """The bits in question, in the number that all the bytes are."""
        return ((1 << self.bits) - 1) << self.shift

    @property
    def byte_masks(self) -> bytes:
        """The bits in question, as the bytes stand."""
        return self.mask.to_bytes(self.size, self.byte_order.value)

    def get(self, body: bytes | bytearray) -> int:
        """The number there, unsigned."""
        return (int.from_bytes(body[self.start : self.end], self.byte_order.value) & self.mask) >> self.shift

    def put(self, body: bytearray, number: int) -> None:
        """Put the number there; other bits stay."""
        place = slice(self.start, self.end)
        others = int.from_bytes(body[place], self.byte_order.value) & ~self.mask
        body[place] = (others | number << self.shift).to_bytes(self.size, self.byte_order.value)


def bit_place(first_bit: int, bits: int, bit_order: BitOrder) -> Place:
    """The place of `bits` bits from bit `first_bit` of the body on."""
    start, before = divmod(first_bit, 8)
    size = (before + bits + 7) // 8
    if bit_order is BitOrder.LEAST:
        return Place(start, size, ByteOrder.LITTLE, before, bits)
    return Place(start, size, ByteOrder.BIG, 8 * size - before - bits, bits)


def number_place(first_bit: int, bits: int, byte_order: ByteOrder, bit_order: BitOrder | None, where: str) -> Place:
    """The place of a number that may or may not keep to whole bytes.

    Raises:
        LayoutError: It does not, and there is no bit order.
    """
    if first_bit < 0 or not 1 <= bits <= 64:
        raise LayoutError(f"found {bits} bits from bit {first_bit} on, expected 1 to 64 from 0 on", where=where)
    if bit_order is not None:
        return bit_place(first_bit, bits, bit_order)
    if first_bit % 8:
        raise LayoutError(f"starts at bit {first_bit}, expected a multiple of 8", where=where)
    if bits % 8:
        raise LayoutError(f"found {bits} bits, expected 8 to 64 in steps of 8", where=where)
    return Place(first_bit // 8, bits // 8, byte_order, 0, bits)


def place_of(item: Field, byte_order: ByteOrder, where: str) -> Place:
    """Where the number of a field stands; text, whose bytes are no number, and arrays have none.

    Raises:
        LayoutError: A field that no number can hold, or that does not lie on whole bytes and has no bit order.
    """
    _check(item, where)
    if item.container_bits is None:
        return number_place(item.first_bit, item.bits, byte_order, item.bit_order, where)
    if item.bit_order is not None:
        raise LayoutError("found a bit order on a bit field of a number, expected one or the other", where=where)
    whole = number_place(item.first_bit, item.container_bits, byte_order, None, where)
    if item.bits < 1 or item.shift < 0 or item.shift + item.bits > whole.bits:
        raise LayoutError(
            f"found {item.bits} bits from bit {item.shift} on, expected them inside its number of {whole.bits} bits",
            where=where,
        )
    return Place(whole.start, whole.size, byte_order, item.shift, item.bits)


def text_place(item: Field, where: str) -> slice:
    """The bytes of a text.

    Raises:
        LayoutError: It does not lie on whole bytes.
    """
    if item.first_bit < 0 or item.first_bit % 8 or item.bits < 8 or item.bits % 8:
        raise LayoutError(f"found {item.bits} bits from bit {item.first_bit} on, expected whole bytes", where=where)
    return slice(item.first_bit // 8, (item.first_bit + item.bits) // 8)


def _check(item: Field, where: str) -> None:
    """What no field may be."""
    if item.scale == 0:
        raise LayoutError("found the scale 0, expected another", where=where)
    if item.kind is WireKind.FLOAT and (item.is_bit_field or item.bits not in (32, 64)):
        raise LayoutError("found a float of another width, expected a whole one of 32 or 64 bits", where=where)
    plain = item.curve is None and item.scale == 1 and item.bias == 0
    if item.kind in (WireKind.BOOLEAN, WireKind.QUATERNION) and item.curve is not None:
        raise LayoutError(f"found a curve on a {item.kind.value}, expected none", where=where)
    if item.kind is WireKind.QUATERNION:
        fraction_bits(item.bits)
        if not plain or item.is_bit_field:
            raise LayoutError("found a scaled quaternion, expected its bits alone", where=where)


def raw_of(item: Field, body: bytes, byte_order: ByteOrder) -> Raw:
    """The raw number (or the text) of a field that is no array, in one packet's body; a quaternion's is packed."""
    if item.kind is WireKind.TEXT:
        return body[text_place(item, item.name)]
    place = place_of(item, byte_order, item.name)
    number = place.get(body)
    match item.kind:
        case WireKind.FLOAT:
            packed = number.to_bytes(item.bits // 8, "little")
            return float(struct.unpack("<f" if item.bits == 32 else "<d", packed)[0])
        case WireKind.SIGNED:
            return number - (1 << item.bits) if number >> (item.bits - 1) else number
        case WireKind.BOOLEAN:
            return int(number != 0)
        case _:
            return number


def value_of(item: Field, raw: float) -> float:
    """The value that a raw number of a field means; the letter that a position may have apart is left out."""
    if item.curve is not None:
        raw = float(item.curve.values(np.array([raw]))[0])
    elif item.scale == 1 and item.bias == 0:
        return raw
    return raw * item.scale + item.bias


def raw_limits(item: Field) -> tuple[int, int]:
    """The least and the greatest raw number of an integer field."""
    if item.kind is WireKind.SIGNED:
        return -(1 << (item.bits - 1)), (1 << (item.bits - 1)) - 1
    return 0, (1 << item.bits) - 1


def nearest_value(item: Field, value: float) -> float:
    """The value that the field can carry that is nearest to `value`, which is finite unless the field is a float."""
    if item.kind is WireKind.FLOAT:
        return value
    if item.kind is WireKind.BOOLEAN:
        return 1.0 if value else 0.0
    return value_of(item, nearest_whole(item, value))


def nearest_whole(item: Field, value: float) -> int:
    """The raw number of an integer field whose value is nearest to `value`."""
    least, greatest = raw_limits(item)
    exact = (value - item.bias) / item.scale
    if item.curve is not None:
        return nearest_whole_raw(item.curve, exact, least, greatest)
    return max(least, min(greatest, round(exact)))


def raw_for(item: Field, value: float, where: str) -> int | float:
    """The raw number that stands for a value: a float for floats, else a whole number.

    Raises:
        LayoutError: The field cannot carry the value.
    """
    if item.kind is WireKind.BOOLEAN:
        if value not in (0, 1):
            raise LayoutError(f"found {value!r}, expected 0 or 1", where=where)
        return int(value)
    if item.kind is WireKind.FLOAT:
        exact = (value - item.bias) / item.scale
        return exact if item.curve is None else nearest_raw(item.curve, exact)
    least, greatest = raw_limits(item)
    if isinstance(value, int) and item.scale == 1 and item.bias == 0 and item.curve is None:
        raw = value  # all 64 bits, where a float64 would round
    else:
        exact = (value - item.bias) / item.scale
        if not math.isfinite(exact):
            raise LayoutError(f"found {value!r}, expected a finite number", where=where)
        if item.curve is not None:
            return _on_curve(item, value, where)
        raw = round(exact)
    if not least <= raw <= greatest:
        raise LayoutError(f"found {value!r} (raw {raw}), expected raw {least} to {greatest}", where=where)
    return raw


def _on_curve(item: Field, value: float, where: str) -> int:
    """As `raw_for` for a curve: refused where even the nearest value is further away than half a step."""
    raw = nearest_whole(item, value)
    here = value_of(item, raw)
    least, greatest = raw_limits(item)
    neighbours = [value_of(item, number) for number in (raw - 1, raw + 1) if least <= number <= greatest]
    steps = [abs(other - here) for other in neighbours if not math.isnan(other)]
    if isinstance(item.curve, DegreesMinutes):
        steps = [abs(item.scale) / (60.0 * item.curve.per_minute)]  # raw numbers jump at a whole degree
    if not abs(here - value) <= 0.5001 * max(steps, default=0.0) + 1e-12 * abs(value):
        raise LayoutError(f"found {value!r}, expected one that the curve reaches, such as {here!r}", where=where)
    return raw


def float_bytes(item: Field, raw: float, byte_order: Literal["little", "big"], where: str) -> bytes:
    """A float as it is sent."""
    try:
        return struct.pack(("<" if byte_order == "little" else ">") + ("f" if item.bits == 32 else "d"), raw)
    except OverflowError:
        raise LayoutError(f"found {raw!r}, expected a number that {item.bits} bits can hold", where=where) from None
