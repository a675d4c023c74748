"""Bytes that a receiver puts behind a stuffed frame's delimiter belong to that frame, whatever is cut or damaged."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Envelope, Field, Layout, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

PACKETS = (
    Packet("a", 1, 4, (Field("x", WireKind.UNSIGNED, 24, 8),)),
    Packet("b", 2, 11, (Field("x", WireKind.UNSIGNED, 32, 8), Field("y", WireKind.UNSIGNED, 48, 40))),
)
RSSI = Field("rssi", WireKind.SIGNED, 8, 0, unit="dBm")
SNR = Field("snr", WireKind.SIGNED, 8, 8, scale=0.25, unit="dB")
INSIDE = Field("inside", WireKind.UNSIGNED, 8, 0)
TIME = Field("heard", WireKind.UNSIGNED, 32, 8)
ENVELOPES = {
    "rssi": Envelope(0, 1, (RSSI,), behind=1),
    "rssi and snr": Envelope(0, 2, (RSSI, SNR), behind=2),
    "a byte inside, four behind": Envelope(0, 5, (INSIDE, TIME), behind=4),
    "a byte in front, four behind": Envelope(1, 4, (INSIDE, TIME), behind=4),
}
DELIMITERS = {"cobs": 0x00, "slip": 0xC0, "rfc 1662": 0x7E}
LAYOUTS = {
    f"{framing}, {name}": Layout(framing, "CRC-16/IBM-3740", ByteOrder.LITTLE, PACKETS, envelope=envelope)
    for framing in DELIMITERS
    for name, envelope in ENVELOPES.items()
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)


def told_by(layout):
    """The receiver's values of one packet; raw numbers that look like delimiters among them."""
    delimiter = DELIMITERS[layout.framing]
    byte = st.one_of(st.integers(0, 255), st.just(delimiter))
    parts = []
    for item in layout.envelope.fields:
        if item.bits == 32:
            parts.append(st.lists(byte, min_size=4, max_size=4).map(lambda b: int.from_bytes(bytes(b), "little")))
        elif item.kind is WireKind.SIGNED:
            parts.append(byte.map(lambda raw, scale=item.scale: ((raw + 128) % 256 - 128) * scale))
        else:
            parts.append(byte)
    return st.tuples(*parts)


@st.composite
def sent(draw, layout, most=12):
    """Frames in turn, and what each carries: packet, x, the receiver's values."""
    encoder = FrameEncoder(layout)
    frames, rows = [], []
    for n in range(draw(st.integers(1, most))):
        name = draw(st.sampled_from("ab"))
        told = draw(told_by(layout))
        values = {"x": draw(st.integers(0, 255)) << 16 | n} | (
            {"y": draw(st.integers(0, 2**48 - 1))} if name == "b" else {}
        )
        around = dict(zip([item.name for item in layout.envelope.fields], told, strict=True))
        frames.append(encoder.encode(name, values | around))
        rows.append((name, values["x"], *told))
    return frames, rows


def cut_at(stream, places):
    places = sorted({place % (len(stream) + 1) for place in places})
    return [stream[a:b] for a, b in itertools.pairwise([0, *places, len(stream)])]


def everything(layout, chunks):
    decoder = StreamDecoder(layout)
    return [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]


def rows_of(layout, parts):
    """Packets in the order they came, each with the receiver's values; places; and all rejects."""
    rows = []
    for part in parts:
        for table in part.tables:
            columns = [table.columns[name].tolist() for name in ("x", *(f.name for f in layout.envelope.fields))]
            places = zip(table.start.tolist(), table.end.tolist(), strict=True)
            rows += [
                (place, (table.packet.name, *row))
                for place, row in zip(places, zip(*columns, strict=True), strict=True)
            ]
    rejects = [reject for part in parts for reject in part.rejects]
    return sorted(rows), sorted(rejects, key=lambda reject: reject.start)


@EVERY
@given(data=st.data(), places=st.lists(st.integers(0, 10_000), max_size=8))
def test_what_stands_behind_a_delimiter_belongs_to_its_packet_however_cut(layout, data, places):
    frames, expected = data.draw(sent(layout))
    stream = b"".join(frames)
    rows, rejects = rows_of(layout, everything(layout, cut_at(stream, places)))
    assert rejects == []
    assert [row for _, row in rows] == expected
    opening = (
        len(frames[0]) - len(frames[0].lstrip(bytes([DELIMITERS[layout.framing]]))) if layout.framing != "cobs" else 0
    )
    ends = list(itertools.accumulate(map(len, frames)))
    assert [end for (_, end), _ in rows] == ends
    assert [start for (start, _), _ in rows] == [end - len(f) + opening for end, f in zip(ends, frames, strict=True)]


