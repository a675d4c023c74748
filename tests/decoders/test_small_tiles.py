"""The fast way on streams of a few frames, tiles of a few frames each: as hard a test as the readable way has."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import decoders.stream
import decoders.tiles
from decoders.framing import contents_of, framing
from decoders.layout import BitOrder, ByteOrder, ChecksumPlace, Field, Layout, LengthField, Packet, Sync, WireKind
from decoders.stream import StreamDecoder
from decoders.tile_frames import places_of

from .both_ways import assert_same, cut_at

LONG = Packet(
    "long",
    2,
    21,
    (
        Field("a", WireKind.UNSIGNED, 64, 8),
        Field("b", WireKind.SIGNED, 24, 72),
        Field("c", WireKind.SIGNED, 16, 96, scale=-0.5),
        Field("d", WireKind.FLOAT, 32, 112, scale=0.25, bias=1.0),
        Field("e", WireKind.UNSIGNED, 5, 144, container_bits=16, shift=3),
    ),
)
SHORT = Packet("short", 7, 4, (Field("n", WireKind.UNSIGNED, 24, 8),))
TWIN = dataclasses.replace(SHORT, name="twin", id=0)  # of the same length, told apart by an id that COBS stuffs
PLAIN = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (LONG, SHORT, TWIN))
WORD = b"\xa5\x5a"
SPACE = Packet("space", 0x0923, 15, (Field("n", WireKind.UNSIGNED, 14, 18, bit_order=BitOrder.MOST),))
LAYOUTS = {
    "cobs": PLAIN,
    "cobs, big-endian": dataclasses.replace(PLAIN, byte_order=ByteOrder.BIG, checksum_order=ByteOrder.BIG),
    "cobs, checksum first": dataclasses.replace(PLAIN, checksum_place=ChecksumPlace.START),
    "cobs, lowest bit first": dataclasses.replace(PLAIN, checksum="CRC-16/KERMIT", checksum_order=ByteOrder.BIG),
    "cobs, no checksum": dataclasses.replace(PLAIN, checksum="none"),
    "slip": dataclasses.replace(PLAIN, framing="slip", checksum="CRC-16/IBM-SDLC"),
    "rfc 1662": dataclasses.replace(PLAIN, framing="rfc 1662", checksum="Fletcher-16"),
    "hexadecimal lines": dataclasses.replace(PLAIN, framing="hexadecimal lines"),
    "sync and length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(WORD, LengthField(8, adds=1), 1)),
    "sync and fixed length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(WORD)),
    "fixed length": dataclasses.replace(PLAIN, framing="fixed length", checksum="CRC-32/ISO-HDLC"),
    "one fixed length": dataclasses.replace(PLAIN, framing="fixed length", packets=(SHORT,), id_bits=0),
    "ccsds": dataclasses.replace(PLAIN, framing="ccsds", byte_order=ByteOrder.BIG, id_bits=16, packets=(SPACE,)),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
# delimiters, escapes, sync words, ids, digits and what is near them
SPECIAL = b"\x00\x01\x02\x07\x0a\x30\x41\x7d\x7e\x5d\x5e\xc0\xdb\xdc\xdd\xa5\x5a\x1a\xcf\xfc\x1d\xfe\xff"
BYTES = st.one_of(st.sampled_from(SPECIAL), st.integers(0, 255))
TEXT = st.sampled_from([b"RSSI -80\r\n", b"\n", b"up"])


@pytest.fixture(scope="module", autouse=True)
def small_tiles():
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(decoders.stream, "LEAST_BLOCK", 1)
        patch.setattr(decoders.tiles, "_LEAST_FRAMES", 1)
        patch.setattr(decoders.tiles, "_TILE_BYTES", 128)  # four of the longest frames
        patch.setattr(decoders.tiles, "_GATHERED_BYTES", 64)
        yield


def frame_of(layout, packet, rest):
    mark = packet.id.to_bytes(layout.id_bits // 8, layout.byte_order.value) if layout.id_bits else b""
    body = mark + bytes(rest)
    framed = framing(layout)
    contents = contents_of(layout, framed)
    whole = contents.with_room(body[: packet.length].ljust(packet.length, b"\0"))
    framed.prepare(whole)
    return framed.encode(contents.seal(whole))


@st.composite
def pieces(draw, layout):
    """A frame, sound or damaged in one place, or what is none."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.one_of(TEXT, st.lists(BYTES, max_size=40).map(bytes)))
    packet = draw(st.sampled_from(layout.packets))
    frame = frame_of(layout, packet, draw(st.lists(BYTES, max_size=packet.length)))
    kind = draw(st.sampled_from(["sound"] * 5 + ["changed", "cut", "put in", "doubled"]))
    place = draw(st.integers(0, len(frame) - 1))
    if kind == "changed":
        return frame[:place] + bytes((draw(BYTES),)) + frame[place + 1 :]
    if kind == "cut":
        return frame[:place]
    if kind == "put in":
        return frame[:place] + draw(st.one_of(TEXT, st.lists(BYTES, max_size=5).map(bytes))) + frame[place:]
    return frame * (2 if kind == "doubled" else 1)


def cut_up(stream, cuts):
    return cut_at(stream, sorted(cut % (len(stream) + 1) for cut in cuts))


@EVERY
@settings(max_examples=50)
@given(data=st.data())
def test_any_damage_and_any_cuts_give_what_the_readable_way_gives(layout, data):
    stream = b"".join(data.draw(st.lists(pieces(layout), max_size=25)))
    chunks = cut_up(stream, data.draw(st.lists(st.integers(0, 2000), max_size=5)))
    assert_same(layout, chunks)


@EVERY
@settings(max_examples=30)
@given(stream=st.lists(BYTES, max_size=300).map(bytes), cuts=st.lists(st.integers(0, 300), max_size=5))
def test_any_bytes_give_what_the_readable_way_gives(layout, stream, cuts):
    assert_same(layout, cut_up(stream, cuts))


@EVERY
def test_tiles_take_the_frames_of_short_streams(layout):
    rng = np.random.default_rng(4)
    taken = 0
    for _ in range(20):
        stream = b"".join(frame_of(layout, packet, rng.bytes(24)) for packet in layout.packets)
        tiles = StreamDecoder(layout)._tiles
        done, _ = tiles.harvest(tiles.find(stream + tiles.PADDING, len(stream)))
        taken += int(np.count_nonzero(done))
    assert taken > 0.95 * 20 * len(layout.packets)


@given(data=st.lists(st.sampled_from([0, 1, 0x0A, 0xFF]), max_size=60).map(bytes), first=st.integers(0, 9))
def test_a_byte_is_found_wherever_it_stands(data, first):
    for byte in (0, 0x0A):
        found = places_of(byte, np.frombuffer(data, np.uint8)[first:])
        assert found.tolist() == [place for place, found in enumerate(data[first:]) if found == byte]


@given(gaps=st.lists(st.integers(8, 40), max_size=20), first=st.integers(0, 9))
def test_a_byte_that_stands_alone_in_eight_is_found_wherever_it_stands(gaps, first):
    data = b"\xff" * first + b"".join(b"\x80" * (gap - 1) + b"\0" for gap in gaps)
    assert places_of(0, np.frombuffer(data, np.uint8)).tolist() == (first - 1 + np.cumsum(gaps)).tolist()
