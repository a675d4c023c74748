"""The fast way for recordings of text lines: equal to the readable way, whatever the lines hold."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.framing import framing
from decoders.layout import ByteOrder, Field, Layout, LineMark, Packet, WireKind
from decoders.stream import StreamDecoder
from decoders.text import TextLines

from .both_ways import assert_same, cut_at, packets_in, readable

U, S, F = WireKind.UNSIGNED, WireKind.SIGNED, WireKind.FLOAT


def packet_of(name, number, kinds, **more):
    """A packet of numbers one behind the other, from (name, kind, bits)."""
    place, fields = 8, []
    for label, kind, bits in kinds:
        fields.append(Field(label, kind, bits, place))
        place += bits
    return Packet(name, number, place // 8, tuple(fields), **more)


MOTION = packet_of(
    "motion", 1, [("n", U, 16), ("t", U, 24), ("ax", F, 32), ("ay", F, 64), ("trim", S, 8), ("far", S, 64)]
)
PLACE = packet_of(
    "place", 2, [("lat", F, 64), ("ns", F, 64), ("flag", WireKind.BOOLEAN, 8), ("big", U, 64)], tag="POS"
)
VALUES = Layout("delimited values", "none", ByteOrder.LITTLE, (MOTION, PLACE))
LAYOUTS = {
    "values": VALUES,
    "values with XOR": dataclasses.replace(VALUES, checksum="XOR-8", separator=";"),
    "values with CRC": dataclasses.replace(VALUES, checksum="CRC-16/IBM-3740", byte_order=ByteOrder.BIG),
    "values with Fletcher": dataclasses.replace(VALUES, checksum="Fletcher-32", separator="\t"),
    "one kind without a tag": dataclasses.replace(VALUES, packets=(MOTION,), id_bits=0),
    "pairs": dataclasses.replace(VALUES, framing="key=value", separator=" "),
    "pairs with a sum": dataclasses.replace(VALUES, framing="key=value", checksum="sum-16"),
    "values with CRC of other bits": dataclasses.replace(VALUES, checksum="CRC-32/ISO-HDLC"),
    "values with mirrored CRC": dataclasses.replace(VALUES, checksum="CRC-16/KERMIT"),
    "values without tags": dataclasses.replace(VALUES, line_mark=LineMark.COUNT),
    "pairs without tags": dataclasses.replace(VALUES, framing="key=value", line_mark=LineMark.COUNT),
    "sentences": dataclasses.replace(VALUES, framing="nmea 0183", checksum="XOR-8"),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())
PAIRS = pytest.mark.parametrize("layout", [layout for layout in LAYOUTS.values() if layout.framing == "key=value"])


def number(rng, item):
    """A number as a builder's firmware may print it; one in eight is none, or none that the field can hold."""
    if rng.random() < 0.1:
        odd = [b"", b"N", b"w", b"-", b".", b"1e3", b"-2.5E-7", b"nan", b"INF", b"1_0", b"0x1F", b"1 2", b"+", b"--1"]
        odd += [
            b"12345678901234567",
            b"0.1234567890123456789",
            b"1" * 40,
            b"9" * 20,
            b"-0",
            b"-0.0",
            b"256",
            b"1.2.3",
        ]
        odd += [b"9007199254740993", b"900719925474099.3", b" 5", b"5 ", b"   -6", b"007", b"\xff", b"65536"]
        odd += [b"-129"]
        return odd[int(rng.integers(len(odd)))]
    if item.kind is F:
        size = 10.0 ** float(rng.integers(-3, 9))
        form = [b"%.3f", b"%.0f", b"%.2f", b"%+.7f", b"%g", b"%8.1f", b"%.12f"][int(rng.integers(7))]
        return form % (float(rng.normal()) * size)
    most = 2 ** int(rng.integers(1, item.bits + (item.kind is not S)))
    value = int(rng.integers(0, most, dtype=np.uint64))
    return b"%d" % (-value if item.kind is S and rng.random() < 0.5 else value)


