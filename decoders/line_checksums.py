"""Checksums of text lines, thousands at once: lines of any length, each compared with the digits behind its asterisk.

Lines are put side by side with their ends in one row and zeros in front of the shorter ones, one row for each
character. A CRC is that of a message with zeros in front but for what its start value makes of the length, which is
taken in as the CRC of as many zeros; a sum and an exclusive or do not see them.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from decoders.checksums import Checksum
from decoders.crc import CATALOGUE, CrcModel
from decoders.decimals import Bools, IntArray, Text
from decoders.folding import fold
from decoders.layout import Layout

Planes = NDArray[np.uint8]  # (character, line)
Numbers = NDArray[np.uint64]

_MARK = ord("*")
_WORD = 8  # characters that are fetched at once
_TILE = 8192  # lines side by side: more fall out of the processor's cache
_MOST = 0.995  # share of the lines that set the number of rows; longer ones are computed one by one
_SUMS = ("sum-8", "sum-16", "sum-32")
_DIGIT = np.full(256, 16, dtype=np.uint8)  # what a hexadecimal digit stands for; 16 for what is none
_DIGIT[np.frombuffer(b"0123456789abcdefABCDEF", dtype=np.uint8)] = [*range(16), *range(10, 16)]


class LineChecksums:
    """Checks the lines of one layout."""

    def __init__(self, layout: Layout, checksum: Checksum) -> None:
        self._checksum = checksum
        self._crc = layout.crc or CATALOGUE.get(layout.checksum)
        self._of_zeros: dict[int, int] = {}  # by their number

    def are_right(self, text: Text, start: IntArray, stop: IntArray) -> Bools:
        """Whether the digits behind the asterisk at each `stop` are the checksum of what is between the places."""
        right: Bools = text.bytes[stop] == _MARK
        stated = np.zeros(start.size, dtype=np.uint64)
        for place in range(1, 2 * self._checksum.size + 1):
            digit = _DIGIT[text.bytes[stop + place]]
            right &= digit < 16
            stated <<= np.uint64(4)
            stated |= digit
        if not start.size:
            return right
        if self._checksum.name == "XOR-8":
            # of the runs between the places in turn, every other is a line
            runs = np.bitwise_xor.reduceat(text.bytes, np.stack((start, stop), axis=1).reshape(-1))
            right &= runs[::2] == stated
            return right
        if self._crc is None and self._checksum.name not in _SUMS:
            right &= self._of_equal_lengths(text, start, stop) == stated
            return right
        for some in self._side_by_side(text, start, stop, stated, right):
            right[some] &= self._agree(text, stop[some], stop[some] - start[some], stated[some])
        return right

    def _side_by_side(
        self, text: Text, start: IntArray, stop: IntArray, stated: Numbers, right: Bools
    ) -> Iterator[IntArray]:
        """The lines that are checked side by side; the longest few are checked here."""
        words = (stop - start + _WORD - 1) // _WORD
        fitting = np.cumsum(np.bincount(words))
        most = int(np.searchsorted(fitting, _MOST * words.size))
        for line in np.flatnonzero(right & (words > most)).tolist():
            right[line] = self._checksum.of(text.bytes[start[line] : stop[line]].tobytes()) == stated[line]
        usual = np.flatnonzero(words <= most)
        for first in range(0, usual.size, _TILE):
            yield usual[first : first + _TILE]

    def _agree(self, text: Text, stop: IntArray, length: IntArray, stated: Numbers) -> Bools:
        """Whether lines side by side have the checksums stated."""
        crc = self._crc
        agree: Bools
        if crc is None:
            agree = self._checksum.of_rows(_planes(text, stop, length, 0).T) == stated
            return agree
        zeros = self._crcs_of_zeros(length)
        if (crc.width, crc.polynomial) == (16, 0x1021) and crc.reflect_in == crc.reflect_out:
            return _folds(crc, _planes(text, stop, length, 2), stated, zeros)
        planes = _planes(text, stop, length, 0)
        found = self._checksum.of_rows(planes.T) ^ np.uint64(self._checksum.of(bytes(planes.shape[0])))
        found ^= zeros
        agree = found == stated
        return agree

    def _crcs_of_zeros(self, length: IntArray) -> Numbers:
        """The CRC of as many zeros as each line has characters."""
        known = np.zeros(int(length.max()) + 1, dtype=np.uint64)
        for size in np.flatnonzero(np.bincount(length)).tolist():
            if size not in self._of_zeros:
                self._of_zeros[size] = self._checksum.of(bytes(size))
            known[size] = self._of_zeros[size]
        return known[length]

    def _of_equal_lengths(self, text: Text, start: IntArray, stop: IntArray) -> Numbers:
        """The checksums of lines, those of one length at a time."""
        found = np.zeros(start.size, dtype=np.uint64)
        length = stop - start
        for size in np.flatnonzero(np.bincount(length)).tolist():
            some = np.flatnonzero(length == size)
            found[some] = self._checksum.of_rows(text.rows(start[some], size))
        return found


def _planes(text: Text, stop: IntArray, length: IntArray, more: int) -> Planes:
    """The characters in front of some places, a row for each character, zeros in front of the lines.

    Args:
        text: Where they stand.
        stop: (n,) the places.
        length: (n,) characters of each line.
        more: Rows to add behind.
    """
    words = (int(length.max()) + _WORD - 1) // _WORD
    planes = np.empty((_WORD * words + more, stop.size), dtype=np.uint8)
    for number in range(words):
        eight = text.last_before(np.maximum(stop - _WORD * number, _WORD), length - _WORD * number)
        first = _WORD * (words - 1 - number)
        for row in planes[first : first + _WORD]:
            np.copyto(row, eight, casting="unsafe")
            eight >>= np.uint64(8)
    return planes


def _folds(crc: CrcModel, planes: Planes, stated: Numbers, zeros: Numbers) -> Bools:
    """Whether lines with their CRCs in the last two rows leave what a right one leaves: the CRC of zeros."""
    upper, lower = (stated >> np.uint64(8)).astype(np.uint8), stated.astype(np.uint8)
    # a CRC that takes each byte's lowest bit first has its own lower byte first, too
    first, second = (-1, -2) if crc.reflect_in else (-2, -1)
    planes[first], planes[second] = upper, lower
    fold(planes, lowest_first=crc.reflect_in)
    left = planes[first].astype(np.uint64) << np.uint64(8) | planes[second]
    agree: Bools = left == zeros
    return agree
