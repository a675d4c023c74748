"""Where the packets of a block stand that a receiver prints in hexadecimal digits among its own words and numbers.

This is the fast way of `decoders.envelope.hexadecimal_lines_around` for lines in which it is certain where the digits
and each number end: at the first character that is none of theirs. All other lines are left to the readable way. The
packet's bytes and, behind them, the numbers as floats are put together for lines of one length at a time.
"""

import numpy as np
from numpy.typing import NDArray

from decoders.contents import Contents
from decoders.decimals import FRONT, Bools, IntArray, Text, floats
from decoders.envelope import LONGEST_OTHER, line_marks, line_texts
from decoders.hexadecimal_frames import bytes_of_digits
from decoders.layout import ByteOrder, Layout
from decoders.line_pieces import pieces
from decoders.status_lines import LONGEST_LINE
from decoders.stuffing import longest_hex
from decoders.tile_frames import Frames

Bytes = NDArray[np.uint8]

_LEAST_LINES = 8  # with packets of one length; below, the readable way is as fast
_PIECE = 1 << 20  # bytes of lines that are read at once: more fall out of the processor's cache (measured)
_WORD = 8  # characters that are compared at once
_PADDING = 8  # bytes behind what is read in words
_LINE_FEED, _RETURN = 0x0A, 0x0D
_DIGITS = "0123456789abcdefABCDEF"
_OF_NUMBERS = "+-.0123456789eE"
_ENDS_OTHER = " \t\n\r\f\v,"  # what {} does not stand for
_IS_END = np.isin(np.arange(256), list(_ENDS_OTHER.encode("ascii")))
_STARTS_NUMBER = np.isin(np.arange(256), list(b"+-.0123456789"))


