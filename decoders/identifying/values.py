"""What stands in lines of text: for each place or name, how far its numbers go and whether it counts."""

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

from decoders.identifying.evidence import Hypothesis, Kind

_MOST_LINES = 2000
_COUNTS_SHARE = 0.7


@dataclass(frozen=True, slots=True)
class TextColumn:
    """One value of the lines: its name or place, how many lines have it, how many of them as a number, and the range.

    counts: in how many steps from line to line the number is one more. text: what it says where it says the same word
    in nearly every line, and no number.
    """

    name: str
    lines: int
    numbers: int
    least: float
    greatest: float
    counts: int
    text: str = ""

    @property
    def is_counter(self) -> bool:
        """Whether the number goes up by one in most steps."""
        return self.numbers > 1 and self.counts >= _COUNTS_SHARE * (self.numbers - 1)


def text_columns(found: Hypothesis) -> tuple[TextColumn, ...]:
    """The values of a stream of text lines; () for every other kind."""
    lines = [line.decode("ascii", "replace") for line in found.frames.contents[:_MOST_LINES]]
    if found.kind is Kind.VALUES:
        rows = [line.split(found.separator) for line in lines]
        width = Counter(map(len, rows)).most_common(1)[0][0]
        return tuple(
            _column(f"value {place + 1}", [row[place].strip() for row in rows if len(row) == width])
            for place in range(width)
        )
    if found.kind is Kind.KEYS:
        values: dict[str, list[str]] = {}
        for line in lines:
            for token in line.strip("{}").replace('"', "").replace(",", " ").replace(";", " ").split():
                name, mark, value = token.replace(":", "=", 1).partition("=")
                if mark:
                    values.setdefault(name, []).append(value)
        # a damaged line makes names of its own
        return tuple(_column(name, column) for name, column in values.items() if len(column) >= 0.02 * len(lines))
    return ()


def _column(name: str, values: list[str]) -> TextColumn:
    numbers = [number for number in map(_number, values) if number is not None]
    if not numbers:
        word, often = Counter(values).most_common(1)[0] if values else ("", 0)
        text = word if often >= 0.9 * len(values) else ""
        return TextColumn(name, len(values), 0, float("nan"), float("nan"), 0, text)
    counts = sum(after - before == 1 for before, after in pairwise(numbers))
    return TextColumn(name, len(values), len(numbers), min(numbers), max(numbers), counts)


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
