"""Whole recordings with a receiver's RSSI and SNR in them: the fast way equals the readable way."""

import dataclasses

import numpy as np
import pytest

from decoders.framing import contents_of, framing
from decoders.layout import BitOrder, ByteOrder, ChecksumPlace, Envelope, Field, LengthField, Sync, WireKind
from decoders.stream import StreamDecoder

from .both_ways import assert_same, in_blocks, packets_in

RSSI = Field("rssi", WireKind.SIGNED, 16, 0, scale=0.5, unit="dBm")
SNR = Field("snr", WireKind.SIGNED, 8, 16, scale=0.25, unit="dB")
ERRORS = Field("errors", WireKind.UNSIGNED, 12, 24, bit_order=BitOrder.MOST)
FLAG = Field("flag", WireKind.BOOLEAN, 1, 36, bit_order=BitOrder.MOST)
FIELDS = (RSSI, SNR, ERRORS, FLAG)
ENVELOPES = {
    "behind": Envelope(0, 5, FIELDS),
    "in front": Envelope(5, 0, FIELDS),
    "both": Envelope(2, 3, FIELDS),
    "across the packet": Envelope(4, 1, FIELDS),  # begins in front of it and ends behind it: not for tiles
}
WORD = b"\xa5\x5a"
FRAMINGS = {
    "cobs": {"framing": "cobs"},
    "slip": {"framing": "slip", "checksum": "CRC-32/ISO-HDLC"},
    "rfc 1662": {"framing": "rfc 1662", "checksum": "CRC-16/IBM-SDLC"},
    "sync and length": {"framing": "sync", "sync": Sync(WORD, LengthField(8, adds=1), 1)},
    "sync and fixed length": {"framing": "sync", "sync": Sync(WORD), "byte_order": ByteOrder.BIG},
    "fixed length": {"framing": "fixed length", "checksum": "CRC-32/ISO-HDLC"},
    "checksum first": {"framing": "cobs", "checksum": "Fletcher-16", "checksum_place": ChecksumPlace.START},
}
EVERY = pytest.mark.parametrize("change", FRAMINGS.values(), ids=FRAMINGS)


def stream_of(layout, rng, count, damage):
    framed = framing(layout)
    contents = contents_of(layout, framed)
    head, after = contents.envelope
    frames = []
    for _ in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        body = bytearray(rng.bytes(int(rng.choice(packet.lengths))))
        body[0] = packet.id
        whole = contents.with_room(bytes(body))
        whole[head] = rng.bytes(layout.envelope.before)
        whole[len(whole) - after :] = rng.bytes(after)
        framed.prepare(whole)
        frame = bytearray(framed.encode(contents.seal(whole)))
        if rng.random() < damage:
            place = int(rng.integers(len(frame)))
            put = (b"", b"RSSI -80\r\n", rng.bytes(int(rng.integers(1, 60))))[int(rng.integers(3))]
            frame[place : place + 1] = put
        frames.append(bytes(frame))
    return b"".join(frames)


def assert_same_with_receiver(layout, stream, block):
    """As `assert_same`, and every table has the receiver's columns last; how many packets there are."""
    parts = assert_same(layout, in_blocks(stream, block))
    for part in parts:
        for table in part.tables:
            assert list(table.columns)[-4:] == ["rssi", "snr", "errors", "flag"]
    return packets_in(parts)


@EVERY
@pytest.mark.parametrize("envelope", ENVELOPES.values(), ids=ENVELOPES)
def test_recordings_with_a_receivers_bytes_decode_as_by_the_readable_way(bench, change, envelope):
    layout = dataclasses.replace(bench.two_kinds, **change, envelope=envelope)
    for damage in (0.0, 0.02):
        stream = stream_of(layout, np.random.default_rng(31), 2_500, damage)
        for block in (len(stream), 40_000):
            assert assert_same_with_receiver(layout, stream, block) > 2_500 * (1 - damage) * 0.9


@EVERY
def test_tiles_take_packets_with_a_receivers_bytes(bench, change):
    layout = dataclasses.replace(bench.two_kinds, **change, envelope=ENVELOPES["both"])
    stream = stream_of(layout, np.random.default_rng(32), 2_500, 0.0)
    tiles = StreamDecoder(layout)._tiles
    done, harvests = tiles.harvest(tiles.find(stream + tiles.PADDING, len(stream)))
    assert np.count_nonzero(done) == 2_500
    assert all("rssi" in harvest.columns for harvest in harvests)


def test_receivers_bytes_stand_behind_optional_tails_of_any_length(bench):
    motion = dataclasses.replace(bench.two_kinds.packets[0], shorter=(12,))
    for change in (FRAMINGS["cobs"], FRAMINGS["sync and length"]):
        layout = dataclasses.replace(
            bench.two_kinds, packets=(motion, bench.two_kinds.packets[1]), **change, envelope=ENVELOPES["both"]
        )
        stream = stream_of(layout, np.random.default_rng(33), 4_000, 0.01)
        assert assert_same_with_receiver(layout, stream, 40_000) > 3_500
