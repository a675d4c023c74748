import math

import pytest
from cobs import cobs as reference
from hypothesis import example, given
from hypothesis import strategies as st

from decoders import cobs
from decoders.errors import FrameError

FEW_VALUES = st.lists(st.sampled_from([0, 0, 1, 2, 255]), max_size=900).map(bytes)
LONG_RUNS = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 520)), max_size=6).map(
    lambda parts: b"".join(bytes(zeros) + b"\x07" * run for zeros, run in parts)
)
ANYTHING = st.one_of(st.binary(max_size=600), FEW_VALUES, LONG_RUNS)


@given(ANYTHING)
def test_encoding_equals_the_reference_and_decodes_to_the_contents(contents):
    encoded = cobs.encode(contents)
    assert encoded == reference.encode(contents)
    assert cobs.decode(encoded) == contents


@given(ANYTHING)
def test_encoding_has_no_zero_and_keeps_the_length_bound(contents):
    encoded = cobs.encode(contents)
    assert 0 not in encoded
    assert len(contents) + 1 <= len(encoded) <= len(contents) + max(1, math.ceil(len(contents) / 254))
    assert len(encoded) <= cobs.longest(len(contents))


@given(st.one_of(st.binary(max_size=600), FEW_VALUES))
@example(b"\xff" + b"\x07" * 254 + b"\x01")
@example(b"\xff" + b"\x07" * 254 + b"\x01\x01")
@example(b"\xff" + b"\x07" * 253)
def test_any_bytes_decode_as_the_reference_decodes_them_or_raise_where_it_raises(block):
    try:
        expected = reference.decode(block) if block else None
    except reference.DecodeError:
        expected = None
    if expected is None:
        with pytest.raises(FrameError) as caught:
            cobs.decode(block)
        assert 0 <= caught.value.offset <= len(block)
    else:
        assert cobs.decode(block) == expected


@pytest.mark.parametrize("length", [0, 1, 252, 253, 254, 255, 256, 507, 508, 509, 762])
def test_runs_around_full_blocks_survive_the_round_trip(length):
    for contents in (b"\x09" * length, b"\x09" * length + b"\0", b"\0" + b"\x09" * length, bytes(length)):
        assert cobs.decode(cobs.encode(contents)) == contents
        assert len(cobs.encode(contents)) <= cobs.longest(len(contents))


@pytest.mark.parametrize("length", [254, 508])
def test_empty_block_after_full_ones_is_within_the_longest_length(length):
    encoded = cobs.encode(b"\x09" * length) + b"\x01"
    assert cobs.decode(encoded) == b"\x09" * length
    assert len(encoded) <= cobs.longest(length)


@given(st.binary(max_size=300), st.data())
def test_cut_blocks_never_decode_to_more_than_they_hold(contents, data):
    encoded = cobs.encode(contents)
    cut = encoded[: data.draw(st.integers(0, len(encoded) - 1))]
    try:
        decoded = cobs.decode(cut)
    except FrameError as caught:
        fault = caught
    else:
        assert len(decoded) < len(cut)
        return
    assert 0 <= fault.offset <= len(cut)
