"""Rows of bytes in, columns of numbers out: all packets of one kind at once.

Every field is read as part of a machine number of 8, 16, 32 or 64 bits that lies inside the row (its window); shifts
then bring the field's bits down, with its sign. That covers all widths and both byte orders without copying bytes.
What is more than a number in a window (a number across nine bytes, a curve, text, a quaternion) is then made from the
numbers read; see `ColumnReader.assembled`.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from decoders.calibration import DegreesMinutes
from decoders.errors import LayoutError
from decoders.fields import Place, bit_place, place_of, text_place
from decoders.layout import BitOrder, ByteOrder, Field, Packet, WireKind
from decoders.quaternion import fraction_bits, unpacked

Column = NDArray[Any]
Make = Callable[[list[Column]], list[Column]]

_WIDEST = 8  # bytes of the widest window
_SMALLEST_SCALE = 1e-300  # times a whole number, it is zero only for zero
_LARGEST_SCALE = 1e280  # times a whole number of 64 bits, it does not overflow


@dataclass(frozen=True, slots=True)
class Reading:
    """How one number is read from a row.

    The number that it is, or is part of, has `size` bytes from byte `start` of the row on; it is `bits` bits of it
    from bit `shift` on. Its window is a machine number from byte `place` on, of which it may be a part (`is_part`);
    shifting that up and then down isolates it. Raw numbers have the type `dtype`. Even a bias of
    zero makes zero of minus zero; it is passed over only where it changes nothing (not `is_moved`).
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
    is_moved: bool
    dtype: np.dtype[Any]
    scale: float
    bias: float

    @property
    def column_type(self) -> np.dtype[Any]:
        """Of its column."""
        return np.dtype(np.float64) if self.is_scaled else self.dtype

    def raw(self, windows: Column) -> Column:
        """The raw numbers, in native byte order and memory of their own."""
        if not self.is_part:
            return windows.astype(self.dtype)
        kind = self.window.type
        numbers: Column = (windows << kind(self.up)) >> kind(self.down)
        return numbers.astype(self.dtype)


@dataclass(frozen=True, slots=True)
class _Assembly:
    """Columns, and how they are made from the numbers of some readings; without readings they are missing."""

    names: tuple[str, ...]
    readings: tuple[int, ...]
    make: Make


class RowReader(Protocol):
    """What reads columns from rows: numbers first, by `readings`, then what is made of them."""

    readings: tuple[Reading, ...]
    is_plain: bool  # whether each number read is a column as it is

    def read(self, rows: bytes) -> dict[str, Column]:
        """The columns of rows that lie one after the other."""

    def assembled(self, numbers: Sequence[Column], count: int) -> dict[str, Column]:
        """The columns, from what each of `readings` gave for `count` packets; to be called once for these numbers."""


