"""Framings with a sync word and a length field behind it; CCSDS space packets among them.

Sync words are found by what follows from them: from a place where the bytes stand, a number behind them leads to a
place where they stand again.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from decoders.identifying.checksum_trial import find_checksum
from decoders.identifying.evidence import (
    LEAST_FRAMES,
    Evidence,
    Frames,
    Hypothesis,
    Kind,
    LengthField,
    RuledOut,
    Strength,
)
from decoders.identifying.patterns import (
    LONGEST_FRAME,
    SHORTEST_FRAME,
    Places,
    frequent_bytes,
    frequent_pairs,
    places_of,
    spaced,
)
from decoders.identifying.text import is_printable
from decoders.identifying.unmarked import leading_constant
from decoders.layout import ByteOrder

ATTACHED_SYNC_MARKER = bytes.fromhex("1ACFFC1D")  # CCSDS 131.0-B, attached sync marker for uncoded and coded data

_SAMPLE = 40_000  # bytes in which candidates are looked for; the best are then counted in all
_MOST_LOOKED_INTO = 4
_MOST_PLACES = 1200
_FURTHEST_LENGTH_FIELD = 6  # bytes behind the sync word's start
_MOST_BEYOND = 16
_LIKELY_COVERAGE = 0.6
_LIKELY_SHARE = 0.75
_LONGEST_LINE = 200  # bytes of text between two frames
LONGEST_SYNC = 4
END_BYTES = b"\r\n\x03"  # line ends and end of text: what closes a frame rather than opens one


@dataclass(frozen=True, slots=True)
class _Marked:
    """Frames that begin with `sync` and state their length."""

    sync: bytes
    length: LengthField
    frames: Frames


def space_packets(data: bytes) -> Hypothesis | RuledOut:
    """Space packets (CCSDS 133.0-B, 4.1) behind attached sync markers (CCSDS 131.0-B)."""
    places = places_of(data, ATTACHED_SYNC_MARKER)
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


def with_length_field(data: bytes) -> Hypothesis | RuledOut:
    """The best framing with a sync word and a length field."""
    sample = data[:_SAMPLE]
    covered: dict[tuple[bytes, LengthField], int] = {}
    for pattern in [*frequent_pairs(sample), *frequent_bytes(sample)]:
        length = _length_field(sample, places_of(sample, pattern), len(pattern))
        found = None if length is None else _from_true_start(sample, pattern, length)
        if found is not None:
            covered[found.sync, found.length] = found.frames.covered
    best = sorted(covered, key=lambda key: (-covered[key], -len(key[0])))[:_MOST_LOOKED_INTO]
    tried = [h for h in (_length_hypothesis(data, sync, length) for sync, length in best) if h is not None]
    if tried:
        return max(tried, key=lambda h: (h.score, len(h.sync)))
    return RuledOut(Kind.SYNC_LENGTH, "no frequent bytes are followed by a number that leads to the same bytes again")


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
                    (end < stream.size) & (value + beyond >= SHORTEST_FRAME) & (value + beyond <= LONGEST_FRAME)
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
    """Frames that end where the next sync word stands, and how many were tried.

    The next sync word may also stand behind a line of text that the receiver prints, or the stream may end.
    """
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
        if end > len(data) and value + length.beyond <= LONGEST_FRAME:
            break
        tried += 1
        if end > field_end and end - place >= SHORTEST_FRAME and _goes_on(data, end, sync):
            starts.append(place)
            contents.append(data[place:end])
            covered += end - place
            after = end
    return Frames(tuple(starts), tuple(contents), covered), tried


def _goes_on(data: bytes, end: int, sync: bytes) -> bool:
    if end == len(data) or data.startswith(sync, end):
        return True
    following = data.find(sync, end, end + _LONGEST_LINE)
    return following > end and data[following - 1] == 0x0A and is_printable(data[end:following])


def _length_hypothesis(data: bytes, pattern: bytes, length: LengthField) -> Hypothesis | None:
    frames, tried = _by_length(data, places_of(data, pattern), pattern, length)
    if len(frames) < LEAST_FRAMES:
        return None
    sizes = Counter(map(len, frames.contents))
    if len(sizes) < 2 or sizes.most_common(2)[1][1] < max(3, 0.02 * len(frames)):
        return None  # any byte that never changes would lead on as well
    length = _with_upper_byte(frames.contents, length)
    lead = min(leading_constant(frames.contents), length.at)
    header = length.at + length.size
    trailing = _trailing_constant(frames.contents)
    checksum = find_checksum(frames.contents, starts=range(header + 1), trailing=range(min(trailing, 2) + 1))
    if checksum is not None and 2 <= checksum.start <= lead:
        lead = checksum.start  # firmware often leaves the sync word out of the sum
    sync = _commonest([frame[:lead] for frame in frames.contents])
    count = Evidence(f"numbers at byte {length.at} lead from one {spaced(sync)} to the next", len(frames), tried)
    evidence = [
        count,
        Evidence("frames are not of the commonest length", len(frames) - max(sizes.values()), len(frames)),
    ]
    coverage = frames.covered / len(data)
    if length.size > 1 and max(sizes) < 256:
        evidence.append(Evidence("lengths have an upper byte of 0: it may as well be none", len(frames), len(frames)))
    if checksum is not None:
        evidence.append(Evidence(f"frames have a right {checksum.name}", checksum.hits, checksum.of))
    strength = Strength.HINT
    if count.share >= _LIKELY_SHARE and coverage >= _LIKELY_COVERAGE:
        if checksum is not None and checksum.is_proof:
            strength = Strength.PROVEN
        elif length.at <= len(sync) + 2:
            strength = Strength.LIKELY
    return Hypothesis(
        Kind.SYNC_LENGTH, strength, coverage, tuple(evidence), frames, checksum, sync, length, header=header
    )


def _with_upper_byte(contents: Sequence[bytes], length: LengthField) -> LengthField:
    """A length of one byte beside one that is always zero is rather a length of two: short frames have no other."""
    if length.size > 1:
        return length
    before, after = length.at - 1, length.at + 1
    if all(frame[before] == 0 for frame in contents):
        return replace(length, at=before, size=2, order=ByteOrder.BIG)
    if all(frame[after] == 0 for frame in contents):
        return replace(length, size=2, order=ByteOrder.LITTLE)
    return length


def _from_true_start(data: bytes, pattern: bytes, length: LengthField) -> _Marked | None:
    """Frames from where the sync word begins: the pattern may be its end, or begin with the end of the last frame."""
    frames, _ = _by_length(data, places_of(data, pattern), pattern, length)
    for _ in range(2):
        if len(frames) < LEAST_FRAMES:
            return None
        ends = len(pattern) - len(pattern.lstrip(END_BYTES))
        before = _trailing_constant(frames.contents)
        last = frames.contents[0][len(frames.contents[0]) - before :]
        last = last.split(b"\n")[-1].split(b"\x03")[-1]  # what closes the last frame stays with it
        if ends == len(pattern):
            return None  # what closes a frame is no sync word; the bytes behind it are tried as well
        if ends:
            pattern, shift = pattern[ends:], -ends
        elif last and len(last) + len(pattern) <= LONGEST_SYNC:
            pattern, shift = last + pattern, len(last)
        else:
            break
        length = replace(length, at=length.at + shift)
        frames, _ = _by_length(data, places_of(data, pattern), pattern, length)
    return _Marked(pattern, length, frames) if len(frames) >= LEAST_FRAMES else None


def _commonest(values: Sequence[bytes]) -> bytes:
    return Counter(values).most_common(1)[0][0]


def _trailing_constant(contents: Sequence[bytes]) -> int:
    return leading_constant([frame[::-1] for frame in contents])


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
