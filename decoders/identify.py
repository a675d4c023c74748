"""What is this stream? Bytes of an unknown sender in; counts, and ranked hypotheses about its framing out.

Nothing is proposed without its count of evidence, and where nothing holds throughout that is said as well. At most
`MOST_BYTES` are looked at, the last ones, so that the work stays within seconds.
"""

from dataclasses import dataclass

from decoders.identifying.evidence import Hypothesis, Kind, RuledOut, Strength
from decoders.identifying.fixed import with_fixed_length, without_delimiter
from decoders.identifying.patterns import SyncPattern, sync_patterns
from decoders.identifying.statistics import Statistics, statistics
from decoders.identifying.stuffing import stuffed
from decoders.identifying.syncword import space_packets, with_length_field
from decoders.identifying.text import LinesWithin, lines_within, text_lines

MOST_BYTES = 200_000
LEAST_BYTES = 64  # below this nothing is said about framing


@dataclass(frozen=True, slots=True)
class Identification:
    """What was found out about a stream.

    hypotheses: best first, of those that were not ruled out. looked_at: the number of bytes analysed.
    """

    looked_at: int
    statistics: Statistics
    lines: LinesWithin | None
    patterns: tuple[SyncPattern, ...]
    hypotheses: tuple[Hypothesis, ...]
    ruled_out: tuple[RuledOut, ...]

    @property
    def proposed(self) -> Hypothesis | None:
        """The framing to start from; None where it cannot be told."""
        best = self.hypotheses[0] if self.hypotheses else None
        return best if best is not None and best.strength >= Strength.LIKELY else None


def identify(data: bytes) -> Identification:
    """Find out what can be found out about these bytes; never raises on their account."""
    data = data[-MOST_BYTES:]
    figures = statistics(data)
    if len(data) < LEAST_BYTES or figures.distinct < 2:
        return Identification(len(data), figures, None, (), (), ())
    tried: list[Hypothesis | RuledOut] = [text_lines(data)]
    lines = None
    if not _settled(tried):
        lines = lines_within(data)
        tried += stuffed(data)
        tried.append(space_packets(data))
    if not _settled(tried):
        tried.append(with_length_field(data))
        tried.append(with_fixed_length(data))
    if not _settled(tried):
        tried.append(without_delimiter(data))
    ranked = sorted((t for t in tried if isinstance(t, Hypothesis)), key=_rank)
    out = tuple(t for t in tried if isinstance(t, RuledOut))
    return Identification(len(data), figures, lines, tuple(sync_patterns(data)[:4]), tuple(ranked), out)


def _settled(tried: list[Hypothesis | RuledOut]) -> bool:
    """Whether what was tried so far is proven, or text, so that looking further would only find less."""
    found = [t for t in tried if isinstance(t, Hypothesis)]
    return any(t.strength is Strength.PROVEN for t in found) or _is_text(tried)


_TEXT = (Kind.NMEA, Kind.VALUES, Kind.KEYS, Kind.HEX, Kind.TEXT)
_SPECIFIC_FIRST = tuple(Kind)


def _is_text(tried: list[Hypothesis | RuledOut]) -> bool:
    return any(isinstance(t, Hypothesis) and t.kind in _TEXT and t.strength >= Strength.LIKELY for t in tried)


def _rank(found: Hypothesis) -> tuple[int, float, int]:
    """Strength first; of two that explain about as much, the more specific."""
    return -found.strength, -round(found.explained, 1), _SPECIFIC_FIRST.index(found.kind)
