"""Framings by name: how a frame's contents (body and checksum) lie in the stream.

A framing turns contents into the bytes sent, cuts a stream into candidate frames in a buffer of bounded size, and
turns one candidate back into contents. Whether contents are a packet is left to `decoders.contents`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from decoders import cobs
from decoders.errors import LayoutError
from decoders.layout import Reason

# An endless run without a delimiter is reported in stretches of this many bytes (or of the longest frame, if that is
# more), so that it is seen: at 57,600 baud every 0.7 s.
STRETCH = 4096


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bytes that are no frame: from `start` to before `end` of the stream; `raw` holds at most the first of them."""

    reason: Reason
    start: int
    end: int
    text: str
    raw: bytes


@dataclass(slots=True)
class Cut:
    """What came of cutting some bytes: candidate frames with their places (delimiter included), and the rest."""

    frames: list[bytes] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    ends: list[int] = field(default_factory=list)
    stretches: list[Stretch] = field(default_factory=list)


class Cutter(Protocol):
    """Cuts one stream; what it gives over all calls does not depend on where `data` was cut."""

    @property
    def offset(self) -> int:
        """Bytes taken in since the stream began."""

    def take(self, data: bytes) -> Cut:
        """The frames that end in these bytes."""

    def end(self) -> Cut:
        """The stream ends or breaks here: what is left of an unfinished frame is a stretch. More may follow."""


class Framing(Protocol):
    """One way to put contents into a stream."""

    @property
    def name(self) -> str:
        """As layouts call it."""

    def encode(self, contents: bytes) -> bytes:
        """The bytes to send, delimiters included."""

    def decode(self, frame: bytes) -> bytes:
        """The contents of one candidate as the cutter gave it; FrameError where the framing's rules are broken."""

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """The contents of many candidates, None for those that `decode` refuses."""

    def cutter(self, longest_contents: int) -> Cutter:
        """A cutter for a stream whose contents are at most that long."""


@dataclass(frozen=True, slots=True)
class Delimited:
    """A framing whose stuffing keeps one byte value for the end of a frame."""

    name: str
    delimiter: bytes
    stuff: Callable[[bytes], bytes]
    unstuff: Callable[[bytes], bytes]
    unstuff_each: Callable[[Sequence[bytes]], list[bytes | None]]
    longest: Callable[[int], int]

    def encode(self, contents: bytes) -> bytes:
        """The stuffed contents and the delimiter."""
        return self.stuff(contents) + self.delimiter

    def decode(self, frame: bytes) -> bytes:
        """The contents of a frame without its delimiter."""
        return self.unstuff(frame)

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """As `decode`, None for what it refuses."""
        return self.unstuff_each(frames)

    def cutter(self, longest_contents: int) -> "DelimitedCutter":
        """A cutter at the delimiter."""
        return DelimitedCutter(self.delimiter, self.longest(longest_contents))


