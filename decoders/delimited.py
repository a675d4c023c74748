"""Framings that keep one byte value for the end of a frame, by stuffing or because the contents are text."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate, count
from operator import add

from decoders.contents import Contents
from decoders.cutting import Cut, Cutter, LongRun, Stretch
from decoders.errors import FrameError
from decoders.layout import Reason
from decoders.status_lines import LONGEST_LINE, first_line, told

_LINE_END = b"\n"
_BLANK = b"\r\t "
_SEVERAL = 8  # frames; as many are quicker taken together, if there is nothing else among them


@dataclass(frozen=True, slots=True)
class Delimited:
    """A framing that keeps one byte value for the end of a frame; `opening` is sent before one."""

    name: str
    delimiter: bytes
    stuff: Callable[[bytes], bytes]
    unstuff: Callable[[bytes], bytes]
    longest: Callable[[int], int]
    unstuff_each: Callable[[Sequence[bytes]], list[bytes | None]] | None = None
    opening: bytes = b""

    @property
    def head_size(self) -> int:
        """Bytes of the contents before checksum and body: none."""
        return 0

    def prepare(self, contents: bytearray) -> None:
        """Nothing to write."""

    def encode(self, contents: bytes) -> bytes:
        """The stuffed contents and the delimiter."""
        return self.opening + self.stuff(contents) + self.delimiter

    def decode(self, frame: bytes) -> bytes:
        """The contents of a frame without its delimiter."""
        return self.unstuff(frame)

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """As `decode`, None for what it refuses."""
        if self.unstuff_each is not None:
            return self.unstuff_each(frames)
        found: list[bytes | None] = []
        for frame in frames:
            try:
                found.append(self.unstuff(frame))
            except FrameError:
                found.append(None)
        return found

    def cutter(self, contents: Contents) -> Cutter:
        """A cutter at the delimiter."""
        blank = _BLANK if self.delimiter == _LINE_END else b""
        return DelimitedCutter(self.delimiter, self.longest(contents.longest), blank)


class DelimitedCutter:
    """Cuts a stream after each delimiter; empty frames are passed over, and those of nothing but `blank` bytes.

    Holds back at most `longest` bytes, or a line of text. A longer run without a delimiter is a stretch, and cutting
    goes on after the next delimiter; but lines of text that it begins with are stretches by themselves. Where lines
    are frames, a frame may be as long as any line of text.
    """

    def __init__(self, delimiter: bytes, longest: int, blank: bytes = b"") -> None:
        self.delimiter = delimiter
        self._longest = max(longest, LONGEST_LINE) if delimiter == _LINE_END else longest
        self._blank = blank
        self._pending = b""  # the unfinished frame; empty while a run is too long
        self._start = 0  # of the unfinished frame
        self._run: LongRun | None = None

    @property
    def offset(self) -> int:
        """Bytes taken in since the stream began."""
        return self._start + (self._run.length if self._run else len(self._pending))

    @property
    def is_in_run(self) -> bool:
        """Whether the bytes so far end in a run that is too long already."""
        return self._run is not None

    def align(self, cut: Cut, data: bytes) -> bytes:
        """Take in what belongs to a run that is too long; the rest of the data."""
        if self._run is None:
            return data
        run, delimiter, data = data.partition(self.delimiter)
        self.take_into(cut, run + delimiter)
        return data

    def reclaim(self) -> bytes:
        """The unfinished frame, as if it had not been taken in; only after `align`."""
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
        place, longest, blank = self._start, self._longest, self._blank
        add_frame, add_start, add_end = cut.frames.append, cut.starts.append, cut.ends.append
        pieces = (self._pending + data if self._pending else data).split(self.delimiter)
        unfinished = pieces.pop()
        sizes = [*map(len, pieces)]
        if len(sizes) >= _SEVERAL and not blank and min(sizes) > 0 and max(sizes) <= longest:
            ends = [*map(add, accumulate(sizes, initial=place), count())]  # a delimiter behind each
            cut.frames += pieces
            cut.starts += ends[:-1]
            cut.ends += ends[1:]
            pieces, place = [], ends[-1]
        for piece in pieces:
            following = place + len(piece) + 1
            if len(piece) > longest:
                piece, place, _ = self._without_lines(piece, place, cut)
            if len(piece) > longest:
                run = LongRun(place, longest)
                run.extend(piece, cut)
                run.close(self.delimiter, cut)
            elif piece and not (blank and not piece.strip(blank)):
                add_frame(piece)
                add_start(place)
                add_end(following)
            place = following
        is_line = False
        if len(unfinished) > longest:
            unfinished, place, is_line = self._without_lines(unfinished, place, cut)
        self._start, self._pending = place, unfinished
        if len(unfinished) > longest and not is_line:
            self._run, self._pending = LongRun(place, longest), b""
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

    def _without_lines(self, held: bytes, place: int, cut: Cut) -> tuple[bytes, int, bool]:
        """What is left of too many bytes without the lines of text in front, its place, and whether it is a line."""
        while len(held) > self._longest and self.delimiter != _LINE_END:
            end = first_line(held, self._longest)
            if end <= 0:
                return held, place, end < 0
            cut.stretches.append(Stretch(Reason.TEXT, place, place + end, told(held[:end]), held[:end]))
            held, place = held[end:], place + end
        return held, place, False

    def _continue_run(self, run: "LongRun", data: bytes, cut: Cut) -> bytes:
        """Let the run swallow what belongs to it; what is left of the data."""
        piece, delimiter, rest = data.partition(self.delimiter)
        run.extend(piece, cut)
        self._start = run.start
        if delimiter:
            self._start += run.length + 1
            run.close(delimiter, cut)
            self._run = None
        return rest
