"""What every way of cutting a stream into candidate frames has in common: what it gives, and what it counts."""

from dataclasses import dataclass, field
from typing import Protocol

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


class LongRun:
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
