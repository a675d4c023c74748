"""What may be wrong between a firmware and its description, and how much speaks for it.

Evidence is counted in bits: ten bits are a coincidence that happens once in 1024 frames. A checksum of 16 bits that
fits the first thing tried is 16 bits; every further thing tried before it makes a chance hit likelier and costs.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum


class Mistake(StrEnum):
    """The kinds of mistake that are looked for."""

    NUMBER_ORDER = "byte order of the numbers"
    FIELD_ORDER = "byte order of one field"
    CHECKSUM_START = "start value of the checksum"
    CHECKSUM_ORDER = "byte order of the checksum"
    CHECKSUM_VARIANT = "reflection or final inversion of the checksum"
    CHECKSUM_OTHER = "another checksum"
    CHECKSUM_RANGE = "bytes the checksum covers"
    CHECKSUM_PLACE = "place of the checksum"
    CHECKSUM_NONE = "no checksum sent"
    FIELD_WIDTH = "width of one field"
    EXTRA_BYTES = "bytes that the description does not have"
    LEFT_OUT = "field left out"
    PADDING = "padding of the compiler"
    DELIMITER = "delimiter missing"
    STUFFED_TWICE = "stuffed twice"
    NOT_STUFFED = "not stuffed"
    OTHER_FRAMING = "another framing"
    SYNC_WORD = "sync word"
    LENGTH_COUNT = "what the length counts"
    SIGNEDNESS = "signed for unsigned"
    NUMBER_KIND = "whole number for float"
    SCALE = "scale or unit"
    DISCRIMINATOR = "discriminator"
    DAMAGE = "damage on the way"


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One explanation: what the firmware would do, what speaks for it, and what to change.

    `bits` is the evidence beyond what chance explains; the more, the better. `share` is its weight among all
    explanations found for the same frame, 0 to 1: where several fit alike, none of them is certain.
    """

    mistake: Mistake
    sentence: str
    evidence: tuple[str, ...]
    bits: float
    remedy: str = ""
    share: float = 1.0

    @property
    def strength(self) -> str:
        """The evidence in a word; never more than its bits say, nor than rivals leave."""
        for least, share, word in ((20.0, 0.95, "very strong"), (10.0, 0.8, "strong"), (5.0, 0.3, "fair")):
            if self.bits >= least and self.share >= share:
                return word
        return "weak"


_LEAST_BITS = 0.5  # less is no evidence at all


def ranked(hypotheses: Iterable[Hypothesis]) -> tuple[Hypothesis, ...]:
    """The strongest first; of several that say the same, the strongest alone; none without evidence."""
    best: dict[str, Hypothesis] = {}
    for found in hypotheses:
        if found.bits >= _LEAST_BITS and (found.sentence not in best or found.bits > best[found.sentence].bits):
            best[found.sentence] = found
    in_order = sorted(best.values(), key=lambda found: -found.bits)
    weights = [2.0 ** (found.bits - in_order[0].bits) for found in in_order]
    return tuple(replace(found, share=weight / sum(weights)) for found, weight in zip(in_order, weights, strict=True))


def tried_bits(tried: int) -> float:
    """What having tried so many things costs."""
    return math.log2(max(tried, 1))


def by_chance(bits: float) -> str:
    """How often so much evidence comes by chance, in words."""
    if bits >= 40:
        return "by chance in none of a million million frames"
    return f"by chance in one of {max(round(2.0**bits), 1):,} frames"
