"""The fast way for recordings of hexadecimal lines: equal to the readable way, however the digits are written."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.layout import ByteOrder, Envelope, Field, Layout, Packet, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

from .both_ways import assert_same, cut_at, packets_in

LONG = Packet("long", 1, 21, (Field("n", WireKind.UNSIGNED, 32, 8), Field("x", WireKind.FLOAT, 64, 72, scale=0.5)))
SHORT = Packet("short", 2, 4, (Field("n", WireKind.UNSIGNED, 24, 8),))
PLAIN = Layout("hexadecimal lines", "CRC-16/IBM-3740", ByteOrder.LITTLE, (LONG, SHORT))
LAYOUTS = {
    "CRC": PLAIN,
    "CRC that does not fold": dataclasses.replace(PLAIN, checksum="CRC-32/ISO-HDLC", byte_order=ByteOrder.BIG),
    "no checksum": dataclasses.replace(PLAIN, checksum="none"),
    "one kind": dataclasses.replace(PLAIN, packets=(SHORT,), id_bits=0),
}
RECEIVED = (Field("rssi", WireKind.FLOAT, 64, 0), Field("snr", WireKind.FLOAT, 64, 64))
AROUND = {
    line: dataclasses.replace(layout, envelope=Envelope(0, 8 * count, RECEIVED[:count], line))
    for line, count, layout in (
        ("HEARD {packet} {rssi}", 1, PLAIN),
        ("{packet};{snr};{rssi}dBm", 2, LAYOUTS["CRC that does not fold"]),
        ("+HEARD={},{rssi},{packet},{snr},{}", 2, PLAIN),
        ("rx {snr} of {rssi}: {packet}", 2, LAYOUTS["one kind"]),
    )
}
EVERY_AROUND = pytest.mark.parametrize("layout", AROUND.values(), ids=AROUND)
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)


def lines_of(layout, rng, count, style):
    """Lines with the end that a style of writing has: digits close together, lower case, or a blank between bytes."""
    encoder = FrameEncoder(layout)
    for _ in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        values = {"n": int(rng.integers(2**24))} | ({"x": float(rng.normal())} if packet is LONG else {})
        digits = encoder.encode(packet.name, values).strip()
        if style == "lower":
            digits = digits.lower()
        if style == "spaced":
            digits = b" ".join(digits[at : at + 2] for at in range(0, len(digits), 2))
        yield digits + (b"\n" if style == "plain" else b"\r\n")


def damaged(line, rng):
    line, place = bytearray(line), int(rng.integers(len(line)))
    match int(rng.integers(5)):
        case 0:
            line[place] ^= int(rng.integers(1, 256))
        case 1:
            line[place] = b"0fG \t\r\n:/@`g"[int(rng.integers(12))]
        case 2:
            del line[place]
        case 3:
            line.insert(place, line[place])
        case _:
            put = (b"\r\n", b"\n", b"!!", b" ", b"rssi -80\r\n", rng.bytes(20), b"0" * 500)
            line[place:place] = put[int(rng.integers(7))]
    return bytes(line)


@EVERY
@settings(max_examples=6)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.0, 0.01, 0.4]),
    st.sampled_from(["plain", "lower", "spaced"]),
    st.lists(st.integers(0, 200_000), max_size=2),
)
def test_lines_by_the_thousand_equal_the_readable_way(layout, seed, share, style, cuts):
    rng = np.random.default_rng(seed)
    lines = [damaged(line, rng) if rng.random() < share else line for line in lines_of(layout, rng, 2_000, style)]
    stream = b"".join(lines)
    parts = assert_same(layout, cut_at(stream, sorted(cut % len(stream) for cut in cuts)))
    assert packets_in(parts) > 2_000 * (1 - share) * 0.9


@EVERY
@pytest.mark.parametrize("style", ["plain", "lower", "spaced"])
def test_every_sound_line_is_taken_the_fast_way(layout, style):
    stream = b"".join(lines_of(layout, np.random.default_rng(4), 2_000, style))
    tiles = StreamDecoder(layout)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    assert sum(harvest.start.size for harvest in harvested.harvests) == 2_000
    assert harvested.rest == ()


def around_of(layout, rng, count, odd):
    """Lines of a receiver with its numbers in many forms; so many of them are odd."""
    texts = layout.envelope.line
    bare = dataclasses.replace(layout, envelope=Envelope())
    oddities = [" -80", "-80 ", "nan", "N", "", "-", "1e2", "-1.5E1", "0x10", "..", "1_0", "12.5.", "A0", "0 7"]
    for line in lines_of(bare, rng, count, "lower" if rng.random() < 0.5 else "crlf"):
        digits = line.strip().decode()
        if rng.random() < odd:
            digits = [digits[:-1], digits[:6] + " " + digits[6:], "", digits + " "][int(rng.integers(4))]
        told = texts.replace("{packet}", digits)
        for name in ("rssi", "snr"):
            number = ["%d", "%.1f", "%+.2f", "%.15f"][int(rng.integers(4))] % rng.normal(-80, 20)
            told = told.replace(f"{{{name}}}", str(rng.choice(oddities)) if rng.random() < odd else number)
        while "{}" in told:
            other = ["17", "", "a-b", "x" * 40][int(rng.integers(4))]
            told = told.replace("{}", str(rng.choice(["a b", "a,b", "y" * 41])) if rng.random() < odd else other, 1)
        yield told.encode() + (b"\r\r\n" if rng.random() < odd else b"\r\n")


@EVERY_AROUND
@settings(max_examples=8)
@given(
    st.integers(0, 2**32 - 1),
    st.sampled_from([0.0, 0.05, 0.4]),
    st.sampled_from([0.0, 0.01, 0.2]),
    st.lists(st.integers(0, 200_000), max_size=2),
)
def test_a_receivers_lines_by_the_thousand_equal_the_readable_way(layout, seed, share, odd, cuts):
    rng = np.random.default_rng(seed)
    lines = around_of(layout, rng, 2_000, odd)
    stream = b"".join(damaged(line, rng) if rng.random() < share else line for line in lines)
    parts = assert_same(layout, cut_at(stream, sorted(cut % len(stream) for cut in cuts)))
    assert packets_in(parts) > 2_000 * (1 - share) * (1 - odd) ** 5 * 0.9


@EVERY_AROUND
def test_every_sound_line_of_a_receiver_is_taken_the_fast_way(layout):
    stream = b"".join(around_of(layout, np.random.default_rng(4), 2_000, 0))
    tiles = StreamDecoder(layout)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    assert sum(harvest.start.size for harvest in harvested.harvests) == 2_000
    assert harvested.rest == ()


@pytest.mark.parametrize("line", ["{packet}A{rssi}", "{packet}{rssi}", "{rssi}e{packet}", "{}x{packet} {rssi}"])
def test_lines_in_which_it_is_not_certain_what_ends_where_are_left_to_the_readable_way(line):
    layout = dataclasses.replace(PLAIN, envelope=Envelope(0, 8, RECEIVED[:1], line))
    assert StreamDecoder(layout)._tiles is None


def test_a_line_too_long_for_any_packet_is_left_to_the_readable_way():
    rng = np.random.default_rng(6)
    lines = list(lines_of(PLAIN, rng, 2_000, "plain"))
    lines[1_000] = lines[1_000].strip() + b" " * 3_000 + b"\r\n"
    assert packets_in(assert_same(PLAIN, [b"".join(lines)])) == 1_999
