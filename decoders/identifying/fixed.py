"""Frames of one length: behind a sync word or without any delimiter, found by a checksum or by what never changes."""

from collections import Counter
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from decoders.identifying.evidence import (
    LEAST_FRAMES,
    ChecksumFound,
    Evidence,
    Frames,
    Hypothesis,
    Kind,
    RuledOut,
    Strength,
)
from decoders.identifying.patterns import SHORTEST_FRAME, places_of, spaced, sync_patterns
from decoders.identifying.syncword import END_BYTES, LONGEST_SYNC
from decoders.identifying.unmarked import LONGEST, SHORTEST, leading_constant, unmarked

_LIKELY_COVERAGE = 0.6
_REGULAR_SHARE = 0.95
_LIKELY_BITS = 14.0  # of information in the sync word: chance has two rare bytes side by side once in 16,000 places


def with_fixed_length(data: bytes) -> Hypothesis | RuledOut:
    """The best framing of the lengths at which frequent bytes repeat."""
    found = [h for h in (_of_length(data, length) for length in _likely_lengths(data)) if h is not None]
    if found:
        return max(found, key=lambda h: (h.score, len(h.sync)))
    return RuledOut(Kind.SYNC_FIXED, "no frequent pair of bytes stands at one fixed distance from itself")


def without_delimiter(data: bytes) -> Hypothesis | RuledOut:
    """Frames of any one length with a right checksum at their end."""
    found = unmarked(data)
    if found is None:
        return RuledOut(
            Kind.FIXED, f"no checksum tried is right in frames of one length from {SHORTEST} to {LONGEST} bytes"
        )
    return _by_checksum(data, found.length, found.frames, found.checksum, found.misfits)


def _likely_lengths(data: bytes) -> list[int]:
    """Distances at which frequent pairs repeat in at least half of their places."""
    lengths = Counter[int]()
    for pattern in sync_patterns(data):
        if pattern.gaps_alike >= max(LEAST_FRAMES, 0.5 * pattern.count) and pattern.commonest_gap >= SHORTEST_FRAME:
            lengths[pattern.commonest_gap] += pattern.gaps_alike
    return [length for length, _ in lengths.most_common(3)]


def _of_length(data: bytes, length: int) -> Hypothesis | None:
    """Frames of that length: by their checksum, or else by the bytes that never change."""
    found = unmarked(data, (length,))
    if found is not None:
        return _by_checksum(data, found.length, found.frames, found.checksum, found.misfits)
    stream = np.frombuffer(data, dtype=np.uint8)
    sync, bits, steady = _rarest_constant(stream, length)
    if len(sync) < 2:
        return None
    places = places_of(data, sync)
    if places.size < LEAST_FRAMES:
        return None
    stands = np.zeros(stream.size + length + 1, dtype=bool)
    stands[places] = True
    stands[stream.size] = True
    followed = places[stands[places + length]].tolist()
    frames = Frames(tuple(followed), tuple(data[p : p + length] for p in followed), len(followed) * length)
    coverage = min(1.0, frames.covered / len(data))
    evidence = (
        Evidence(f"places with {spaced(sync)} have it again {length} bytes on", len(followed), int(places.size)),
        Evidence("bytes of a frame never change; which of them come first is a guess", steady, length),
    )
    regular = len(set(sync)) > 1 and evidence[0].share >= _REGULAR_SHARE
    varied = len(set(frames.contents)) >= LEAST_FRAMES
    likely = coverage >= _LIKELY_COVERAGE and varied and (regular or bits >= _LIKELY_BITS)
    strength = Strength.LIKELY if likely else Strength.HINT
    return Hypothesis(
        Kind.SYNC_FIXED, strength, coverage, evidence, frames, sync=sync, frame_length=length, header=len(sync)
    )


def _by_checksum(data: bytes, length: int, frames: Frames, checksum: ChecksumFound, misfits: int) -> Hypothesis:
    """Frames of one length found by their checksum, with a sync word where their first two bytes never change."""
    lead = leading_constant(frames.contents)
    first = frames.contents[0][:lead]
    closing = lead - len(first.lstrip(END_BYTES))
    if 0 < closing < lead and closing <= checksum.start:
        frames, checksum = _moved(data, frames, checksum, closing)
        lead -= closing
    size = min(lead, LONGEST_SYNC)
    if 2 <= checksum.start <= lead:
        size = checksum.start  # firmware often leaves the sync word out of the sum
    sync = frames.contents[0][:size] if lead >= 2 else b""
    if not sync.strip(b"\0"):
        sync = b""
    places = len(frames) + misfits
    # the frames were found by being right: what counts is how often the next one stood where it should
    evidence = (
        Evidence(f"frames of {length} bytes with a right {checksum.name} follow the last", len(frames), places),
    )
    checksum = replace(checksum, hits=len(frames), of=max(places, len(frames)))
    coverage = frames.covered / len(data)
    proven = len(frames) >= LEAST_FRAMES and coverage >= 0.5 and (checksum.is_proof or checksum.size > 1)
    return Hypothesis(
        Kind.SYNC_FIXED if sync else Kind.FIXED,
        Strength.PROVEN if proven else Strength.HINT,
        coverage,
        evidence,
        frames,
        checksum,
        sync=sync,
        frame_length=length,
        header=len(sync),
    )


def _moved(data: bytes, frames: Frames, checksum: ChecksumFound, by: int) -> tuple[Frames, ChecksumFound]:
    """The same frames begun that many bytes later: what was their beginning closes the frame before."""
    length = len(frames.contents[0])
    closing = frames.contents[0][:by]
    starts = [start + by for start in frames.starts if data.startswith(closing, start + length)]
    contents = tuple(data[start : start + length] for start in starts)
    moved = replace(checksum, start=checksum.start - by, trailing=checksum.trailing + by)
    return Frames(tuple(starts), contents, len(starts) * length), moved


def _rarest_constant(stream: NDArray[np.uint8], length: int) -> tuple[bytes, float, int]:
    """Of the bytes that repeat at that distance, the up to four side by side that chance brings together least often.

    Returns:
        The bytes, their information [bit], and how many bytes of a frame repeat in all.
    """
    same = np.zeros(stream.size, dtype=bool)
    same[:-length] = stream[:-length] == stream[length:]
    rows = same[: stream.size // length * length].reshape(-1, length)
    # noise shifts the frames' place: judge by the stretch in which most bytes repeat
    half = max(4, len(rows) // 4)
    first = max(
        range(0, max(1, len(rows) - half + 1), max(1, half // 2)), key=lambda r: int(rows[r : r + half].sum())
    )
    constant = rows[first : first + half].mean(axis=0) >= 0.9
    base = (first + half // 2) * length
    counts = np.bincount(stream, minlength=256)
    rarity = -np.log2(np.maximum(counts, 1) / stream.size)
    best, best_bits = b"", 0.0
    for at in range(length):
        bits = 0.0
        for size in range(1, LONGEST_SYNC + 1):
            place = at + size - 1
            if not constant[place % length] or base + place >= stream.size:
                break
            bits += float(rarity[stream[base + place]])
            if bits > best_bits:
                best, best_bits = stream[base + at : base + at + size].tobytes(), bits
    return best, best_bits, int(constant.sum())
