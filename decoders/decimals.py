"""Decimal numbers out of text, thousands at once: digits, a sign in front and a point among them.

Eight characters are read as one number of 64 bits, the first of them its lowest byte, and their digits are put
together in three steps: pairs, fours, eights. A number that has more than 16 characters behind its sign, an exponent,
or anything else in it is not read here; `sure` says of each whether it was.

A float is a whole number of at most 2^53 divided by a power of ten of at most 10^15: both are exact, so the quotient
is rounded once and equals what `float` makes of the text (W. D. Clinger, "How to Read Floating Point Numbers
Accurately", PLDI 1990, section 3: the fast case).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
Words = NDArray[np.uint64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

FRONT = 16  # bytes that must stand in front of the end of every number

_LONGEST = 16  # characters of a number behind its sign
_MOST_EXACT = np.uint64(1 << 53)
_POWERS = 10.0 ** np.arange(_LONGEST + 1)
_FEWEST = 24  # numbers; for fewer it is not worth while to look for another place of the point

_ZEROS = np.uint64(0x3030303030303030)  # the digit zero, eight times
_POINT = np.uint64(ord(".") ^ ord("0"))
_BYTE = np.uint64(0xFF)
_UP = np.uint64(8)  # bits by which a byte moves to the next place
# the last 0 to 8 characters of a word, and the first 7 to 0
_LAST = np.array([(1 << 64) - (1 << 64 - 8 * count) for count in range(9)], dtype=np.uint64)
_FIRST = np.array([(1 << 8 * (7 - count)) - 1 for count in range(8)], dtype=np.uint64)
_ABOVE_NINE = np.uint64(0x7676767676767676)  # brings the highest bit of a byte above 9 up
_HIGHEST = np.uint64(0x8080808080808080)
# each step: what is left in a word, the factor that adds neighbours, and the bits by which their sum moves down
_STEPS = tuple(
    tuple(map(np.uint64, step))
    for step in (
        (0x0F0F0F0F0F0F0F0F, 10 * (1 << 8) + 1, 8),
        (0x00FF00FF00FF00FF, 100 * (1 << 16) + 1, 16),
        (0x0000FFFF0000FFFF, 10_000 * (1 << 32) + 1, 32),
    )
)
_EIGHT_DIGITS = np.uint64(10**8)


class Text:
    """The bytes of a block of text, and the eight of them in front of any place as one number."""

    def __init__(self, block: bytes) -> None:
        self.bytes = np.frombuffer(block, dtype=np.uint8)
        self._words = np.ndarray(len(block) - 7, dtype="V8", buffer=block, strides=(1,))

    def words_before(self, places: IntArray) -> Words:
        """(n,) the eight characters in front of each place, the first of them the lowest byte."""
        return self._words[places - 8].view("<u8").astype(np.uint64, copy=False)


def floats(text: Text, begin: IntArray, end: IntArray) -> tuple[Floats, Bools]:
    """The floats between some places: (n,) values and (n,) whether they were read here.

    Nothing at all is NaN, and a single letter its ASCII code. No place may be less than `FRONT`.
    """
    begin, first = _behind_blanks(text, begin, end)
    negative = first == ord("-")
    length = end - begin
    lone, codes = _lone(first, length)
    mantissas, decimals, sure = _digits(text, end, length - (negative | (first == ord("+"))), ~lone, _LONGEST)
    sure &= mantissas <= _MOST_EXACT
    values: Floats = mantissas.astype(np.float64)
    values /= _POWERS.take(decimals)
    np.negative(values, out=values, where=negative)
    if lone.any():
        values[lone] = codes[lone]
        values[length == 0] = np.nan
        sure |= lone
    return values, sure


def wholes(text: Text, begin: IntArray, end: IntArray, bits: int, *, signed: bool) -> tuple[Words, Bools]:
    """The whole numbers of so many bits between some places, in two's complement; else as `floats`.

    Nothing at all is no whole number.
    """
    begin, first = _behind_blanks(text, begin, end)
    negative = first == ord("-")
    length = end - begin
    lone, codes = _lone(first, length)
    values, _, sure = _digits(text, end, length - (negative | (first == ord("+"))), ~lone, 0)
    if lone.any():
        values[lone] = codes[lone]
        sure |= lone & (length > 0)
    if signed:
        sure &= values <= np.uint64((1 << bits - 1) - 1) + negative
        np.negative(values, out=values, where=negative)
    else:
        sure &= ~negative | (values == 0)
        if bits < 64:
            sure &= values < np.uint64(1 << bits)
    return values, sure


def _behind_blanks(text: Text, begin: IntArray, end: IntArray) -> tuple[IntArray, NDArray[np.uint8]]:
    """The places without the blanks that some numbers are filled up with in front, and the first characters."""
    first = text.bytes[begin]
    while (blank := (first == ord(" ")) & (begin < end)).any():
        begin = begin + blank
        first = text.bytes[begin]
    return begin, first


def _lone(first: NDArray[np.uint8], length: IntArray) -> tuple[Bools, NDArray[np.uint8]]:
    """Which are a single letter or nothing, and the codes of all first characters."""
    lone = length < 2
    if lone.any():
        lone &= (length == 0) | ((first | 0x20) - np.uint8(ord("a")) < 26)
    return lone, first


def _digits(
    text: Text, end: IntArray, length: IntArray, wanted: Bools, longest_fraction: int
) -> tuple[Words, NDArray[np.uint8], Bools]:
    """Digits as whole numbers, how many of them stand behind a point, and whether that is all there is.

    Args:
        text: Where they stand.
        end: (n,) places after their last.
        length: (n,) characters of each.
        wanted: (n,) which to read.
        longest_fraction: Digits that may stand behind a point; 0 for no point.
    """
    numbers = _Found(end.size)
    short = wanted & (length <= 8)
    if short.all():
        numbers.read([_masked(text, end, length)], length, None, longest_fraction)
        return numbers.values, numbers.decimals, numbers.sure
    some = np.flatnonzero(short)
    if some.size:
        numbers.read([_masked(text, end[some], length[some])], length[some], some, longest_fraction)
    some = np.flatnonzero(wanted & (length > 8) & (length <= _LONGEST))
    if some.size:
        at, size = end[some], length[some]
        words = [_masked(text, at, size), _masked(text, at - 8, size - 8)]
        numbers.read(words, size, some, longest_fraction)
    return numbers.values, numbers.decimals, numbers.sure


class _Found:
    """The numbers read so far."""

    def __init__(self, count: int) -> None:
        self.values = np.zeros(count, dtype=np.uint64)
        self.decimals = np.zeros(count, dtype=np.uint8)
        self.sure = np.zeros(count, dtype=np.bool_)

    def read(self, words: list[Words], length: IntArray, which: IntArray | None, longest_fraction: int) -> None:
        """Read numbers of one or two words, the last characters in the first; `which` are their places, if not all.

        The numbers of a column mostly have as many digits behind the point as its first: so the point is looked for
        in one place at a time, and few numbers are left for the next.
        """
        for decimals in _places_of_point(words, longest_fraction):
            found, sure = _without_point(words, decimals)
            for word in found:
                sure &= ((word + _ABOVE_NINE) | word) & _HIGHEST == 0
            sure &= length > (decimals >= 0)
            if which is None and sure.all():
                self._put(slice(None), found, decimals)
                return
            if which is None:
                which = np.arange(length.size)
            self._put(which[sure], [word[sure] for word in found], decimals)
            left = ~sure
            which, words, length = which[left], [word[left] for word in words], length[left]
            if which.size < _FEWEST:
                return

    def _put(self, where: "IntArray | slice", words: Sequence[Words], decimals: int) -> None:
        values = _put_together(words[0])
        if len(words) > 1:
            values += _put_together(words[1]) * _EIGHT_DIGITS
        self.values[where] = values
        self.decimals[where] = max(decimals, 0)
        self.sure[where] = True


def _masked(text: Text, end: IntArray, length: IntArray) -> Words:
    """The last characters, at most eight, as digits from 0 on; zero in front of them."""
    words = text.words_before(end)
    words ^= _ZEROS
    words &= _LAST.take(length, mode="clip")
    return words


def _places_of_point(words: list[Words], longest_fraction: int) -> list[int]:
    """How many digits may be behind the point, -1 for no point; what holds for the first number comes first."""
    if longest_fraction == 0:
        return [-1]
    first = b"".join(int(word[0]).to_bytes(8, "little") for word in reversed(words))
    point = first.rfind(bytes((int(_POINT),)))
    likely = len(first) - 1 - point if point >= 0 else -1
    return sorted(range(-1, len(first)), key=lambda place: place != likely)


def _without_point(words: list[Words], decimals: int) -> tuple[list[Words], Bools]:
    """The words without a point that has so many digits behind it, and whether it is one."""
    if decimals < 0:
        return words, np.ones(words[0].shape, dtype=np.bool_)
    place, of = decimals % 8, decimals // 8
    word = words[of]
    is_point = (word >> np.uint64(8 * (7 - place))) & _BYTE == _POINT
    closed = ((word & _FIRST[place]) << _UP) | (word & _LAST[place])
    if of == 1:
        return [words[0], closed], is_point
    if len(words) == 1:
        return [closed], is_point
    return [closed | words[1] >> np.uint64(56), words[1] << _UP], is_point


def _put_together(digits: Words) -> Words:
    """The number that eight digits make."""
    number = digits
    for left, factor, down in _STEPS:
        number = ((number & left) * factor) >> down
    return number
