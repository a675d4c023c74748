"""Every framing with many a checksum, through the one door: whole, cut anywhere, among noise, damaged."""

import binascii
import dataclasses
import itertools

import numpy as np
import pytest
import spacepackets
from hypothesis import given
from hypothesis import strategies as st

from decoders import checksums, framing
from decoders.crc import CrcModel
from decoders.cutting import STRETCH
from decoders.errors import LayoutError
from decoders.layout import (
    ByteOrder,
    ChecksumPlace,
    Field,
    Layout,
    LengthField,
    Packet,
    Reason,
    Sync,
    WireKind,
)
from decoders.packing import FrameEncoder
from decoders.status_lines import LONGEST_LINE
from decoders.stream import StreamDecoder

LONG = Packet(
    "long",
    0x4A,
    23,
    (
        Field("n", WireKind.UNSIGNED, 16, 8),
        Field("a", WireKind.SIGNED, 32, 24, scale=0.25),
        Field("x", WireKind.FLOAT, 64, 56),
        Field("u", WireKind.UNSIGNED, 56, 120),
        Field("b", WireKind.BOOLEAN, 1, 176, container_bits=8),
    ),
)
SHORT = Packet("short", 0x15, 4, (Field("n", WireKind.UNSIGNED, 24, 8),))
PLAIN = Layout("cobs", "CRC-16/IBM-SDLC", ByteOrder.LITTLE, (LONG, SHORT))
WORD = b"\xa5\x5a\x0f"
COUNTED = LengthField(8, at=0, adds=1)
OWN_CRC = CrcModel("own", 24, 0x5D6DCB, 0x123456, True, False, 0xABCDEF)

LAYOUTS = {
    "cobs": PLAIN,
    "slip": dataclasses.replace(PLAIN, framing="slip"),
    "rfc 1662": dataclasses.replace(PLAIN, framing="rfc 1662"),
    "hexadecimal lines": dataclasses.replace(PLAIN, framing="hexadecimal lines", checksum="CRC-32/ISO-HDLC"),
    "sync and length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(WORD, COUNTED, header=1)),
    "sync, long header, all covered": dataclasses.replace(
        PLAIN,
        framing="sync",
        sync=Sync(b"\xeb\x90", LengthField(16, at=1, adds=0, byte_order=ByteOrder.BIG), header=4),
        checksum="Fletcher-16",
        checksum_from=-6,
        checksum_order=ByteOrder.BIG,
    ),
    "sync and checksum before the body": dataclasses.replace(
        PLAIN,
        framing="sync",
        sync=Sync(WORD, COUNTED, header=1),
        checksum_place=ChecksumPlace.START,
        checksum_from=-1,
        checksum="CRC-32/ISCSI",
    ),
    "sync and fixed length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(WORD), checksum="CRC-16/KERMIT"),
    "fixed length": dataclasses.replace(PLAIN, framing="fixed length", checksum="CRC-32/BZIP2"),
    "part covered": dataclasses.replace(PLAIN, checksum_from=1, checksum_until=2, checksum="CRC-24/OPENPGP"),
    "checksum before the body": dataclasses.replace(PLAIN, checksum_place=ChecksumPlace.START, checksum_from=1),
    "own crc": dataclasses.replace(PLAIN, framing="slip", checksum="own", crc=OWN_CRC),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())


def random_frames(layout, count, seed):
    """Frames of the layout, and the rows that they decode to: packet, start, end, values."""
    rng = np.random.default_rng(seed)
    encoder = FrameEncoder(layout)
    frames, rows, at = [], [], 0
    for _ in range(count):
        if rng.random() < 0.5:
            name = "long"
            values = {
                "n": int(rng.choice([0, 0xC0DB, 0x7E7D, 0x0A0D, 0xA55A])),
                "a": float(rng.integers(-(2**31), 2**31)) / 4,
                "x": float(rng.normal()),
                "u": int(rng.integers(2**56)),
                "b": int(rng.integers(2)),
            }
        else:
            name, values = "short", {"n": int(rng.integers(2**24))}
        frame = encoder.encode(name, values)
        frames.append(frame)
        rows.append((name, at + len(frame), tuple(float(v) for v in values.values())))
        at += len(frame)
    return frames, rows


