"""Decimal numbers out of text, thousands at once: digits, a sign in front and a point among them.

Eight characters are read as one number of 64 bits, the first of them its lowest byte, and their digits are put
together in three steps: pairs, fours, eights. Most numbers of a column are written alike: with as many digits behind
the point, and in as many words of eight characters. So one number shows how to read the others. Those that this does
not fit, and numbers of many digits, are read in two parts: up to the point, which is looked for, and from there on.
What is left in the end is for the caller: exponents, names, more than 24 characters, and what is no number at all.

A float is a whole number divided by a power of ten of at most 10^22, which a float holds exactly. A whole number of
at most 2^53 is exact, too: the quotient is rounded once and is what `float` makes of the text (W. D. Clinger, "How to
Read Floating Point Numbers Accurately", PLDI 1990, section 3). A longer one is the sum of two floats, and what the
quotient of the first lacks is found exactly (T. J. Dekker, "A Floating-Point Technique for Extending the Available
Precision", Numerische Mathematik 18, 1971); what comes too near to the middle between two floats is left.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
Words = NDArray[np.uint64]
Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]

FRONT = 24  # bytes that must stand in front of the end of every number

_ATTEMPTS = 12  # numbers that show how to read the others of a column
_FEWEST = 24  # numbers; fewer are left to the caller
_WORD = 8  # characters
_MOST_WORDS = 3  # of eight characters, that a number is read from
_MOST_EXACT = np.uint64(1 << 53)
_EXACT_DIGITS = 15  # of any number that a float holds exactly
_POWERS = np.array([10.0**power for power in range(23)])
_SPLIT = float((1 << 27) + 1)  # Dekker's: parts a float of 53 bits into two of 26
_HIGH_OF_POWERS = _POWERS * _SPLIT - (_POWERS * _SPLIT - _POWERS)
# of the digits behind the point: the power of ten, and the most in front of them that leaves them below 2^63
_WHOLE_POWERS = np.array([10**power for power in range(19)] + [0], dtype=np.uint64)
_MOST_IN_FRONT = np.array([(1 << 63) // 10**power - 1 for power in range(19)] + [0], dtype=np.uint64)
_NEARLY = 2.0**-40  # of the last step: far more than its rounding, far less than is often met

_ZEROS = np.uint64(0x3030303030303030)  # the digit zero, eight times
_POINTS = np.uint64(0x2E2E2E2E2E2E2E2E)
_ONES = np.uint64(0x0101010101010101)
_ONE = np.uint64(1)
_HIGHEST_BIT = np.uint64(1 << 63)
_POINT = np.uint64(ord(".") ^ ord("0"))
_UP = np.uint64(8)  # bits by which a byte moves to the next place
_TOP = np.uint64(56)  # bits below the last character of a word
# the last 0 to 8 characters of a word
_LAST = np.array([(1 << 64) - (1 << 64 - 8 * count) for count in range(9)], dtype=np.uint64)
_ABOVE_NINE = np.uint64(0x7676767676767676)  # brings the highest bit of a byte above 9 up
_ABOVE_ZERO = np.uint64(0x7F - 0x76)  # what it takes more to bring that of a byte above 0 up
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
_NONE = np.zeros(0, dtype=np.int64)


class Text:
    """The bytes of a block of text, and the eight of them in front of any place as one number."""

    def __init__(self, block: bytes) -> None:
        self.bytes = np.frombuffer(block, dtype=np.uint8)
        self._words = np.ndarray(len(block) - 7, dtype="V8", buffer=block, strides=(1,))

    def words_before(self, places: IntArray) -> Words:
        """(n,) the eight characters in front of each place, the first of them the lowest byte."""
        return self._words[places - 8].view("<u8").astype(np.uint64, copy=False)

    def last_before(self, places: IntArray, lengths: IntArray) -> Words:
        """The same, but only the last so many characters, at most eight; zero for the others."""
        words = self.words_before(places)
        words &= _LAST.take(lengths, mode="clip")
        return words

    def rows(self, places: IntArray, size: int) -> Bytes:
        """(n, size) the characters from each place on."""
        overlapping = np.ndarray(self.bytes.size - size + 1, dtype=f"V{size}", buffer=self.bytes, strides=(1,))
        return overlapping[places].view(np.uint8).reshape(-1, size)


@dataclass(frozen=True, slots=True)
class _Tokens:
    """Where numbers stand: (n,) places, the first characters, and the characters without a sign in front."""

    begin: IntArray
    end: IntArray
    first: Bytes
    length: IntArray

    @property
    def is_lone(self) -> Bools:
        """Which are nothing at all, or a single letter."""
        letter = (self.first | 0x20) - np.uint8(ord("a")) < 26
        lone: Bools = (self.end == self.begin) | ((self.end == self.begin + 1) & letter)
        return lone

    def only(self, which: IntArray) -> "_Tokens":
        """Some of them."""
        return _Tokens(self.begin[which], self.end[which], self.first[which], self.length[which])


@dataclass(frozen=True, slots=True)
class _Form:
    """How a number is written: in how many words, and with how many digits behind the point, -1 without a point."""

    words: int
    decimals: int


_LONE = _Form(0, -1)  # of nothing at all and of single letters
_IN_PARTS = _Form(_MOST_WORDS, -1)  # the point is wherever it is among the first eight characters

Read = Callable[[Text, _Tokens, _Form], tuple[NDArray[Any], Bools | None]]
"""Reads tokens of a form; which of them are of another, None if none is."""


def floats(text: Text, begin: IntArray, end: IntArray) -> tuple[Floats, IntArray]:
    """The floats between some places: (n,) values, and the numbers of those that are left to the caller.

    Nothing at all is NaN, and a single letter its ASCII code. No end may be less than `FRONT`.
    """
    return _by_form(text, _tokens(text, begin, end), _floats_of_form)


def wholes(text: Text, begin: IntArray, end: IntArray, bits: int, *, signed: bool) -> tuple[Words, IntArray]:
    """The whole numbers of so many bits between some places, in two's complement; else as `floats`.

    Nothing at all is no whole number.
    """
    most = (1 << bits - signed) - 1

    def read(text: Text, tokens: _Tokens, form: _Form) -> tuple[Words, Bools | None]:
        if form is _LONE:
            return tokens.first.astype(np.uint64), ~tokens.is_lone | (tokens.end == tokens.begin)
        words, bad = _digits(text, tokens, _Form(min(form.words, 2), -1))
        values = _put_together(words)
        negative = tokens.first == ord("-")
        if not signed:
            bad = _either(bad, negative & (values != 0))
        if bits < 64 or signed:
            bad = _either(bad, values > np.uint64(most) + (negative & np.bool_(signed)))
        return (values ^ -negative.astype(np.int64).view(np.uint64)) + negative, bad

    return _by_form(text, _tokens(text, begin, end), read)


def _tokens(text: Text, begin: IntArray, end: IntArray) -> _Tokens:
    """The tokens without the blanks that some are filled up with in front."""
    first = text.bytes[begin]
    while (blank := first == ord(" ")).any() and (blank := blank & (begin < end)).any():
        begin = begin + blank
        first = text.bytes[begin]
    length = end - begin
    length -= (first == ord("-")) | (first == ord("+"))
    return _Tokens(begin, end, first, length)


def _by_form(text: Text, tokens: _Tokens, read: Read) -> tuple[NDArray[Any], IntArray]:
    """Read tokens by the forms of some of them: the values, and which are of none of these."""
    form = _form_of(text, tokens, 0, _EXACT_DIGITS)
    values, bad = read(text, tokens, form)
    others = left = np.flatnonzero(bad) if bad is not None else _NONE
    for attempt in range(1, _ATTEMPTS):
        if left.size < _FEWEST:
            break
        tokens = tokens.only(others)
        form = _form_of(text, tokens, attempt * left.size // _ATTEMPTS, 0)
        found, bad = read(text, tokens, form)
        values[left] = found
        others = np.flatnonzero(bad) if bad is not None else _NONE
        left = left[others]
    return values, left


def _form_of(text: Text, tokens: _Tokens, number: int, most: int) -> _Form:
    """How one of the tokens is written; of one that is no plain number it matters little.

    Numbers with a point that have more than so many digits are read in parts if that can be.
    """
    token = text.bytes[tokens.begin[number] : tokens.end[number]].tobytes()
    if len(token) < 2 and not token.isdigit():
        return _LONE
    bare = token.lstrip(b"+-")
    point = bare.rfind(b".")
    decimals = len(bare) - 1 - point if point >= 0 and len(bare) - point <= _POWERS.size else -1
    words = (max(len(bare), 1) + _WORD - 1) // _WORD
    if 0 <= point < _WORD and len(bare) - 1 > most:
        return _IN_PARTS
    if len(bare) - (decimals >= 0) > _EXACT_DIGITS:
        words = _MOST_WORDS
    return _Form(words, decimals)


def _digits(text: Text, tokens: _Tokens, form: _Form) -> tuple[list[Words], Bools | None]:
    """The digits of tokens in words, the last first, and which tokens are not of the form."""
    of, place = divmod(form.decimals, _WORD) if form.decimals >= 0 else (-1, 0)
    up = np.uint64(8 * (_WORD - 1 - place))
    words, checked = [], []
    for number in range(form.words):
        end, length = tokens.end, tokens.length
        if number:
            end, length = end - _WORD * number, length - _WORD * number
        word = text.words_before(end)
        word ^= _ZEROS ^ (_POINT << up) if number == of else _ZEROS
        word &= _LAST.take(length, mode="clip")
        words.append(word)
        # a byte that is no longer zero where the point should be comes up as one above 9 does
        check = word + (_ABOVE_NINE + (_ABOVE_ZERO << up) if number == of else _ABOVE_NINE)
        check |= word
        checked.append(check)
    wrong = checked[0] if form.words == 1 else np.bitwise_or.reduce(checked)
    bad = wrong & _HIGHEST != 0 if np.bitwise_or.reduce(wrong) & _HIGHEST else None
    least, most = max(form.decimals + 1, 2 if form.decimals >= 0 else 1), _WORD * form.words
    if tokens.length.min() < least or tokens.length.max() > most:
        bad = _either(bad, (tokens.length < least) | (tokens.length > most))
    if of >= 0:
        _close_up(words, of, place)
    return words, bad


def _close_up(words: list[Words], of: int, place: int) -> None:
    """Move what is in front of a point, which is zero, to its place: in so many words and characters from the end."""
    word = words[of]
    front = word & ~_LAST[place]
    front <<= _UP
    word &= _LAST[place]
    word |= front
    for number in range(of + 1, len(words)):
        words[number - 1] |= words[number] >> _TOP
        words[number] <<= _UP


def _floats_of_form(text: Text, tokens: _Tokens, form: _Form) -> tuple[Floats, Bools | None]:
    """As `Read`."""
    if form is _LONE:
        return np.where(tokens.end == tokens.begin, np.nan, tokens.first), ~tokens.is_lone
    if form is _IN_PARTS:
        values, bad = _floats_in_parts(text, tokens)
    else:
        values, bad = _floats_in_words(text, tokens, form)
    bits = values.view(np.uint64)
    bits ^= (tokens.first == ord("-")).astype(np.uint64) * _HIGHEST_BIT
    return values, bad


def _floats_in_words(text: Text, tokens: _Tokens, form: _Form) -> tuple[Floats, Bools | None]:
    """The floats without their signs of tokens of one form, and which tokens are of another."""
    words, bad = _digits(text, tokens, form)
    if form.words > 2:
        upper, lower = _put_together(words[1:]), _put_together(words[:1])
        product, lost = _product(upper.astype(np.float64), np.float64(1e8), _HIGH_OF_POWERS[8])
        whole, more = _sum(product, lower.astype(np.float64))
        more += lost
        values, doubtful = _quotient(whole, more, np.int64(max(form.decimals, 0)))
        return values, _either(bad, doubtful | (upper > _MOST_EXACT))
    wholes = _put_together(words)
    if form.words == 2:
        bad = _either(bad, wholes > _MOST_EXACT)
    values = wholes.astype(np.float64)
    if form.decimals > 0:
        values /= _POWERS[form.decimals]
    return values, bad


def _floats_in_parts(text: Text, tokens: _Tokens) -> tuple[Floats, Bools | None]:
    """The floats without their signs of tokens whose point is anywhere among the first characters, and the others."""
    words = np.empty((3, tokens.end.size), dtype=np.uint64)
    words[0] = text.words_before(tokens.end - tokens.length + _WORD)
    points = words[0] ^ _POINTS
    points = (points - _ONES) & ~points & _HIGHEST  # the lowest bit is that of the first point
    in_front = ((points - _ONE) & ~points) >> np.uint64(7)
    count = np.bitwise_count(in_front)
    decimals = tokens.length - (count >> 3) - 1
    words[1], words[2] = text.words_before(tokens.end - _WORD), text.words_before(tokens.end)
    words ^= _ZEROS
    words[0] &= in_front
    words[0] <<= np.uint64(64) - count
    words[1] &= _LAST.take(decimals - _WORD, mode="clip")
    words[2] &= _LAST.take(decimals, mode="clip")
    wrong = np.bitwise_or.reduce(_above_nine(words), axis=0)
    bad: Bools = (wrong != 0) | (points == 0) | (decimals < 0) | (tokens.length < 2)
    front, upper, lower = _put_together_each(words)
    upper *= _EIGHT_DIGITS
    upper += lower
    many = np.flatnonzero(decimals > 2 * _WORD)
    if many.size:
        more, more_bad = _digits_in_front(text, tokens.end[many] - 2 * _WORD, decimals[many] - 2 * _WORD)
        upper[many] += more * _EIGHT_DIGITS * _EIGHT_DIGITS
        bad[many] |= more_bad | (more > _MOST_IN_FRONT[2 * _WORD])
    bad |= front > _MOST_IN_FRONT.take(decimals, mode="clip")
    front *= _WHOLE_POWERS.take(decimals, mode="clip")
    front += upper
    front &= ~_HIGHEST_BIT  # which is in bad ones only
    whole = front.astype(np.float64)
    more = (front - whole.astype(np.uint64)).view(np.int64).astype(np.float64)
    values, doubtful = _quotient(whole, more, np.minimum(np.maximum(decimals, 0), _POWERS.size - 1))
    bad |= doubtful
    return values, bad if bad.any() else None


def _digits_in_front(text: Text, places: IntArray, lengths: IntArray) -> tuple[Words, Bools]:
    """The numbers that so many characters in front of some places make, and which are too many or no digits."""
    words = (text.words_before(places) ^ _ZEROS) & _LAST.take(lengths, mode="clip")
    wrong = _above_nine(words) != 0
    return _put_together_each(words), wrong | (lengths > _POWERS.size - 1 - 2 * _WORD)


def _above_nine(words: Words) -> Words:
    """The highest bit of each character, as its distance from the digit zero, that is no digit."""
    return ((words + _ABOVE_NINE) | words) & _HIGHEST


def _put_together(words: list[Words]) -> Words:
    """The numbers that the digits in one or two words make, the last word first; the words are used up."""
    numbers = [_put_together_each(word) for word in words]
    if len(numbers) == 1:
        return numbers[0]
    return numbers[1] * _EIGHT_DIGITS + numbers[0]


def _put_together_each(words: Words) -> Words:
    """The numbers that the digits in each word make, in place of the words."""
    for left, factor, down in _STEPS:
        words &= left
        words *= factor
        words >>= down
    return words


def _quotient(whole: Floats, more: Floats, decimals: IntArray | np.int64) -> tuple[Floats, Bools]:
    """(whole + more) / 10^decimals, rounded once, and where that is not certain; `more` is used up."""
    power, high = _POWERS[decimals], _HIGH_OF_POWERS[decimals]
    quotient: Floats = whole / power
    back, beyond = _product(quotient, power, high)
    lacks = whole - back
    lacks -= beyond
    lacks += more
    lacks /= power
    values = quotient + lacks
    doubtful = (quotient + lacks * (1 + _NEARLY) != values) | (quotient + lacks * (1 - _NEARLY) != values)
    return values, doubtful


def _product(a: Floats, b: Floats | np.float64, b_high: Floats | np.float64) -> tuple[Floats, Floats]:
    """The rounded product and what it lacks (Dekker 1971); `b_high` are the upper 26 bits of `b`."""
    product = a * b
    high = a * _SPLIT
    high -= high - a
    low = a - high
    b_low = b - b_high
    lost = high * b_high
    lost -= product
    high *= b_low
    lost += high
    lost += low * b_high
    low *= b_low
    lost += low
    return product, lost


def _sum(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """The rounded sum and what it lacks (D. E. Knuth, The Art of Computer Programming 2, section 4.2.2)."""
    total = a + b
    b_seen = total - a
    return total, (a - (total - b_seen)) + (b - b_seen)


def _either(bad: Bools | None, more: Bools) -> Bools | None:
    """Where one or the other is; None if nowhere."""
    if not more.any():
        return bad
    return more if bad is None else bad | more
