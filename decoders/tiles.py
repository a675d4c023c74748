"""Whole recordings, fast: frames by the thousand.

The readable way (`decoders.cobs`, `decoders.crc`, `decoders.columns`) defines what comes out. This module gives the
same for the frames it accepts and leaves every other byte to it. It pays off from some hundreds of frames of one
length on.

Frames of one length are gathered into a tile and transposed, so that there is one contiguous row for each byte
position; stuffing, CRC and fields are then arithmetic on whole rows:

- Where the frames are, and escapes taken back: see `decoders.tile_frames`.
- COBS: a counter for each frame holds its next code's position. In row j, where the counter is j, the byte is a code:
  it becomes zero and moves the counter on. A frame is sound if its counter ends at its length. A counter of 8 bits is
  enough: one that overflows lands before j, is never met again, and cannot end at the length.
- CRCs of 16 bits and the polynomial 0x1021: see `decoders.folding`. Other checksums go row by row, CRCs through a
  table.
"""

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from decoders.columns import Column, Reading, RowReader
from decoders.contents import Contents
from decoders.crc import CrcModel
from decoders.enveloped import is_in_one_run
from decoders.folding import fold, folding_crc
from decoders.hexadecimal_frames import HexadecimalLines
from decoders.layout import ByteOrder, Layout, Sync
from decoders.lines_around_tiles import LinesAround
from decoders.room import Room, empty_columns
from decoders.tile_frames import DELIMITED, Frames, finder

IntArray = NDArray[np.int64]
Planes = NDArray[np.uint8]  # (byte position, frame)

LEAST_BLOCK = 1 << 15  # bytes; below, no kind of packet is likely to come often enough
_LEAST_FRAMES = 400  # of one length; below, the readable way is faster (measured)
_TILE_BYTES = 1 << 21  # more fall out of the processor's cache, fewer make too many calls (measured)
_GATHERED_BYTES = 1 << 18  # so few are still in a nearer cache when they are moved on (measured)
_WORD = np.dtype("<u4")  # bytes that are moved at once, the first one the lowest
_TOGETHER = 1 << 18  # bytes of numbers put together at once: of more, calls are no longer the cost (measured)
_MANY = 64  # with a gap among so many, each run between them is too short to be moved by itself (measured)
_NONE: IntArray = np.zeros(0, dtype=np.int64)
_LONGEST = 254  # bytes of a frame whose counters fit 8 bits


@dataclass(frozen=True, slots=True)
class Harvest:
    """The accepted packets of one kind: (n,) places of their frames in the block, and the columns."""

    kind: int
    start: IntArray
    end: IntArray
    columns: dict[str, Column]

    def only(self, which: NDArray[np.bool_]) -> "Harvest":
        """Some of the packets."""
        columns = {name: column[which] for name, column in self.columns.items()}
        return Harvest(self.kind, self.start[which], self.end[which], columns)


@dataclass(frozen=True, slots=True)
class Harvested:
    """What came of one block: packets by kind, and the places (start, end) of all bytes left over, in order."""

    harvests: tuple[Harvest, ...]
    rest: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class _Kind:
    """One kind of packet of one length: the bytes that mark it (place, mask, value), its columns, their runs."""

    kind: int
    marks: tuple[tuple[int, int, int], ...]
    reader: RowReader
    runs: tuple[tuple[int, int], ...]


