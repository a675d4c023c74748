"""Recordings of CCSDS space packets (133.0-B) behind the sync marker (131.0-B): the fast way against the readable."""

import dataclasses

import numpy as np
import pytest

from decoders.framing import contents_of, framing
from decoders.layout import Address, BitOrder, ByteOrder, Field, Layout, Packet, WireKind
from decoders.stream import StreamDecoder

from .both_ways import assert_same, in_blocks, packets_in

MARKER = bytes.fromhex("1ACFFC1D")
COUNT = Field("ccsds_count", WireKind.UNSIGNED, 14, 18, bit_order=BitOrder.MOST)
PACKETS = (
    Packet(
        "motion",
        0x2A,
        24,
        (COUNT, Field("t", WireKind.UNSIGNED, 32, 48), Field("a", WireKind.SIGNED, 12, 84, bit_order=BitOrder.MOST)),
    ),
    Packet("health", 0x7A, 15, (COUNT, Field("vbat", WireKind.UNSIGNED, 16, 56, scale=0.001, unit="V"))),
)
SPACE = Layout(
    "ccsds",
    "CRC-16/IBM-3740",
    ByteOrder.BIG,
    PACKETS,
    id_bits=11,
    id_first_bit=5,
    id_bit_order=BitOrder.MOST,
    checksum_order=ByteOrder.BIG,
)
TAILED = dataclasses.replace(PACKETS[0], shorter=(14,))
LAYOUTS = {
    "CRC-16": SPACE,
    "CRC-32": dataclasses.replace(SPACE, checksum="CRC-32/ISO-HDLC"),
    "no checksum": dataclasses.replace(SPACE, checksum="none"),
    "little-endian numbers": dataclasses.replace(SPACE, byte_order=ByteOrder.LITTLE),
    "marker covered": dataclasses.replace(SPACE, checksum_from=-4),
    "optional tail": dataclasses.replace(SPACE, packets=(TAILED, PACKETS[1])),
    "an address": dataclasses.replace(SPACE, address=Address(5, 8, 88)),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)


def frame_of(layout, number, length, rng, count):
    """A space packet with the primary header written out, the rest random, one byte in six of it a marker's."""
    body = bytearray((number | 0x0800).to_bytes(2, "big") + (0xC000 | count % 0x4000).to_bytes(2, "big") + bytes(2))
    rest = rng.integers(0, 256, length - 6, dtype=np.uint8)
    marked = rng.random(rest.size) < 1 / 6
    rest[marked] = rng.choice(np.frombuffer(MARKER, np.uint8), np.count_nonzero(marked))
    body += rest.tobytes()
    if layout.address is not None and rng.random() < 0.98:
        body[11] = layout.address.value
    framed = framing(layout)
    contents = contents_of(layout, framed)
    whole = contents.with_room(bytes(body))
    framed.prepare(whole)
    return framed.encode(contents.seal(whole))


def stream_of(layout, rng, count, damage):
    """Packets of the layout, a few of other kinds, a share of the frames damaged in one of four ways."""
    frames = []
    for n in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        number = packet.id if rng.random() < 0.99 else 0x7FF  # an idle packet's
        frame = bytearray(frame_of(layout, number, int(rng.choice(packet.lengths)), rng, n))
        if rng.random() < damage:
            place = int(rng.integers(len(frame)))
            match int(rng.integers(4)):
                case 0:
                    frame[place] ^= int(rng.integers(1, 256))
                case 1:
                    del frame[place]
                case 2:
                    frame[place:place] = rng.bytes(int(rng.integers(1, 90)))
                case _:
                    frame[place:place] = b"RSSI -80\r\n" + MARKER[: int(rng.integers(5))]
        frames.append(bytes(frame))
    return b"".join(frames)


@EVERY
@pytest.mark.parametrize("damage", [0.0, 0.002, 0.2])
def test_space_packets_decode_as_by_the_readable_way(layout, damage):
    stream = stream_of(layout, np.random.default_rng(11), 4_000, damage)
    for block in (len(stream), 40_000):
        assert packets_in(assert_same(layout, in_blocks(stream, block))) > 4_000 * (1 - damage) * 0.9


@pytest.mark.parametrize("name", ["CRC-16", "CRC-32", "no checksum"])
def test_tiles_take_the_space_packets_of_a_clean_block(name):
    layout = LAYOUTS[name]
    stream = stream_of(layout, np.random.default_rng(12), 4_000, 0.0)
    tiles = StreamDecoder(layout)._tiles
    done, _ = tiles.harvest(tiles.find(stream + tiles.PADDING, len(stream)))
    assert np.count_nonzero(done) > 3_900  # but for the idle ones


@EVERY
def test_noise_full_of_markers_is_rejected_as_by_the_readable_way(layout):
    rng = np.random.default_rng(13)
    good = stream_of(layout, rng, 1_500, 0.0)
    noise = b"".join(MARKER + rng.bytes(int(rng.integers(0, 12))) for _ in range(3_000))
    stream = noise + good + rng.bytes(20_000) + good[:-7]
    for block in (len(stream), 33_000):
        assert_same(layout, in_blocks(stream, block))
