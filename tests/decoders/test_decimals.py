"""Decimal numbers read thousands at a time: the bits that `float` and `int` give, or none."""

import struct

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from decoders.decimals import FRONT, Text, floats, wholes

DIGITS = st.text("0123456789", max_size=12)
WRITTEN = st.one_of(
    st.tuples(st.sampled_from(["", "-", "+"]), DIGITS, st.sampled_from(["", "."]), DIGITS).map("".join),
    st.floats(allow_nan=False, allow_infinity=False, width=32).map(repr),
    st.integers(-(2**64), 2**64).map(str),
    st.sampled_from(["", "N", "e", "nan", "-inf", " 12.5", "   7", "1 ", "1e5", "1_0", "12,5", "\u0663", "/", ":"]),
    st.text(max_size=20),
)
MANY = st.lists(WRITTEN, min_size=1, max_size=60)


def placed(texts):
    """The texts in one block, and their places."""
    tokens = [text.encode().replace(b",", b"?") for text in texts]
    block = bytes(FRONT) + b",".join(tokens) + b"," + bytes(8)
    end = FRONT - 1 + np.cumsum([len(token) + 1 for token in tokens])
    return Text(block), end - [len(token) for token in tokens], end, tokens


def read(found):
    """The values, and which were read."""
    values, left = found
    sure = np.ones(values.size, dtype=bool)
    sure[left] = False
    return values, sure


def is_plain(token, digits):
    """Whether a token is so many digits with a point among them, a sign before them, and a blank before that."""
    bare = token.lstrip(b" ")
    bare = bare[1:] if bare[:1] in (b"+", b"-") else bare
    return len(bare) <= digits and bare.replace(b".", b"", 1).isdigit() and bare.isascii()


@given(MANY)
def test_a_float_that_is_read_has_the_bits_of_the_reference(texts):
    block, begin, end, tokens = placed(texts)
    values, sure = read(floats(block, begin, end))
    for token, value, is_sure in zip(tokens, values.tolist(), sure.tolist(), strict=True):
        if is_sure:
            bare = token.strip()
            expected = float(bare[0]) if bare.isalpha() else float(bare or b"nan")
            assert struct.pack("<d", value) == struct.pack("<d", expected), token


