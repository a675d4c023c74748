"""Rows of bytes in, columns of numbers out: all packets of one kind at once.

Every field is read as part of a machine number of 8, 16, 32 or 64 bits that lies inside the row (its window); shifts
then bring the field's bits down, with its sign. That covers all widths and both byte orders without copying bytes.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Field, Packet, WireKind

Column = NDArray[Any]

_WIDEST = 8  # bytes of the widest window


@dataclass(frozen=True, slots=True)
class Reading:
    """How one field is read from a row.

    The number that the field is, or is part of, has `size` bytes from byte `start` of the row on; the field is `bits`
    bits of it from bit `shift` on. Its window is a machine number from byte `place` on, of which the field may be a
    part (`is_part`); shifting that up and then down isolates the field. Raw numbers have the type `dtype`.
    """

    name: str
    start: int
    size: int
    byte_order: ByteOrder
    shift: int
    bits: int
    place: int
    window: np.dtype[Any]
    up: int
    down: int
    is_part: bool
    is_scaled: bool
    dtype: np.dtype[Any]
    scale: float
    bias: float

    def raw(self, windows: Column) -> Column:
        """The raw numbers, in native byte order and memory of their own."""
        if not self.is_part:
            return windows.astype(self.dtype)
        kind = self.window.type
        numbers: Column = (windows << kind(self.up)) >> kind(self.down)
        return numbers.astype(self.dtype)


class ColumnReader:
    """Reads the columns of one kind of packet from rows of equal length.

    Args:
        packet: Whose fields are read.
        byte_order: Of the numbers in the body.
        row_length: Bytes in a row.
        body_at: Where the body starts in the row.
    Raises:
        LayoutError: A field that no number can hold, or that does not lie on whole bytes.
    """

    def __init__(self, packet: Packet, byte_order: ByteOrder, *, row_length: int, body_at: int = 0) -> None:
        names = [item.name for item in packet.fields]
        for name in names:
            if names.count(name) > 1:
                raise LayoutError(
                    "found the name twice, expected every field to have its own", where=f"{packet.name}.{name}"
                )
        self._row_length = row_length
        self._padded = max(row_length, _WIDEST)
        self.readings = tuple(
            _reading(item, byte_order, body_at, self._padded, f"{packet.name}.{item.name}") for item in packet.fields
        )
        self._scaled = [r for r in self.readings if r.is_scaled]
        self._scale = np.array([[r.scale] for r in self._scaled])
        self._bias = np.array([[r.bias] for r in self._scaled])
        self._dtype = np.dtype(
            {
                "names": names,
                "formats": [r.window for r in self.readings],
                "offsets": [r.place for r in self.readings],
                "itemsize": self._padded,
            }
        )

    def read(self, rows: bytes) -> dict[str, Column]:
        """The columns of rows that lie one after the other; scaled fields float64 in their unit, others raw."""
        if self._padded != self._row_length:
            short = np.frombuffer(rows, dtype=np.uint8).reshape(-1, self._row_length)
            padded = np.zeros((short.shape[0], self._padded), dtype=np.uint8)
            padded[:, : self._row_length] = short
            rows = padded.tobytes()
        windows = np.frombuffer(rows, dtype=self._dtype)
        scaled = iter(self._scaled_columns(windows)) if self._scaled else iter(())
        return {r.name: next(scaled) if r.is_scaled else r.raw(windows[r.name]) for r in self.readings}

    def _scaled_columns(self, windows: Column) -> NDArray[np.float64]:
        """The scaled fields, a row each: few calls for many fields, because a single packet waits for them all."""
        block = np.empty((len(self._scaled), windows.shape[0]))
        with np.errstate(over="ignore", invalid="ignore"):  # a float of the wire may be huge, or a signalling NaN
            for row, r in zip(block, self._scaled, strict=True):
                row[:] = r.raw(windows[r.name]) if r.is_part else windows[r.name]
            block *= self._scale
            block += self._bias
        return block


def _reading(item: Field, byte_order: ByteOrder, body_at: int, row_length: int, where: str) -> Reading:
    """How a field is read from rows of that length; the window is moved back where it would stick out."""
    size = _size_in_bytes(item, where)
    start = body_at + item.first_bit // 8
    window_size = next(s for s in (1, 2, 4, 8) if s >= size)
    place = min(start, row_length - window_size)
    if byte_order is ByteOrder.LITTLE:
        lowest = 8 * (start - place) + item.shift
    else:
        lowest = 8 * (place + window_size - start - size) + item.shift
    bits = 8 * window_size
    letter = {WireKind.SIGNED: "i", WireKind.FLOAT: "f"}.get(item.kind, "u")
    order = "<" if byte_order is ByteOrder.LITTLE else ">"
    return Reading(
        name=item.name,
        start=start,
        size=size,
        byte_order=byte_order,
        shift=item.shift,
        bits=item.bits,
        place=place,
        window=np.dtype(f"{order}{letter}{window_size}"),
        up=bits - lowest - item.bits,
        down=bits - item.bits,
        is_part=lowest > 0 or item.bits < bits,
        is_scaled=item.scale != 1.0 or item.bias != 0.0,
        dtype=_raw_type(item),
        scale=item.scale,
        bias=item.bias,
    )


def _raw_type(item: Field) -> np.dtype[Any]:
    """The narrowest numpy type that holds the field's raw numbers."""
    if item.kind is WireKind.BOOLEAN:
        return np.dtype(np.bool_)
    size = next(s for s in (1, 2, 4, 8) if 8 * s >= item.bits)
    return np.dtype({WireKind.SIGNED: f"i{size}", WireKind.FLOAT: f"f{size}"}.get(item.kind, f"u{size}"))


def _size_in_bytes(item: Field, where: str) -> int:
    """Bytes of the number that the field is, or is part of."""
    if item.first_bit < 0 or item.first_bit % 8:
        raise LayoutError(f"starts at bit {item.first_bit}, expected a multiple of 8", where=where)
    if item.scale == 0:
        raise LayoutError("found the scale 0, expected another", where=where)
    whole = item.bits if item.container_bits is None else item.container_bits
    if whole % 8 or not 8 <= whole <= 64:
        raise LayoutError(f"found {whole} bits, expected 8 to 64 in steps of 8", where=where)
    if item.kind is WireKind.FLOAT and (item.is_bit_field or item.bits not in (32, 64)):
        raise LayoutError("found a float of another width, expected a whole one of 32 or 64 bits", where=where)
    if item.bits < 1 or item.shift < 0 or item.shift + item.bits > whole:
        raise LayoutError(
            f"found {item.bits} bits from bit {item.shift} on, expected them inside its number of {whole} bits",
            where=where,
        )
    return whole // 8
