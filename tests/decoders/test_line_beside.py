"""A line of text that a receiver prints beside each binary packet: its RSSI and SNR belong to that packet alone."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Envelope, Field, Layout, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

from .every_framing import in_binary_framings

PACKETS = (
    Packet("long", 0x4A, 19, (Field("n", WireKind.UNSIGNED, 16, 8), Field("w", WireKind.UNSIGNED, 64, 24))),
    Packet("short", 0x15, 4, (Field("n", WireKind.UNSIGNED, 16, 8),)),
)
PLAIN = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, PACKETS)
FRAMINGS = in_binary_framings(PLAIN, Packet("space", 0x0923, 15, (Field("n", WireKind.UNSIGNED, 16, 48),)))
RSSI = Field("rssi", WireKind.FLOAT, 64, 0, unit="dBm")
SNR = Field("snr", WireKind.FLOAT, 64, 64, scale=2.0, bias=0.5, unit="dB")
LINES = {
    "words": "RSSI {rssi} SNR {snr}",
    "numbers alone": "{rssi},{snr}",
    "something besides": "+HEARD({}):{rssi}:{snr} dB",
}
PLACES = {"in front": (16, 0), "behind": (0, 16)}
LAYOUTS = {
    f"{framing}, {place}": (layout, sizes) for framing, layout in FRAMINGS.items() for place, sizes in PLACES.items()
}
EVERY = pytest.mark.parametrize(("plain", "sizes"), LAYOUTS.values(), ids=LAYOUTS)
WORDING = st.sampled_from(list(LINES.values()))
STATUS = st.sampled_from([b"READY\r\n", b"no signal\n", b"\x1b[0;32mup\x1b[0m\r\n", b"\r\n", b""])


def with_line(plain, sizes, line=LINES["words"]):
    return dataclasses.replace(plain, envelope=Envelope(*sizes, (RSSI, SNR), line))


def sent(layout, count, seed):
    """Frames with their lines, taken apart, and what each carries: name, n, rssi, snr; n tells packets apart."""
    rng = np.random.default_rng(seed)
    encoder, plain = FrameEncoder(layout), FrameEncoder(dataclasses.replace(layout, envelope=Envelope()))
    parts, rows = [], []
    for k in range(count):
        packet = layout.packets[int(rng.integers(len(layout.packets)))]
        values = {"n": int(rng.integers(16)) * 4096 + k}
        if "w" in packet.columns:
            values["w"] = int.from_bytes(rng.bytes(8) if rng.random() < 0.7 else b"-80\r\n,\n\0", "little")
        told = {"rssi": float(-rng.integers(30, 130)), "snr": float(rng.integers(-40, 40)) / 2 + 0.5}
        whole, frame = encoder.encode(packet.name, values | told), plain.encode(packet.name, values)
        line = whole[: -len(frame)] if layout.envelope.before else whole[len(frame) :]
        assert whole == (line + frame if layout.envelope.before else frame + line)
        parts.append((line, frame))
        rows.append((packet.name, values["n"], told["rssi"], told["snr"]))
    return parts, rows


def joined(layout, line, frame):
    return line + frame if layout.envelope.before else frame + line


def cut_at(stream, places):
    places = sorted({place % (len(stream) + 1) for place in places})
    return [stream[a:b] for a, b in itertools.pairwise([0, *places, len(stream)])]


def decoded(layout, chunks):
    """Rows with their places, and the rejects, both in the order of the stream."""
    decoder = StreamDecoder(layout)
    parts = [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]
    rows = []
    for part in parts:
        for table in part.tables:
            assert list(table.columns)[-2:] == ["rssi", "snr"]
            columns = [table.columns[name].tolist() for name in ("n", "rssi", "snr")]
            told = zip(table.start.tolist(), table.end.tolist(), *columns, strict=True)
            rows += [(start, end, (table.packet.name, *row)) for start, end, *row in told]
    rejects = [reject for part in parts for reject in part.rejects]
    assert rejects == sorted(rejects, key=lambda reject: reject.start)
    return sorted(rows, key=lambda row: row[0]), rejects


def same(found, expected):
    return len(found) == len(expected) and all(
        a == b or (isinstance(a, float) and math.isnan(a) and math.isnan(b))
        for row, other in zip(found, expected, strict=True)
        for a, b in zip(row, other, strict=True)
    )


@EVERY
@given(line=WORDING, seed=st.integers(0, 2**16), places=st.lists(st.integers(0, 10_000), max_size=8))
def test_numbers_of_a_line_are_those_of_the_packet_beside_it_however_cut(plain, sizes, line, seed, places):
    layout = with_line(plain, sizes, line)
    parts, rows = sent(layout, 9, seed)
    stream = b"".join(joined(layout, *part) for part in parts)
    found, rejects = decoded(layout, cut_at(stream, places))
    assert rejects == []
    assert [row for _, _, row in found] == rows


@EVERY
@given(data=st.data(), line=WORDING, seed=st.integers(0, 2**16), places=st.lists(st.integers(0, 10_000), max_size=8))
def test_lost_lines_lost_packets_and_other_lines_move_no_number_to_another_packet(
    plain, sizes, data, line, seed, places
):
    layout = with_line(plain, sizes, line)
    parts, rows = sent(layout, 9, seed)
    stream, expected = b"", []
    for (text, frame), row in zip(parts, rows, strict=True):
        kind = data.draw(st.sampled_from(["whole", "whole", "no line", "packet damaged", "another line between"]))
        if kind == "whole":
            stream += joined(layout, text, frame)
            expected.append(row)
        elif kind == "no line":
            stream += frame
            expected.append((*row[:2], math.nan, math.nan))
        elif kind == "another line between":
            between = data.draw(STATUS.filter(bytes.strip))
            stream += text + between + frame if sizes[0] else frame + between + text
            expected.append((*row[:2], math.nan, math.nan))
        else:
            damaged = bytearray(frame)
            damaged[-2 if frame[-1:] in (b"\0", b"\xc0", b"\x7e") else -1] ^= 0x15
            stream += joined(layout, text, bytes(damaged))
    if sizes[1] and layout.framing in ("cobs", "slip", "rfc 1662"):
        stream += b"\0" if layout.framing == "cobs" else frame[-1:]
    found, rejects = decoded(layout, cut_at(stream, places))
    whole = decoded(layout, [stream])
    assert same([(a, b, *row) for a, b, row in found], [(a, b, *row) for a, b, row in whole[0]])
    assert rejects == whole[1]
    rows_found = [row for _, _, row in found]
    if line.startswith("{"):  # behind a damaged packet that ends in text, nobody knows where the number begins
        rows_found = [
            other if row[:2] == other[:2] and math.isnan(row[2]) else row
            for row, other in zip(rows_found, expected, strict=True)
        ]
    assert same(rows_found, expected)


@EVERY
@given(data=st.data(), seed=st.integers(0, 2**16), places=st.lists(st.integers(0, 10_000), max_size=8))
def test_arbitrary_damage_moves_no_number_and_is_the_same_however_cut(plain, sizes, data, seed, places):
    layout = with_line(plain, sizes)
    parts, rows = sent(layout, 9, seed)
    stream = bytearray()
    hurt = set()
    for k, part in enumerate(parts):
        whole = bytearray(joined(layout, *part))
        if data.draw(st.integers(0, 3)) == 0:
            hurt.add(k)
            at = data.draw(st.integers(0, len(whole) - 1))
            match data.draw(st.integers(0, 2)):
                case 0:
                    whole[at] ^= data.draw(st.integers(1, 255))
                case 1:
                    del whole[at : at + data.draw(st.integers(1, 40))]
                case _:
                    whole[at:at] = data.draw(st.one_of(st.binary(min_size=1, max_size=60), STATUS))
        stream += whole
    stream = bytes(stream)
    found, rejects = decoded(layout, cut_at(stream, places))
    whole = decoded(layout, [stream])
    assert same([(a, b, *row) for a, b, row in found], [(a, b, *row) for a, b, row in whole[0]])
    assert rejects == whole[1]
    by_number = {row[1]: (k, row) for k, row in enumerate(rows)}
    for _, _, row in found:
        k, expected = by_number.get(row[1], (None, None))
        if k is None or row[0] != expected[0]:
            continue
        neighbours = {k, k - 1} if sizes[0] else {k, k + 1}
        if not neighbours & hurt:
            assert row == expected
        elif k not in hurt:
            assert row == expected or math.isnan(row[2])
    covered = bytearray(len(stream))
    for start, end in [row[:2] for row in found] + [(r.start, r.end) for r in rejects]:
        assert not any(covered[start:end])
        covered[start:end] = b"\1" * (end - start)


@EVERY
def test_other_text_in_a_stretch_with_a_line_stays_a_reject(plain, sizes):
    layout = with_line(plain, sizes)
    (first, second), rows = sent(layout, 2, 3)
    between = b"battery of the receiver low\r\n"
    stream = joined(layout, *first) + between + joined(layout, *second)
    for size in (1, 5, len(stream)):
        found, rejects = decoded(layout, [stream[k : k + size] for k in range(0, len(stream), size)])
        assert [row for _, _, row in found] == rows
        # what comes first in a stream may be cut into several
        assert {reject.reason for reject in rejects} == {Reason.TEXT}
        assert b"".join(stream[reject.start : reject.end] for reject in rejects).strip(b"\xc0\x7e") == between


@EVERY
def test_a_packet_comes_as_soon_as_its_line_is_there(plain, sizes):
    layout = with_line(plain, sizes)
    (part,), rows = sent(layout, 1, 4)
    decoder = StreamDecoder(layout)
    (table,) = decoder.feed(joined(layout, *part)).tables
    assert [table.columns[name].tolist() for name in ("rssi", "snr")] == [[rows[0][2]], [rows[0][3]]]
    assert decoder.finish().tables == ()


@EVERY
def test_a_line_before_the_link_broke_is_no_line_of_the_packet_after_it(plain, sizes):
    layout = with_line(plain, sizes)
    ((line, frame),), rows = sent(layout, 1, 5)
    decoder = StreamDecoder(layout)
    halves = (line, frame) if sizes[0] else (frame, line)
    tables = [*decoder.feed(halves[0]).tables, *decoder.restart().tables, *decoder.feed(halves[1]).tables]
    tables += decoder.finish().tables
    assert [(table.columns["n"].tolist(), math.isnan(table.columns["rssi"][0])) for table in tables] == [
        ([rows[0][1]], True)
    ]


@EVERY
def test_recording_is_the_same_in_blocks_and_pieces(plain, sizes):
    layout = with_line(plain, sizes)
    parts, _ = sent(layout, 1_500, 6)
    rng = np.random.default_rng(7)
    stream = b"".join(
        joined(layout, *part) if rng.random() < 0.98 else joined(layout, *part)[: int(rng.integers(1, 30))]
        for part in parts
    )
    whole = decoded(layout, [stream])
    assert len(whole[0]) > 1_400
    for size in (40_000, 997):
        found = decoded(layout, [stream[k : k + size] for k in range(0, len(stream), size)])
        assert same([(a, b, *row) for a, b, row in found[0]], [(a, b, *row) for a, b, row in whole[0]])
        assert found[1] == whole[1]


def test_endless_zeros_and_endless_text_are_not_kept():
    layout = with_line(PLAIN, PLACES["in front"])
    decoder = StreamDecoder(layout)
    for chunk in (bytes(5_000), b"nothing heard\r\n" * 300, b"\1" * 5_000):
        for _ in range(20):
            decoder.feed(chunk)
            assert len(decoder._joiner._raw) < 1_000
            assert len(decoder._joiner._rejects) < 40


@pytest.mark.parametrize(
    "envelope",
    [
        Envelope(16, 0, (RSSI, SNR), "RSSI {rssi}"),
        Envelope(16, 0, (RSSI, SNR), "{rssi} {snr} {packet}"),
        Envelope(8, 8, (RSSI, SNR), "{rssi} {snr}"),
        Envelope(0, 1, (dataclasses.replace(RSSI, kind=WireKind.SIGNED, bits=8),), "{rssi}"),
        Envelope(8, 0, (dataclasses.replace(RSSI, name="n"),), "{n}"),
        Envelope(0, 0, (), "RSSI"),
    ],
)
def test_line_beside_packets_that_cannot_be_is_refused(envelope):
    with pytest.raises(LayoutError, match="found"):
        StreamDecoder(dataclasses.replace(PLAIN, envelope=envelope))