def decoded(layout, chunks):
    """The packets (in the order of the stream: name, end, values) and the rejects."""
    decoder = StreamDecoder(layout)
    packets, rejects = [], []
    for part in [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]:
        rejects += part.rejects
        for table in part.tables:
            columns = [table.columns[item.name].astype(float).tolist() for item in table.packet.fields]
            packets += [
                (table.packet.name, end, values) for end, *values in zip(table.end.tolist(), *columns, strict=True)
            ]
    packets = [(name, end, tuple(values)) for name, end, values in packets]
    return sorted(packets, key=lambda row: row[1]), [(r.reason, r.start, r.end, r.text, r.raw) for r in rejects]


def chunked(stream, places):
    places = [0, *sorted(place % (len(stream) + 1) for place in places), len(stream)]
    return [stream[a:b] for a, b in itertools.pairwise(places)]


@EVERY
def test_good_frames_decode_whole_and_byte_by_byte(layout):
    frames, rows = random_frames(layout, 60, seed=1)
    stream = b"".join(frames)
    assert decoded(layout, [stream]) == (rows, [])
    assert decoded(layout, [stream[i : i + 1] for i in range(len(stream))]) == (rows, [])


@EVERY
@given(
    st.integers(0, 1000), st.lists(st.integers(0, 10_000), max_size=12), st.lists(st.binary(max_size=40), max_size=4)
)
def test_result_among_noise_does_not_depend_on_the_chunks(layout, seed, cuts, noise):
    frames, _ = random_frames(layout, len(noise) + 1, seed)
    stream = b"".join(itertools.chain.from_iterable(itertools.zip_longest(frames, noise, fillvalue=b"")))
    whole = decoded(layout, [stream])
    assert decoded(layout, chunked(stream, cuts)) == whole
    assert decoded(layout, [stream[i : i + 1] for i in range(len(stream))]) == whole


@EVERY
@given(st.integers(0, 1000), st.binary(max_size=60))
def test_frames_before_and_after_noise_are_found_and_no_byte_is_lost_sight_of(layout, seed, noise):
    frames, rows = random_frames(layout, 3, seed)
    delimiter = {"cobs": b"\0", "slip": b"\xc0", "rfc 1662": b"\x7e", "hexadecimal lines": b"\n"}.get(layout.framing)
    noise += delimiter or b""
    stream = frames[0] + noise + frames[1] + frames[2]
    packets, rejects = decoded(layout, [stream])
    expected = [rows[0], *((name, end + len(noise), values) for name, end, values in rows[1:])]
    # noise that ends like a frame's start may cost the frame after it, where nothing but its own bytes marks a start
    assert [row for row in expected if row not in packets][1:] == []
    assert packets[0] == rows[0]
    for _, start, end, text, raw in rejects:
        assert start < end <= len(stream)
        assert stream[start : start + len(raw)] == raw
        assert text
    spans = sorted((start, end) for _, start, end, _, _ in rejects)
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(spans))
    if delimiter is None:
        assert sum(end - start for start, end in spans) == len(stream) - sum(
            len(frames[rows_end]) for rows_end in range(3) if expected[rows_end] in packets
        )


@EVERY
def test_damage_to_one_byte_costs_at_most_its_packet_and_a_neighbour(layout):
    frames, rows = random_frames(layout, 12, seed=3)
    stream = b"".join(frames)
    rng = np.random.default_rng(4)
    good = [(name, values) for name, _, values in rows]
    for place in range(len(stream)):
        byte = bytes([stream[place] ^ int(rng.integers(1, 256))])
        for put in (byte, b"", stream[place : place + 1] * 2):
            packets, _ = decoded(layout, [stream[:place] + put + stream[place + 1 :]])
            found = [(name, values) for name, _, values in packets]
            assert all(row in good for row in found) or layout.checksum_from > 0
            assert len(found) >= len(good) - 2


@EVERY
def test_stream_joined_in_the_middle_of_a_frame_starts_with_a_torn_one(layout):
    frames, rows = random_frames(layout, 4, seed=6)
    cut = 2 if layout.framing in ("slip", "rfc 1662") else 1  # these frames open with a delimiter
    packets, rejects = decoded(layout, [frames[0][cut:] + frames[1] + frames[2]])
    assert [row[2] for row in packets] == [row[2] for row in rows[1:3]]
    assert [reason for reason, *_ in rejects] == [Reason.TORN_START]


