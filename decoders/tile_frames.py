"""Where the frames of a block stand, for all of them at once: the part of the fast way that knows framings.

What is not certain at once is left to the readable way: a candidate here is taken only if its checksum holds.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decoders.layout import ByteOrder, LengthField

IntArray = NDArray[np.int64]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Frames:
    """Candidates in the order they come.

    bytes: what they are gathered from. at, length: (n,) where there. start, end: (n,) their places in the block,
    delimiter included. plain: (n,) false where the bytes are not what the readable way would give.
    """

    bytes: Bytes
    at: IntArray
    length: IntArray
    start: IntArray
    end: IntArray
    plain: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Escapes:
    """Byte stuffing with an escape: the delimiter, the escape, and pairs of what follows it and what they mean."""

    delimiter: int
    escape: int
    meanings: tuple[tuple[int, int], ...]


SLIP = Escapes(0xC0, 0xDB, ((0xDC, 0xC0), (0xDD, 0xDB)))  # RFC 1055
RFC_1662 = Escapes(0x7E, 0x7D, ((0x5E, 0x7E), (0x5D, 0x7D)))  # what must be escaped; other escapes are left over


def between(data: Bytes, size: int, delimiter: int) -> tuple[IntArray, IntArray]:
    """(n,) starts and ends of what stands between delimiters, which come after each end."""
    ends = np.flatnonzero(data[:size] == delimiter)
    starts = np.empty_like(ends)
    starts[:1] = 0
    starts[1:] = ends[:-1] + 1
    return starts, ends


def zero_delimited(data: Bytes, size: int) -> Frames:
    """Frames that end in a zero, as they stand."""
    starts, ends = between(data, size, 0)
    return Frames(data, starts, ends - starts, starts, ends + 1, np.ones(starts.shape, dtype=np.bool_))


def unescaped(block: bytes, size: int, escapes: Escapes, padding: bytes) -> Frames:
    """Frames whose escapes have been taken back, all in one run of bytes."""
    data = np.frombuffer(block, dtype=np.uint8)
    starts, ends = between(data, size, escapes.delimiter)
    here = np.flatnonzero(data[:size] == escapes.escape)
    following = data[here + 1]
    known = np.zeros(here.shape, dtype=np.bool_)
    for code, _ in escapes.meanings:
        known |= following == code
    # an escape's number of delimiters before it is its frame's number
    mine = np.searchsorted(ends, here)
    count = starts.size
    removed = np.bincount(mine[known], minlength=count)[:count]
    plain = np.ones(count, dtype=np.bool_)
    odd = mine[~known]
    plain[odd[odd < count]] = False
    cleared = block[:size]
    for code, meaning in escapes.meanings:
        cleared = cleared.replace(bytes((escapes.escape, code)), bytes((meaning,)))
    before = np.cumsum(removed) - removed
    return Frames(
        np.frombuffer(cleared + padding, dtype=np.uint8),
        starts - before,
        ends - starts - removed,
        starts,
        ends + 1,
        plain,
    )


def behind_word(data: Bytes, size: int, word: bytes, lengths: Callable[[Bytes, IntArray], IntArray]) -> Frames:
    """Where a sync word stands and, by its length, a whole frame behind it; they may overlap."""
    last = size - len(word) + 1
    places = np.flatnonzero(data[: max(last, 0)] == word[0])
    for on, byte in enumerate(word[1:], 1):
        places = places[data[places + on] == byte]
    length = lengths(data, places)
    whole = (length > 0) & (places + length <= size)
    places, length = places[whole], length[whole]
    return Frames(data, places, length, places, places + length, np.ones(places.shape, dtype=np.bool_))


def one_by_one(data: Bytes, start: int, size: int, at: int, lengths: list[int]) -> Frames:
    """Frames that follow each other from a start on, as far as the byte `at` of each says how long it is."""
    codes = data[:size].tobytes()
    places = []
    place = start
    last = size - at
    while place < last:
        length = lengths[codes[place + at]]
        if not length:
            break
        places.append(place)
        place += length
    if places and place > size:
        places.pop()
    start_of = np.array(places, dtype=np.int64)
    length_of = np.array(lengths, dtype=np.int64)[data[start_of + at]]
    return Frames(data, start_of, length_of, start_of, start_of + length_of, np.ones(len(places), dtype=np.bool_))


def stated_lengths(field: LengthField, word: int, longest: int) -> Callable[[Bytes, IntArray], IntArray]:
    """What frames at some places state as their length; 0 where that is none."""
    size, at = field.bits // 8, word + field.at

    def lengths(data: Bytes, places: IntArray) -> IntArray:
        stated = np.full(places.shape, word + field.adds, dtype=np.int64)
        for byte in range(size):
            up = 8 * (byte if field.byte_order is ByteOrder.LITTLE else size - 1 - byte)
            where = np.minimum(places + (at + byte), data.size - 1)
            stated += data[where].astype(np.int64) << up
        stated[(stated < at + size) | (stated > longest)] = 0
        return stated

    return lengths
