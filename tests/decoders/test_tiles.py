import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.framing import contents_of, framing
from decoders.layout import ByteOrder, ChecksumPlace, Field, Layout, LengthField, Packet, Sync, WireKind
from decoders.stream import StreamDecoder

from .both_ways import assert_same, everything, in_blocks, packets_in, readable


def frame_of(bench, layout, body):
    """A frame: the bench's own, or for what that does not know the encoder's."""
    if (layout.framing, layout.checksum, layout.checksum_place) == ("cobs", "CRC-16/IBM-3740", ChecksumPlace.END):
        return bench.frame_of(layout, body)
    framed = framing(layout)
    contents = contents_of(layout, framed)
    whole = contents.with_room(body)
    framed.prepare(whole)
    return framed.encode(contents.seal(whole))


def harvested_from(layout, stream):
    """What the tiles alone make of a block."""
    tiles = StreamDecoder(layout)._tiles
    return tiles.decode(stream + tiles.PADDING, len(stream))


def random_stream(bench, layout, rng, count, damage):
    """Random packets of the layout; a share of the frames with a byte changed, dropped, doubled or put in."""
    frames = []
    for _ in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        body = rng.integers(0, 256, packet.length, dtype=np.uint8)
        body[rng.random(packet.length) < rng.choice([0.0, 0.15, 0.9])] = 0
        id_size = layout.id_bits // 8
        body[:id_size] = np.frombuffer(packet.id.to_bytes(id_size, layout.byte_order.value), dtype=np.uint8)
        frame = bytearray(frame_of(bench, layout, body.tobytes()))
        if rng.random() < damage:
            place = int(rng.integers(len(frame)))
            match int(rng.integers(4)):
                case 0:
                    frame[place] ^= int(rng.integers(1, 256))
                case 1:
                    del frame[place]
                case 2:
                    frame.insert(place, frame[place])
                case _:
                    frame[place:place] = rng.bytes(int(rng.integers(1, 200)))
        frames.append(bytes(frame))
    return b"".join(frames)


@pytest.mark.parametrize("damage", [0.0, 0.001, 0.05, 0.6])
def test_two_kinds_decode_as_by_the_readable_way(bench, damage):
    stream = random_stream(bench, bench.two_kinds, np.random.default_rng(3), 12_000, damage)
    fast = assert_same(bench.two_kinds, in_blocks(stream, 100_000))
    assert packets_in(fast) > 12_000 * (1 - damage) * 0.9


@settings(deadline=None, max_examples=25)
@given(st.data(), st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.01, 0.3]))
def test_any_layout_decodes_as_by_the_readable_way(bench, data, seed, damage):
    layout = data.draw(bench.layouts())
    stream = random_stream(bench, layout, np.random.default_rng(seed), 2_500, damage)
    assert_same(layout, in_blocks(stream, data.draw(st.sampled_from([len(stream), 40_000]))))


def blob(name, number, length):
    return Packet(name, number, length, (Field("last", WireKind.UNSIGNED, 8, 8 * (length - 1)),))


