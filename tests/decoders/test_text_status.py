"""A receiver's own lines among lines of packets: told apart, and never taken for them what is a damaged packet."""

import dataclasses
import itertools

import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.layout import ByteOrder, Envelope, Field, Layout, LineMark, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

FLOAT = WireKind.FLOAT
NAMES = ("volts", "amps", "trim")
POWER = Packet("power", 1, 25, tuple(Field(name, FLOAT, 64, 8 + 64 * k) for k, name in enumerate(NAMES)))
HEAT = Packet("heat", 2, 9, (Field("degrees", FLOAT, 64, 8),), tag="T")
VALUES = Layout("delimited values", "none", ByteOrder.LITTLE, (POWER, HEAT))
AROUND = Envelope(after=8, fields=(Field("rssi", FLOAT, 64, 0),), line="HEARD {packet} {rssi}")
DIGITS = dataclasses.replace(VALUES, framing="hexadecimal lines", checksum="CRC-16/IBM-3740")
LAYOUTS = {
    "values": VALUES,
    "values with CRC": dataclasses.replace(VALUES, checksum="CRC-16/IBM-3740", separator=";"),
    "values between blanks": dataclasses.replace(VALUES, separator=" "),
    "one kind without a tag": dataclasses.replace(VALUES, packets=(POWER,), id_bits=0),
    "pairs": dataclasses.replace(VALUES, framing="key=value", separator=" "),
    "pairs with XOR": dataclasses.replace(VALUES, framing="key=value", checksum="XOR-8"),
    "pairs without a tag": dataclasses.replace(VALUES, framing="key=value", packets=(POWER,), id_bits=0),
    "values told by their number": dataclasses.replace(VALUES, line_mark=LineMark.COUNT, checksum="XOR-8"),
    "sentences": dataclasses.replace(VALUES, framing="nmea 0183", checksum="XOR-8"),
    "digits": DIGITS,
    "digits among a receiver's words": dataclasses.replace(DIGITS, envelope=AROUND),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())
LINES = [
    b"RSSI: -80 dBm, SNR: 9.5 dB",
    b"[info] radio up",
    b"[00012345] packet received",
    b"\x1b[0;32mlistening on 868.1 MHz\x1b[0m",
    b"no signal",
    b"+OK",
    b"----------------",
    b"quality: good; errors: none",
    b"a line that says no more than the receiver's name, its version and that it is ready to take what comes; " * 2,
]
NUMBERS = st.floats(-1000, 1000, width=32).map(lambda x: round(x, 3))


def encoder_of(layout):
    encoder = FrameEncoder(layout)

    def encode(number):
        rssi = {"rssi": -80.0} if layout.envelope.line else {}
        return encoder.encode("power", {"volts": number, "amps": 2.5, "trim": -number} | rssi)

    return encode


def decoded(layout, stream, size):
    """The values, and the rejects, of a stream that an earlier line has opened."""
    decoder = StreamDecoder(layout)
    opened = b"***\n" + stream
    parts = [decoder.feed(opened[at : at + size]) for at in range(0, len(opened), size)] + [decoder.finish()]
    values = [x for part in parts for table in part.tables for x in table.columns.get("volts", [])]
    rejects = [(r.reason, r.start - 4, r.end - 4, r.raw) for part in parts for r in part.rejects]
    return values, [reject for reject in rejects if reject[1] >= 0]


@EVERY
@given(st.lists(st.one_of(NUMBERS, st.sampled_from(LINES)), max_size=12), st.sampled_from([1, 7, 5000]))
def test_lines_of_the_receiver_are_text_and_cost_no_packet(layout, items, size):
    encode = encoder_of(layout)
    pieces = [item + b"\r\n" if isinstance(item, bytes) else encode(item) for item in items]
    ends = list(itertools.accumulate(map(len, pieces)))
    values, rejects = decoded(layout, b"".join(pieces), size)
    assert values == [item for item in items if not isinstance(item, bytes)]
    expected = [
        (Reason.TEXT, end - len(item) - 2, end, item + b"\r")
        for item, end in zip(items, ends, strict=True)
        if isinstance(item, bytes)
    ]
    assert rejects == expected


@EVERY
@given(NUMBERS, st.integers(0, 200), st.one_of(st.binary(min_size=1, max_size=1), st.sampled_from(list("aZ0 .,\n"))))
def test_a_packet_with_a_byte_changed_is_never_text_alone(layout, number, place, put):
    line = encoder_of(layout)(number)
    place %= len(line) - 2
    put = put if isinstance(put, bytes) else put.encode()
    values, rejects = decoded(layout, line[:place] + put + line[place + 1 :], 5000)
    assert len(values) == 1 or any(reason is not Reason.TEXT for reason, *_ in rejects)


@EVERY
@given(NUMBERS, st.integers(0, 200), st.integers(1, 6))
def test_a_packet_with_a_few_bytes_lost_is_never_text(layout, number, place, count):
    line = encoder_of(layout)(number).rstrip()
    place %= len(line)
    values, rejects = decoded(layout, line[:place] + line[place + count :] + b"\n", 5000)
    assert len(values) == 1 or [reason is Reason.TEXT for reason, *_ in rejects] == [False]


@EVERY
@given(NUMBERS, st.integers(0, 200), st.booleans())
def test_a_packet_cut_at_one_end_is_never_text(layout, number, place, is_start):
    line = encoder_of(layout)(number).rstrip()
    place %= len(line)
    left = line[place:] if is_start else line[:place]
    if len(left) > 5:  # less may be anything: the digits of a checksum, the end of a number
        values, rejects = decoded(layout, left + b"\n", 5000)
        assert len(values) == 1 or [reason is Reason.TEXT for reason, *_ in rejects] == [False]


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("values", b"rssi,-80"),  # a number on its own may be what is left of a packet
        ("values", b"pover ready"[:5]),
        ("values", b"power ready"),
        ("values between blanks", b"snr 9.5 -80"),
        ("values with CRC", b"radio up*5"),
        ("pairs", b"heard volts=3"),
        ("pairs", b"heard olts=3"),
        ("sentences", b"$radio up"),
        ("digits", b"id 00DEADBEEF00DEADBEEF1234567890"),
        ("digits", b"bad cafe"),
        ("digits among a receiver's words", b"HEARD nothing"),
        ("values", b"radio\x01up"),
        ("values", b"7"),
    ],
)
def test_what_may_be_a_packet_is_damage(name, line):
    _, ((reason, *_),) = decoded(LAYOUTS[name], line + b"\r\n", 5000)
    assert reason is not Reason.TEXT


def test_sentences_of_other_kinds_say_nothing_against_the_link():
    layout = LAYOUTS["sentences"]
    other = pynmeagps.NMEAMessage("GP", "GSV", pynmeagps.GET, numMsg=1, msgNum=1, numSV=4).serialize()
    _, rejects = decoded(layout, other, 5000)
    assert [(reason, raw) for reason, _, _, raw in rejects] == [(Reason.TEXT, other[:-1])]
    damaged = other.replace(b"GSV", b"GSU")
    _, rejects = decoded(layout, damaged, 5000)
    assert [reason for reason, *_ in rejects] == [Reason.CHECKSUM]


def test_blank_lines_among_hexadecimal_ones_are_passed_over():
    frame = encoder_of(DIGITS)(5)
    values, rejects = decoded(DIGITS, b"\r\n" + frame + b" \t\r\n\n" + frame, 5000)
    assert (values, rejects) == ([5, 5], [])
