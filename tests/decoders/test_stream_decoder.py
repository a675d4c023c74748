import itertools

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Field, Layout, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder


def decoded(layout, chunks):
    """All that the chunks gave, and then the end."""
    decoder = StreamDecoder(layout)
    return [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]


def one_by_one(stream):
    return [stream[i : i + 1] for i in range(len(stream))]


@settings(deadline=None)
@given(st.data())
def test_frames_of_any_layout_decode_to_the_packed_numbers_however_cut(bench, data):
    layout = data.draw(bench.layouts())
    samples = data.draw(st.lists(bench.samples(layout), max_size=6))
    frames = [bench.frame_of(layout, sample.body) for sample in samples]
    stream = b"".join(frames)
    (whole, ended) = decoded(layout, [stream])
    assert whole.rejects == ended.rejects == ended.tables == ()
    for table in whole.tables:
        mine = [s for s in samples if s.packet.name == table.packet.name]
        assert len(table) == len(mine) > 0
        for item in table.packet.fields:
            expected = bench.expected_column(item, [s.raws[item.name] for s in mine])
            assert bench.equal_columns(table.columns[item.name], expected), item
    assert [t.packet.name for t in whole.tables] == [
        p.name for p in layout.packets if any(s.packet.name == p.name for s in samples)
    ]
    everything = bench.gathered(whole, ended)
    assert bench.gathered(*decoded(layout, one_by_one(stream))) == everything
    cut = data.draw(st.integers(0, len(stream)))
    assert bench.gathered(*decoded(layout, [stream[:cut], stream[cut:]])) == everything


@given(st.data())
def test_values_survive_encoding_and_decoding(bench, data):
    layout = data.draw(bench.layouts())
    sample = data.draw(bench.samples(layout))
    scaled = {f.name for f in sample.packet.fields if f.scale != 1 or f.bias != 0}
    values = {name: 0.0 if name in scaled else raw for name, raw in sample.raws.items()}
    for item in sample.packet.fields:
        if item.name in scaled:
            values[item.name] = item.bias + (0 if item.kind is WireKind.UNSIGNED or item.bits < 2 else -item.scale)
    (whole, _) = decoded(layout, [FrameEncoder(layout).encode(sample.packet.name, values)])
    (table,) = whole.tables
    for item in sample.packet.fields:
        found = table.columns[item.name][0]
        if item.kind is WireKind.FLOAT and item.name not in scaled:
            assert found == values[item.name]
        else:
            assert float(found) == pytest.approx(float(values[item.name]), abs=1e-4)


@settings(deadline=None)
@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=12))
def test_random_bytes_give_the_same_rejects_however_cut(bench, noise, cuts):
    places = [0, *sorted(c % (len(noise) + 1) for c in cuts), len(noise)]
    chunks = [noise[a:b] for a, b in itertools.pairwise(places)]
    whole = bench.gathered(*decoded(bench.two_kinds, [noise]))
    assert bench.gathered(*decoded(bench.two_kinds, chunks)) == whole
    assert bench.gathered(*decoded(bench.two_kinds, one_by_one(noise))) == whole


@settings(deadline=None)
@given(st.binary(max_size=60), st.binary(max_size=60), st.integers(0, 1000))
def test_packet_between_noise_is_found_once_a_delimiter_has_passed(bench, before, after, seed):
    (frame,) = bench.frames_of_two_kinds(1, seed)
    rows, rejects = bench.gathered(*decoded(bench.two_kinds, [before + b"\0" + frame + after]))
    starts = [row[0] for rows_of_kind in rows.values() for row in rows_of_kind]
    assert len(before) + 1 in starts
    for reason, start, end, text, raw in rejects:
        assert raw == (before + b"\0" + frame + after)[start : start + len(raw)]
        assert start < end
        assert text
        assert reason in Reason


def test_every_cut_of_a_frame_is_rejected_and_the_next_frame_decoded(bench):
    frames = bench.frames_of_two_kinds(2, seed=5)
    for kept in range(1, len(frames[0]) - 1):
        rows, rejects = bench.gathered(*decoded(bench.two_kinds, [b"\0" + frames[0][:kept] + b"\0" + frames[1]]))
        assert [row[0] for kind in rows.values() for row in kind] == [kept + 2]
        assert [(start, end) for _, start, end, _, _ in rejects] == [(1, kept + 2)]


def test_every_flipped_bit_of_a_frame_costs_that_frame_and_at_most_its_neighbour(bench):
    frames = bench.frames_of_two_kinds(3, seed=8)
    stream = b"".join(frames)
    places = [len(frames[0]), len(frames[0]) + len(frames[1])]
    for bit in range(8 * places[0], 8 * places[1]):
        damaged = bytearray(stream)
        damaged[bit // 8] ^= 1 << bit % 8
        rows, rejects = bench.gathered(*decoded(bench.two_kinds, [bytes(damaged)]))
        starts = {row[0] for kind in rows.values() for row in kind}
        assert places[0] not in starts
        assert 0 in starts
        assert rejects
        if bit // 8 < places[1] - 1:
            assert places[1] in starts


def test_empty_frames_are_passed_over_without_a_reject(bench):
    frames = bench.frames_of_two_kinds(2, seed=1)
    rows, rejects = bench.gathered(*decoded(bench.two_kinds, [b"\0\0\0" + frames[0] + b"\0\0" + frames[1] + b"\0"]))
    assert sum(map(len, rows.values())) == 2
    assert rejects == []


A = Packet("a", 1, 3, (Field("x", WireKind.UNSIGNED, 16, 8),))
B = Packet("b", 2, 5, (Field("x", WireKind.UNSIGNED, 32, 8),))
SMALL = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (A, B))


