"""Framings with a sync word: a length field behind it, or one fixed length; CCSDS space packets among them.

Sync words are found by what follows from them: from a place where the bytes stand, a number behind them (or a fixed
distance) leads to a place where they stand again.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from decoders.identifying.checksum_trial import find_checksum
from decoders.identifying.evidence import (
    LEAST_FRAMES,
    ChecksumFound,
    Evidence,
    Frames,
    Hypothesis,
    Kind,
    LengthField,
    RuledOut,
    Strength,
)
from decoders.identifying.unmarked import leading_constant, unmarked
from decoders.layout import ByteOrder

ATTACHED_SYNC_MARKER = bytes.fromhex("1ACFFC1D")  # CCSDS 131.0-B, attached sync marker for uncoded and coded data

_MOST_CANDIDATES = 16
_MOST_PLACES = 1200
_FURTHEST_LENGTH_FIELD = 6  # bytes behind the sync word's start
_MOST_BEYOND = 16
_SHORTEST_FRAME, _LONGEST_FRAME = 5, 1100
_LIKELY_COVERAGE = 0.6
_LONGEST_SYNC = 4

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
    for pattern in _frequent_pairs(data):
        places = _places(data, pattern)
        gaps = np.diff(places)
        if gaps.size:
            gap, alike = Counter(gaps.tolist()).most_common(1)[0]
            patterns.append(SyncPattern(pattern, int(places.size), int(gap), int(alike)))
    return patterns


def space_packets(data: bytes) -> Hypothesis | RuledOut:
    """Space packets (CCSDS 133.0-B, 4.1) behind attached sync markers (CCSDS 131.0-B)."""
    places = _places(data, ATTACHED_SYNC_MARKER)
    if places.size < LEAST_FRAMES:
        return RuledOut(Kind.SPACE_PACKETS, f"{places.size} attached sync markers 1A CF FC 1D in {len(data)} bytes")
    # the packet data length is the number of bytes behind the six of the primary header, less one
    length = LengthField(8, 2, ByteOrder.BIG, len(ATTACHED_SYNC_MARKER) + 7)
    frames, tried = _by_length(data, places, ATTACHED_SYNC_MARKER, length)
    evidence = [Evidence("attached sync markers 1A CF FC 1D have a packet up to the next", len(frames), tried)]
    if len(frames) < LEAST_FRAMES or len(frames) < tried / 2:
        return RuledOut(
            Kind.SPACE_PACKETS,
            f"behind {len(frames)} of {tried} sync markers 1A CF FC 1D is a space packet up to the next",
        )
    version = sum(frame[4] >> 5 == 0 for frame in frames.contents)
    evidence.append(Evidence("packets are of version 1 (bits 000)", version, len(frames)))
    follows, pairs = _sequence_counts(frames.contents)
    evidence.append(Evidence("sequence counts follow the one before of the same APID", follows, pairs))
    checksum = find_checksum(frames.contents, starts=(4, 0))
    if checksum is not None:
        evidence.append(Evidence(f"packets have a right {checksum.name}", checksum.hits, checksum.of))
    proven = checksum is not None and checksum.is_proof
    strength = Strength.PROVEN if proven else Strength.LIKELY
    return Hypothesis(
        Kind.SPACE_PACKETS,
        strength,
        frames.covered / len(data),
        tuple(evidence),
        frames,
        checksum,
        sync=ATTACHED_SYNC_MARKER,
        length=length,
        header=10,
    )


def with_sync_word(data: bytes) -> Iterator[Hypothesis | RuledOut]:
    """The best framing with a length field, and the best of a fixed length."""
    by_length: list[Hypothesis] = []
    fixed: list[Hypothesis] = []
    for pattern in [*_frequent_pairs(data), *_frequent_bytes(data)]:
        places = _places(data, pattern)
        length = _length_field(data, places, len(pattern))
        if length is not None:
            found = _length_hypothesis(data, pattern, length)
            if found is not None:
                by_length.append(found)
    if by_length:
        yield max(by_length, key=lambda h: (h.score, len(h.sync)))
    else:
        yield RuledOut(
            Kind.SYNC_LENGTH, "no frequent bytes are followed by a number that leads to the same bytes again"
        )
    if any(h.strength is Strength.PROVEN for h in by_length):
        return
    for frame_length in _fixed_lengths(data):
        found = _fixed_hypothesis(data, frame_length)
        if found is not None:
            fixed.append(found)
    if fixed:
        yield max(fixed, key=lambda h: (h.score, len(h.sync)))
    else:
        yield RuledOut(Kind.SYNC_FIXED, "no frequent pair of bytes stands at one fixed distance from itself")


def _frequent_pairs(data: bytes) -> list[bytes]:
    """Pairs at least three times as frequent as their bytes would make them, by how frequent they are."""
    stream = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    if stream.size < 4 * LEAST_FRAMES:
        return []
    singles = np.bincount(stream, minlength=256)
    pairs = np.bincount(stream[:-1] << 8 | stream[1:], minlength=65536)
    expected = np.outer(singles, singles).ravel() / stream.size
    frequent = np.flatnonzero((pairs >= max(LEAST_FRAMES, stream.size / _LONGEST_FRAME)) & (pairs >= 3 * expected))
    order = frequent[np.argsort(-pairs[frequent], kind="stable")]
    return [int(code).to_bytes(2, "big") for code in order[:_MOST_CANDIDATES]]


def _frequent_bytes(data: bytes) -> list[bytes]:
    """The most frequent byte values, for sync words of one byte."""
    counts = np.bincount(np.frombuffer(data, dtype=np.uint8), minlength=256)
    order = np.argsort(-counts, kind="stable")[:6]
    return [bytes((int(value),)) for value in order if counts[value] >= LEAST_FRAMES]


def _places(data: bytes, pattern: bytes) -> Places:
    stream = np.frombuffer(data, dtype=np.uint8)
    count = max(0, stream.size - len(pattern) + 1)
    found = np.ones(count, dtype=bool)
    for place, byte in enumerate(pattern):
        found &= stream[place : place + count] == byte
    return np.flatnonzero(found)


def _length_field(data: bytes, places: Places, sync_size: int) -> LengthField | None:
    """The number behind the sync word that leads to the next one most often; it must vary."""
    stream = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    stands = np.zeros(stream.size + 1, dtype=bool)
    stands[places] = True
    sample = places[:_MOST_PLACES]
    sample = sample[sample + _FURTHEST_LENGTH_FIELD + 2 < stream.size]
    if sample.size < LEAST_FRAMES:
        return None
    density = places.size / stream.size
    best: tuple[int, LengthField] | None = None
    for at in range(sync_size, _FURTHEST_LENGTH_FIELD + 1):
        for size, order in ((1, ByteOrder.BIG), (2, ByteOrder.LITTLE), (2, ByteOrder.BIG)):
            value = stream[sample + at]
            if size == 2:
                other = stream[sample + at + 1]
                value = value << 8 | other if order is ByteOrder.BIG else other << 8 | value
            for beyond in range(_MOST_BEYOND + 1):
                end = sample + value + beyond
                possible = (
                    (end < stream.size) & (value + beyond >= _SHORTEST_FRAME) & (value + beyond <= _LONGEST_FRAME)
                )
                leads = possible & stands[np.minimum(end, stream.size)]
                hits = int(np.count_nonzero(leads))
                if hits < max(LEAST_FRAMES, 3 * density * sample.size) or (best is not None and hits <= best[0]):
                    continue
                commonest = Counter(value[leads].tolist()).most_common(1)[0][1]
                if commonest <= 0.97 * hits:
                    best = hits, LengthField(at, size, order, beyond)
    return None if best is None else best[1]


def _by_length(data: bytes, places: Places, sync: bytes, length: LengthField) -> tuple[Frames, int]:
    """Frames that end where the next sync word or the stream's end stands, and how many were tried."""
    starts, contents, covered, tried = [], [], 0, 0
    after = 0
    for place in places.tolist():
        if place < after:
            continue
        field_end = place + length.at + length.size
        if field_end > len(data):
            break
        value = int.from_bytes(data[place + length.at : field_end], length.order.value)
        end = place + value + length.beyond
        if end > len(data) and value + length.beyond <= _LONGEST_FRAME:
            break
        tried += 1
        if end - place >= _SHORTEST_FRAME and (end == len(data) or data.startswith(sync, end)):
            starts.append(place)
            contents.append(data[place:end])
            covered += end - place
            after = end
    return Frames(tuple(starts), tuple(contents), covered), tried


