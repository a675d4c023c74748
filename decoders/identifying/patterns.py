"""Bytes that occur more often than chance would have them, and where: what a sync word looks like from outside."""

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decoders.identifying.evidence import LEAST_FRAMES

LONGEST_FRAME = 1100  # bytes
SHORTEST_FRAME = 5
_MOST_CANDIDATES = 16

Places = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SyncPattern:
    """Bytes that occur far more often than their parts would make them: places, and the commonest distance."""

    pattern: bytes
    count: int
    commonest_gap: int
    gaps_alike: int


def sync_patterns(data: bytes) -> list[SyncPattern]:
    """Frequent pairs of bytes with the commonest distance between them, most frequent first."""
    patterns = []
    for pattern in frequent_pairs(data):
        places = places_of(data, pattern)
        gaps = np.diff(places)
        if gaps.size:
            gap, alike = Counter(gaps.tolist()).most_common(1)[0]
            patterns.append(SyncPattern(pattern, int(places.size), int(gap), int(alike)))
    return patterns


def frequent_pairs(data: bytes) -> list[bytes]:
    """Pairs at least three times as frequent as their bytes would make them, by how frequent they are."""
    stream = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    if stream.size < 4 * LEAST_FRAMES:
        return []
    singles = np.bincount(stream, minlength=256)
    pairs = np.bincount(stream[:-1] << 8 | stream[1:], minlength=65536)
    expected = np.outer(singles, singles).ravel() / stream.size
    frequent = np.flatnonzero((pairs >= max(LEAST_FRAMES, stream.size / LONGEST_FRAME)) & (pairs >= 3 * expected))
    order = frequent[np.argsort(-pairs[frequent], kind="stable")]
    return [int(code).to_bytes(2, "big") for code in order[:_MOST_CANDIDATES]]


def frequent_bytes(data: bytes) -> list[bytes]:
    """The most frequent byte values, for sync words of one byte."""
    counts = np.bincount(np.frombuffer(data, dtype=np.uint8), minlength=256)
    order = np.argsort(-counts, kind="stable")[:6]
    return [bytes((int(value),)) for value in order if counts[value] >= LEAST_FRAMES]


def places_of(data: bytes, pattern: bytes) -> Places:
    """Every place at which these bytes stand."""
    stream = np.frombuffer(data, dtype=np.uint8)
    count = max(0, stream.size - len(pattern) + 1)
    found = np.ones(count, dtype=bool)
    for place, byte in enumerate(pattern):
        found &= stream[place : place + count] == byte
    return np.flatnonzero(found)


def spaced(data: bytes) -> str:
    """Bytes as hexadecimal pairs with spaces, such as AA 55."""
    return data.hex(" ").upper()
