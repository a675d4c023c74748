"""What a receiver adds to each packet: RSSI and SNR, in bytes or text, belong to the packet they came with."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Envelope, Field, Layout, LengthField, Packet, Reason, Sync, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

PACKETS = (
    Packet("a", 1, 4, (Field("x", WireKind.UNSIGNED, 24, 8),)),
    Packet("b", 2, 2, (Field("y", WireKind.UNSIGNED, 8, 8),)),
)
RSSI = Field("rssi", WireKind.SIGNED, 8, 0, unit="dBm")
SNR = Field("snr", WireKind.SIGNED, 8, 8, scale=0.25, unit="dB")
AFTER, BEFORE, BOTH = Envelope(0, 2, (RSSI, SNR)), Envelope(2, 0, (RSSI, SNR)), Envelope(1, 1, (RSSI, SNR))
PLAIN = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, PACKETS)
FRAMINGS = {
    "cobs": PLAIN,
    "slip": dataclasses.replace(PLAIN, framing="slip"),
    "hexadecimal lines": dataclasses.replace(PLAIN, framing="hexadecimal lines"),
    "sync and length": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xa5\x5a", LengthField(8, 0, 3), 1)),
    "sync": dataclasses.replace(PLAIN, framing="sync", sync=Sync(b"\xa5\x5a\x77")),
    "fixed length": dataclasses.replace(PLAIN, framing="fixed length", checksum="CRC-32/ISO-HDLC"),
}
TOLD = st.tuples(st.integers(-128, 127), st.integers(-128, 127).map(lambda raw: raw * 0.25))


@pytest.mark.parametrize("layout", FRAMINGS.values(), ids=FRAMINGS)
@pytest.mark.parametrize("envelope", [AFTER, BEFORE, BOTH])
@given(told=st.lists(TOLD, min_size=1, max_size=5), seed=st.integers(0, 255))
def test_signal_strength_belongs_to_its_packet(layout, envelope, told, seed):
    enveloped = dataclasses.replace(layout, envelope=envelope)
    encoder = FrameEncoder(enveloped)
    stream, expected = b"", {"a": [], "b": []}
    for number, (rssi, snr) in enumerate(told):
        name, value = ("a", "x") if (number + seed) % 2 else ("b", "y")
        stream += encoder.encode(name, {value: seed, "rssi": rssi, "snr": snr})
        expected[name].append((seed, rssi, snr))
    decoded = StreamDecoder(enveloped).feed(stream)
    assert decoded.rejects == ()
    for table in decoded.tables:
        columns = [column.tolist() for column in table.columns.values()]
        assert [tuple(row) for row in zip(*columns, strict=True)] == expected[table.packet.name]
        assert list(table.columns)[1:] == ["rssi", "snr"]


def test_bytes_stand_around_body_and_checksum_and_the_checksum_does_not_cover_them(bench):
    encoder = FrameEncoder(dataclasses.replace(PLAIN, framing="hexadecimal lines", envelope=BOTH))
    line = encoder.encode("b", {"y": 5, "rssi": -70, "snr": 9.5})
    plain = FrameEncoder(dataclasses.replace(PLAIN, framing="hexadecimal lines")).encode("b", {"y": 5})
    assert bytes.fromhex(line.decode()) == bytes.fromhex("BA" + plain.decode() + "26")  # -70 is 0xBA, 38 is 0x26


def test_recording_with_an_envelope_decodes_whole(bench):
    layout = dataclasses.replace(PLAIN, envelope=AFTER)
    encoder = FrameEncoder(layout)
    frames = [encoder.encode("a", {"x": n, "rssi": n % 100 - 100, "snr": 1.0}) for n in range(5000)]
    (table,) = StreamDecoder(layout).feed(b"".join(frames)).tables
    assert table.columns["x"].tolist() == list(range(5000))
    assert table.columns["rssi"].tolist() == [n % 100 - 100 for n in range(5000)]


LINE = Envelope(
    0,
    16,
    (Field("rssi", WireKind.FLOAT, 64, 0, unit="dBm"), Field("s-n", WireKind.FLOAT, 64, 64, unit="dB")),
    "+HEARD={},{packet},{rssi},{s-n}",
)
LINES = dataclasses.replace(PLAIN, framing="hexadecimal lines", envelope=LINE)


@given(st.lists(st.tuples(st.integers(0, 2**24 - 1), st.integers(-150, 10), st.integers(-80, 80)), min_size=1))
def test_line_of_text_around_a_packet_gives_its_numbers(rows):
    encoder = FrameEncoder(LINES)
    stream = b"".join(encoder.encode("a", {"x": x, "rssi": rssi, "s-n": snr / 4}) for x, rssi, snr in rows)
    decoded = StreamDecoder(LINES).feed(stream)
    assert decoded.rejects == ()
    (table,) = decoded.tables
    assert table.columns["x"].tolist() == [x for x, _, _ in rows]
    assert table.columns["rssi"].tolist() == [rssi for _, rssi, _ in rows]
    assert table.columns["s-n"].tolist() == [snr / 4 for _, _, snr in rows]


def test_line_as_a_receiver_writes_it_by_hand():
    packet = FrameEncoder(dataclasses.replace(LINES, envelope=Envelope())).encode("b", {"y": 200}).strip().decode()
    stream = f"+READY\r\n+HEARD=17,{packet.lower()},-45.5,+9\r\n+HEARD=17,{packet},-45,9,\r\n".encode()
    decoded = StreamDecoder(LINES).feed(b"\n" + stream)
    assert [t.columns["y"].tolist() + t.columns["rssi"].tolist() for t in decoded.tables] == [[200, -45.5]]
    assert [reject.reason for reject in decoded.rejects] == [Reason.TEXT, Reason.FRAMING]
    assert "expected a line such as '+HEARD={},{packet},{rssi},{s-n}'" in decoded.rejects[1].text


@pytest.mark.parametrize(
    "layout",
    [
        dataclasses.replace(LINES, framing="cobs"),
        dataclasses.replace(LINES, envelope=dataclasses.replace(LINE, line="{packet},{rssi}")),
        dataclasses.replace(LINES, envelope=dataclasses.replace(LINE, line="{rssi},{s-n}")),
        dataclasses.replace(
            LINES, envelope=dataclasses.replace(LINE, fields=(RSSI,), after=1, line="{packet}{rssi}")
        ),
        dataclasses.replace(PLAIN, envelope=Envelope(0, 1, (Field("x", WireKind.SIGNED, 8, 0),))),
    ],
)
def test_envelope_that_cannot_be_is_refused(layout):
    with pytest.raises(LayoutError, match="found"):
        StreamDecoder(layout)