@given(MANY, st.sampled_from([8, 16, 24, 32, 40, 64]), st.booleans())
def test_a_whole_number_that_is_read_is_that_of_the_reference(texts, bits, signed):
    block, begin, end, tokens = placed(texts)
    values, sure = read(wholes(block, begin, end, bits, signed=signed))
    for token, value, is_sure in zip(tokens, values.tolist(), sure.tolist(), strict=True):
        bare = token.strip()
        if is_sure:
            expected = bare[0] if bare.isalpha() else int(bare)
            packed = expected.to_bytes(bits // 8, "little", signed=signed)  # refuses what the field cannot hold
            assert value.to_bytes(8, "little")[: bits // 8] == packed, token


@given(st.sampled_from(["%.3f", "%.2f", "%08.4f", "%+.1f", "%.0f", "%.7f"]), st.integers(0, 2**32 - 1))
def test_what_firmware_prints_is_read(form, seed):
    numbers = np.random.default_rng(seed).normal(0, 1000, 100)
    block, begin, end, tokens = placed([form % x for x in numbers])
    values, sure = read(floats(block, begin, end))
    assert all(is_plain(token, 16) for token in tokens)
    # those whose point is elsewhere than in most may be left over, as long as they are few
    assert np.count_nonzero(~sure) < 24
    assert values[sure].tolist() == [float(token) for token, is_sure in zip(tokens, sure, strict=True) if is_sure]


def test_numbers_of_many_digits_are_rounded_once():
    texts = [
        "9007199254740992", "90071992547409.9", "0.90071992547409", "90071992547409931", ".9007199254740993",
        "12345.678901234567", "0.1234567890123456789", "123456789012345678901234", "0.0000000000000000000001",
        "0.30000000000000004", "9007199254740992.500001", "4503599627370497.4999999", "179.99999999999997",
    ]  # fmt: skip
    for text in texts:
        block, begin, end, _ = placed([text] * 30)
        values, sure = read(floats(block, begin, end))
        assert sure.all(), text
        assert values.tolist() == [float(text)] * 30, text


def test_the_middle_between_two_floats_is_left():
    block, begin, end, _ = placed(["9007199254740993.0000", "4503599627370497.5000", "0.50000000000000000"] * 40)
    _, left = floats(block, begin, end)
    assert left.tolist() == [k for k in range(120) if k % 3 < 2]


def near_the_middle(rng, count):
    """Numbers of at most 18 digits as near as can be to the middle between two floats, but not in it.

    N / 10^d is in the middle between two multiples of 2^-s where N 2^(s+1) is an odd multiple of 10^d; here it is
    an odd multiple, plus or minus an odd multiple of 2^d, which N can only be where it has a certain rest modulo 5^d.
    """
    texts = []
    while len(texts) < count:
        digits, below = int(rng.integers(8, 19)), int(rng.integers(36, 56))
        shift = below + 1 - (digits + 1)
        least, most = 2 ** (52 - below) * 10**digits, min(2 ** (53 - below) * 10**digits, 10**18)
        aside = int(rng.choice([-5, -3, -1, 1, 3, 5])) * 2**digits
        if shift < 0 or least >= most or 10**digits * int(rng.integers(1, 3)) > most:
            continue
        rest = (aside + 10**digits) // 2 ** (digits + 1) * pow(2**shift, -1, 5**digits) % 5**digits
        number = rest + 5**digits * int(rng.integers(least // 5**digits, most // 5**digits + 1))
        if least <= number < most:
            texts.append(f"{number // 10**digits}.{number % 10**digits:0{digits}d}")
    return texts


@given(st.integers(0, 2**32 - 1))
def test_numbers_next_to_the_middle_between_two_floats_are_rounded_to_the_nearer(seed):
    texts = near_the_middle(np.random.default_rng(seed), 200)
    block, begin, end, _ = placed(texts)
    values, sure = read(floats(block, begin, end))
    assert np.count_nonzero(sure) > 150
    assert values[sure].tolist() == [float(texts[k]) for k in np.flatnonzero(sure).tolist()]


@given(st.lists(st.tuples(st.integers(0, 10**9), st.text("0123456789", max_size=25)), min_size=1, max_size=60))
def test_points_may_be_anywhere_in_long_numbers(parts):
    texts = [f"{'-' * (k % 2)}{front:0{k % 9}d}.{behind}" for k, (front, behind) in enumerate(parts)]
    block, begin, end, _ = placed(["0.1234567890123456", *texts])
    values, sure = read(floats(block, begin, end))
    for text, value, is_sure in zip(texts, values[1:].tolist(), sure[1:].tolist(), strict=True):
        assert not is_sure or struct.pack("<d", value) == struct.pack("<d", float(text)), text
        assert is_sure or len(text) > 17 or text.lstrip("-").index(".") > 7, text


def test_two_points_are_no_number_wherever_they_are():
    texts = ["1.2.3", "1..5", "..5", "0.12345678901.2345", "0.1234567.8901234567", "1234567.89012345.", ".", "-."]
    block, begin, end, _ = placed(["0.1234567890123456", *texts] * 3)
    _, sure = read(floats(block, begin, end))
    assert sure.tolist() == [True, *[False] * len(texts)] * 3


@given(st.integers(0, 2**32 - 1))
def test_all_digits_of_a_float_are_read_and_rounded_once(seed):
    rng = np.random.default_rng(seed)
    numbers = rng.normal(0, 10.0 ** rng.integers(-2, 4), 400)
    block, begin, end, tokens = placed([repr(x) for x in numbers.tolist()])
    values, sure = read(floats(block, begin, end))
    assert values[sure].tolist() == numbers[sure].tolist()
    assert all(sure[k] or b"e" in token for k, token in enumerate(tokens)) or np.count_nonzero(~sure) < 60


def test_what_is_left_is_zero_and_no_accident_of_memory():
    rng = np.random.default_rng(3)
    for _ in range(20):
        texts = [repr(float(x)) if rng.random() < 0.5 else "1e300" for x in rng.normal(0, 10, 300)]
        block, begin, end, _ = placed(texts)
        values, left = floats(block, begin, end)
        assert np.abs(values).max() < 1e30
        assert set(left.tolist()) >= {k for k, text in enumerate(texts) if text == "1e300"}