@EVERY
def test_unfinished_last_frame_is_cut_short(layout):
    frames, rows = random_frames(layout, 3, seed=7)
    packets, rejects = decoded(layout, [frames[0] + frames[1] + frames[2][:-2]])
    assert packets == rows[:2]
    assert [(reason, end) for reason, _, end, _, _ in rejects] == [
        (Reason.CUT_SHORT, len(frames[0] + frames[1] + frames[2]) - 2)
    ]


@EVERY
def test_random_bytes_are_rejected_within_bounded_memory(layout):
    decoder = StreamDecoder(layout)
    rng = np.random.default_rng(9)
    accepted = 0
    for _ in range(30):
        part = decoder.feed(rng.bytes(1000))
        accepted += sum(len(table) for table in part.tables)
        assert all(len(reject.raw) <= LONGEST_LINE for reject in part.rejects)
    assert (
        accepted <= 2
    )  # CRC-16 behind an id and, without a sync word, at every place: 30,000 / 128 / 65,536 expected
    assert decoder._cutter.offset == 30_000


@pytest.mark.campaign
@EVERY
def test_a_megabyte_of_random_bytes_is_rejected(layout):
    decoder = StreamDecoder(layout)
    rng = np.random.default_rng(10)
    for _ in range(100):
        decoder.feed(rng.bytes(10_000))


@pytest.mark.parametrize("checksum", checksums.names())
def test_every_checksum_seals_and_checks_frames(checksum):
    for place, order in itertools.product(ChecksumPlace, ByteOrder):
        layout = dataclasses.replace(
            PLAIN, checksum=checksum, checksum_place=place, checksum_order=order, framing="slip"
        )
        frames, rows = random_frames(layout, 5, seed=2)
        assert decoded(layout, [b"".join(frames)]) == (rows, [])
        if checksum != "none":
            found = checksums.checksum(checksum)
            inner = framing.framing(layout).decode(frames[0][1:-1])
            size = found.size
            body, stated = (
                (inner[:-size], inner[-size:]) if place is ChecksumPlace.END else (inner[size:], inner[:size])
            )
            assert int.from_bytes(stated, order.value) == found.of(body)


def test_sync_frame_is_laid_out_as_written_by_hand():
    layout = dataclasses.replace(LAYOUTS["sync, long header, all covered"], checksum="sum-16", packets=(SHORT,))
    # sync EB 90; header 00, length 00 0A (10 bytes after the sync word), 00; body 15 03 02 01; sum of all before it
    expected = bytes.fromhex("EB 90 00 00 0A 00 15 03 02 01")
    assert FrameEncoder(layout).encode("short", {"n": 0x010203}) == expected + sum(expected).to_bytes(2, "big")


def test_sound_frame_of_unknown_kind_is_passed_over_whole():
    layout = LAYOUTS["sync and length"]
    known = FrameEncoder(layout)
    other = FrameEncoder(dataclasses.replace(layout, packets=(dataclasses.replace(SHORT, id=0x16),)))
    frames = [known.encode("short", {"n": 1}), other.encode("short", {"n": 2}), known.encode("short", {"n": 3})]
    packets, rejects = decoded(layout, [b"".join(frames)])
    assert [values for _, _, values in packets] == [(1.0,), (3.0,)]
    assert [(reason, start, end) for reason, start, end, _, _ in rejects] == [
        (Reason.UNKNOWN_PACKET, len(frames[0]), len(frames[0]) + len(frames[1]))
    ]


def test_damaged_frames_are_rejected_one_by_one():
    for name in ("sync and length", "sync and fixed length", "fixed length"):
        layout = LAYOUTS[name]
        frames, rows = random_frames(layout, 9, seed=12)
        for damaged in (3, 4, 6):
            frames[damaged] = frames[damaged][:-1] + bytes([frames[damaged][-1] ^ 1])
        packets, rejects = decoded(layout, [b"".join(frames)])
        assert packets == [row for number, row in enumerate(rows) if number not in (3, 4, 6)]
        places = [0, *itertools.accumulate(map(len, frames))]
        assert [(reason, start, end) for reason, start, end, _, _ in rejects] == [
            (Reason.CHECKSUM, places[number], places[number + 1]) for number in (3, 4, 6)
        ]