def _length_hypothesis(data: bytes, pattern: bytes, length: LengthField) -> Hypothesis | None:
    frames, tried = _by_length(data, _places(data, pattern), pattern, length)
    if len(frames) < LEAST_FRAMES:
        return None
    # the pattern may be the end of a longer sync word, whose first bytes then end each frame
    before = _trailing_constant(frames.contents)
    if before and len(pattern) + before <= _LONGEST_SYNC and frames.contents[0][-1:] not in (b"\n", b"\x03"):
        pattern = frames.contents[0][len(frames.contents[0]) - before :] + pattern
        length = replace(length, at=length.at + before, beyond=length.beyond)
        moved = _by_length(data, _places(data, pattern), pattern, length)
        if len(moved[0]) < LEAST_FRAMES:
            return None
        frames, tried = moved
    lead = min(leading_constant(frames.contents), length.at)
    sync = max((frame[:lead] for frame in frames.contents), key=[f[:lead] for f in frames.contents].count)
    header = length.at + length.size
    trailing = _trailing_constant(frames.contents)
    checksum = find_checksum(
        frames.contents, starts=(0, *range(lead, header + 1)), trailing=range(min(trailing, 2) + 1)
    )
    count = Evidence(f"numbers at byte {length.at} lead from one {spaced(sync)} to the next", len(frames), tried)
    lengths = len({len(frame) for frame in frames.contents})
    evidence = [count, Evidence("different frame lengths occur", lengths, len(frames))]
    coverage = frames.covered / len(data)
    if checksum is not None:
        evidence.append(Evidence(f"frames have a right {checksum.name}", checksum.hits, checksum.of))
    if checksum is not None and checksum.is_proof:
        strength = Strength.PROVEN
    else:
        likely = coverage >= _LIKELY_COVERAGE and count.share >= 0.5 and length.at == len(sync)
        strength = Strength.LIKELY if likely else Strength.HINT
    return Hypothesis(
        Kind.SYNC_LENGTH, strength, coverage, tuple(evidence), frames, checksum, sync, length, header=header
    )


