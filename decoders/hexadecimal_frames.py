"""Where the frames of a block stand that are lines of hexadecimal digits: the fast way of `decoders.stuffing`.

A digit is worth its lowest four bits, and nine more if it is a letter. Two neighbours make a byte; a line may start
at an even or an odd place, so there are two runs of bytes, and a frame is taken from that of its line.
"""

import numpy as np
from numpy.typing import NDArray

from decoders.status_lines import LONGEST_LINE
from decoders.stuffing import longest_hex
from decoders.tile_frames import Frames, between

Bytes = NDArray[np.uint8]
IntArray = NDArray[np.int64]

_PIECE = 1 << 18  # bytes that are taken at once, an even number: more fall out of the processor's cache (measured)
_PADDING = 8  # behind what frames are gathered from: at least that of a block
_BLANKS = b" \t\r"  # that may be anywhere in a line
_LINE_FEED, _RETURN = 0x0A, 0x0D


class HexadecimalLines:
    """Finds the frames of one layout.

    Args:
        longest: Bytes of the longest contents.
    """

    def __init__(self, longest: int) -> None:
        self._longest_line = max(longest_hex(longest), LONGEST_LINE)

    def find(self, block: bytes, size: int) -> Frames:
        """The candidates in a block of so many bytes, and padding; see `decoders.tile_frames.finder`."""
        written, digits = block, size
        if b" " in block or b"\t" in block:
            written = block[:size].translate(None, _BLANKS)
            digits = len(written)
            written += bytes(_PADDING)
        data = np.frombuffer(written, dtype=np.uint8)
        contents, others = bytes_of_digits(data, digits)
        of_ends = np.flatnonzero(data[others] == _LINE_FEED)
        line_end = others[of_ends]
        at, before = np.zeros_like(line_end), np.full_like(line_end, -1)
        at[1:], before[1:] = line_end[:-1] + 1, of_ends[:-1]
        returns = (data[line_end - 1] == _RETURN) & (line_end > at)
        count = line_end - at - returns
        start, end = (at, line_end) if written is block else between(np.frombuffer(block, np.uint8), size, _LINE_FEED)
        plain = (of_ends - before == 1 + returns) & (end - start <= self._longest_line)
        # a line is passed over only if there is nothing in it, not even a blank
        length = np.where((count % 2 == 1) | ((count == 0) & (end > start)), -1, count // 2)
        where = at // 2 + at % 2 * ((contents.size - _PADDING) // 2)
        return Frames(contents, where, length, start, end + 1, plain)


def bytes_of_digits(data: Bytes, size: int) -> tuple[Bytes, IntArray]:
    """What each two neighbours are as a byte, and the places of what is no digit, in the first `size` bytes.

    The bytes that start at even places come first, then as many that start at odd ones, then padding.
    """
    half = (size + 1) // 2
    contents = np.empty(2 * half + _PADDING, dtype=np.uint8)
    contents[-_PADDING:] = 0
    others = []
    for begin in range(0, size, _PIECE):
        piece = data[begin : min(begin + _PIECE, size)]
        no_digit = (piece - np.uint8(ord("0"))) > 9
        no_digit &= ((piece | 0x20) - np.uint8(ord("a"))) > 5
        others.append(np.flatnonzero(no_digit) + begin)
        more = piece.size + piece.size % 2 + 2  # the byte at the last odd place takes one digit more
        digits = data[begin : begin + more] >> 6
        digits *= np.uint8(9)
        digits += data[begin : begin + more] & 0x0F
        pairs = digits.view("<u2")
        first, count = begin // 2, pairs.size - 1
        np.copyto(contents[first : first + count], (pairs[:-1] << 4) | (pairs[:-1] >> 8), casting="unsafe")
        at_odd = ((pairs[:-1] >> 4) & 0xF0) | pairs[1:]
        np.copyto(contents[half + first : half + first + count], at_odd, casting="unsafe")
    return contents, np.concatenate(others) if others else np.zeros(0, dtype=np.int64)