class ColumnReader:
    """Reads the columns of one kind of packet from rows of equal length.

    Args:
        packet: Whose fields are read.
        byte_order: Of the numbers in the body.
        row_length: Bytes in a row.
        body_at: Where the body starts in the row.
        body_length: Of these packets, if their kind has an optional tail: what lies beyond it is missing. Numbers
            that may be missing are float64 in every packet, NaN where they are; text is then empty.
    Raises:
        LayoutError: A field that no number can hold, or that does not lie on whole bytes and has no bit order.
    """

    def __init__(
        self,
        packet: Packet,
        byte_order: ByteOrder,
        *,
        row_length: int,
        body_at: int = 0,
        body_length: int | None = None,
    ) -> None:
        for name, times in Counter(packet.columns).items():
            if times > 1:
                raise LayoutError(
                    "found the name twice, expected every field to have its own", where=f"{packet.name}.{name}"
                )
        self._row_length = row_length
        self._padded = max(row_length, _WIDEST)
        received = packet.length if body_length is None else body_length
        planned = _Plan(packet, byte_order, body_at, self._padded, received)
        self.readings = tuple(planned.readings)
        self.is_plain = not planned.is_more_than_readings
        self._assemblies = None if self.is_plain else planned.assemblies
        self._names = [r.name for r in self.readings]
        scaled = [r for r in self.readings if r.is_scaled]
        self._scaled = _Scaled(scaled, self._padded) if scaled else None
        self._whole = [(r.name, r.dtype) for r in self.readings if not r.is_scaled and not r.is_part]
        self._parts = [r for r in self.readings if not r.is_scaled and r.is_part]
        self._is_in_order = len(self._whole) == len(self.readings)
        self._in_order = itemgetter(*self._names) if len(self._names) > 1 else dict.values
        self._dtype = np.dtype(
            {
                "names": [r.name for r in self.readings],
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
        numbers = {name: windows[name].astype(dtype) for name, dtype in self._whole}
        if not self._is_in_order:
            numbers.update({r.name: r.raw(windows[r.name]) for r in self._parts})
            if self._scaled is not None:
                numbers.update(self._scaled.read(rows, windows))
            numbers = dict(zip(self._names, self._in_order(numbers), strict=True))
        if self._assemblies is None:
            return numbers
        return self.assembled(list(numbers.values()), windows.shape[0])

    def assembled(self, numbers: Sequence[Column], count: int) -> dict[str, Column]:
        """The columns, from what each of `readings` gave for `count` packets; to be called once for these numbers."""
        if self._assemblies is None:
            return {r.name: column for r, column in zip(self.readings, numbers, strict=True)}
        columns: dict[str, Column] = {}
        for assembly in self._assemblies:
            given = [numbers[k] for k in assembly.readings] if assembly.readings else [np.full(count, np.nan)]
            columns.update(zip(assembly.names, assembly.make(given), strict=True))
        return columns


class _Scaled:
    """The scaled numbers of rows: few calls for many fields, because a single packet waits for them all.

    Whole windows of one type are brought next to each other, in the machine's byte order, by one choice of bytes.
    """

    def __init__(self, readings: list[Reading], row_length: int) -> None:
        self._row_length = row_length
        by_type: dict[np.dtype[Any], list[Reading]] = {}
        parts: list[Reading] = []
        for r in readings:
            if r.is_part:
                parts.append(r)
            else:
                by_type.setdefault(r.window, []).append(r)
        self._groups = []
        order: list[Reading] = []
        for window, mine in by_type.items():
            chosen = np.array([place for r in mine for place in _bytes_of(r)], dtype=np.intp)
            rows = slice(len(order), len(order) + len(mine))
            self._groups.append((rows, chosen, window.newbyteorder("=")))
            order += mine
        self._parts = list(enumerate(parts, len(order)))
        order += parts
        self._names = [r.name for r in order]
        self._scale = np.array([[r.scale] for r in order])
        self._bias = np.array([[r.bias] for r in order])
        self._is_moved = any(r.is_moved for r in order)
        # a float of the wire may be huge, or a signalling NaN
        self._is_quiet = not any(r.window.kind == "f" or abs(r.scale) + abs(r.bias) > _LARGEST_SCALE for r in order)

    def read(self, rows: bytes, windows: Column) -> Iterator[tuple[str, Column]]:
        """Name and column of each."""
        if self._is_quiet:
            return zip(self._names, self._columns(rows, windows), strict=True)
        with np.errstate(over="ignore", invalid="ignore"):
            return zip(self._names, self._columns(rows, windows), strict=True)

    def _columns(self, rows: bytes, windows: Column) -> NDArray[np.float64]:
        count = windows.shape[0]
        block = np.empty((len(self._names), count))
        several = np.frombuffer(rows, dtype=np.uint8).reshape(count, self._row_length)
        for where, chosen, kind in self._groups:
            block[where] = several.take(chosen, axis=1).view(kind).T
        for row, r in self._parts:
            block[row] = r.raw(windows[r.name])
        block *= self._scale
        if self._is_moved:
            block += self._bias
        return block


def _bytes_of(reading: Reading) -> range:
    """The places of the bytes of its window, as the machine wants them."""
    first, past = reading.place, reading.place + reading.window.itemsize
    is_swapped = reading.window != reading.window.newbyteorder("=")
    return range(past - 1, first - 1, -1) if is_swapped else range(first, past)


class _Plan:
    """The readings that a packet's fields need, and what is made of them."""

    def __init__(
        self, packet: Packet, byte_order: ByteOrder, body_at: int, row_length: int, body_length: int
    ) -> None:
        self.readings: list[Reading] = []
        self.assemblies: list[_Assembly] = []
        self.is_more_than_readings = False
        self._packet = packet
        self._byte_order = byte_order
        self._body_at = body_at
        self._row_length = row_length
        self._received_bits = 8 * body_length
        self._certain_bits = 8 * packet.lengths[0]
        self._letters: dict[str, int] = {}
        for item in packet.fields:
            for element in item.elements:
                self._add(element, f"{packet.name}.{element.name}")

    def _add(self, item: Field, where: str) -> None:
        """One field that is no array."""
        end = item.first_bit + item.span
        if end > self._certain_bits:
            self.is_more_than_readings = True
        if end > self._received_bits:
            self.assemblies.append(_Assembly(item.columns, (), _missing(item)))
            return
        if item.kind is WireKind.TEXT:
            self._add_text(item, where)
            return
        readings, make = self._number(item, where)
        if item.kind is WireKind.QUATERNION:
            make = _then(make, _quaternion(fraction_bits(item.bits)))
        elif item.curve is not None:
            make = _then(make, _curve(item))
            if isinstance(item.curve, DegreesMinutes) and item.curve.letter:
                letter = self._letter(item.curve.letter, where)
                readings, make = (*readings, letter), _directed(make, item.curve)
        if end > self._certain_bits:
            make = _then(make, _as_floats)
        self.is_more_than_readings |= make is not _same
        self.assemblies.append(_Assembly(item.columns, readings, make))

    def _number(self, item: Field, where: str) -> tuple[tuple[int, ...], Make]:
        """The readings of a number, and what makes the number of them: scaled, unless there is a curve first."""
        place = place_of(item, self._byte_order, where)
        plain = item if item.curve is None and item.kind is not WireKind.QUATERNION else _unscaled(item)
        if place.size <= _WIDEST and not (item.kind is WireKind.FLOAT and item.bit_order is not None):
            return (self._read(plain, place, item.name),), _same
        bits = replace(plain, kind=WireKind.UNSIGNED, scale=1.0, bias=0.0)
        if place.size <= _WIDEST:
            return (self._read(bits, place, item.name),), _typed(plain)
        assert item.bit_order is not None
        begin = 8 * _WIDEST - item.first_bit % 8
        halves = []
        for part, (first, size) in enumerate([(item.first_bit, begin), (item.first_bit + begin, item.bits - begin)]):
            half = replace(bits, first_bit=first, bits=size)
            halves.append(self._read(half, bit_place(first, size, item.bit_order), f"{item.name} part {part}"))
        return tuple(halves), _then(_joined(item, begin), _typed(plain))

    def _add_text(self, item: Field, where: str) -> None:
        place = text_place(item, where)
        byte = Field(item.name, WireKind.UNSIGNED, 8, 0)
        readings = tuple(
            self._read(byte, Place(at, 1, self._byte_order, 0, 8), f"{item.name} byte {at - place.start}")
            for at in range(place.start, place.stop)
        )
        self.is_more_than_readings = True
        self.assemblies.append(_Assembly(item.columns, readings, _text))

    def _letter(self, name: str, where: str) -> int:
        """The reading of the field that holds a position's letter."""
        if name not in self._letters:
            found = next((f for f in self._packet.fields if f.name == name), None)
            kinds = (WireKind.UNSIGNED, WireKind.FLOAT)  # a float, so that a line's letter may be left out
            if found is None or found.kind not in kinds or found.count != 1 or found.curve is not None:
                raise LayoutError(
                    f"found {name!r} for the letter, expected an unsigned field or a float", where=where
                )
            place = place_of(found, self._byte_order, where)
            if found.first_bit + found.span > self._certain_bits or place.size > _WIDEST:
                raise LayoutError(
                    f"found {name!r} for the letter, expected a field that is always there", where=where
                )
            self._letters[name] = self._read(_unscaled(found), place, f"{name} letter")
        return self._letters[name]

    def _read(self, item: Field, place: Place, name: str) -> int:
        """Plan a reading; its number."""
        self.readings.append(_reading(item, place, self._body_at, self._row_length, name))
        return len(self.readings) - 1


def _unscaled(item: Field) -> Field:
    return replace(item, scale=1.0, bias=0.0, curve=None)


def _reading(item: Field, where: Place, body_at: int, row_length: int, name: str) -> Reading:
    """How a number is read from rows of that length; the window is moved back where it would stick out."""
    start, size = body_at + where.start, where.size
    window_size = next(s for s in (1, 2, 4, 8) if s >= size)
    place = min(start, row_length - window_size)
    if where.byte_order is ByteOrder.LITTLE:
        lowest = 8 * (start - place) + where.shift
    else:
        lowest = 8 * (place + window_size - start - size) + where.shift
    bits = 8 * window_size
    letter = {WireKind.SIGNED: "i", WireKind.FLOAT: "f"}.get(item.kind, "u")
    order = "<" if where.byte_order is ByteOrder.LITTLE else ">"
    return Reading(
        name=name,
        start=start,
        size=size,
        byte_order=where.byte_order,
        shift=where.shift,
        bits=where.bits,
        place=place,
        window=np.dtype(f"{order}{letter}{window_size}"),
        up=bits - lowest - where.bits,
        down=bits - where.bits,
        is_part=lowest > 0 or where.bits < bits,
        is_scaled=item.scale != 1.0 or item.bias != 0.0,
        is_moved=item.bias != 0.0 or item.kind is WireKind.FLOAT or item.scale < _SMALLEST_SCALE,
        dtype=_raw_type(item, where.bits),
        scale=item.scale,
        bias=item.bias,
    )


def _raw_type(item: Field, bits: int) -> np.dtype[Any]:
    """The narrowest numpy type that holds the field's raw numbers."""
    if item.kind is WireKind.BOOLEAN:
        return np.dtype(np.bool_)
    size = next(s for s in (1, 2, 4, 8) if 8 * s >= bits)
    return np.dtype({WireKind.SIGNED: f"i{size}", WireKind.FLOAT: f"f{size}"}.get(item.kind, f"u{size}"))


def _same(numbers: list[Column]) -> list[Column]:
    return numbers


def _then(first: Make, second: Make) -> Make:
    return second if first is _same else lambda numbers: second(first(numbers))


def _joined(item: Field, begin: int) -> Make:
    """One number of two parts, of which the first in the stream has `begin` bits."""

    def make(numbers: list[Column]) -> list[Column]:
        first, rest = (part.astype(np.uint64) for part in numbers)
        if item.bit_order is BitOrder.LEAST:
            return [first | rest << np.uint64(begin)]
        return [first << np.uint64(item.bits - begin) | rest]

    return make


def _typed(item: Field) -> Make:
    """The unsigned bits of a field as what they are, and scaled."""
    raw = _raw_type(item, item.bits)
    up = np.uint64(64 - item.bits)

    def make(numbers: list[Column]) -> list[Column]:
        bits = numbers[0]
        if item.kind is WireKind.FLOAT:
            column: Column = bits.astype(f"u{raw.itemsize}").view(raw)
        elif item.kind is WireKind.SIGNED:
            column = ((bits.astype(np.uint64) << up).view(np.int64) >> up.astype(np.int64)).astype(raw)
        else:
            column = bits.astype(raw)
        if item.scale == 1.0 and item.bias == 0.0:
            return [column]
        with np.errstate(over="ignore", invalid="ignore"):
            return [column.astype(np.float64) * item.scale + item.bias]

    return make


def _curve(item: Field) -> Make:
    curve = item.curve
    assert curve is not None

    def make(numbers: list[Column]) -> list[Column]:
        values = curve.values(numbers[0])
        if item.scale != 1.0 or item.bias != 0.0:
            values *= item.scale
            values += item.bias
        return [values]

    return make


def _directed(make_values: Make, curve: DegreesMinutes) -> Make:
    """A position whose sign is told by a letter, the last of the numbers; scaled degrees stay what they are."""
    return lambda numbers: [curve.directed(make_values(numbers[:-1])[0], numbers[-1])]


def _quaternion(size: int) -> Make:
    return lambda numbers: list(unpacked(numbers[0], size))


def _text(numbers: list[Column]) -> list[Column]:
    joined = np.ascontiguousarray(np.stack(numbers, axis=1), dtype=np.uint8)
    return [joined.view(f"S{len(numbers)}").reshape(-1)]


def _as_floats(numbers: list[Column]) -> list[Column]:
    with np.errstate(invalid="ignore"):  # a signalling NaN
        return [column.astype(np.float64) for column in numbers]


def _missing(item: Field) -> Make:
    """A field that none of the packets has, from a column of NaN."""
    if item.kind is WireKind.TEXT:
        return lambda numbers: [np.zeros(numbers[0].shape, dtype=f"S{item.bits // 8}")]
    return lambda numbers: [numbers[0].copy() for _ in item.columns]
