"""A proof: what one walk through a bench test showed, when, in figures, and what to touch where it failed."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from groundstation.config.bench_plan import ProofName


class ProofOutcome(StrEnum):
    """How a proof came out."""

    PASSED = "passed"
    FAILED = "failed"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure, in the unit people read (degrees, minutes); never NaN or infinite."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Proof:
    """The result of one bench test.

    Attributes:
        name: Which test.
        at_ns: When it was made, at its last step's end [ns since 1970-01-01 UTC].
        outcome: How it came out.
        figures: What was measured.
        reasons: Why it came out so, one sentence each.
        look_first: What to touch first; empty for a proof that passed.
    """

    name: ProofName
    at_ns: int
    outcome: ProofOutcome
    figures: tuple[Figure, ...]
    reasons: tuple[str, ...]
    look_first: str = ""


@dataclass(frozen=True, slots=True)
class Point:
    """One thing a proof judged. `look` says what to touch; it may be empty where it passed."""

    outcome: ProofOutcome
    text: str
    look: str = ""
    figures: tuple[Figure, ...] = ()


def passed(text: str, *figures: Figure) -> Point:
    """It is as it should be."""
    return Point(ProofOutcome.PASSED, text, "", figures)


def failed(text: str, look: str, *figures: Figure) -> Point:
    """It is not as it should be."""
    return Point(ProofOutcome.FAILED, text, look, figures)


def cannot_tell(text: str, look: str, *figures: Figure) -> Point:
    """What was seen does not say."""
    return Point(ProofOutcome.CANNOT_TELL, text, look, figures)


def proof_of_points(name: ProofName, at_ns: int, points: Sequence[Point]) -> Proof:
    """The proof that points make together: failed where one is, else cannot tell where one cannot, else passed.

    The reasons are those of its outcome; what to touch first is the first of them's. No points tell nothing, and a
    figure that is no number is left out.
    """
    figures = tuple(f for point in points for f in point.figures if math.isfinite(f.value))
    for outcome in (ProofOutcome.FAILED, ProofOutcome.CANNOT_TELL, ProofOutcome.PASSED):
        deciding = [point for point in points if point.outcome is outcome]
        if deciding:
            look = next((point.look for point in deciding if point.look), "")
            return Proof(name, at_ns, outcome, figures, tuple(dict.fromkeys(p.text for p in deciding)), look)
    return Proof(name, at_ns, ProofOutcome.CANNOT_TELL, (), ("Nothing was judged.",), "")