class TileDecoder:
    """Decodes blocks of frames of one layout; keeps nothing but its working memory between them.

    Columns are written to new memory, or where one of `rooms`, by the number of their kind, has some for them.
    """

    # behind a block, so that its last frame can be gathered in whole words
    PADDING: ClassVar[bytes] = bytes(_WORD.itemsize)

    def __init__(
        self,
        layout: Layout,
        contents: Contents,
        readers: Sequence[Mapping[int, RowReader]],
        sync: Sync | None,
        rooms: Sequence[Room] = (),
    ) -> None:
        self._contents = contents
        self._folding = folding_crc(layout)
        self._find: Callable[[bytes, int], Frames]
        if layout.envelope.line:
            self._find = LinesAround(layout, contents).find
        elif layout.framing == "hexadecimal lines":
            self._find = HexadecimalLines(contents.longest).find
        else:
            self._find = finder(layout, contents, sync)
        self._is_cobs = layout.framing == "cobs"
        self._code = 1 if self._is_cobs else 0  # bytes in front of the contents
        self._by_length: dict[int, list[_Kind]] = {}
        for number, (packet, by_length) in enumerate(zip(layout.packets, readers, strict=True)):
            for length, reader in by_length.items():
                if length + self._code <= _LONGEST:
                    kind = _Kind(number, contents.marks(packet), reader, _runs_of(reader.readings))
                    self._by_length.setdefault(length + self._code, []).append(kind)
        self._rooms = rooms
        self._scratch: tuple[NDArray[np.uint8], NDArray[np.uint8]] | None = None

    @staticmethod
    def takes(layout: Layout) -> bool:
        """Whether this is the way for a layout."""
        if layout.envelope.line:
            return LinesAround.takes(layout)
        if layout.envelope.behind or not is_in_one_run(layout.envelope):
            return False
        if layout.framing == "fixed length":
            return layout.id_bits == 0 or (
                layout.id_bits == 8 and layout.id_first_bit % 8 == 0 and not layout.address
            )
        return layout.framing in (*DELIMITED, "hexadecimal lines", "sync", "ccsds")

    def find(self, block: bytes, size: int) -> Frames:
        """What could be the frames in a block of `size` bytes and `PADDING`."""
        return self._find(block, size)

    def decode(self, block: bytes, size: int) -> Harvested:
        """The packets in a block that starts with the start of a frame.

        Args:
            block: The next `size` bytes of the stream, cut anywhere at their end, and `PADDING`.
            size: As above.
        Returns:
            Sound packets of those kinds that come often enough; damaged frames, rare kinds and the unfinished frame
            at the end are left over.
        """
        frames = self._find(block, size)
        done, harvests = self.harvest(frames)
        done |= frames.length == 0
        return Harvested(tuple(harvests), tuple(left_over(frames.start, frames.end, done, size)))

    def harvest(self, frames: Frames) -> tuple[NDArray[np.bool_], list[Harvest]]:
        """Which of some candidates are sound packets that come often enough, and those."""
        done = np.zeros(frames.start.shape, dtype=np.bool_)
        harvests = []
        for length, kinds in self._by_length.items():
            some = np.flatnonzero((frames.length == length) & frames.plain)
            if some.size < _LEAST_FRAMES:
                continue
            for kind, mine in self._by_kind(frames, some, kinds):
                if mine.size < _LEAST_FRAMES:
                    continue
                at = frames.at.take(mine)
                gaps, columns = self._harvest(frames.bytes, at, length, kind)
                mine = _without(mine, gaps)
                if mine.size:
                    done[mine] = True
                    start = _without(at, gaps) if frames.at is frames.start else frames.start.take(mine)
                    harvests.append(Harvest(kind.kind, start, frames.end.take(mine), columns))
        return done, harvests

    def _by_kind(self, frames: Frames, some: IntArray, kinds: list[_Kind]) -> Iterator[tuple[_Kind, IntArray]]:
        """Those that may be of each kind; where several have one length, by the bytes that mark them, unstuffed."""
        if len(kinds) == 1:
            yield kinds[0], some
            return
        count = self._code + 1 + max((place for place, _, _ in kinds[0].marks), default=0)
        head = np.array([frames.bytes[frames.at[some] + place] for place in range(count)], dtype=np.uint8)
        if self._is_cobs:
            _unstuff(head)
        head = head[self._code :]
        for kind in kinds:
            same = np.all([_masked(head[place], mask) == value for place, mask, value in kind.marks], axis=0)
            yield kind, some[same]

    def _harvest(
        self, data: Planes, starts: IntArray, length: int, kind: _Kind
    ) -> tuple[IntArray, dict[str, Column]]:
        """Which of the frames are no sound packets of the kind, and the columns of those that are."""
        count = starts.size
        readings = kind.reader.readings
        columns = None
        if self._rooms and kind.reader.is_plain:
            columns = self._rooms[kind.kind].offered({r.name: r.column_type for r in readings}, count)
        if columns is None:
            columns = empty_columns([reading.column_type for reading in readings], count)
        unsound: list[IntArray] = []
        filled = 0
        step = _TILE_BYTES // _padded(length)
        for first in range(0, count, step):
            some = starts[first : first + step]
            spare, planes = self._gather(data, some, length)
            sound = _unstuff(planes) == length if self._is_cobs else np.ones(some.size, dtype=np.bool_)
            contents = planes[self._code :]
            if self._folding is not None:
                ours = contents[self._contents.body_at : contents.shape[0] - self._contents.envelope[1]]
                self._check_by_folding(self._folding, ours, spare, sound)
            else:
                self._check(contents, sound)
            for place, mask, value in kind.marks:
                sound &= _masked(contents[place], mask) == value
            gaps = np.flatnonzero(~sound)
            if gaps.size:
                unsound.append(gaps + first)
                contents = _without_gaps(contents, spare, gaps)
            _fill(columns, kind, contents, filled)
            filled += contents.shape[1]
        if filled < count:
            few = 2 * filled < count
            columns = [column[:filled].copy() if few else column[:filled] for column in columns]
        return np.concatenate([*unsound, _NONE]), kind.reader.assembled(columns, filled)

    def _gather(self, data: Planes, starts: IntArray, length: int) -> tuple[Planes, Planes]:
        """Working memory of as many planes, and the frames as planes (length, n)."""
        width, count = _padded(length), starts.size
        if self._scratch is None:
            size = _TILE_BYTES + _WORD.itemsize
            self._scratch = np.empty(size, dtype=np.uint8), np.empty(size, dtype=np.uint8)
        spare, planes = (part[: width * count].reshape(width, count) for part in self._scratch)
        overlapping = np.ndarray(data.size - width + 1, dtype=f"V{width}", buffer=data, strides=(1,))
        # views of the words in the spare memory, each a byte further on: their first bytes are all there are
        shape = width // _WORD.itemsize, count
        words, *further = (np.ndarray(shape, _WORD, self._scratch[0], place) for place in range(_WORD.itemsize))
        step = _GATHERED_BYTES // width
        for first in range(0, count, step):
            rows = overlapping[starts[first : first + step]].view(_WORD).reshape(-1, shape[0])
            np.copyto(words[:, first : first + step], rows.T)
        for place, view in enumerate((words, *further)):
            np.copyto(planes[place :: _WORD.itemsize], view, casting="unsafe")  # of a word, its first byte
        return spare, planes[:length]

    def _check(self, contents: Planes, sound: NDArray[np.bool_]) -> None:
        """Mark frames whose checksum is wrong as unsound."""
        ours = self._contents
        if ours.checksum.size == 0:
            return
        message = contents[ours.covered]
        if ours.covered_too is not None:
            message = np.concatenate((message, contents[ours.covered_too]))
        stated = np.zeros(contents.shape[1], dtype=np.uint64)
        rows = contents[ours.stated]
        for row in rows[::-1] if ours.checksum_order is ByteOrder.LITTLE else rows:
            stated <<= np.uint64(8)
            stated |= row
        sound &= ours.checksum.of_rows(message.T) == stated

    def _check_by_folding(self, crc: CrcModel, contents: Planes, spare: Planes, sound: NDArray[np.bool_]) -> None:
        """As `_check`, for a CRC of the polynomial that folds, over the whole body and behind it."""
        length = contents.shape[0]
        rows = spare[:length]
        fold(rows, lowest_first=crc.reflect_in, message=contents)
        first, second = rows[-2:]
        highest_first = ByteOrder.LITTLE if crc.reflect_in else ByteOrder.BIG
        if self._contents.checksum_order is not highest_first:  # the last two bytes were added the wrong way round
            both = contents[-2] ^ contents[-1]
            first ^= both
            second ^= both
        # what the start value and the last exclusive or come to: the CRC of zeros is what a sound frame leaves
        expected = crc.of(bytes(length - 2)).to_bytes(2, highest_first.value)
        sound &= first == expected[0]
        sound &= second == expected[1]