@pytest.mark.parametrize(
    ("body", "reason", "words"),
    [
        ("01 05", Reason.TOO_SHORT, "found 2 bytes, expected the 3 of packet 'a'"),
        ("01 05 06 07", Reason.TOO_LONG, "found 4 bytes, expected the 3 of packet 'a'"),
        ("09 05 06", Reason.UNKNOWN_PACKET, r"found the id 9, expected one of 1 \(a\), 2 \(b\)"),
        ("", Reason.TOO_SHORT, "found 0 bytes, expected at least the 1 of the id"),
    ],
)
def test_sound_frame_that_is_no_packet_says_why(bench, body, reason, words):
    frame = bench.frame_of(SMALL, bytes.fromhex(body))
    decoder = StreamDecoder(SMALL)
    (reject,) = decoder.feed(b"\0" + frame).rejects
    assert (reject.reason, reject.start, reject.end, reject.raw) == (reason, 1, 1 + len(frame), frame[:-1])
    with pytest.raises(AssertionError, match=words):
        raise AssertionError(reject.text)


def test_wrong_checksum_says_what_was_carried_and_what_the_bytes_give():
    decoder = StreamDecoder(SMALL)
    (reject,) = decoder.feed(b"\0" + cobs.encode(b"12345\xb1\x29") + b"\0").rejects
    assert reject.reason is Reason.CHECKSUM
    assert "carries CRC-16/IBM-3740 0x29b1" in reject.text


@pytest.mark.parametrize("contents", ["", "01"])
def test_contents_shorter_than_the_checksum_have_a_wrong_checksum(contents):
    (reject,) = StreamDecoder(SMALL).feed(b"\0" + cobs.encode(bytes.fromhex(contents)) + b"\0").rejects
    assert reject.reason is Reason.CHECKSUM
    assert "expected at least the 2 of the checksum" in reject.text


def test_broken_stuffing_is_a_framing_reject():
    (reject,) = StreamDecoder(SMALL).feed(b"\0\x05\x01\0").rejects
    assert reject.reason is Reason.FRAMING


def test_first_frame_after_start_is_torn_only_if_it_fails(bench):
    good = bench.frame_of(SMALL, bytes.fromhex("01 05 06"))
    assert [r.reason for r in StreamDecoder(SMALL).feed(good[3:] + good).rejects] == [Reason.TORN_START]
    assert StreamDecoder(SMALL).feed(good + good).rejects == ()
    after_delimiter = StreamDecoder(SMALL).feed(b"\0" + good[3:] + good).rejects
    assert [r.reason for r in after_delimiter] != [Reason.TORN_START]
    second = StreamDecoder(SMALL).feed(good + good[3:]).rejects
    assert Reason.TORN_START not in {r.reason for r in second}


def test_restart_rejects_the_unfinished_frame_and_excuses_the_next_torn_one(bench):
    good = bench.frame_of(SMALL, bytes.fromhex("01 05 06"))
    decoder = StreamDecoder(SMALL)
    assert decoder.feed(good + good[:3]).rejects == ()
    (cut,) = decoder.restart().rejects
    assert (cut.reason, cut.start, cut.end) == (Reason.CUT_SHORT, len(good), len(good) + 3)
    (torn,) = decoder.feed(good[3:] + good).rejects
    assert (torn.reason, torn.start) == (Reason.TORN_START, len(good) + 3)
    (ended,) = (decoder.feed(good[:2]), decoder.finish())[1].rejects
    assert ended.reason is Reason.CUT_SHORT


def test_run_without_a_delimiter_is_one_oversized_reject_and_decoding_goes_on(bench):
    good = bench.frame_of(SMALL, bytes.fromhex("01 05 06"))
    decoder = StreamDecoder(SMALL)
    whole = decoder.feed(good + b"\x07" * 300 + b"\0" + good)
    (reject,) = whole.rejects
    assert (reject.reason, reject.start, reject.end) == (Reason.OVERSIZED, len(good), len(good) + 301)
    assert len(reject.raw) == 8  # the longest frame: 5 + 2 bytes, and one of stuffing
    assert len(whole.tables[0]) == 2


def test_tables_tell_where_each_packet_lies(bench):
    frames = bench.frames_of_two_kinds(50, seed=4)
    stream = b"".join(frames)
    (whole, _) = decoded(bench.two_kinds, [stream])
    ends = np.cumsum([len(f) for f in frames])
    found = sorted((s, e) for t in whole.tables for s, e in zip(t.start.tolist(), t.end.tolist(), strict=True))
    assert found == list(zip([0, *ends[:-1].tolist()], ends.tolist(), strict=True))
    for table in whole.tables:
        assert table.start.dtype == table.end.dtype == np.int64


@pytest.mark.parametrize(
    "layout",
    [
        Layout("unknown", "CRC-16/IBM-3740", ByteOrder.LITTLE, (A,)),
        Layout("cobs", "CRC-16", ByteOrder.LITTLE, (A,)),
        Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (Packet("c", 256, 3, ()),)),
        Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (Packet("c", 1, 1, ()),), id_bits=16),
        Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (A,), id_bits=4),
        Layout(
            "cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (Packet("c", 1, 9, (Field("x", WireKind.FLOAT, 16, 8),)),)
        ),
    ],
)
def test_layout_that_cannot_be_decoded_is_refused_at_once(layout):
    with pytest.raises(LayoutError):
        StreamDecoder(layout)