@EVERY
@given(data=st.data(), places=st.lists(st.integers(0, 10_000), max_size=8))
def test_damage_costs_packets_but_moves_no_receivers_bytes_to_another(layout, data, places):
    frames, sent_rows = data.draw(sent(layout))
    damaged, hurt, before = list(frames), set(), set()
    for k in data.draw(st.sets(st.integers(0, len(frames) - 1), max_size=3)):
        frame, at = bytearray(frames[k]), data.draw(st.integers(0, len(frames[k]) - 1))
        match data.draw(st.integers(0, 2)):
            case 0:
                frame[at] ^= data.draw(st.integers(1, 255))
            case 1:
                del frame[at : at + data.draw(st.integers(1, 20))]
            case _:
                frame[at:at] = data.draw(st.binary(min_size=1, max_size=30))
        damaged[k] = bytes(frame)
        hurt.add(k)
        before.add(k + 1)  # whose start may be taken for what belongs to the damaged one
    stream = b"".join(damaged)
    chunks = cut_at(stream, places)
    parts = everything(layout, chunks)
    rows, rejects = rows_of(layout, parts)
    assert (rows, rejects) == rows_of(layout, everything(layout, [stream]))
    found = [row for _, row in rows]
    untouched = [row for k, row in enumerate(sent_rows) if k not in hurt | before]
    assert [row for row in found if row in untouched] == untouched
    ends = dict(zip(itertools.accumulate(map(len, damaged)), range(len(frames)), strict=True))
    for (_, end), row in rows:
        k = ends.get(end)
        if k is not None and k not in hurt:
            in_front = layout.envelope.before if k in before else 0  # no checksum covers what may have been cut off
            assert row[:2] + row[2 + in_front :] == sent_rows[k][:2] + sent_rows[k][2 + in_front :]
    # every byte is in a packet or a reject, or is a lone delimiter
    covered = bytearray(len(stream))
    for start, end in [place for place, _ in rows] + [(r.start, r.end) for r in rejects]:
        assert not any(covered[start:end])
        covered[start:end] = b"\1" * (end - start)
    assert {stream[k] for k in range(len(stream)) if not covered[k]} <= {DELIMITERS[layout.framing]}


@pytest.mark.parametrize("layout", [LAYOUTS["cobs, rssi"], LAYOUTS["slip, rssi and snr"]])
def test_a_rejected_packets_bytes_do_not_become_the_start_of_the_next(layout):
    encoder = FrameEncoder(layout)
    around = {item.name: -10.0 * (k + 1) for k, item in enumerate(layout.envelope.fields)}
    first, second = (bytearray(encoder.encode("a", {"x": x} | around)) for x in (1, 0x112233))
    first[3] ^= 0x55
    rows, rejects = rows_of(layout, everything(layout, [bytes(first + second)]))
    assert [row[1] for _, row in rows] == [0x112233]
    assert [(r.reason, r.end) for r in rejects] == [(Reason.CHECKSUM, len(first))] or rejects[0].end == len(first)


@EVERY
def test_status_lines_in_front_of_a_frame_have_no_bytes_behind_them(layout):
    encoder = FrameEncoder(layout)
    around = {item.name: 1.0 for item in layout.envelope.fields}
    frame = encoder.encode("b", {"x": 9, "y": 0x0A0D} | around)
    long = b"the receiver says a good deal more than any frame of this layout could hold in it\r\n"
    stream = b"".join([frame, b"READY\r\n", frame, long, frame, b"READY\r\n", frame])
    for size in (1, 7, len(stream)):
        rows, rejects = rows_of(
            layout, everything(layout, [stream[k : k + size] for k in range(0, len(stream), size)])
        )
        assert [row[1] for _, row in rows] == [9] * 4
        assert [reject.reason for reject in rejects] == [Reason.TEXT] * 3


@EVERY
def test_stream_that_ends_before_the_receivers_bytes_is_cut_short(layout):
    encoder = FrameEncoder(layout)
    frame = encoder.encode("a", {"x": 5} | {item.name: 1.0 for item in layout.envelope.fields})
    rows, rejects = rows_of(layout, everything(layout, [frame, frame[:-1]]))
    assert len(rows) == 1
    assert [(r.reason, r.end) for r in rejects] == [(Reason.CUT_SHORT, 2 * len(frame) - 1)]


@EVERY
def test_endless_run_and_random_bytes_are_rejected_however_cut(layout):
    rng = np.random.default_rng(5)
    encoder = FrameEncoder(layout)
    frame = encoder.encode("a", {"x": 5} | {item.name: 1.0 for item in layout.envelope.fields})
    run = rng.bytes(9_000).replace(bytes([DELIMITERS[layout.framing]]), b"")
    stream = frame + run + frame + frame + rng.bytes(3_000) + frame * 3 + run
    whole = rows_of(layout, everything(layout, [stream]))
    assert len(whole[0]) >= 3
    for size in (1, 13, 5_000):
        assert (
            rows_of(layout, everything(layout, [stream[k : k + size] for k in range(0, len(stream), size)])) == whole
        )


@pytest.mark.parametrize(
    ("framing", "envelope"),
    [
        ("cobs", Envelope(0, 1, (RSSI,), behind=2)),
        ("hexadecimal lines", Envelope(0, 1, (RSSI,), behind=1)),
        ("fixed length", Envelope(0, 1, (RSSI,), behind=1)),
    ],
)
def test_bytes_behind_a_delimiter_that_cannot_be_are_refused(framing, envelope):
    with pytest.raises(LayoutError, match="bytes behind a delimiter, expected them among those after"):
        StreamDecoder(Layout(framing, "CRC-16/IBM-3740", ByteOrder.LITTLE, PACKETS, envelope=envelope))