def _trailing_constant(contents: Sequence[bytes]) -> int:
    return leading_constant([frame[::-1] for frame in contents])


def _fixed_lengths(data: bytes) -> list[int]:
    """Distances at which frequent pairs repeat in at least half of their places."""
    lengths = Counter[int]()
    for pattern in sync_patterns(data):
        if pattern.gaps_alike >= max(LEAST_FRAMES, 0.5 * pattern.count) and pattern.commonest_gap >= _SHORTEST_FRAME:
            lengths[pattern.commonest_gap] += pattern.gaps_alike
    return [length for length, _ in lengths.most_common(3)]


def _fixed_hypothesis(data: bytes, length: int) -> Hypothesis | None:
    """Frames of that length: by their checksum, or else by the bytes that never change."""
    found = unmarked(data, (length,))
    if found is not None:
        return fixed_by_checksum(data, found.length, found.frames, found.checksum, found.misfits)
    stream = np.frombuffer(data, dtype=np.uint8)
    sync = _constant_run(stream, length)
    if len(sync) < 2:
        return None
    places = _places(data, sync)
    if places.size < LEAST_FRAMES:
        return None
    stands = np.zeros(stream.size + length + 1, dtype=bool)
    stands[places] = True
    stands[stream.size] = True
    followed = places[stands[places + length]]
    frames = Frames(
        tuple(followed.tolist()), tuple(data[p : p + length] for p in followed.tolist()), int(followed.size) * length
    )
    coverage = min(1.0, frames.covered / len(data))
    evidence = (
        Evidence(f"places with {spaced(sync)} have it again {length} bytes on", int(followed.size), places.size),
    )
    likely = coverage >= _LIKELY_COVERAGE and len(set(frames.contents)) >= LEAST_FRAMES
    strength = Strength.LIKELY if likely else Strength.HINT
    return Hypothesis(
        Kind.SYNC_FIXED,
        strength,
        coverage,
        evidence,
        frames,
        sync=sync[:_LONGEST_SYNC],
        frame_length=length,
        header=len(sync[:_LONGEST_SYNC]),
    )


