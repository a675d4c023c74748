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


def is_plain(token, digits):
    """Whether a token is so many digits with a point among them, a sign before them, and a blank before that."""
    bare = token.lstrip(b" ")
    bare = bare[1:] if bare[:1] in (b"+", b"-") else bare
    return len(bare) <= digits and bare.replace(b".", b"", 1).isdigit() and bare.isascii()


@given(MANY)
def test_a_float_that_is_read_has_the_bits_of_the_reference(texts):
    block, begin, end, tokens = placed(texts)
    values, sure = floats(block, begin, end)
    for token, value, is_sure in zip(tokens, values.tolist(), sure.tolist(), strict=True):
        if is_sure:
            bare = token.strip()
            expected = float(bare[0]) if bare.isalpha() else float(bare or b"nan")
            assert struct.pack("<d", value) == struct.pack("<d", expected), token


@given(MANY, st.sampled_from([8, 16, 24, 32, 40, 64]), st.booleans())
def test_a_whole_number_that_is_read_is_that_of_the_reference(texts, bits, signed):
    block, begin, end, tokens = placed(texts)
    values, sure = wholes(block, begin, end, bits, signed=signed)
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
    values, sure = floats(block, begin, end)
    assert all(is_plain(token, 16) for token in tokens)
    # those whose point is elsewhere than in most may be left over, as long as they are few
    assert np.count_nonzero(~sure) < 24
    assert values[sure].tolist() == [float(token) for token, is_sure in zip(tokens, sure, strict=True) if is_sure]


def test_numbers_of_many_digits_are_rounded_once():
    texts = ["9007199254740992", "90071992547409.9", "0.90071992547409", "9007199254740993", ".9007199254740993"]
    block, begin, end, _ = placed(texts * 30)
    values, sure = floats(block, begin, end)
    assert sure.tolist() == [True, True, True, False, False] * 30
    assert values[:3].tolist() == [float(text) for text in texts[:3]]