def line_of(layout, rng, shuffled=0.1, order=None):
    """A line of the layout, written without the code under test; `order` is that of the values that carry names."""
    packet = layout.packets[int(rng.integers(len(layout.packets)))]
    tokens = [number(rng, item) for item in packet.fields]
    if layout.framing == "key=value":
        names = [item.name.encode() for item in packet.fields]
        tokens = [name + b"=" + token for name, token in zip(names, tokens, strict=True)]
        if order is not None:
            tokens = [tokens[place] for place in order(len(tokens))]
        if rng.random() < shuffled:
            rng.shuffle(tokens)
    if layout.id_bits and layout.line_mark is LineMark.TAG:
        talker = [b"", b"GP", b"gn", b"P1"][int(rng.integers(4))] if layout.framing == "nmea 0183" else b""
        tokens.insert(0, talker + (packet.tag or packet.name).encode())
    line = layout.separator.encode().join(tokens)
    framed = framing(layout)
    assert isinstance(framed, TextLines)
    if size := framed.checksum.size:
        digits = b"%0*X" % (2 * size, framed.checksum.of(line))
        line += b"*" + (digits.lower() if rng.random() < 0.2 else digits)
    opening = [b"$", b"!"][int(rng.random() < 0.1)] if layout.framing == "nmea 0183" else b""
    return opening + line + [b"\r\n", b"\n", b"\r\r\n", b"\r\n\r\n"][int(rng.choice(4, p=[0.7, 0.2, 0.05, 0.05]))]


def damaged(line, rng):
    """The line with a byte changed, dropped or doubled, or with others put in."""
    line, place = bytearray(line), int(rng.integers(len(line)))
    match int(rng.integers(5)):
        case 0:
            line[place] ^= int(rng.integers(1, 256))
        case 1:
            line[place] = b" ,;=*$-.0\r\n"[int(rng.integers(11))]
        case 2:
            del line[place]
        case 3:
            line.insert(place, line[place])
        case _:
            line[place:place] = rng.bytes(int(rng.integers(1, 300)))
    return bytes(line)


def stream_of(layout, rng, count, share):
    """A stream of lines, a share of them damaged."""
    lines = (line_of(layout, rng) for _ in range(count))
    return b"".join(damaged(line, rng) if rng.random() < share else line for line in lines)


@EVERY
@settings(max_examples=5)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.01, 0.3]), st.lists(st.integers(0, 200_000), max_size=2))
def test_lines_by_the_thousand_equal_the_readable_way(layout, seed, share, cuts):
    stream = stream_of(layout, np.random.default_rng(seed), 1200, share)
    assert packets_in(assert_same(layout, cut_at(stream, sorted(cut % len(stream) for cut in cuts))))


@EVERY
def test_sound_lines_are_all_taken_the_fast_way(layout):
    rng = np.random.default_rng(5)
    lines, decoder = [], readable(layout)
    while len(lines) < 1000:
        line = line_of(layout, rng, shuffled=0)
        is_tidy = line.endswith(b"\r\n") and b"\r\r" not in line and line.count(b"\n") == 1 and b"P1" not in line
        if decoder.feed(line).tables and is_tidy:
            lines.append(line)
    stream = b"".join(lines)
    tiles = StreamDecoder(layout)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    # all but what starts too near to the block's start
    assert sum(harvest.start.size for harvest in harvested.harvests) >= len(lines) - 3
    assert harvested.rest[0][0] == 0
    assert harvested.rest[-1][1] < 100


def backwards(count):
    return range(count - 1, -1, -1)


def twisted(count):
    return [count // 2, *range(count // 2), *range(count // 2 + 1, count)]


@PAIRS
@pytest.mark.parametrize("order", [backwards, twisted])
def test_pairs_in_another_order_are_taken_the_fast_way(layout, order):
    rng = np.random.default_rng(6)
    lines, decoder = [], readable(layout)
    while len(lines) < 1000:
        line = line_of(layout, rng, shuffled=0, order=order)
        if decoder.feed(line).tables and line.endswith(b"\r\n") and b"\r\r" not in line and line.count(b"\n") == 1:
            lines.append(line)
    stream = b"".join(lines)
    tiles = StreamDecoder(layout)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    assert sum(harvest.start.size for harvest in harvested.harvests) >= len(lines) - 3
    assert packets_in(assert_same(layout, [stream])) == len(lines)


@PAIRS
@settings(max_examples=5)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.1, 0.5]))
def test_pairs_whose_order_changes_equal_the_readable_way(layout, seed, shuffled):
    rng = np.random.default_rng(seed)
    orders = [None] * 300 + [backwards] * 700 + [twisted] * 500
    lines = [line_of(layout, rng, shuffled, order) for order in orders]
    stream = b"".join(damaged(line, rng) if rng.random() < 0.02 else line for line in lines)
    assert packets_in(assert_same(layout, cut_at(stream, sorted(rng.integers(len(stream), size=2).tolist()))))


def test_lines_of_few_packets_are_left_to_the_readable_way():
    rng = np.random.default_rng(8)
    stream = b"".join(line_of(VALUES, rng) for _ in range(100))
    tiles = StreamDecoder(VALUES)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    assert harvested.harvests == ()
    assert harvested.rest == ((0, len(stream)),)