@pytest.mark.parametrize("order", ByteOrder)
@pytest.mark.parametrize("length", [1, 2, 3, 5, 7, 14, 15, 16, 17, 30, 31, 47, 48, 127, 249, 250, 251, 252, 253, 300])
def test_every_length_decodes_as_by_the_readable_way(bench, length, order):
    layout = Layout("cobs", "CRC-16/IBM-3740", order, (blob("a", 7, length),), checksum_order=order)
    stream = random_stream(bench, layout, np.random.default_rng(length), 40_000 // (length + 4) + 1500, 0.01)
    assert_same(layout, in_blocks(stream, len(stream)))


@pytest.mark.parametrize(
    "checksum", ["CRC-8/SMBUS", "CRC-16/KERMIT", "CRC-24/BLE", "Fletcher-32", "Adler-32", "none"]
)
@pytest.mark.parametrize("place", ChecksumPlace)
def test_other_checksums_decode_as_by_the_readable_way(bench, checksum, place):
    for order, first in ((ByteOrder.LITTLE, 0), (ByteOrder.BIG, 1)):
        layout = dataclasses.replace(
            bench.two_kinds, checksum=checksum, checksum_place=place, checksum_order=order, checksum_from=first
        )
        stream = random_stream(bench, layout, np.random.default_rng(21), 4_000, 0.02)
        (whole, _) = assert_same(layout, in_blocks(stream, len(stream)))
        assert sum(len(table) for table in whole.tables) > 3_800
        assert sum(harvest.start.size for harvest in harvested_from(layout, stream).harvests) > 3_800


def test_kinds_of_one_length_are_told_apart_by_wide_and_zero_ids(bench):
    kinds = tuple(blob(name, number, 9) for name, number in (("a", 0), ("b", 256), ("c", 1), ("d", 257)))
    for order in ByteOrder:
        layout = Layout("cobs", "CRC-16/IBM-3740", order, kinds, id_bits=16)
        stream = random_stream(bench, layout, np.random.default_rng(9), 5_000, 0.01)
        (whole, _) = assert_same(layout, in_blocks(stream, len(stream)))
        assert [len(table) > 1000 for table in whole.tables] == [True] * 4


def test_random_bytes_and_endless_runs_are_rejected_as_by_the_readable_way(bench):
    rng = np.random.default_rng(12)
    good = random_stream(bench, bench.two_kinds, rng, 3_000, 0.0)
    run = rng.integers(1, 256, 150_000, dtype=np.uint8).tobytes()
    stream = rng.bytes(70_000) + b"\0" + good + run + b"\0" + good + bytes(50_000) + good + run
    for block in (len(stream), 65_536, 33_000):
        assert_same(bench.two_kinds, in_blocks(stream, block))


def test_sound_frames_that_only_the_readable_way_accepts_stay_in_order(bench):
    layout = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (blob("a", 7, 252),))
    rng = np.random.default_rng(1)
    stream = b""
    for number in range(1_200):  # 254 bytes of contents: with a full block, one of two lengths; else a third
        body = rng.integers(1, 256, 252, dtype=np.uint8)
        body[0] = 7
        if number % 3 == 0:
            body[40] = 0
        stream += bench.frame_of(layout, body.tobytes())
    (whole, _) = assert_same(layout, in_blocks(stream, len(stream)))
    assert whole.rejects == ()
    assert np.all(np.diff(whole.tables[0].start) > 0)
    assert len(whole.tables[0]) == 1_200


def test_fast_and_slow_feeds_of_one_decoder_mix(bench):
    stream = random_stream(bench, bench.two_kinds, np.random.default_rng(6), 12_000, 0.02)
    sizes = np.random.default_rng(7).choice([1, 50, 3_000, 33_000, 60_000], 40)
    places = [0, *np.cumsum(sizes).tolist()]
    chunks = [stream[a:b] for a, b in zip(places, [*places[1:], len(stream)], strict=True)]
    mixed = bench.gathered(*everything(StreamDecoder(bench.two_kinds), chunks))
    assert mixed == bench.gathered(*everything(readable(bench.two_kinds), [stream]))


def test_restart_amid_large_blocks_excuses_a_torn_frame(bench):
    stream = random_stream(bench, bench.two_kinds, np.random.default_rng(8), 6_000, 0.0)
    results = []
    for decoder in (StreamDecoder(bench.two_kinds), readable(bench.two_kinds)):
        parts = [decoder.feed(stream[:50_001]), decoder.restart(), decoder.feed(stream[50_003:]), decoder.finish()]
        results.append(bench.gathered(*parts))
    assert results[0] == results[1]


def test_tiles_take_every_frame_of_a_clean_block(bench):
    stream = random_stream(bench, bench.two_kinds, np.random.default_rng(2), 6_000, 0.0)
    harvested = harvested_from(bench.two_kinds, stream)
    assert sum(harvest.start.size for harvest in harvested.harvests) == 6_000
    assert harvested.rest == ()
    assert harvested_from(bench.two_kinds, stream[:-1]).rest == ((stream.rindex(b"\0", 0, -1) + 1, len(stream) - 1),)


@pytest.mark.parametrize("name", ["slip", "rfc 1662"])
@pytest.mark.parametrize("damage", [0.0, 0.002, 0.3])
def test_escaped_frames_decode_as_by_the_readable_way(bench, name, damage):
    layout = dataclasses.replace(bench.two_kinds, framing=name, checksum="CRC-16/IBM-SDLC")
    stream = random_stream(bench, layout, np.random.default_rng(5), 8_000, damage)
    for block in (len(stream), 50_000):
        fast = assert_same(layout, in_blocks(stream, block))
        assert packets_in(fast) > 8_000 * (1 - damage) * 0.9
    if damage == 0:
        assert sum(harvest.start.size for harvest in harvested_from(layout, stream).harvests) == 8_000


