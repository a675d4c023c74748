"""Figures of a byte stream that need no idea of what is in it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]

LONGEST_PERIOD = 600  # bytes; the longest frame looked for without a delimiter is 256
_PERIOD_SAMPLE = 40_000


@dataclass(frozen=True, slots=True)
class Period:
    """Bytes are equal to those `lag` bytes later more often than at other distances."""

    lag: int
    equal: int
    of: int
    usual_share: float  # the same for the median distance


@dataclass(frozen=True, slots=True)
class Statistics:
    """Counts over a stream.

    entropy_bits: of the byte histogram, 0 to 8. bit_changes: mean number of changes between neighbouring bits of a
    byte, 3.5 for random bytes. commonest: byte values with their counts, most frequent first, at most 8.
    """

    count: int
    printable: int
    zeros: int
    distinct: int
    entropy_bits: float
    bit_changes: float
    commonest: tuple[tuple[int, int], ...]
    period: Period | None


def statistics(data: bytes) -> Statistics:
    """The figures of these bytes; none of them needs more than a few hundred passes over 40,000 bytes."""
    stream = np.frombuffer(data, dtype=np.uint8)
    counts = np.bincount(stream, minlength=256)
    order = np.argsort(-counts, kind="stable")[:8]
    return Statistics(
        count=len(data),
        printable=int(counts[_PRINTABLE].sum()),
        zeros=int(counts[0]),
        distinct=int(np.count_nonzero(counts)),
        entropy_bits=entropy_bits(counts),
        bit_changes=_bit_changes(counts),
        commonest=tuple((int(value), int(counts[value])) for value in order if counts[value]),
        period=period(stream),
    )


def entropy_bits(counts: NDArray[np.intp]) -> float:
    """Shannon's entropy [bit] of a histogram; 0 for an empty one."""
    total = counts.sum()
    if total == 0:
        return 0.0
    share = counts[counts > 0] / total
    return float(max(0.0, -(share * np.log2(share)).sum()))


def period(stream: Bytes) -> Period | None:
    """The shortest distance at which bytes repeat markedly more often than at most others; None where none does."""
    sample = stream[:_PERIOD_SAMPLE]
    longest = min(LONGEST_PERIOD, sample.size // 4)
    if longest < 8:
        return None
    equal = np.array([np.count_nonzero(sample[:-lag] == sample[lag:]) for lag in range(1, longest)])
    of = sample.size - np.arange(1, longest)
    share = equal / of
    usual = float(np.median(share))
    spread = float(np.median(np.abs(share - usual))) + 0.5 / np.sqrt(sample.size)
    best = float(share[2:].max())
    if best < usual + max(8 * spread, 0.02):
        return None
    # its multiples repeat as well: the shortest that comes close to the best is the period itself
    lag = int(np.flatnonzero(share[2:] >= usual + 0.8 * (best - usual))[0]) + 3
    return Period(lag, int(equal[lag - 1]), int(of[lag - 1]), usual)


def _bit_changes(counts: NDArray[np.intp]) -> float:
    total = int(counts.sum())
    return float((counts * _CHANGES).sum() / total) if total else 0.0


_PRINTABLE = np.array([value in b"\t\n\r" or 0x20 <= value < 0x7F for value in range(256)])
_CHANGES = np.array([((value ^ (value >> 1)) & 0x7F).bit_count() for value in range(256)])
