"""Unit quaternions in few bits, "smallest three": which part is the largest, and the three others as fractions.

One unsigned number of 2 + 3 n bits: from its top, the place of the largest part (0 to 3 for w, x, y, z), then the
other three in the order w, x, y, z as two's complement of n bits, in steps of 1 / (sqrt(2) (2^(n-1) - 1)): no part
but the largest is beyond 1 / sqrt(2). The sender turns all signs so that the largest is positive (q and -q are one
attitude); it follows from the others. Common practice where bandwidth is short, no source.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.errors import LayoutError

FloatArray = NDArray[np.float64]

LEAST_BITS, MOST_BITS = 2, 20  # of a fraction; 20 fill a number of 62 bits
PARTS = ("w", "x", "y", "z")
_NORM_ERROR = 0.02  # a quaternion further from unit length is no attitude (common practice, no source)


def number_bits(fraction_bits: int) -> int:
    """Bits of the whole number."""
    return 2 + 3 * fraction_bits


def fraction_bits(bits: int) -> int:
    """Bits of each fraction in a number of so many; LayoutError where there is no such number."""
    size, rest = divmod(bits - 2, 3)
    if rest or not LEAST_BITS <= size <= MOST_BITS:
        raise LayoutError(
            f"found {bits} bits, expected 2 and three fractions of {LEAST_BITS} to {MOST_BITS}", where="quaternion"
        )
    return size


def unpacked(numbers: NDArray[Any], size: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """The parts w, x, y, z of packed quaternions.

    Args:
        numbers: (n,) unsigned, of 2 + 3 `size` bits.
        size: Bits of a fraction.
    Returns:
        Four arrays (n,); NaN where the three fractions are together longer than a unit quaternion.
    """
    whole = numbers.astype(np.uint64)
    step = 1.0 / (math.sqrt(2.0) * ((1 << (size - 1)) - 1))
    largest = (whole >> np.uint64(3 * size)).astype(np.int64)
    up = np.uint64(64 - size)
    three = np.empty((3, whole.shape[0]))
    for k in range(3):
        fraction = (whole >> np.uint64((2 - k) * size)) << up
        three[k] = (fraction.view(np.int64) >> np.int64(64 - size)) * step
    rest = 1.0 - np.einsum("kn,kn->n", three, three)
    with np.errstate(invalid="ignore"):
        root = np.sqrt(rest)
    three[:, rest < 0] = np.nan
    parts = np.empty((4, whole.shape[0]))
    for place in range(4):
        before = three[min(place, 2)]  # where the largest comes later
        after = three[max(place - 1, 0)]  # where it came before
        parts[place] = np.where(largest == place, root, np.where(largest > place, before, after))
    return parts[0], parts[1], parts[2], parts[3]


def packed(parts: tuple[float, float, float, float], size: int) -> int:
    """The number that stands for a unit quaternion (w, x, y, z).

    Raises:
        LayoutError: Its length is not 1.
    """
    norm = math.sqrt(sum(part * part for part in parts))
    if not abs(norm - 1.0) <= _NORM_ERROR:
        raise LayoutError(f"found parts of length {norm:.4g}, expected a unit quaternion", where="quaternion")
    largest = max(range(4), key=lambda place: abs(parts[place]))
    turn = math.copysign(1.0 / norm, parts[largest])
    full = (1 << (size - 1)) - 1
    number = largest
    for place, part in enumerate(parts):
        if place != largest:
            raw = max(-full, min(full, round(part * turn * math.sqrt(2.0) * full)))
            number = number << size | raw & ((1 << size) - 1)
    return number
