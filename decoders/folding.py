"""CRCs of the polynomial x^16 + x^12 + x^5 + 1 without tables, for many frames at once.

Over GF(2) the powers P(x)^8, P(x)^4 and P(x)^2 have no more terms than P(x), with 8, 4 and 2 times its exponents, and
are multiples of it. So a leading row of bytes, one of each frame, folds by XOR into rows a few positions on, until
the two rows of the remainder are left.
"""

import numpy as np
from numpy.typing import NDArray

from decoders.crc import CATALOGUE, CrcModel
from decoders.layout import ChecksumPlace, Layout

Planes = NDArray[np.uint8]  # (byte position, frame)


def folding_crc(layout: Layout) -> CrcModel | None:
    """The layout's CRC, if its checksum is one of x^16 + x^12 + x^5 + 1 over the whole body and behind it."""
    crc = layout.crc or CATALOGUE.get(layout.checksum)
    if crc is None or (crc.width, crc.polynomial) != (16, 0x1021) or crc.reflect_in != crc.reflect_out:
        return None
    is_whole = layout.checksum_from == layout.checksum_until == 0
    return crc if is_whole and layout.checksum_place is ChecksumPlace.END else None


def _left(row: Planes, bits: int) -> Planes:
    """A shift to the left, as a product: numpy computes that faster on bytes."""
    shifted: Planes = row * np.uint8(1 << bits)
    return shifted


def _right(row: Planes, bits: int) -> Planes:
    shifted: Planes = row >> np.uint8(bits)
    return shifted


def fold(rows: Planes, *, lowest_first: bool, message: Planes | None = None) -> None:
    """Divide each column of bytes, a polynomial over GF(2) with its highest terms first, by P(x).

    The remainder is left in the last two rows; the others are spoilt. With `lowest_first` a byte's lowest bit is its
    highest term. A message given apart stays as it is; the rows, as many, are then nothing but working memory.
    """
    if message is None:
        message = rows
    else:
        rows[:16] = message[:16]
    # towards a byte's highest term and its lowest
    up, down = (_right, _left) if lowest_first else (_left, _right)
    left, at = rows.shape[0], 0
    while left > 16:  # x^128 = x^96 + x^40 + 1 modulo P(x)^8: 4, 11 and 16 bytes on
        count = min(4, left - 16)
        top = rows[at : at + count]
        for on in (4, 11):
            rows[at + on : at + on + count] ^= top
        last = slice(at + 16, at + 16 + count)
        np.bitwise_xor(message[last], top, out=rows[last])
        left, at = left - count, at + count
    while left > 8:  # x^64 = x^48 + x^20 + 1 modulo P(x)^4: 2, 5 1/2 and 8 bytes on
        count = min(2, left - 8)
        top = rows[at : at + count]
        rows[at + 2 : at + 2 + count] ^= top
        rows[at + 5 : at + 5 + count] ^= down(top, 4)
        rows[at + 6 : at + 6 + count] ^= up(top, 4)
        rows[at + 8 : at + 8 + count] ^= top
        left, at = left - count, at + count
    while left > 4:  # x^32 = x^24 + x^10 + 1 modulo P(x)^2: 1, 2 3/4 and 4 bytes on
        top = rows[at]
        rows[at + 1] ^= top
        rows[at + 2] ^= down(top, 6)
        rows[at + 3] ^= up(top, 2)
        rows[at + 4] ^= top
        left, at = left - 1, at + 1
    while left > 2:  # x^16 = x^12 + x^5 + 1: 1/2, 1 3/8 and 2 bytes on, the upper half byte first
        top = rows[at]
        top ^= down(top, 4)
        rows[at + 1] ^= up(top, 4)
        rows[at + 1] ^= down(top, 3)
        rows[at + 2] ^= up(top, 5)
        rows[at + 2] ^= top
        left, at = left - 1, at + 1
