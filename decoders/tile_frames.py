"""Where the frames of a block stand, for all of them at once: the part of the fast way that knows framings.

What is not certain at once is left to the readable way: a candidate here is taken only if its checksum holds.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decoders.contents import Contents
from decoders.layout import ByteOrder, Layout, LengthField, Sync

IntArray = NDArray[np.int64]
Bytes = NDArray[np.uint8]
Lengths = Callable[[Bytes, IntArray], IntArray]  # of the frames at some places; 0 where none is


DELIMITED = ("cobs", "slip", "rfc 1662")  # framings whose frames end in a byte of their own


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
    """Byte stuffing with an escape: the delimiter, the escape, and what each byte after it means (256 places)."""

    delimiter: int
    escape: int
    meaning: Bytes
    known: NDArray[np.bool_]


def _escapes(delimiter: int, escape: int, meanings: dict[int, int]) -> Escapes:
    meaning = np.zeros(256, dtype=np.uint8)
    meaning[list(meanings)] = list(meanings.values())
    return Escapes(delimiter, escape, meaning, np.isin(np.arange(256), list(meanings)))


SLIP = _escapes(0xC0, 0xDB, {0xDC: 0xC0, 0xDD: 0xDB})  # RFC 1055
RFC_1662 = _escapes(0x7E, 0x7D, {code: code ^ 0x20 for code in range(256) if code not in (0x7D, 0x7E)})


# times 1 in byte k of a group, its highest byte is k
_PLACE_IN_GROUP = np.uint64(0x0001020304050607)


def places_of(byte: int, data: Bytes) -> IntArray:
    """(n,) where a byte stands: first in which groups of eight, since it is in few and seldom twice in one."""
    here = data == byte
    whole = here.size // 8 * 8
    groups = here[:whole].view("<u8")  # in each the byte that is 1, if any is, tells the place
    places = np.flatnonzero(groups != 0)
    found = groups.take(places)
    if np.any(found & (found - np.uint64(1))):
        return np.flatnonzero(here)
    found *= _PLACE_IN_GROUP
    found >>= np.uint64(56)
    places *= 8
    places += found.view(np.int64)
    return np.concatenate((places, np.flatnonzero(here[whole:]) + whole))


def between(data: Bytes, size: int, delimiter: int) -> tuple[IntArray, IntArray]:
    """(n,) starts and ends of what stands between delimiters, which come after each end."""
    ends = places_of(delimiter, data[:size])
    starts = np.empty_like(ends)
    starts[:1] = 0
    starts[1:] = ends[:-1] + 1
    return starts, ends


def zero_delimited(data: Bytes, size: int) -> Frames:
    """Frames that end in a zero, as they stand."""
    starts, ends = between(data, size, 0)
    return Frames(data, starts, ends - starts, starts, ends + 1, np.ones(starts.shape, dtype=np.bool_))


def unescaped(block: bytes, size: int, escapes: Escapes) -> Frames:
    """Frames whose escapes have been taken back, all in one run of bytes."""
    data = np.frombuffer(block, dtype=np.uint8)
    starts, ends = between(data, size, escapes.delimiter)
    here = np.flatnonzero(data[:size] == escapes.escape)
    following = data[here + 1]
    known = escapes.known[following]
    # an escape's frame has the number of the delimiters before it
    mine = np.searchsorted(ends, here)
    count = starts.size
    removed = np.bincount(mine, minlength=count)[:count]
    plain = np.ones(count, dtype=np.bool_)
    odd = mine[~known]
    plain[odd[odd < count]] = False
    # without the escapes; what came after them is then as many places back as there were escapes
    cleared = bytearray(block).replace(bytes((escapes.escape,)), b"")
    unstuffed = np.frombuffer(cleared, dtype=np.uint8)
    after = here - np.arange(here.size)
    unstuffed[after[known]] = escapes.meaning[following[known]]
    before = np.cumsum(removed) - removed
    return Frames(
        unstuffed,
        starts - before,
        ends - starts - removed,
        starts,
        ends + 1,
        plain,
    )


def behind_word(data: Bytes, size: int, word: bytes, lengths: Lengths) -> Frames:
    """Where a sync word stands and, by its length, a whole frame behind it; they may overlap."""
    last = size - len(word) + 1
    places = np.flatnonzero(data[: max(last, 0)] == word[0])
    for on, byte in enumerate(word[1:], 1):
        places = places[data[places + on] == byte]
    length = lengths(data, places)
    whole = (length > 0) & (places + length <= size)
    return _as_they_stand(data, places[whole], length[whole])


def one_by_one(data: Bytes, size: int, at: int, length_by_code: list[int]) -> Frames:
    """Frames without a sync word, each as long as its byte `at` says and followed by the next.

    Where a byte says nothing, the next place is where three frames seem to follow each other.
    """
    # at each byte the length of the frame whose code it could be; zeros end the walk
    steps = data[at:size].tobytes().translate(bytes(length_by_code)) + bytes(max(length_by_code))
    places: list[int] = []
    add = places.append
    place, last = 0, size - at
    while place < last:
        while length := steps[place]:
            add(place)
            place += length
        place += 1
        while place < last and not _three_follow(steps, place):
            place += 1
    start = np.array(places, dtype=np.int64)
    length_of = np.array(length_by_code, dtype=np.int64)[data[start + at]]
    whole = start + length_of <= size
    return _as_they_stand(data, start[whole], length_of[whole])


def _three_follow(steps: bytes, place: int) -> bool:
    """Whether three frames seem to follow each other from a place on, as far as there are bytes."""
    for _ in range(3):
        if place >= len(steps) or not steps[place]:
            return False
        place += steps[place]
    return True


def one_after_the_other(data: Bytes, size: int, length: int) -> Frames:
    """Frames of one length without anything in front of them."""
    start = np.arange(0, size - length + 1, length, dtype=np.int64)
    return _as_they_stand(data, start, np.full(start.shape, length, dtype=np.int64))


def _as_they_stand(data: Bytes, start: IntArray, length: IntArray) -> Frames:
    return Frames(data, start, length, start, start + length, np.ones(start.shape, dtype=np.bool_))


def stated_lengths(field: LengthField, word: int, longest: int) -> Lengths:
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


def marked_lengths(marks: list[tuple[int, tuple[tuple[int, int, int], ...]]]) -> Lengths:
    """How long frames are by the bytes that mark their kind: of each kind its length and (place, mask, value)."""

    def lengths(data: Bytes, places: IntArray) -> IntArray:
        found = np.zeros(places.shape, dtype=np.int64)
        for length, kind in marks:
            same = np.ones(places.shape, dtype=np.bool_)
            for at, mask, value in kind:
                same &= data[np.minimum(places + at, data.size - 1)] & np.uint8(mask) == value
            found[same] = length
        return found

    return lengths


def finder(layout: Layout, contents: Contents, sync: Sync | None) -> Callable[[bytes, int], Frames]:
    """What finds the frames of a layout in a block of so many bytes, and the padding."""
    name = layout.framing
    if name == "cobs":
        return lambda block, size: zero_delimited(np.frombuffer(block, dtype=np.uint8), size)
    if name in DELIMITED:
        escapes = {"slip": SLIP, "rfc 1662": RFC_1662}[name]
        return lambda block, size: unescaped(block, size, escapes)
    around = contents.longest - max(packet.length for packet in layout.packets)
    kinds = [(around + packet.length, contents.marks(packet)) for packet in layout.packets]
    if sync is None or not sync.word:
        length, marks = kinds[0]
        if not marks:
            return lambda block, size: one_after_the_other(np.frombuffer(block, dtype=np.uint8), size, length)
        at = marks[0][0]
        by_code = [0] * 256
        for length_of, ((_, _, value), *_) in kinds:
            by_code[value] = length_of
        return lambda block, size: one_by_one(np.frombuffer(block, dtype=np.uint8), size, at, by_code)
    word = sync.word
    lengths = marked_lengths(kinds)
    if sync.length is not None:
        lengths = stated_lengths(sync.length, len(word), contents.longest)
    return lambda block, size: behind_word(np.frombuffer(block, dtype=np.uint8), size, word, lengths)
