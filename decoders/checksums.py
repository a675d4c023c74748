"""Checksums by name: what a frame carries to show that its bytes are the ones that were sent.

Besides the CRCs of the catalogue: Fletcher-16 and Fletcher-32, Adler-32, XOR-8 (all bytes combined by exclusive or),
sum-8, sum-16 and sum-32 (all bytes added, modulo 2 to that power), and none.

Sources: J. G. Fletcher, "An Arithmetic Checksum for Serial Transmissions", IEEE Transactions on Communications 30(1),
1982 (modulo 255 and 65,535, second sum in the upper half; 16-bit words are little-endian and an odd last byte is
followed by a zero, as in the widely printed check values); Adler-32: RFC 1950.
"""

import difflib
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.crc import CATALOGUE, CrcModel
from decoders.errors import LayoutError
from decoders.layout import Layout

_ADLER = 65_521  # RFC 1950: the largest prime below 65,536

Rows = NDArray[np.uint8]
Numbers = NDArray[np.uint64]


@dataclass(frozen=True, slots=True)
class Checksum:
    """A number computed from bytes, `size` bytes long in a frame (0 for none).

    of: the checksum of one message. of_rows: the checksums (n,) of the messages in (n, length) rows.
    """

    name: str
    size: int
    of: Callable[[bytes], int]
    of_rows: Callable[[Rows], Numbers]


def from_crc(model: CrcModel) -> Checksum:
    """A CRC as a checksum."""
    return Checksum(model.name, model.size, model.engine(), model.of_rows)


def checksum(name: str) -> Checksum:
    """The checksum of that name.

    Raises:
        LayoutError: There is none; the message names the nearest.
    """
    if name in _OTHERS:
        return _OTHERS[name]
    if name in CATALOGUE:
        return from_crc(CATALOGUE[name])
    near = difflib.get_close_matches(name, names(), n=3, cutoff=0.5) or ["CRC-16/IBM-3740", "none"]
    raise LayoutError(f"found {name!r}, expected the name of a checksum, such as {', '.join(near)}", where="checksum")


def checksum_of(layout: Layout) -> Checksum:
    """The checksum of a layout's frames; LayoutError where it names none."""
    return checksum(layout.checksum) if layout.crc is None else from_crc(layout.crc)


def names() -> list[str]:
    """The name of every checksum."""
    return [*_OTHERS, *CATALOGUE]


def _fletcher(bits: int) -> Checksum:
    """Fletcher's checksum of that many bits, over words of half as many."""
    half = bits // 2
    modulus = (1 << half) - 1
    size = half // 8

    def of(data: bytes) -> int:
        first = second = 0
        for place in range(0, len(data), size):
            first = (first + int.from_bytes(data[place : place + size], "little")) % modulus
            second = (second + first) % modulus
        return second << half | first

    def of_rows(rows: Rows) -> Numbers:
        if rows.shape[1] % size:
            rows = np.pad(rows, ((0, 0), (0, 1)))
        words = rows if size == 1 else np.ascontiguousarray(rows).view(f"<u{size}")
        first, second = _running_sums(words, 0)
        both: Numbers = second % np.uint64(modulus) << np.uint64(half) | first % np.uint64(modulus)
        return both

    return Checksum(f"Fletcher-{bits}", bits // 8, of, of_rows)


def _running_sums(words: NDArray[Any], start: int) -> tuple[Numbers, Numbers]:
    """Sums of the words in each row from `start` on, and of those sums after each word."""
    most = (start + int(np.iinfo(words.dtype).max)) * (words.shape[1] + 1) ** 2
    kind = np.uint32 if most < 1 << 32 else np.uint64  # what holds both, the narrower one sooner
    first: NDArray[Any] = np.full(words.shape[0], start, dtype=kind)
    second: NDArray[Any] = np.zeros(words.shape[0], dtype=kind)
    for column in words.T:
        first += column
        second += first
    return first.astype(np.uint64), second.astype(np.uint64)


def _sum(bits: int) -> Checksum:
    mask = (1 << bits) - 1

    def of_rows(rows: Rows) -> Numbers:
        total: Numbers = rows.sum(axis=1, dtype=np.uint64)
        below: Numbers = total & np.uint64(mask)
        return below

    return Checksum(f"sum-{bits}", bits // 8, lambda data: sum(data) & mask, of_rows)


def _adler_rows(rows: Rows) -> Numbers:
    first, second = _running_sums(rows, 1)
    both: Numbers = second % np.uint64(_ADLER) << np.uint64(16) | first % np.uint64(_ADLER)
    return both


def _xor_rows(rows: Rows) -> Numbers:
    return np.asarray(np.bitwise_xor.reduce(rows, axis=1), dtype=np.uint64)


def _no_rows(rows: Rows) -> Numbers:
    return np.zeros(rows.shape[0], dtype=np.uint64)


_OTHERS = {
    found.name: found
    for found in (
        Checksum("none", 0, lambda data: 0, _no_rows),
        _fletcher(16),
        _fletcher(32),
        Checksum("Adler-32", 4, zlib.adler32, _adler_rows),
        Checksum("XOR-8", 1, lambda data: reduce(xor, data, 0), _xor_rows),
        _sum(8),
        _sum(16),
        _sum(32),
    )
}
