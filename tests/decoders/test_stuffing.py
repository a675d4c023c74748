import pytest
import sliplib
from hypothesis import example, given
from hypothesis import strategies as st

from decoders import stuffing
from decoders.errors import FrameError

FEW_VALUES = st.lists(st.sampled_from([0xC0, 0xDB, 0xDC, 0xDD, 0x7E, 0x7D, 0x5E, 0x5D, 0x41]), max_size=60).map(bytes)
ANYTHING = st.one_of(st.binary(max_size=200), FEW_VALUES)
CODECS = [
    (stuffing.slip_encode, stuffing.slip_decode, stuffing.longest, b"\xc0"),
    (stuffing.rfc1662_encode, stuffing.rfc1662_decode, stuffing.longest, b"\x7e"),
    (stuffing.hex_encode, stuffing.hex_decode, stuffing.longest_hex, b"\n"),
]


@pytest.mark.parametrize(("encode", "decode", "longest", "delimiter"), CODECS)
@given(ANYTHING)
def test_stuffing_round_trips_without_the_delimiter_and_within_its_bound(
    encode, decode, longest, delimiter, contents
):
    stuffed = encode(contents)
    assert delimiter not in stuffed
    assert len(stuffed) <= longest(len(contents))
    assert decode(stuffed) == contents


@pytest.mark.parametrize(("encode", "decode", "longest", "delimiter"), CODECS)
@given(ANYTHING)
def test_any_bytes_decode_or_raise_frame_error_with_a_place(encode, decode, longest, delimiter, frame):
    try:
        contents = decode(frame)
    except FrameError as fault:
        place = fault.offset
    else:
        assert len(contents) <= len(frame)
        return
    assert 0 <= place <= len(frame)


@given(ANYTHING)
def test_slip_encoding_equals_the_reference(contents):
    assert stuffing.slip_encode(contents) == sliplib.encode(contents)


@given(FEW_VALUES)
@example(b"\xdb\xdd\xdc")
@example(b"\xdb\xdb\xdc")
def test_slip_frames_decode_as_the_reference_decodes_them_or_raise_where_it_raises(frame):
    try:
        expected = sliplib.decode(frame)
    except sliplib.ProtocolError:
        expected = None
    if expected is None or stuffing.SLIP_END in frame:
        with pytest.raises(FrameError):
            stuffing.slip_decode(frame)
    else:
        assert stuffing.slip_decode(frame) == expected


@given(FEW_VALUES)
def test_rfc_1662_frames_decode_as_one_byte_at_a_time(frame):
    expected, escaped = [], False
    for byte in frame:
        if escaped:
            expected.append(byte ^ 0x20)
            escaped = False
        elif byte == 0x7D:
            escaped = True
        else:
            expected.append(byte)
    if escaped or 0x7E in frame:
        with pytest.raises(FrameError):
            stuffing.rfc1662_decode(frame)
    else:
        assert stuffing.rfc1662_decode(frame) == bytes(expected)


@pytest.mark.parametrize(
    ("decode", "frame", "offset"),
    [
        (stuffing.slip_decode, "41 DB 41", 1),
        (stuffing.slip_decode, "DB DC DB DD 41 DB", 5),
        (stuffing.slip_decode, "41 C0 41", 1),
        (stuffing.rfc1662_decode, "41 7D", 1),
        (stuffing.rfc1662_decode, "7E", 0),
        (stuffing.hex_decode, "34 31 47", 2),
        (stuffing.hex_decode, "34 31 34", 3),
    ],
)
def test_broken_frames_are_refused_where_they_break(decode, frame, offset):
    with pytest.raises(FrameError) as caught:
        decode(bytes.fromhex(frame))
    assert caught.value.offset == offset


# RFC 1662, section 4.2: 0x7e is encoded as 0x7d, 0x5e; 0x7d as 0x7d, 0x5d; 0x03 may be encoded as 0x7d, 0x23
def test_rfc_1662_examples():
    assert stuffing.rfc1662_encode(b"\x7e\x7d\x03") == bytes.fromhex("7d 5e 7d 5d 03")
    assert stuffing.rfc1662_decode(bytes.fromhex("7d 5e 7d 5d 7d 23 7d 31 7d 33")) == b"\x7e\x7d\x03\x11\x13"


# RFC 1055: END 0xC0, ESC 0xDB, ESC_END 0xDC, ESC_ESC 0xDD
def test_rfc_1055_codes():
    assert stuffing.slip_encode(bytes.fromhex("C0 DB DC DD")) == bytes.fromhex("DB DC DB DD DC DD")


def test_hexadecimal_lines_may_hold_blanks_small_digits_and_a_carriage_return():
    assert stuffing.hex_decode(b"0a Ff\t10\r") == b"\x0a\xff\x10"
    assert stuffing.hex_encode(b"\x0a\xff") == b"0AFF"
