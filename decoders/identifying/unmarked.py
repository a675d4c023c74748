"""Frames of one length in a stream, found by their checksum alone: no delimiter, no sync word is needed.

A checksum of a frame of fixed length differs from the number sent by the same amount in every frame, whatever its
start and final values are. So every place is taken as the start of a frame of every length at once, the register is
carried on byte by byte, and a length and place at which the difference stays the same from frame to frame, while the
checksum itself changes, are those of the frames.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from decoders.crc import CATALOGUE, CrcModel
from decoders.identifying.checksum_trial import find_checksum
from decoders.identifying.evidence import ChecksumFound, Frames
from decoders.layout import ByteOrder

Numbers = NDArray[np.int64]

SHORTEST, LONGEST = 5, 256  # bytes of a frame, checksum included
_SAMPLE = 4000  # places taken as the start of a frame
_LEAST_CHAINS = 4
_MOST_LEAD = 8
_MOST_WALKED = 3
_CHANCE = 0.02  # of places; one in 256 for a byte of a stream that takes all values


@dataclass(frozen=True, slots=True)
class Unmarked:
    """Frames of `length` bytes whose checksum is right; `misfits` places where the next frame did not follow."""

    length: int
    frames: Frames
    checksum: ChecksumFound
    misfits: int


@dataclass(frozen=True, slots=True)
class _Family:
    """Checksums that differ in their start and final values alone, over many messages at once.

    start: registers for n messages. step: carried on by one byte each. apart: what is between them and the numbers
    sent; the same for frames of one length.
    """

    name: str
    size: int
    model: CrcModel | None
    start: Callable[[int], Numbers]
    step: Callable[[Numbers, Numbers], Numbers]
    apart: Callable[[Numbers, Numbers], Numbers]


@dataclass(frozen=True, slots=True)
class _Fit:
    family: _Family
    order: ByteOrder
    length: int
    chains: int
    place: int


def unmarked(data: bytes, lengths: Sequence[int] = range(SHORTEST, LONGEST + 1)) -> Unmarked | None:
    """Frames of one of these lengths with a checksum at their end; None where there are none.

    A third of the first sample must be frames one behind the other.
    """
    wanted = sorted({length for length in lengths if SHORTEST <= length <= LONGEST and 4 * length <= len(data)})
    if not wanted:
        return None
    stream = np.frombuffer(data[: _SAMPLE + 8], dtype=np.uint8).astype(np.int64)
    numbers = {(size, order): _numbers(stream, size, order) for size in (1, 2, 3, 4) for order in ByteOrder}
    fits = []
    for family in _families():
        fits += _fits(family, stream, numbers, wanted)
    # a multiple of the length fits as well, and so does the length itself with fewer chances to
    fits.sort(key=lambda fit: (-fit.chains * fit.length, fit.length, -fit.family.size))
    for fit in fits[:_MOST_WALKED]:
        found = _walked(data, fit)
        if found is not None:
            return found
    return None


def _fits(
    family: _Family, stream: Numbers, numbers: dict[tuple[int, ByteOrder], Numbers], wanted: Sequence[int]
) -> list[_Fit]:
    fits = []
    # chance: 2^-32 or 2^-40 a place; sums of few different bytes take few values, so more is asked of them
    links = 2 if family.size > 1 and family.model is not None else 5
    longest = wanted[-1]
    lengths = frozenset(wanted)
    registers = family.start(stream.size)
    for body in range(1, longest - family.size + 1):
        places = stream.size - body + 1
        registers = family.step(registers[..., :places], stream[body - 1 :])
        length = body + family.size
        if length not in lengths:
            continue
        for order in ByteOrder if family.size > 1 else (ByteOrder.BIG,):
            sent = numbers[family.size, order][body:]
            apart = family.apart(registers[..., : sent.size], sent)
            same = apart[:-length] == apart[length:]
            if np.count_nonzero(same) < _LEAST_CHAINS:
                continue
            same &= sent[:-length] != sent[length:]
            if np.count_nonzero(same) > (1.5 / length + _CHANCE) * same.size:
                continue
            chained = same
            for _ in range(links - 1):
                chained = _one_further(chained, same, length)
            places_found = np.flatnonzero(chained)
            if places_found.size < max(_LEAST_CHAINS, (stream.size / length - links) / 3):
                continue
            at = int(places_found[0])
            changes = np.diff(sent[at::length])
            if len(set(changes.tolist())) >= 3:
                fits.append(_Fit(family, order, length, int(places_found.size), at))
    return fits


def _walked(data: bytes, fit: _Fit) -> Unmarked | None:
    """All frames of the stream, and the checksum's name."""
    body = fit.length - fit.family.size
    right, difference = _right_places(data, fit)
    starts: list[int] = []
    misfits = place = 0
    while place < right.size:
        if right[place]:
            starts.append(place)
            place = _earliest(right, place + fit.length, fit.length)
            continue
        misfits += bool(starts)
        further = np.flatnonzero(right[place:])
        if fit.family.size == 1:  # one byte is right by chance too often: the frame behind it has to be right as well
            behind = place + further + fit.length
            further = further[(behind >= right.size) | right[np.minimum(behind, right.size - 1)]]
        if further.size == 0:
            break
        place += int(further[0])
    contents = tuple(data[start : start + fit.length] for start in starts)
    if len(set(contents)) < _LEAST_CHAINS or _right_elsewhere(right, starts) > _CHANCE:
        return None
    lead = leading_constant(contents)
    checksum = find_checksum(contents, starts=range(min(lead, _MOST_LEAD, body - 1) + 1))
    if checksum is None or checksum.size != fit.family.size:
        of = max(len(starts), len(data) // fit.length)
        model = fit.family.model
        own = None if model is None else replace(model, xor_out=difference)
        name, size, named = fit.family.name, fit.family.size, own is not None
        checksum = ChecksumFound(name, size, fit.order, 0, 0, len(starts), of, own, named)
    frames = Frames(tuple(starts), contents, len(starts) * fit.length)
    return Unmarked(fit.length, frames, checksum, misfits)


def _right_elsewhere(right: NDArray[np.bool_], starts: Sequence[int]) -> float:
    """The share of right places away from the frames' starts: what chance alone makes right in this stream."""
    away = np.ones(right.size, dtype=bool)
    for further in range(_MOST_LEAD + 1):
        away[np.minimum(np.array(starts) + further, right.size - 1)] = False
    return float(right[away].mean()) if away.any() else 0.0


def _earliest(right: NDArray[np.bool_], place: int, length: int) -> int:
    """Where frames begin that are right from here on: a sum is right a byte later too where it never changes."""
    least = max(0, place - _MOST_LEAD)
    while place > least and place + length <= right.size and right[place - 1] and right[place - 1 + length]:
        place -= 1
    return place


def _right_places(data: bytes, fit: _Fit) -> tuple[NDArray[np.bool_], int]:
    """At which places a frame with the difference of the fit begins, and that difference."""
    stream = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    body = fit.length - fit.family.size
    count = stream.size - fit.length + 1
    registers = fit.family.start(count)
    for place in range(body):
        registers = fit.family.step(registers, stream[place : place + count])
    apart = fit.family.apart(registers, _numbers(stream, fit.family.size, fit.order)[body : body + count])
    difference = int(apart[fit.place])
    return np.asarray(apart == difference), difference


def leading_constant(contents: Sequence[bytes]) -> int:
    """How many first bytes are the same in all frames but one in 50."""
    count = 0
    shortest = min(map(len, contents))
    while count < shortest:
        values = [frame[count] for frame in contents]
        if values.count(max(set(values), key=values.count)) < 0.98 * len(values):
            break
        count += 1
    return count


def _one_further(chained: NDArray[np.bool_], same: NDArray[np.bool_], length: int) -> NDArray[np.bool_]:
    """Places from which the chain goes on one frame further."""
    shift = same.size - chained.size + length
    if shift >= same.size:
        return chained[:0]
    further = same[shift:]
    return chained[: further.size] & further


def _numbers(stream: Numbers, size: int, order: ByteOrder) -> Numbers:
    """The number of `size` bytes at every place."""
    count = stream.size - size + 1
    places = range(size) if order is ByteOrder.BIG else range(size - 1, -1, -1)
    number = np.zeros(count, dtype=np.int64)
    for place in places:
        number = (number << 8) | stream[place : place + count]
    return number


def _crc(model: CrcModel) -> _Family:
    bare = CrcModel(model.name, model.width, model.polynomial, 0, model.reflect_in, model.reflect_in, 0)
    table = np.array([bare.of(bytes((byte,))) for byte in range(256)], dtype=np.int64)
    mask, top = (1 << model.width) - 1, model.width - 8

    def low_first(registers: Numbers, byte: Numbers) -> Numbers:
        return np.asarray(table[(registers ^ byte) & 0xFF] ^ (registers >> 8))

    def high_first(registers: Numbers, byte: Numbers) -> Numbers:
        return np.asarray(table[(registers >> top) ^ byte] ^ ((registers << 8) & mask))

    direction = "lowest" if model.reflect_in else "highest"
    name = f"CRC-{model.width} of polynomial 0x{model.polynomial:0{model.width // 4}X}, {direction} bit first"
    return _Family(
        name,
        model.size,
        replace(bare, name=name),
        _zeros,
        low_first if model.reflect_in else high_first,
        np.bitwise_xor,
    )


def _zeros(count: int) -> Numbers:
    return np.zeros(count, dtype=np.int64)


def _sum(bits: int, sign: int) -> _Family:
    mask = (1 << bits) - 1

    def add(registers: Numbers, byte: Numbers) -> Numbers:
        return registers + byte

    def apart(registers: Numbers, sent: Numbers) -> Numbers:
        return (registers - sign * sent) & mask

    return _Family(f"sum-{bits}" if sign > 0 else f"sum-{bits}, negated", bits // 8, None, _zeros, add, apart)


def _fletcher(modulus: int) -> _Family:
    def start(count: int) -> Numbers:
        return np.zeros((2, count), dtype=np.int64)

    def step(registers: Numbers, byte: Numbers) -> Numbers:
        first = registers[0] + byte
        return np.stack((first, registers[1] + first))

    def apart(registers: Numbers, sent: Numbers) -> Numbers:
        first, second = (registers[0] - (sent & 0xFF)) % modulus, (registers[1] - (sent >> 8)) % modulus
        return np.asarray(second * modulus + first)

    return _Family(f"Fletcher-16, modulo {modulus}", 2, None, start, step, apart)


@cache
def _families() -> tuple[_Family, ...]:
    models = {
        (model.width, model.polynomial, model.reflect_in): model
        for model in CATALOGUE.values()
        if model.width in (8, 16, 24, 32) and model.reflect_in == model.reflect_out
    }
    xor = _Family("XOR-8", 1, None, _zeros, np.bitwise_xor, np.bitwise_xor)
    crcs = [_crc(model) for _, model in sorted(models.items())]
    return (*crcs, xor, _sum(8, 1), _sum(8, -1), _sum(16, 1), _fletcher(255), _fletcher(256))