@settings(deadline=None, max_examples=25)
@given(st.sampled_from(["slip", "rfc 1662"]), st.integers(0, 2**32 - 1), st.binary(min_size=2, max_size=8))
def test_escapes_of_any_kind_among_frames_are_taken_as_by_the_readable_way(bench, name, seed, noise):
    layout = dataclasses.replace(bench.two_kinds, framing=name)
    special = b"\xc0\xdb\xdc\xdd" if name == "slip" else b"\x7e\x7d\x5e\x5d\x2a"
    rng = np.random.default_rng(seed)
    frames = [frame_of(bench, layout, bytes([2, *rng.choice([*special, 0], 7)])) for _ in range(2_000)]
    for place in rng.integers(0, 2_000, 30):
        put = bytes(rng.choice([*special, *noise], 5).tolist())
        frames[place] = frames[place][:4] + put + frames[place][4:]
    assert_same(layout, in_blocks(b"".join(frames), 40_000))


WORD = b"\xa5\x5a"
SYNCHRONISED = {
    "sync and length": {"framing": "sync", "sync": Sync(WORD, LengthField(8, adds=1), 1)},
    "sync and long length": {
        "framing": "sync",
        "sync": Sync(b"\xeb\x90\x11", LengthField(16, at=1, byte_order=ByteOrder.BIG), 3),
        "checksum": "CRC-16/IBM-SDLC",
        "checksum_order": ByteOrder.BIG,
    },
    "sync and fixed length": {"framing": "sync", "sync": Sync(WORD), "checksum": "CRC-16/KERMIT"},
    "one byte of sync": {"framing": "sync", "sync": Sync(b"\x02"), "checksum": "CRC-16/GENIBUS"},
    "fixed length": {"framing": "fixed length", "checksum": "CRC-32/ISO-HDLC"},
    "checksum first": {
        "framing": "sync",
        "sync": Sync(WORD, LengthField(8, adds=1), 1),
        "checksum_place": ChecksumPlace.START,
        "checksum_from": -1,
        "checksum": "Fletcher-16",
    },
}
EVERY = pytest.mark.parametrize("change", SYNCHRONISED.values(), ids=SYNCHRONISED)


@EVERY
@pytest.mark.parametrize("damage", [0.0, 0.002, 0.1])
def test_frames_without_a_delimiter_decode_as_by_the_readable_way(bench, change, damage):
    layout = dataclasses.replace(bench.two_kinds, **change)
    stream = random_stream(bench, layout, np.random.default_rng(15), 6_000, damage)
    for block in (len(stream), 40_000):
        fast = assert_same(layout, in_blocks(stream, block))
        assert packets_in(fast) > 6_000 * (1 - damage) * 0.9
    if damage < 0.01:
        decoder = StreamDecoder(layout)
        done, _ = decoder._tiles.harvest(decoder._tiles.find(stream + decoder._tiles.PADDING, len(stream)))
        assert np.count_nonzero(done) > 5_900


@EVERY
def test_text_and_foreign_frames_among_frames_without_a_delimiter_are_taken_as_by_the_readable_way(bench, change):
    layout = dataclasses.replace(bench.two_kinds, **change)
    other = dataclasses.replace(layout, packets=(blob("strange", 9, 30), layout.packets[1]))
    rng = np.random.default_rng(16)
    parts = []
    for _ in range(150):
        parts.append(random_stream(bench, layout, rng, 30, 0.01))
        parts.append(random_stream(bench, other, rng, 2, 0.0))
        parts.append(b"RSSI -80\r\n" + rng.bytes(3))
        # a sound frame of no known kind with a packet inside: what starts sooner is taken
        inner = random_stream(bench, layout, rng, 1, 0.0)[:29]
        parts.append(frame_of(bench, other, bytes([9]) + inner.ljust(29, b"\0")))
    stream = b"".join(parts)
    for block in (len(stream), 40_000):
        assert_same(layout, in_blocks(stream, block))


@EVERY
def test_random_bytes_with_sync_words_are_rejected_as_by_the_readable_way(bench, change):
    layout = dataclasses.replace(bench.two_kinds, **change)
    rng = np.random.default_rng(17)
    good = random_stream(bench, layout, rng, 2_000, 0.0)
    noise = rng.choice(np.frombuffer(WORD + b"\x02\x01\x0a\xeb\x90\x11\0", np.uint8), 20_000).tobytes()
    stream = noise + good + rng.bytes(20_000) + good[:-7]
    for block in (len(stream), 33_000):
        assert_same(layout, in_blocks(stream, block))
