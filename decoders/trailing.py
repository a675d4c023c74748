"""Stuffed frames behind whose delimiter a receiver puts bytes of its own: frame, delimiter, RSSI, the next frame.

Those bytes are not stuffed: any of them may look like a delimiter. So they are counted, not looked for: behind every
frame, sound or not, so that those of a damaged frame do not become the start of the next one. Where there is no frame
there are none of them: between two delimiters next to each other, and behind lines of text.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from decoders.contents import NO_PACKET, Contents
from decoders.cutting import Cut, Cutter, Stretch
from decoders.delimited import Delimited, DelimitedCutter
from decoders.errors import FrameError
from decoders.layout import Reason
from decoders.status_lines import first_line, is_text


@dataclass(frozen=True, slots=True)
class Trailed(Delimited):
    """A framing by stuffing with `behind` bytes after each delimiter; they are the last bytes of the contents.

    A frame, as it is cut and decoded, is the stuffed contents, the delimiter and those bytes.
    """

    behind: int = 0

    def encode(self, contents: bytes) -> bytes:
        """The stuffed contents, the delimiter and the receiver's bytes."""
        at = len(contents) - self.behind
        return self.opening + self.stuff(contents[:at]) + self.delimiter + contents[at:]

    def decode(self, frame: bytes) -> bytes:
        """The contents of a frame.

        Raises:
            FrameError: The framing's rules are broken, or no delimiter stands in front of the receiver's bytes.
        """
        at = len(frame) - self.behind - 1
        if at < 0 or frame[at : at + 1] != self.delimiter:
            text = f"found no delimiter, expected one in front of the receiver's {self.behind} bytes"
            raise FrameError(text, offset=max(at, 0))
        return self.unstuff(frame[:at]) + frame[at + 1 :]

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """As `decode`, None for what it refuses."""
        at = -self.behind - 1
        cores = Delimited.decode_each(self, [frame[:at] for frame in frames])
        return [
            core + frame[at + 1 :] if core is not None and frame[at : at + 1] == self.delimiter else None
            for core, frame in zip(cores, frames, strict=True)
        ]

    def cutter(self, contents: Contents) -> Cutter:
        """A cutter at the delimiter and behind the receiver's bytes."""
        return TrailedCutter(self, contents)


def trailed(inner: Delimited, behind: int) -> Trailed:
    """A framing by stuffing, with so many bytes of the receiver's behind each delimiter."""
    return Trailed(
        inner.name,
        inner.delimiter,
        inner.stuff,
        inner.unstuff,
        lambda contents: inner.longest(contents - behind) + 1 + behind,
        inner.unstuff_each,
        inner.opening,
        behind,
    )


class Tails:
    """Tells behind which delimiters the receiver has put its bytes."""

    def __init__(self, framing: Trailed, contents: Contents) -> None:
        self._framing = framing
        self._contents = contents
        self.longest = framing.longest(contents.longest) - 1 - framing.behind  # bytes in front of a delimiter

    def follows(self, piece: bytes) -> bool:
        """Whether they follow what stands in front of a delimiter: not behind nothing, nor behind lines of text."""
        while len(piece) > self.longest:
            end = first_line(piece, self.longest)
            if end <= 0:
                return True
            piece = piece[end:]
        return bool(piece) and not (piece.endswith(b"\n") and is_text(piece, len(piece)) and self._is_text(piece))

    def _is_text(self, piece: bytes) -> bool:
        """Whether what could be lines of text is no packet that only looks like it."""
        frame = piece + self._framing.delimiter + bytes(self._framing.behind)
        return self._contents.kinds_of(self._framing.decode_each([frame]))[0] == NO_PACKET


class TrailedCutter:
    """Cuts a stream behind the receiver's bytes; otherwise as `DelimitedCutter`, which cuts what lies between."""

    def __init__(self, framing: Trailed, contents: Contents) -> None:
        self.delimiter = framing.delimiter
        self.tails = Tails(framing, contents)
        self._behind = framing.behind
        self._inner = DelimitedCutter(framing.delimiter, self.tails.longest)
        self._ended: Cut | None = None  # what ended at the last delimiter, while bytes behind that are missing
        self._tail = b""  # of those, what has come

    @property
    def offset(self) -> int:
        """Bytes taken in since the stream began."""
        return self._inner.offset + len(self._tail)

    def align(self, cut: Cut, data: bytes) -> bytes:
        """Take in what belongs to bytes that are awaited or to a run that is too long; the rest of the data."""
        while data and (self._ended is not None or self._inner.is_in_run):
            data = self._step(cut, data)
        return data

    def reclaim(self) -> bytes:
        """The unfinished frame, as if it had not been taken in; only after `align`."""
        return self._inner.reclaim()

    def pass_over(self, count: int) -> None:
        """Go on that many bytes later; not to be called inside a frame."""
        self._inner.pass_over(count)

    def take(self, data: bytes) -> Cut:
        """The frames whose last byte is in these bytes."""
        cut = Cut()
        self.take_into(cut, data)
        return cut

    def take_into(self, cut: Cut, data: bytes) -> None:
        """As `take`, added to what came before."""
        while data:
            data = self._step(cut, data)

    def end(self) -> Cut:
        """What is left of an unfinished frame is a stretch."""
        cut, ended, offset = Cut(), self._ended, self.offset
        if ended is not None:
            missing = (
                f"the stream ended {self._behind - len(self._tail)} bytes before the end of what follows a frame"
            )
            for frame, start in zip(ended.frames, ended.starts, strict=True):
                raw = frame + self.delimiter + self._tail
                cut.stretches.append(Stretch(Reason.CUT_SHORT, start, offset, missing, raw))
            if not ended.frames:
                ended.stretches[-1] = replace(ended.stretches[-1], end=offset)
            cut.stretches += ended.stretches
            self._inner.pass_over(len(self._tail))
            self._ended, self._tail = None, b""
        cut.stretches += self._inner.end().stretches
        return cut

    def _step(self, cut: Cut, data: bytes) -> bytes:
        """Take in the data as far as to the next delimiter, or what is missing behind one; the rest of the data."""
        if self._ended is not None:
            missing = self._behind - len(self._tail)
            self._tail += data[:missing]
            if len(self._tail) == self._behind:
                self._complete(cut, self._ended)
            return data[missing:]
        end = data.find(self.delimiter) + 1
        if not end:
            self._inner.take_into(cut, data)
            return b""
        ended = Cut()
        self._inner.take_into(ended, data[:end])
        follows = bool(ended.stretches) and ended.stretches[-1].reason is Reason.OVERSIZED
        if ended.frames:
            follows = self.tails.follows(ended.frames[0])
        if follows:
            self._ended = ended
        else:
            _add(cut, ended)
        return data[end:]

    def _complete(self, cut: Cut, ended: Cut) -> None:
        """The receiver's bytes are there: they belong to what ended at the delimiter."""
        if ended.frames:
            ended.frames[0] += self.delimiter + self._tail
            ended.ends[0] += self._behind
        else:
            last = ended.stretches[-1]
            ended.stretches[-1] = replace(last, end=last.end + self._behind)
        _add(cut, ended)
        self._inner.pass_over(self._behind)
        self._ended, self._tail = None, b""


def _add(cut: Cut, more: Cut) -> None:
    cut.frames += more.frames
    cut.starts += more.starts
    cut.ends += more.ends
    cut.stretches += more.stretches
