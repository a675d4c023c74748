"""Framings without a delimiter: a sync word or the checksum shows where a frame starts, and a length how far it goes.

Contents are the whole frame, sync word and header included. A damaged frame or noise can look like a start, so
cutting goes byte by byte until a frame is sound; a sound frame is never cut.
"""

import itertools
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from decoders.contents import Contents, Verdict
from decoders.cutting import STRETCH, Cut, Stretch
from decoders.errors import LayoutError
from decoders.layout import LengthField, Reason, Sync

IntArray = NDArray[np.int64]
Measure = Callable[
    [bytes, int], int | None
]  # length of the frame that starts at a place; 0: none does; None: see more


@dataclass(frozen=True, slots=True)
class Synchronised:
    """Frames behind a sync word, their length stated or given by their kind."""

    name: str
    sync: Sync

    @property
    def head_size(self) -> int:
        """Bytes of a frame before its checksum or body: the sync word and the header."""
        return len(self.sync.word) + self.sync.header

    def prepare(self, contents: bytearray) -> None:
        """Write sync word and length into contents that have room for them."""
        word, length = self.sync.word, self.sync.length
        contents[: len(word)] = word
        if length is not None:
            place = len(word) + length.at
            number = len(contents) - len(word) - length.adds
            if not 0 <= number < 1 << length.bits or place + length.bits // 8 > len(contents):
                raise LayoutError(
                    f"found a length of {number}, expected one that {length.bits} bits at byte {place} can hold",
                    where="framing",
                )
            contents[place : place + length.bits // 8] = number.to_bytes(length.bits // 8, length.byte_order.value)

    def encode(self, contents: bytes) -> bytes:
        """The contents as they are."""
        return contents

    def decode(self, frame: bytes) -> bytes:
        """The frame as it is."""
        return frame

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """The frames as they are."""
        return list(frames)

    def cutter(self, contents: Contents) -> "HuntingCutter":
        """A cutter that looks for the sync word.

        Raises:
            LayoutError: Nothing says how long a packet with an optional tail is.
        """
        length = self.sync.length
        if length is None and contents.has_optional_tails:
            raise LayoutError(
                "found an optional tail, expected one length, as no frame states its own", where="framing"
            )
        measure = contents.length_from if length is None else _stated(length, len(self.sync.word), contents.longest)
        return HuntingCutter(self.sync.word, measure, contents)


def _stated(length: LengthField, word: int, longest: int) -> Measure:
    """The length that a frame states; one longer than any packet's is no frame."""
    size, at = length.bits // 8, word + length.at
    order: Literal["little", "big"] = length.byte_order.value

    def measure(data: bytes, start: int) -> int | None:
        field = data[start + at : start + at + size]
        if len(field) < size:
            return None
        stated = word + length.adds + int.from_bytes(field, order)
        return stated if at + size <= stated <= longest else 0

    return measure


class HuntingCutter:
    """Cuts a stream where a sound frame starts with the sync word (which may be empty).

    Holds back at most the longest frame. Bytes that belong to no sound frame are stretches: one for each damaged
    frame (as far as it would have reached), and what lies between, at most `STRETCH` bytes each.
    """

    def __init__(self, word: bytes, measure: Measure, contents: Contents) -> None:
        self._word = word
        self._measure = measure
        self._contents = contents
        self._id = contents.id_byte if not word else None
        self._ids = re.compile(b"[" + re.escape(self._id[1]) + b"]") if self._id else None
        self._held = b""
        self._start = 0  # of what is held, in the stream
        self._lost = _Lost(contents.longest)
        self._lost.opened(0)

    @property
    def offset(self) -> int:
        """Bytes taken in since the stream began."""
        return self._start + len(self._held)

    def take(self, data: bytes) -> Cut:
        """The frames that end in these bytes."""
        cut = Cut()
        data = self._held + data
        self._hold(data, self._hunt(cut, data, 0, len(data), ended=False))
        return cut

    def reclaim(self) -> bytes:
        """What is held back, as if it had not been taken in."""
        held, self._held = self._held, b""
        return held

    def take_among(self, cut: Cut, data: bytes, starts: IntArray, ends: IntArray) -> NDArray[np.bool_]:
        """As `take`, where sound packets are known already.

        Args:
            cut: What is added to: all frames but the known ones, and the stretches.
            data: What was reclaimed, and the next bytes.
            starts: (n,) places in the data where the known packets start, rising.
            ends: (n,) places after their ends.
        Returns:
            (n,) which of them are to be taken; the others overlap sound frames that start sooner.
        """
        taken = np.ones(starts.shape, dtype=np.bool_)
        breaks = np.flatnonzero(starts[1:] != ends[:-1]) + 1
        place = 0
        for first, past in itertools.pairwise([0, *breaks.tolist(), starts.size]):
            k = first
            while k < past:
                start = int(starts[k])
                if place < start:
                    place = self._hunt(cut, data, place, start, ended=False)
                    if place < start:  # what could be a frame ends behind this data
                        taken[k:] = False
                        self._hold(data, place)
                        return taken
                if place == start:
                    self._lost.close(cut, self._start + place)
                    place = int(ends[past - 1])
                    break
                following = min(int(np.searchsorted(starts, place)), past)
                taken[k:following] = False
                k = following
        self._hold(data, self._hunt(cut, data, place, len(data), ended=False))
        return taken

    def end(self) -> Cut:
        """What is left of an unfinished frame is a stretch, unless sound frames are in it."""
        cut = Cut()
        self._hold(self._held, self._hunt(cut, self._held, 0, len(self._held), ended=True))
        self._lost.close(cut, self._start)
        self._lost.opened(self._start)
        return cut

    def _hold(self, data: bytes, place: int) -> None:
        """Hold back what is behind a place of the data."""
        self._held = data[place:]
        self._start += place

    def _next(self, data: bytes, place: int, limit: int) -> int:
        """The next place before the limit where a frame could start, -1 if there is none."""
        if self._id is None or self._ids is None:
            return data.find(self._word, place, min(limit + len(self._word) - 1, len(data)))
        at, _ = self._id
        found = self._ids.search(data, place + at, min(limit + at, len(data)))
        start = max(place, (found.start() if found else len(data)) - at)  # at the end the byte is yet to come
        return start if start < limit else -1

    def _hunt(self, cut: Cut, data: bytes, place: int, limit: int, *, ended: bool) -> int:
        """Cut the data from a place on to a limit, which may be passed by a frame; the place that was come to."""
        word, base, lost = self._word, self._start, self._lost
        while place < limit:
            start = self._next(data, place, limit)
            if start < 0:  # the sync word may begin in the last bytes
                start = limit
                if limit == len(data) and not ended:
                    start = max(place, limit - max(len(word), 1) + 1)
                lost.add(cut, base + place, data[place:start])
                place = start
                break
            lost.add(cut, base + place, data[place:start])
            place = start
            length = self._measure(data, start)
            unfinished = length is None or start + length > len(data)
            if unfinished and not ended:
                break
            if length and not unfinished:
                frame = data[start : start + length]
                verdict = self._contents.verdict(frame)
                if verdict is not Verdict.DAMAGED:
                    lost.close(cut, base + start)
                    place = start + length
                    if verdict is Verdict.PACKET:
                        cut.frames.append(frame)
                        cut.starts.append(base + start)
                        cut.ends.append(base + place)
                    else:
                        reason, text = self._contents.fault(frame)
                        cut.stretches.append(Stretch(reason, base + start, base + place, text, frame))
                    continue
                if not lost.reaches(base + start):
                    lost.damaged(cut, base + start, length, *self._contents.fault(frame))
            elif unfinished and not lost.reaches(base + start):
                text = f"the stream ended after {len(data) - start} bytes of a frame"
                lost.damaged(cut, base + start, len(data) - start, Reason.CUT_SHORT, text)
            lost.add(cut, base + start, data[start : start + 1])
            place = start + 1
        return place


class _Lost:
    """Bytes passed over since the last sound frame, given out in stretches."""

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self._start = 0
        self._length = 0
        self._head = b""
        self._reason = Reason.FRAMING
        self._text: str | None = None
        self._until = 0  # where the damaged frame that the stretch stands for would have ended

    def opened(self, start: int) -> None:
        """The stream opens here, perhaps inside a frame: as much as one may hold is one stretch."""
        self._text, self._until = "found no frame in the first bytes", start + self._longest

    def reaches(self, place: int) -> bool:
        """Whether the place lies in a damaged frame: another that seems to start there belongs to it."""
        return place < self._until

    def damaged(self, cut: Cut, start: int, length: int, reason: Reason, text: str) -> None:
        """A damaged frame starts here."""
        self.close(cut, start)
        self._reason, self._text, self._until = reason, text, start + length

    def add(self, cut: Cut, start: int, data: bytes) -> None:
        """These bytes belong to no sound frame."""
        while data:
            if self._text is not None and start >= self._until:
                self.close(cut, start)
            limit = self._until - start if self._text is not None else STRETCH - self._length
            if limit <= 0:
                self.close(cut, start)
                continue
            if self._length == 0:
                self._start = start
            taken, data = data[:limit], data[limit:]
            self._head += taken[: self._longest - len(self._head)]
            self._length += len(taken)
            start += len(taken)

    def close(self, cut: Cut, end: int) -> None:
        """The stretch, if there is one, ends here."""
        if self._length:
            text = self._text or f"found {self._length} bytes in which no frame starts"
            cut.stretches.append(Stretch(self._reason, self._start, end, text, self._head))
        self._length, self._head, self._reason, self._text, self._until = 0, b"", Reason.FRAMING, None, 0