def test_endless_noise_without_a_sync_word_is_reported_in_stretches():
    frames, _ = random_frames(LAYOUTS["sync and length"], 1, seed=1)
    packets, rejects = decoded(LAYOUTS["sync and length"], [frames[0] + b"\x11" * (2 * STRETCH + 5) + frames[0]])
    assert len(packets) == 2
    assert [end - start for _, start, end, _, _ in rejects] == [STRETCH, STRETCH, 5]
    assert {reason for reason, *_ in rejects} == {Reason.FRAMING}


# RFC 1662: the frame check sequence is CRC-16/IBM-SDLC, its low byte first; 0x906E is the CRC of the nine digits
def test_rfc_1662_frame_of_the_nine_digits():
    digits = Packet("digits", 0x31, 9, (Field("last", WireKind.UNSIGNED, 8, 64),))
    layout = Layout("rfc 1662", "CRC-16/IBM-SDLC", ByteOrder.LITTLE, (digits,))
    frame = bytes.fromhex("7E 31 32 33 34 35 36 37 38 39 6E 90 7E")
    packets, rejects = decoded(layout, [frame])
    assert packets == [("digits", 13, (0x39,))]
    assert rejects == []


SPACE = Packet(
    "housekeeping",
    0x0923,  # version 0, telemetry, secondary header, APID 0x123
    17,
    (
        Field("count", WireKind.UNSIGNED, 14, 16, container_bits=16, shift=0),
        Field("length", WireKind.UNSIGNED, 16, 32),
        Field("first", WireKind.UNSIGNED, 8, 48),
        Field("last", WireKind.UNSIGNED, 64, 72),
    ),
)
CCSDS = Layout(
    "ccsds", "CRC-16/IBM-3740", ByteOrder.BIG, (SPACE,), id_bits=16, checksum_order=ByteOrder.BIG, checksum_from=0
)


@given(
    st.lists(st.tuples(st.integers(0, 16_383), st.binary(min_size=11, max_size=11)), max_size=6),
    st.binary(max_size=9),
)
def test_space_packets_of_the_reference_library_decode_behind_the_sync_marker(packets, noise):
    stream = noise
    for count, data in packets:
        header = spacepackets.SpacePacketHeader(
            packet_type=spacepackets.PacketType.TM,
            apid=0x123,
            seq_count=count,
            data_len=len(data) + 2 - 1,
            sec_header_flag=True,
            seq_flags=spacepackets.SequenceFlags.UNSEGMENTED,
        ).pack()
        packet = bytes(header) + data
        stream += bytes.fromhex("1ACFFC1D") + packet + binascii.crc_hqx(packet, 0xFFFF).to_bytes(2, "big")
    found, rejects = decoded(CCSDS, [stream])
    assert [values for _, _, values in found] == [
        (count, 12, data[0], float(int.from_bytes(data[3:], "big"))) for count, data in packets
    ]
    assert len(rejects) <= 1


# CCSDS 133.0-B primary header, 131.0-B attached sync marker; packet error control as in ECSS-E-ST-70-41
def test_space_packet_written_by_hand():
    digits = Packet("digits", 0x0123, 15, (Field("count", WireKind.UNSIGNED, 14, 16, container_bits=16),))
    layout = dataclasses.replace(CCSDS, packets=(digits,))
    packet = bytes.fromhex("01 23 C4 D2 00 0A 31 32 33 34 35 36 37 38 39 F9 D7")
    packets, rejects = decoded(layout, [bytes.fromhex("1ACFFC1D") + packet])
    assert packets == [("digits", 21, (1234,))]
    assert rejects == []
    assert FrameEncoder(layout).encode("digits", {"count": 1234})[:10] == bytes.fromhex("1ACFFC1D 0123 04D2 000A")


@pytest.mark.parametrize(
    "change",
    [
        {"framing": "sync"},
        {"framing": "sync", "sync": Sync(b"")},
        {"checksum_from": -1},
        {"checksum_from": 3, "checksum_until": 2},
        {"checksum_until": -1},
    ],
)
def test_impossible_frames_are_refused(change):
    with pytest.raises(LayoutError, match="expected"):
        StreamDecoder(dataclasses.replace(PLAIN, **change))


def test_every_framing_is_tested_here():
    in_lines = {"delimited values", "key=value", "nmea 0183"}  # see test_text.py
    assert {layout.framing for layout in [*LAYOUTS.values(), CCSDS]} | in_lines == set(framing.names())
