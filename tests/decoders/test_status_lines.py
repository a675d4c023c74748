"""Lines of text that a receiver prints among the frames: told apart, and no frame is lost to them."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.layout import ByteOrder, Field, Layout, LengthField, Packet, Reason, Sync, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

PACKET = Packet("p", 7, 5, (Field("x", WireKind.UNSIGNED, 32, 8),))
PLAIN = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (PACKET,))
FRAMINGS = {
    "cobs": PLAIN,
    "slip": dataclasses.replace(PLAIN, framing="slip"),
    "rfc 1662": dataclasses.replace(PLAIN, framing="rfc 1662"),
    "sync and length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xa5\x5a", LengthField(8, 0, 3), 1)),
    "sync": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xa5\x5a\x77")),
    "fixed length": dataclasses.replace(PLAIN, framing="fixed length", checksum="CRC-32/ISO-HDLC"),
}
LINE = st.text(st.characters(min_codepoint=0x20, max_codepoint=0x7D), min_size=1, max_size=80)


@pytest.mark.parametrize("layout", FRAMINGS.values(), ids=FRAMINGS)
@given(
    lines=st.lists(st.lists(LINE, max_size=3), min_size=1, max_size=6),
    numbers=st.lists(st.one_of(st.integers(0, 2**32 - 1), st.just(0x0A0A0A0A), st.just(0x41420A41)), min_size=6),
    size=st.sampled_from([1, 3, 1000]),
)
def test_every_frame_among_lines_of_text_decodes_and_the_lines_are_no_damage(layout, lines, numbers, size):
    encoder = FrameEncoder(layout)
    stream, expected, told = encoder.encode("p", {"x": 1}), [1], 0
    for texts, number in zip(lines, numbers, strict=False):
        for text in texts:
            stream += text.encode("ascii") + b"\r\n"
            told += len(text) + 2
        stream += encoder.encode("p", {"x": number})
        expected.append(number)
    decoder = StreamDecoder(layout)
    parts = [decoder.feed(stream[at : at + size]) for at in range(0, len(stream), size)]
    parts.append(decoder.finish())
    assert [x for part in parts for table in part.tables for x in table.columns["x"].tolist()] == expected
    rejects = [reject for part in parts for reject in part.rejects]
    assert {reject.reason for reject in rejects} <= {Reason.TEXT}
    # a framing that opens its frames with a delimiter ends the line before by it
    delimiters = len(rejects) if layout.framing in ("slip", "rfc 1662") else 0
    assert told <= sum(reject.end - reject.start for reject in rejects) <= told + delimiters


def test_line_is_told_as_it_was_printed():
    frame = FrameEncoder(PLAIN).encode("p", {"x": 5})
    (reject,) = StreamDecoder(PLAIN).feed(b"\0" + b"rssi -71 dBm\r\n" + frame).rejects
    assert (reject.reason, reject.start, reject.end) == (Reason.TEXT, 1, 15)
    assert reject.text == "found text, not a frame: 'rssi -71 dBm'"


def test_recording_with_a_line_now_and_then_decodes_whole():
    encoder = FrameEncoder(PLAIN)
    rng = np.random.default_rng(3)
    frames = [b"ok\n" * int(rng.random() < 0.01) + encoder.encode("p", {"x": number}) for number in range(6000)]
    decoded = StreamDecoder(PLAIN).feed(b"".join(frames))
    assert decoded.tables[0].columns["x"].tolist() == list(range(6000))
    assert {reject.reason for reject in decoded.rejects} == {Reason.TEXT}


def test_damaged_frame_behind_a_line_is_damage():
    frame = bytearray(FrameEncoder(PLAIN).encode("p", {"x": 0x01020304}))
    frame[3] ^= 0x40
    line, damaged = StreamDecoder(PLAIN).feed(b"\0a line of text\n" + frame).rejects
    assert (line.reason, line.raw) == (Reason.TEXT, b"a line of text\n")
    assert damaged.reason is Reason.CHECKSUM


@pytest.mark.parametrize("name", ["cobs", "rfc 1662"])
@given(number=st.integers(0, 2**32 - 1), size=st.sampled_from([1, 3, 1000]), bit=st.integers(0, 7))
def test_short_line_in_front_of_a_damaged_frame_is_told_apart_from_it(name, number, size, bit):
    layout = FRAMINGS[name]
    frame = FrameEncoder(dataclasses.replace(layout, checksum="CRC-32/ISO-HDLC")).encode("p", {"x": number})
    layout = dataclasses.replace(layout, checksum="CRC-32/ISO-HDLC")
    start = 1 if name == "rfc 1662" else 0  # without the delimiter that some send in front
    damaged = bytearray(frame[start:])
    damaged[1] ^= 1 << bit
    stream = FrameEncoder(layout).encode("p", {"x": 1}) + b"up 3\n" + bytes(damaged)
    decoder = StreamDecoder(layout)
    parts = [decoder.feed(stream[at : at + size]) for at in range(0, len(stream), size)] + [decoder.finish()]
    rejects = [reject for part in parts for reject in part.rejects]
    assert (rejects[0].reason, rejects[0].raw) == (Reason.TEXT, b"up 3\n")
    assert Reason.TEXT not in {reject.reason for reject in rejects[1:]}
    assert len(rejects) > 1
