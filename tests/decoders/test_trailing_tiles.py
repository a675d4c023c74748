"""Recordings of frames with a receiver's bytes behind their delimiters: the fast way equals the readable way."""

import dataclasses
import itertools

import numpy as np
import pytest

from decoders.framing import contents_of, framing
from decoders.layout import Envelope, Field, WireKind
from decoders.stream import StreamDecoder

from .both_ways import assert_same, cut_at, packets_in

RSSI = Field("rssi", WireKind.SIGNED, 8, 0, unit="dBm")
SNR = Field("snr", WireKind.SIGNED, 8, 8, scale=0.25, unit="dB")
INSIDE = Field("inside", WireKind.UNSIGNED, 16, 0)
HEARD = Field("heard", WireKind.FLOAT, 32, 16)
ACROSS = Field("across", WireKind.UNSIGNED, 16, 0)
ENVELOPES = {
    "rssi": Envelope(0, 1, (RSSI,), behind=1),
    "rssi and snr": Envelope(0, 2, (RSSI, SNR), behind=2),
    "inside and behind": Envelope(0, 6, (INSIDE, HEARD), behind=4),
    "in front and behind": Envelope(2, 4, (INSIDE, HEARD), behind=4),
    "across the delimiter": Envelope(0, 2, (ACROSS,), behind=1),  # not for tiles
}
FRAMINGS = {
    "cobs": ({"framing": "cobs"}, 0x00),
    "slip": ({"framing": "slip", "checksum": "CRC-32/ISO-HDLC"}, 0xC0),
    "rfc 1662": ({"framing": "rfc 1662", "checksum": "CRC-16/IBM-SDLC"}, 0x7E),
}
EVERY = pytest.mark.parametrize(("change", "delimiter"), FRAMINGS.values(), ids=FRAMINGS)
SHARES = pytest.mark.parametrize("share", [0.0, 0.3, 1.0])  # of the receiver's bytes that are delimiters


def stream_of(layout, rng, count, damage, delimiter, share):
    framed = framing(layout)
    contents = contents_of(layout, framed)
    head, after = contents.envelope
    frames = []
    for _ in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        body = bytearray(rng.bytes(packet.length))
        body[0] = packet.id
        whole = contents.with_room(bytes(body))
        whole[head] = rng.bytes(layout.envelope.before)
        told = np.frombuffer(rng.bytes(after), np.uint8).copy()
        told[rng.random(after) < share] = delimiter
        whole[len(whole) - after :] = told.tobytes()
        frame = bytearray(framed.encode(contents.seal(whole)))
        if rng.random() < damage:
            place = int(rng.integers(len(frame)))
            put = (
                b"",
                b"RSSI -80\r\n",
                bytes([delimiter] * 3),
                rng.bytes(40),
                bytes(200),
                b"long text " * 30 + b"\n",
            )
            frame[place : place + 1] = put[int(rng.integers(len(put)))]
        frames.append(bytes(frame))
    return b"".join(frames)


def in_turns(stream, sizes):
    """The stream in chunks of these sizes in turn."""
    places = itertools.takewhile(lambda at: at < len(stream), itertools.accumulate(itertools.cycle(sizes)))
    return cut_at(stream, places)


@EVERY
@SHARES
@pytest.mark.parametrize("envelope", ENVELOPES.values(), ids=ENVELOPES)
def test_recordings_with_bytes_behind_delimiters_decode_as_by_the_readable_way(
    bench, change, delimiter, share, envelope
):
    layout = dataclasses.replace(bench.two_kinds, **change, envelope=envelope)
    stream = stream_of(layout, np.random.default_rng(41), 3_000, 0.01, delimiter, share)
    for sizes in ((len(stream),), (40_000, 7, 33_001, 500)):
        assert packets_in(assert_same(layout, in_turns(stream, sizes))) > 2_900


@EVERY
def test_much_damage_and_noise_decode_as_by_the_readable_way(bench, change, delimiter):
    layout = dataclasses.replace(bench.two_kinds, **change, envelope=ENVELOPES["rssi and snr"])
    rng = np.random.default_rng(42)
    stream = stream_of(layout, rng, 4_000, 0.3, delimiter, 0.3) + rng.bytes(30_000)
    stream += rng.choice(np.frombuffer(bytes([delimiter, 10, 65]), np.uint8), 20_000).tobytes()
    for sizes in ((len(stream),), (33_000, 1)):
        assert_same(layout, in_turns(stream, sizes))


@EVERY
@SHARES
def test_tiles_take_every_frame_of_a_clean_block(bench, change, delimiter, share):
    layout = dataclasses.replace(bench.two_kinds, **change, envelope=ENVELOPES["in front and behind"])
    stream = stream_of(layout, np.random.default_rng(43), 3_000, 0.0, delimiter, share)
    tiles = StreamDecoder(layout)._tiles
    harvested = tiles.decode(stream + tiles.PADDING, len(stream))
    assert sum(harvest.start.size for harvest in harvested.harvests) == 3_000
    assert list(harvested.harvests[0].columns)[-2:] == ["inside", "heard"]
