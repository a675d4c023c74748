"""What lies inside the frames: which byte tells the kinds apart, counters, bytes that never change, likely fields.

Only frames whose checksum is right are looked at, where there is one. Places count from the start of the body, behind
sync word and length field. How the rest is cut into numbers is a guess: numbers side by side that behave alike cannot
be told apart.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from decoders.identifying.checksum_trial import checks
from decoders.identifying.evidence import Hypothesis, Kind
from decoders.identifying.statistics import entropy_bits
from decoders.layout import ByteOrder

MOST_FRAMES = 2000
LEAST_OF_A_KIND = 8
_FURTHEST_DISCRIMINATOR = 8
_MOST_KINDS = 16
_MOST_SHARE = 0.97
_COUNTS_SHARE = 0.7  # a link that loses three packets in ten still shows its counter
_WIDEST = 4

Rows = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Discriminator:
    """The byte at `at` tells the kinds apart: its values, and how many of the frames it gives the right length."""

    at: int
    values: tuple[int, ...]
    hits: int
    of: int


@dataclass(frozen=True, slots=True)
class Count:
    """The number of `size` bytes at `at` is one more in `hits` of `of` steps from one packet to the next.

    carries: steps at which the upper bytes took part, which is what shows its size. across: whether the steps are
    those of all packets, or of packets of one kind.
    """

    at: int
    size: int
    order: ByteOrder | None
    hits: int
    of: int
    carries: int
    across: bool


@dataclass(frozen=True, slots=True)
class Part:
    """Bytes of a body that seem to belong together; `value` where they never change."""

    at: int
    size: int
    value: bytes | None = None
    count: Count | None = None


@dataclass(frozen=True, slots=True)
class PacketKind:
    """Packets that look alike: the discriminator's value, the body's length, how many there were, and its parts.

    entropy_bits: of each byte's histogram.
    """

    id: int | None
    length: int
    count: int
    parts: tuple[Part, ...]
    entropy_bits: tuple[float, ...]

    @property
    def counter(self) -> Count | None:
        """Its counter, if it has one."""
        return next((part.count for part in self.parts if part.count is not None), None)


@dataclass(frozen=True, slots=True)
class Inside:
    """What was found inside the frames. order: of numbers of several bytes, None where nothing tells it."""

    looked_at: int
    lengths: tuple[tuple[int, int], ...]
    discriminator: Discriminator | None
    kinds: tuple[PacketKind, ...]
    order: ByteOrder | None


def inside(found: Hypothesis) -> Inside:
    """Look into the frames of a hypothesis."""
    bodies, told = _bodies(found)
    lengths = tuple(Counter(map(len, bodies)).most_common())
    discriminator = None if told is not None else _discriminator(bodies)
    groups: dict[tuple[int | None, int], list[int]] = {}
    for place, body in enumerate(bodies):
        key = None if discriminator is None or discriminator.at >= len(body) else body[discriminator.at]
        if told is not None:
            key = told[place]
        groups.setdefault((key, len(body)), []).append(place)
    kept = {key: places for key, places in groups.items() if len(places) >= LEAST_OF_A_KIND and key[1] > 0}
    rows = {key: _rows([bodies[p] for p in places]) for key, places in kept.items()}
    counters = {key: _counter(bodies, places, discriminator) for key, places in kept.items()}
    counters = _as_wide(counters)
    order = _order(rows, counters, discriminator)
    kinds = tuple(
        _kind(key, rows[key], counters[key], order, discriminator)
        for key in sorted(kept, key=lambda k: (k[0] or 0, k[1]))
    )
    return Inside(len(bodies), lengths, discriminator, kinds, order)


def _bodies(found: Hypothesis) -> tuple[list[bytes], list[int] | None]:
    """Bodies of the frames that are right, and their kinds where the framing tells (space packets: the APID)."""
    checksum = found.checksum
    frames = list(found.frames.contents[:MOST_FRAMES])
    if checksum is not None:
        frames = [frame for frame in frames if checks(frame, checksum)]
    behind = 0 if checksum is None else checksum.size + checksum.trailing
    kinds = None
    if found.kind is Kind.SPACE_PACKETS:
        at = len(found.sync)
        kinds = [int.from_bytes(frame[at : at + 2], "big") & 0x07FF for frame in frames]
    return [frame[found.header : len(frame) - behind] for frame in frames], kinds


def _rows(bodies: Sequence[bytes]) -> Rows:
    return np.frombuffer(b"".join(bodies), dtype=np.uint8).reshape(len(bodies), -1)


def _discriminator(bodies: Sequence[bytes]) -> Discriminator | None:
    """The first byte of few values that goes with the length, or else with what the other bytes are like."""
    lengths = Counter(map(len, bodies))
    # without a checksum, damaged frames are among them: those of a length of their own are left out
    bodies = [body for body in bodies if lengths[len(body)] >= max(2, 0.02 * len(bodies))]
    if len(bodies) < 2 * LEAST_OF_A_KIND:
        return None
    shortest = min(map(len, bodies))
    several_lengths = len({len(body) for body in bodies}) > 1
    for at in range(min(_FURTHEST_DISCRIMINATOR, shortest)):
        values = Counter(body[at] for body in bodies)
        common = {value for value, count in values.items() if count >= max(3, len(bodies) / 100)}
        if not 2 <= len(common) <= _MOST_KINDS or sum(values[v] for v in common) < _MOST_SHARE * len(bodies):
            continue
        pairs = Counter((body[at], len(body)) for body in bodies)
        right = sum(max(n for (v, _), n in pairs.items() if v == value) for value in common)
        told = right >= _MOST_SHARE * len(bodies) if several_lengths else _sorts(bodies, at)
        if told:
            return Discriminator(at, tuple(sorted(common)), right, len(bodies))
    return None


def _sorts(bodies: Sequence[bytes], at: int) -> bool:
    """Whether the other bytes of frames of one length are much less varied once sorted by that byte."""
    rows = _rows(bodies)
    others = [c for c in range(rows.shape[1]) if c != at]
    keys = rows[:, at]
    whole = sum(_entropy(rows[:, c]) for c in others)
    parts = sum(
        np.count_nonzero(keys == key) / len(keys) * sum(_entropy(rows[keys == key, c]) for c in others)
        for key in np.unique(keys)
    )
    # small samples look less varied by themselves: a third is well beyond that for 16 kinds of 8 frames and more
    return bool(whole > 0 and parts < 0.67 * whole)


def _entropy(column: Rows) -> float:
    return entropy_bits(np.bincount(column, minlength=256))


def _counter(bodies: Sequence[bytes], places: Sequence[int], discriminator: Discriminator | None) -> Count | None:
    """The first byte of this kind that goes up by one, with the upper bytes that carry."""
    length = len(bodies[places[0]])
    taken = -1 if discriminator is None else discriminator.at
    for across in (True, False):
        for at in range(length):
            if at == taken:
                continue
            if across:
                following = [p for p in places if p + 1 < len(bodies) and len(bodies[p + 1]) > at]
                now = np.array([bodies[p][at] for p in following])
                then = np.array([bodies[p + 1][at] for p in following])
            else:
                column = np.array([bodies[p][at] for p in places])
                now, then = column[:-1], column[1:]
            if now.size < LEAST_OF_A_KIND - 1:
                continue
            hits = int(np.count_nonzero((then - now) & 0xFF == 1))
            if hits >= _COUNTS_SHARE * now.size:
                return _widened(bodies, places, at, length, hits, int(now.size), across)
    return None


def _widened(
    bodies: Sequence[bytes], places: Sequence[int], at: int, length: int, hits: int, of: int, across: bool
) -> Count:
    """The counter with as many upper bytes as were seen to carry."""
    pairs = [(bodies[p], bodies[p + 1]) for p in places if p + 1 < len(bodies) and len(bodies[p + 1]) > at]
    if not across:
        pairs = [(bodies[p], bodies[q]) for p, q in pairwise(places)]
    wraps = [(now, then) for now, then in pairs if now[at] == 0xFF and then[at] == 0]
    for order, upper in ((ByteOrder.LITTLE, at + 1), (ByteOrder.BIG, at - 1)):
        if not 0 <= upper < length:
            continue
        usable = [(now, then) for now, then in wraps if upper < min(len(now), len(then))]
        carries = sum((then[upper] - now[upper]) & 0xFF == 1 for now, then in usable)
        still = sum(now[upper] != then[upper] for now, then in pairs if upper < min(len(now), len(then)))
        if carries and carries >= 0.5 * len(usable) and still <= carries + 0.05 * len(pairs):
            return Count(min(at, upper), 2, order, hits, of, carries, across)
    return Count(at, 1, None, hits, of, 0, across)


def _as_wide(counters: dict[tuple[int | None, int], Count | None]) -> dict[tuple[int | None, int], Count | None]:
    """A counter of all packets has one size: carries seen in one kind count for the others too."""
    wide = next((c for c in counters.values() if c is not None and c.across and c.size > 1), None)
    if wide is None:
        return counters
    return {
        key: replace(wide, hits=c.hits, of=c.of, carries=c.carries)
        if c is not None and c.across and c.at in (wide.at, wide.at + 1)
        else c
        for key, c in counters.items()
    }


def _order(
    rows: dict[tuple[int | None, int], Rows],
    counters: dict[tuple[int | None, int], Count | None],
    discriminator: Discriminator | None,
) -> ByteOrder | None:
    """What the counters say; else the order in which more bodies fall into numbers of 1, 2 and 4 bytes."""
    said = Counter(c.order for c in counters.values() if c is not None and c.order is not None)
    if said:
        return said.most_common(1)[0][0]
    sizes = {order: Counter[int]() for order in ByteOrder}
    for key, matrix in rows.items():
        for order in ByteOrder:
            sizes[order].update(
                p.size for p in _parts(matrix, counters[key], order, discriminator) if p.value is None
            )
    wide = {order: found[2] * 2 + found[4] * 4 - found[3] * 3 for order, found in sizes.items()}
    if wide[ByteOrder.LITTLE] == wide[ByteOrder.BIG]:
        return None
    return max(ByteOrder, key=lambda order: wide[order])


def _kind(
    key: tuple[int | None, int],
    rows: Rows,
    count: Count | None,
    order: ByteOrder | None,
    discriminator: Discriminator | None,
) -> PacketKind:
    entropies = tuple(round(_entropy(column), 2) for column in rows.T)
    parts = _parts(rows, count, order or ByteOrder.LITTLE, discriminator)
    return PacketKind(key[0], key[1], len(rows), tuple(parts), entropies)


def _parts(rows: Rows, count: Count | None, order: ByteOrder, discriminator: Discriminator | None) -> list[Part]:
    """The body cut where how much a byte varies jumps: upper bytes of a number vary less than its lower ones."""
    length = rows.shape[1]
    varied = [_entropy(column) for column in rows.T]
    alone = set() if discriminator is None else {discriminator.at}
    counted = set() if count is None else set(range(count.at, count.at + count.size))
    parts: list[Part] = []
    at = 0
    while at < length:
        if count is not None and at == count.at:
            parts.append(Part(at, count.size, None, count))
            at += count.size
            continue
        end = at + 1
        if at not in alone:
            while (
                end < length
                and end - at < _WIDEST
                and end not in alone | counted
                and _belongs(varied[end - 1], varied[end], order)
            ):
                end += 1
        steady = all(v == 0.0 for v in varied[at:end])
        parts += [
            Part(place, size, rows[0, place : place + size].tobytes() if steady else None)
            for place, size in _cut(at, end, steady)
        ]
        at = end
    return parts


def _belongs(before: float, after: float, order: ByteOrder) -> bool:
    """Whether the next byte continues the number: less varied with the low byte first, more with the high byte."""
    if before == after == 0.0:
        return True
    if order is ByteOrder.LITTLE:
        return after < 0.92 * before
    return before < 0.92 * after


def _cut(at: int, end: int, steady: bool) -> list[tuple[int, int]]:
    """Bytes that never change one by one; a number as it is."""
    return [(place, 1) for place in range(at, end)] if steady else [(at, end - at)]