class LinesAround:
    """Finds the packets of one layout."""

    def __init__(self, layout: Layout, contents: Contents) -> None:
        names = [item.name for item in layout.envelope.fields]
        self._count = len(names)
        self._column = {name: column for column, name in enumerate(names)}
        self._marks = line_marks(layout.envelope.line)
        self._texts = [text.encode("ascii") for text in line_texts(layout.envelope.line)]
        self._float = "<f8" if layout.byte_order is ByteOrder.LITTLE else ">f8"
        self._shortest = sum(map(len, self._texts)) + 2 + self._count
        self._longest_line = max(longest_hex(contents.longest), LONGEST_LINE)

    @staticmethod
    def takes(layout: Layout) -> bool:
        """Whether it is certain in such lines where the digits and each number end."""
        line = layout.envelope.line
        if layout.framing != "hexadecimal lines" or not line.isascii() or "\r" in line or "\n" in line:
            return False
        marks, (_, *texts) = line_marks(line), line_texts(line)
        for place, (mark, text) in enumerate(zip(marks, texts, strict=True)):
            is_last = place == len(marks) - 1
            if not text and not is_last:
                return False
            if (text and not _ends(mark, text[0])) or (not is_last and text[0] in _DIGITS):
                return False
        return True

    def find(self, block: bytes, size: int) -> Frames:
        """The candidates in a block of so many bytes, and padding; see `decoders.tile_frames.finder`."""
        whole = memoryview(block)
        found = [self._piece(whole[begin:end], begin) for begin, end in pieces(block, size, _PIECE)]
        filled = 0
        for piece in found:
            np.add(piece.at, filled, out=piece.at)
            filled += piece.bytes.size
        return Frames(
            np.concatenate([*(piece.bytes for piece in found), np.zeros(_PADDING, dtype=np.uint8)]),
            np.concatenate([piece.at for piece in found]),
            np.concatenate([piece.length for piece in found]),
            np.concatenate([piece.start for piece in found]),
            np.concatenate([piece.end for piece in found]),
            np.concatenate([piece.plain for piece in found]),
        )

    def _piece(self, lines: memoryview, begin: int) -> Frames:
        """The candidates in some lines, which begin at a place in the block."""
        text = Text(b"".join((bytes(FRONT), lines, bytes(_PADDING))))
        contents, others = bytes_of_digits(text.bytes, FRONT + len(lines))
        others = others[FRONT:]
        kinds = text.bytes[others]
        line_end = others[kinds == _LINE_FEED]
        start = np.full_like(line_end, FRONT)
        start[1:] = line_end[:-1] + 1
        at, length = np.zeros_like(start), np.full_like(start, -1)
        gathered = [np.zeros(0, dtype=np.uint8)]
        stop = line_end - (text.bytes[line_end - 1] == _RETURN)
        some = np.flatnonzero((stop - start >= self._shortest) & (line_end - start <= self._longest_line))
        if some.size >= _LEAST_LINES:
            good, where, count, numbers = self._read(text, others, kinds, start[some], stop[some])
            where = where // 2 + where % 2 * ((contents.size - _PADDING) // 2)
            often = np.bincount(count[good]) >= _LEAST_LINES
            filled = 0
            for size in np.flatnonzero(often).tolist():
                mine = np.flatnonzero(good & (count == size))
                rows = _rows(contents, where[mine], size, numbers[mine].astype(self._float))
                at[some[mine]] = filled + np.arange(mine.size) * rows.shape[1]
                length[some[mine]] = rows.shape[1]
                gathered.append(rows.reshape(-1))
                filled += rows.size
        length[start == line_end] = 0  # passed over
        away = begin - FRONT
        return Frames(np.concatenate(gathered), at, length, start + away, line_end + (away + 1), length > 0)

    def _read(
        self, text: Text, others: IntArray, kinds: Bytes, start: IntArray, stop: IntArray
    ) -> tuple[Bools, IntArray, IntArray, NDArray[np.float64]]:
        """Which lines are as they should be; where their digits begin, how many bytes these are; (n, fields) numbers.

        Args:
            text: The block.
            others: The places of what is no digit in these lines and between them.
            kinds: What is there.
            start: (n,) of lines.
            stop: (n,) their ends.
        """
        data = text.bytes
        good = np.ones(start.size, dtype=np.bool_)
        where, count = np.zeros_like(start), np.zeros_like(start)
        numbers = np.zeros((start.size, self._count))
        at = _behind(text, self._texts[0], start, stop, good)
        for place, mark in enumerate(self._marks):
            behind = self._texts[place + 1]
            is_last = place == len(self._marks) - 1
            if is_last:
                end = stop - len(behind)
            elif mark == "packet":
                end = _next(others, at)
            else:
                end = _next(others[kinds == behind[0] if mark else _IS_END[kinds]], at)
            good &= end >= at
            end = np.minimum(end, stop)
            at = np.minimum(at, end)
            if mark == "packet":
                good &= (end > at) & ((end - at) % 2 == 0)
                if is_last:
                    good &= _next(others, at) >= end
                where, count = at.copy(), (end - at) // 2
            elif mark:
                good &= _STARTS_NUMBER[data[at]]
                mine = np.flatnonzero(good)
                if mine.size:
                    values, left = floats(text, at[mine], end[mine])
                    good[mine[left]] = False
                    numbers[mine, self._column[mark]] = values
            else:
                good &= end - at <= LONGEST_OTHER
                if is_last:
                    good &= _next(others[_IS_END[kinds]], at) >= end
            at = _behind(text, behind, end, stop, good)
        return good & (at == stop), where, count, numbers


def _ends(mark: str, letter: str) -> bool:
    """Whether a character cannot be part of what a mark stands for."""
    if mark == "packet":
        return letter not in _DIGITS
    return letter not in _OF_NUMBERS if mark else letter in _ENDS_OTHER


def _next(places: IntArray, at: IntArray) -> IntArray:
    """(n,) the first of some places that is not before each of others; where there is none, a place before it."""
    return places.take(np.searchsorted(places, at), mode="clip") if places.size else at - 1


def _behind(text: Text, expected: bytes, at: IntArray, stop: IntArray, good: Bools) -> IntArray:
    """(n,) the places behind some characters, not beyond each line; lines that have others are no longer good."""
    good &= at + len(expected) <= stop
    for first in range(0, len(expected), _WORD):
        some = expected[first : first + _WORD]
        at = np.minimum(at + len(some), stop)
        others = np.uint64(8 * (_WORD - len(some)))  # bits of the characters in front of these
        good &= text.words_before(at) >> others == int.from_bytes(some, "little")
    return at


def _rows(contents: Bytes, where: IntArray, length: int, numbers: NDArray[np.float64]) -> Bytes:
    """(n, length and more) so many bytes from some places on, and the bytes of (n, fields) numbers behind them."""
    overlapping = np.ndarray(contents.size - length + 1, dtype=f"V{length}", buffer=contents, strides=(1,))
    rows = np.empty((where.size, length + 8 * numbers.shape[1]), dtype=np.uint8)
    rows[:, :length] = overlapping[where].view(np.uint8).reshape(-1, length)
    rows[:, length:] = np.ascontiguousarray(numbers).view(np.uint8).reshape(where.size, -1)
    return rows