class DelimitedCutter:
    """Cuts a stream after each delimiter; empty frames are passed over.

    Holds back at most `longest` bytes. A longer run without a delimiter is a stretch, and cutting goes on after the
    next delimiter.
    """

    def __init__(self, delimiter: bytes, longest: int) -> None:
        self.delimiter = delimiter
        self._longest = longest
        self._pending = b""  # the unfinished frame; empty while a run is too long
        self._start = 0  # of the unfinished frame
        self._run: _LongRun | None = None

    @property
    def offset(self) -> int:
        """Bytes taken in since the stream began."""
        return self._start + (self._run.length if self._run else len(self._pending))

    @property
    def is_in_run(self) -> bool:
        """Whether the bytes so far end in a run that is too long already."""
        return self._run is not None

    def reclaim(self) -> bytes:
        """The unfinished frame, as if it had not been taken in; not to be called in a run that is too long."""
        pending, self._pending = self._pending, b""
        return pending

    def pass_over(self, count: int) -> None:
        """Go on that many bytes later; not to be called inside a frame."""
        self._start += count

    def take(self, data: bytes) -> Cut:
        """The frames whose delimiter is in these bytes."""
        cut = Cut()
        self.take_into(cut, data)
        return cut

    def take_into(self, cut: Cut, data: bytes) -> None:
        """As `take`, added to what came before."""
        if self._run is not None:
            data = self._continue_run(self._run, data, cut)
            if self._run is not None:
                return
        place, longest = self._start, self._longest
        pieces = (self._pending + data if self._pending else data).split(self.delimiter)
        unfinished = pieces.pop()
        for piece in pieces:
            following = place + len(piece) + 1
            if len(piece) > longest:
                run = _LongRun(place, longest)
                run.extend(piece, cut)
                run.close(self.delimiter, cut)
            elif piece:
                cut.frames.append(piece)
                cut.starts.append(place)
                cut.ends.append(following)
            place = following
        self._start, self._pending = place, unfinished
        if len(unfinished) > longest:
            self._run, self._pending = _LongRun(place, longest), b""
            self._run.extend(unfinished, cut)
            self._start = self._run.start

    def end(self) -> Cut:
        """What is left of an unfinished frame is a stretch."""
        cut = Cut()
        offset = self.offset
        if self._run is not None:
            self._run.close(b"", cut)
        elif self._pending:
            text = f"the stream ended after {len(self._pending)} bytes of a frame, without a delimiter"
            cut.stretches.append(Stretch(Reason.CUT_SHORT, self._start, offset, text, self._pending))
        self._run, self._pending, self._start = None, b"", offset
        return cut

    def _continue_run(self, run: "_LongRun", data: bytes, cut: Cut) -> bytes:
        """Let the run swallow what belongs to it; what is left of the data."""
        piece, delimiter, rest = data.partition(self.delimiter)
        run.extend(piece, cut)
        self._start = run.start
        if delimiter:
            self._start += run.length + 1
            run.close(delimiter, cut)
            self._run = None
        return rest


class _LongRun:
    """A run without a delimiter that is too long for a frame, given out in stretches; only their heads are kept."""

    def __init__(self, start: int, longest: int) -> None:
        self.start = start
        self.length = 0
        self._head = b""
        self._longest = longest
        self._stretch = max(STRETCH, longest)

    def extend(self, piece: bytes, cut: Cut) -> None:
        """The run goes on with these bytes. A full stretch is given out once it is known not to be the last."""
        taken = 0
        while self.length + len(piece) - taken > self._stretch:
            more = self._stretch - self.length
            self._add(piece[taken : taken + more])
            taken += more
            self._give(b"", cut)
        self._add(piece[taken:])

    def close(self, delimiter: bytes, cut: Cut) -> None:
        """The run ends here, at a delimiter or with the stream."""
        self._give(delimiter, cut)

    def _add(self, piece: bytes) -> None:
        self._head += piece[: self._longest - len(self._head)]
        self.length += len(piece)

    def _give(self, delimiter: bytes, cut: Cut) -> None:
        text = f"found {self.length} bytes without a delimiter, expected one within {self._longest + 1}"
        end = self.start + self.length + len(delimiter)
        cut.stretches.append(Stretch(Reason.OVERSIZED, self.start, end, text, self._head))
        self.start, self.length, self._head = end, 0, b""


COBS = Delimited("cobs", b"\0", cobs.encode, cobs.decode, cobs.decode_each, cobs.longest)

_FRAMINGS: dict[str, Framing] = {framing.name: framing for framing in (COBS,)}


def framing(name: str) -> Framing:
    """The framing of that name.

    Raises:
        LayoutError: There is none; the message lists those there are.
    """
    found = _FRAMINGS.get(name)
    if found is None:
        raise LayoutError(f"found {name!r}, expected one of {', '.join(sorted(_FRAMINGS))}", where="framing")
    return found