def fixed_by_checksum(data: bytes, length: int, frames: Frames, checksum: ChecksumFound, misfits: int) -> Hypothesis:
    """Frames of one length found by their checksum, with a sync word where their first two bytes never change."""
    lead = leading_constant(frames.contents)
    size = min(lead, _LONGEST_SYNC)
    if checksum.catalogued and 2 <= checksum.start <= lead:
        size = checksum.start  # firmware often leaves the sync word out of the sum
    sync = frames.contents[0][:size] if lead >= 2 else b""
    if not sync.strip(b"\0"):
        sync = b""
    places = len(frames) + misfits
    evidence = [
        Evidence(f"frames of {length} bytes stand one behind the other", len(frames), places),
        Evidence(f"frames have a right {checksum.name}", checksum.hits, checksum.of),
    ]
    coverage = frames.covered / len(data)
    proven = len(frames) >= LEAST_FRAMES and coverage >= 0.5
    return Hypothesis(
        Kind.SYNC_FIXED if sync else Kind.FIXED,
        Strength.PROVEN if proven else Strength.HINT,
        coverage,
        tuple(evidence),
        frames,
        checksum,
        sync=sync,
        frame_length=length,
        header=len(sync),
    )


def _constant_run(stream: NDArray[np.uint8], length: int) -> bytes:
    """The longest run of bytes that repeat at that distance throughout."""
    same = np.zeros(stream.size, dtype=bool)
    same[:-length] = stream[:-length] == stream[length:]
    rows = same[: stream.size // length * length].reshape(-1, length)
    # noise shifts the frames' place: judge by the stretch in which most bytes repeat
    half = max(4, len(rows) // 4)
    first = max(range(0, len(rows) - half + 1, max(1, half // 2)), key=lambda r: int(rows[r : r + half].sum()))
    constant = rows[first : first + half].mean(axis=0) >= 0.9
    doubled = np.concatenate((constant, constant))
    best, run = (0, 0), 0
    for place, steady in enumerate(doubled.tolist()):
        run = run + 1 if steady else 0
        if best[0] < run <= length:
            best = run, place - run + 1
    count, at = best
    start = (first + half // 2) * length + at % length
    return stream[start : start + count].tobytes()


def _sequence_counts(packets: Sequence[bytes]) -> tuple[int, int]:
    """How often a packet's sequence count is one more than the last of its APID, and how often there was a last."""
    last: dict[int, int] = {}
    follows = pairs = 0
    for packet in packets:
        apid = int.from_bytes(packet[4:6], "big") & 0x07FF
        count = int.from_bytes(packet[6:8], "big") & 0x3FFF
        if apid in last:
            pairs += 1
            follows += count == (last[apid] + 1) & 0x3FFF
        last[apid] = count
    return follows, pairs


def spaced(data: bytes) -> str:
    """Bytes as hexadecimal pairs with spaces, such as AA 55."""
    return data.hex(" ").upper()