def _padded(length: int) -> int:
    """Bytes gathered for a frame of that length: whole words."""
    return -(-length // _WORD.itemsize) * _WORD.itemsize


def _masked(row: Planes, mask: int) -> Planes:
    """The bits of a mask in a row of bytes."""
    masked: Planes = row if mask == 0xFF else row & np.uint8(mask)
    return masked


def _unstuff(planes: Planes) -> NDArray[np.uint8]:
    """Undo COBS in place, the code in front of each frame included; where each frame's next code would be."""
    counter: NDArray[np.uint8] = planes[0].copy()
    planes[0] = 0
    here = np.empty(counter.shape, dtype=np.bool_)
    code = np.empty_like(counter)
    for place in range(1, planes.shape[0]):
        row = planes[place]
        np.equal(counter, place, out=here)
        np.multiply(row, here.view(np.uint8), out=code)
        counter += code
        row -= code
    return counter


def _runs(gaps: IntArray, count: int) -> Iterator[tuple[int, int]]:
    """Start and end of what lies between gaps."""
    for gap, following in itertools.pairwise([-1, *gaps.tolist(), count]):
        yield gap + 1, following


def _without(numbers: IntArray, gaps: IntArray) -> IntArray:
    """The numbers but those at some places."""
    if not gaps.size:
        return numbers
    if _MANY * gaps.size > numbers.size:
        return np.delete(numbers, gaps)
    return np.concatenate([numbers[start:end] for start, end in _runs(gaps, numbers.size)])


def _without_gaps(contents: Planes, spare: Planes, gaps: IntArray) -> Planes:
    """The contents of the sound frames only, in other memory; what lies between few unsound ones moves as one run."""
    length, count = contents.shape
    moved = spare[:length, : count - gaps.size]
    if _MANY * gaps.size > count:
        sound = np.ones(count, dtype=np.bool_)
        sound[gaps] = False
        np.compress(sound, contents, axis=1, out=moved)
        return moved
    to = 0
    for start, end in _runs(gaps, count):
        moved[:, to : to + end - start] = contents[:, start:end]
        to += end - start
    return moved


def _fill(columns: list[Column], kind: _Kind, contents: Planes, filled: int) -> None:
    """Write a tile's values to the columns, from place `filled` on."""
    numbers: dict[tuple[int, int, ByteOrder], Column] = {}
    readings, count = kind.reader.readings, contents.shape[1]
    parts = [column[filled : filled + count] for column in columns]
    with np.errstate(over="ignore", invalid="ignore"):  # as in decoders.columns
        for first, past in kind.runs:
            most = max(1, _TOGETHER // (count * readings[first].size)) if past > first + 1 else 1
            for at in range(first, past, most):
                end = min(at + most, past)
                if end > at + 1:
                    _fill_run(parts[at:end], readings[at:end], contents)
                else:
                    _fill_one(parts[at], readings[at], contents, numbers)


def _fill_one(
    part: Column, reading: Reading, contents: Planes, numbers: dict[tuple[int, int, ByteOrder], Column]
) -> None:
    """Write the values of one column; `numbers` that hold several of them are put together once."""
    if _is_whole(reading) and not reading.is_scaled:
        _assemble(part.view(f"u{part.itemsize}"), _rows(contents, reading, 1))
        return
    place = (reading.start, reading.size, reading.byte_order)
    if place not in numbers:
        numbers[place] = np.empty(part.shape, dtype=f"u{reading.window.itemsize}")
        _assemble(numbers[place], _rows(contents, reading, 1))
    part[:] = _raw(numbers[place], reading)
    _scale(part, reading)


def _fill_run(parts: list[Column], readings: tuple[Reading, ...], contents: Planes) -> None:
    """Write the values of several columns whose whole numbers follow each other; as `_fill_one` in fewer calls."""
    half = readings[0].size // 2
    rows = _rows(contents, readings[0], len(readings))
    upper = np.empty(rows.shape[1:], dtype=f"u{2 * half}")
    upper[:] = _assembled(rows[:half])
    upper *= upper.dtype.type(256**half)
    lower = _assembled(rows[half:])
    for part, reading, high, low in zip(parts, readings, upper, lower, strict=True):
        if reading.is_scaled:
            high |= low
            part[:] = _raw(high, reading)
            _scale(part, reading)
        else:
            np.bitwise_or(high, low, out=part.view(high.dtype))


def _scale(part: Column, reading: Reading) -> None:
    if reading.is_scaled:
        part *= reading.scale
        if reading.is_moved:
            part += reading.bias


def _is_whole(reading: Reading) -> bool:
    """Whether the number fills a machine number and is one."""
    return reading.bits == 8 * reading.window.itemsize and reading.dtype.kind != "b"


def _runs_of(readings: tuple[Reading, ...]) -> tuple[tuple[int, int], ...]:
    """The readings (first, past) of whole numbers of one size that follow each other; all others by themselves."""
    breaks = [0]
    for k, (one, following) in enumerate(itertools.pairwise(readings), 1):
        is_run = _is_whole(one) and _is_whole(following) and one.size == following.size > 1
        if not is_run or following.start != one.start + one.size or one.byte_order is not following.byte_order:
            breaks.append(k)
    return tuple(itertools.pairwise([*breaks, len(readings)])) if readings else ()


def _rows(contents: Planes, reading: Reading, count: int) -> Planes:
    """(bytes, n) the bytes of a number, the highest first; (bytes, numbers, n) of as many from this reading's on."""
    rows = contents[reading.start : reading.start + count * reading.size]
    if count > 1:
        rows = rows.reshape(count, reading.size, -1).swapaxes(0, 1)
    return rows[::-1] if reading.byte_order is ByteOrder.LITTLE else rows


def _assemble(number: Column, rows: Planes) -> None:
    """Put together unsigned numbers from rows of their bytes, the highest first; too many for half the size."""
    if number.itemsize == 1:
        number[:] = rows[0]
        return
    half = number.itemsize // 2
    number[:] = _assembled(rows[:-half])
    number *= number.dtype.type(256**half)  # numpy computes that faster than a shift, on the most frequent sizes
    number |= _assembled(rows[-half:])


def _assembled(rows: Planes) -> Column:
    """The unsigned numbers of rows of their bytes, as small as can be."""
    size = next(size for size in (1, 2, 4, 8) if size >= rows.shape[0])
    number: Column = np.empty(rows.shape[1:], dtype=f"u{size}") if size > 1 else rows[0]
    if size > 1:
        _assemble(number, rows)
    return number


def _raw(number: Column, reading: Reading) -> Column:
    """The raw numbers of a field that is, or is part of, these unsigned ones."""
    typed: Column = number.view(reading.window.newbyteorder("="))
    bits = 8 * reading.window.itemsize
    up, down = bits - reading.shift - reading.bits, bits - reading.bits
    if up == down == 0:
        return typed
    kind = reading.window.type
    shifted: Column = (typed << kind(up)) >> kind(down)
    return shifted


def left_over(starts: IntArray, ends: IntArray, done: NDArray[np.bool_], size: int) -> Iterator[tuple[int, int]]:
    """The places of what is not done; neighbouring frames together, and the unfinished one at the end."""
    left = np.flatnonzero(~done)
    if left.size:
        breaks = np.flatnonzero(np.diff(left) > 1)
        firsts = left[np.concatenate(([0], breaks + 1))]
        lasts = left[np.concatenate((breaks, [left.size - 1]))]
        yield from zip(starts[firsts].tolist(), ends[lasts].tolist(), strict=True)
    unfinished = int(ends[-1]) if ends.size else 0
    if unfinished < size:
        yield unfinished, size
