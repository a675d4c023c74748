import dataclasses
import itertools
import math

import numpy as np
import pynmeagps
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Field, Layout, LineMark, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder


def cells(name, number, kinds, **more):
    """A packet of fields of 64 bits one after the other."""
    fields = tuple(Field(label, kind, 64, 8 + 64 * place) for place, (label, kind) in enumerate(kinds.items()))
    return Packet(name, number, 1 + 8 * len(fields), fields, **more)


POWER = cells("power", 1, {"n": WireKind.UNSIGNED, "volts": WireKind.FLOAT, "trim": WireKind.SIGNED})
PLACE = cells("place", 2, {"lat": WireKind.FLOAT, "lon": WireKind.FLOAT}, tag="POS")
VALUES = Layout("delimited values", "none", ByteOrder.LITTLE, (POWER, PLACE))
LAYOUTS = {
    "values": VALUES,
    "values with CRC": dataclasses.replace(VALUES, checksum="CRC-16/IBM-3740", separator=";"),
    "values, big-endian": dataclasses.replace(VALUES, byte_order=ByteOrder.BIG, separator="\t", checksum="sum-8"),
    "pairs": dataclasses.replace(VALUES, framing="key=value", separator=" "),
    "pairs with XOR": dataclasses.replace(VALUES, framing="key=value", checksum="XOR-8"),
    "values without tags": dataclasses.replace(VALUES, line_mark=LineMark.COUNT),
    "pairs without tags": dataclasses.replace(
        VALUES, framing="key=value", line_mark=LineMark.COUNT, checksum="XOR-8", separator=" "
    ),
    "sentences": dataclasses.replace(VALUES, framing="nmea 0183", checksum="XOR-8"),
}
EVERY = pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS.keys())
FLOATS = st.floats(allow_nan=False, allow_infinity=True)
PACKETS = st.one_of(
    st.tuples(
        st.just("power"),
        st.fixed_dictionaries(
            {"n": st.integers(0, 2**64 - 1), "volts": FLOATS, "trim": st.integers(-(2**63), 2**63 - 1)}
        ),
    ),
    st.tuples(st.just("place"), st.fixed_dictionaries({"lat": FLOATS, "lon": FLOATS})),
)


def decoded(layout, chunks):
    decoder = StreamDecoder(layout)
    rows, rejects = [], []
    for part in [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]:
        rejects += [(r.reason, r.start, r.end, r.text) for r in part.rejects]
        for table in part.tables:
            columns = [table.columns[item.name].tolist() for item in table.packet.fields]
            names = [item.name for item in table.packet.fields]
            rows += [
                (start, table.packet.name, dict(zip(names, values, strict=True)))
                for start, *values in zip(table.start.tolist(), *columns, strict=True)
            ]
    return [row[1:] for row in sorted(rows, key=lambda row: row[0])], rejects


@EVERY
@given(st.lists(PACKETS, max_size=5), st.lists(st.integers(0, 10_000), max_size=8))
def test_packets_survive_as_text_however_cut(layout, packets, cuts):
    encoder = FrameEncoder(layout)
    stream = b"".join(encoder.encode(name, values) for name, values in packets)
    assert stream.isascii()
    assert decoded(layout, [stream]) == (packets, [])
    places = [0, *sorted(cut % (len(stream) + 1) for cut in cuts), len(stream)]
    assert decoded(layout, [stream[a:b] for a, b in itertools.pairwise(places)]) == (packets, [])


@EVERY
@given(st.lists(PACKETS, min_size=2, max_size=4), st.integers(0, 10_000), st.binary(max_size=3))
def test_any_damage_is_counted_and_costs_at_most_two_lines(layout, packets, place, put):
    encoder = FrameEncoder(layout)
    stream = b"".join(encoder.encode(name, values) for name, values in packets)
    place %= len(stream)
    damaged = stream[:place] + put + stream[place + 1 :]
    found, rejects = decoded(layout, [damaged])
    assert (found, rejects) == decoded(layout, [damaged[i : i + 1] for i in range(len(damaged))])
    whole = [row for row in packets if row in found]
    assert len(whole) >= len(packets) - 2


@EVERY
@given(st.binary(max_size=200))
def test_any_bytes_are_rejected_without_an_exception(layout, noise):
    _, rejects = decoded(layout, [b"\n" + noise + b"\n"])
    assert all(start < end and text for _, start, end, text in rejects)


@pytest.mark.parametrize(
    ("line", "reason", "words"),
    [
        ("power,1,2.5", Reason.TOO_SHORT, "found 2 values, expected the 3 of packet 'power'"),
        ("power,1,2.5,3,4", Reason.TOO_LONG, "found 4 values, expected the 3"),
        ("powder,1,2.5,3", Reason.UNKNOWN_PACKET, "found b'powder', expected one of power, POS"),
        ("power,1,2,5;3", Reason.FRAMING, "power.trim: found b'5;3', expected a whole number"),
        ("power,-1,2.5,3", Reason.FRAMING, "power.n: found b'-1', expected a number of 64 bits"),
        ("power,1_0,2.5,3", Reason.FRAMING, "expected a whole number"),
        ("power,1,0x10,3", Reason.FRAMING, "power.volts: found b'0x10', expected a number"),
        ("power,,2.5,3", Reason.FRAMING, "power.n: found b'', expected a whole number"),
    ],
)
def test_line_that_is_no_packet_says_why(line, reason, words):
    _, ((found, start, end, text),) = decoded(VALUES, [b"\n" + line.encode() + b"\n"])
    assert (found, start, end) == (reason, 1, len(line) + 2)
    assert words in text


@pytest.mark.parametrize(
    ("line", "reason", "words"),
    [
        ("1", Reason.TOO_SHORT, "found 1 values, expected the 2 of packet 'place' or 3 of packet 'power'"),
        ("1,2,3,4", Reason.TOO_LONG, "found 4 values, expected the 2 of packet 'place' or 3 of packet 'power'"),
        ("-1,2,3", Reason.FRAMING, "power.n: found b'-1', expected a number of 64 bits"),
    ],
)
def test_line_without_a_tag_is_the_packet_of_as_many_values(line, reason, words):
    layout = LAYOUTS["values without tags"]
    rows, rejects = decoded(layout, [b"1,2,3\n-4.5,6e2\r\n"])
    assert rows == [("power", {"n": 1, "volts": 2.0, "trim": 3}), ("place", {"lat": -4.5, "lon": 600.0})]
    assert rejects == []
    _, rejects = decoded(layout, [b"\n" + line.encode() + b"\n"])
    ((found, _, _, text),) = rejects
    assert found is reason
    assert words in text


def test_lines_without_tags_need_different_numbers_of_values():
    other = dataclasses.replace(PLACE, name="speed", id=3)
    with pytest.raises(LayoutError, match=r"speed: found 2 values, as many as packet 'place' has"):
        StreamDecoder(dataclasses.replace(LAYOUTS["values without tags"], packets=(POWER, PLACE, other)))


def test_numbers_may_be_padded_empty_letters_and_signed():
    stream = b"power, 007 ,+2.50e1, -3\r\nPOS,nan,\r\n\r\n \t\r\nPOS,N,.5\n"
    rows, rejects = decoded(VALUES, [stream])
    assert rejects == []
    assert rows[0] == ("power", {"n": 7, "volts": 25.0, "trim": -3})
    assert math.isnan(rows[1][1]["lat"])
    assert math.isnan(rows[1][1]["lon"])
    assert rows[2] == ("place", {"lat": 78.0, "lon": 0.5})


def test_pairs_stand_in_any_order_once_each():
    layout = LAYOUTS["pairs"]
    good, rejects = decoded(layout, [b"power trim=-1 n=5 volts=2.5\n"])
    assert good == [("power", {"n": 5, "volts": 2.5, "trim": -1})]
    assert rejects == []
    stream = b"\npower trim=-1 n=5\npower trim=1 n=5 volts=1 amps=2\npower trim=1 n=5 n=5\npower trim n=5 volts=1\n"
    _, rejects = decoded(layout, [stream])
    assert [reason for reason, *_ in rejects] == [
        Reason.TOO_SHORT,
        Reason.TOO_LONG,
        Reason.TOO_LONG,
        Reason.FRAMING,
    ]


@pytest.mark.parametrize("end", ["*5", "*GG", "", "*0000"])
def test_line_without_its_checksum_is_a_checksum_reject(end):
    _, ((reason, _, _, text),) = decoded(LAYOUTS["sentences"], [b"\n$POS,1,2" + end.encode() + b"\r\n"])
    assert reason is Reason.CHECKSUM
    assert "expected an asterisk and 2 hexadecimal digits" in text


def test_wrong_checksum_says_what_was_carried_and_what_the_characters_give():
    _, ((reason, _, _, text),) = decoded(LAYOUTS["sentences"], [b"\n$POS,1,2*00\r\n"])
    assert reason is Reason.CHECKSUM
    assert "carries XOR-8 00" in text
    assert f"give {np.bitwise_xor.reduce(np.frombuffer(b'POS,1,2', np.uint8)):02X}" in text


@pytest.mark.parametrize("separator", ["", ".", "-", "5", "*"])
def test_separator_that_numbers_contain_is_refused(separator):
    with pytest.raises(LayoutError, match="expected a separator"):
        StreamDecoder(dataclasses.replace(VALUES, separator=separator))


def test_bit_fields_are_refused_in_lines():
    packet = Packet("a", 1, 2, (Field("x", WireKind.UNSIGNED, 1, 8, container_bits=8),))
    with pytest.raises(LayoutError, match=r"a\.x: is a bit field"):
        StreamDecoder(dataclasses.replace(VALUES, packets=(packet,)))


NUMBERS = [
    "time",
    "lat",
    "ns",
    "lon",
    "ew",
    "quality",
    "sats",
    "hdop",
    "alt",
    "alt_unit",
    "sep",
    "sep_unit",
    "age",
    "ref",
]
GGA = cells("fix", 1, dict.fromkeys(NUMBERS, WireKind.FLOAT), tag="GGA")
VTG_NAMES = ["course", "t", "course_m", "m", "knots", "n", "kmph", "k", "mode"]
VTG = cells("course", 2, dict.fromkeys(VTG_NAMES, WireKind.FLOAT), tag="VTG")
NMEA = Layout("nmea 0183", "XOR-8", ByteOrder.LITTLE, (GGA, VTG))


def degrees(packed, letter):
    """Degrees of a position given as degrees times 100 plus minutes, and a hemisphere's ASCII code."""
    whole = packed // 100
    angle = whole + (packed - 100 * whole) / 60
    return -angle if chr(int(letter)) in "SW" else angle


@given(
    st.sampled_from(["GP", "GN", "GL"]),
    st.floats(-89.99, 89.99),
    st.floats(-179.99, 179.99),
    st.integers(0, 8),
    st.integers(0, 40),
    st.floats(0.5, 99, width=16),
    st.floats(-400, 20_000, width=32),
)
def test_sentences_of_the_reference_library_decode_to_its_values(talker, lat, lon, quality, sats, hdop, alt):
    message = pynmeagps.NMEAMessage(
        talker,
        "GGA",
        pynmeagps.GET,
        lat=lat,
        lon=lon,
        quality=quality,
        numSV=sats,
        HDOP=round(hdop, 2),
        alt=round(alt, 1),
        sep=46.5,
    )
    sentence = message.serialize()
    read = pynmeagps.NMEAReader.parse(sentence)
    ((name, row),), rejects = decoded(NMEA, [sentence])
    assert rejects == []
    assert name == "fix"
    assert degrees(row["lat"], row["ns"]) == pytest.approx(read.lat, abs=1e-8)
    assert degrees(row["lon"], row["ew"]) == pytest.approx(read.lon, abs=1e-8)
    assert (row["quality"], row["sats"], row["hdop"], row["alt"]) == (read.quality, read.numSV, read.HDOP, read.alt)
    assert row["sep"] == 46.5


@given(st.text(alphabet="GPA,.0123456789NEWM-", max_size=60))
def test_sentence_checksum_equals_the_reference(body):
    expected = pynmeagps.calc_checksum(body)
    _, rejects = decoded(NMEA, [f"\n${body}*{expected}\r\n".encode()])
    assert all(reason is not Reason.CHECKSUM for reason, *_ in rejects)
    wrong = f"{int(expected, 16) ^ 0x11:02X}"
    _, rejects = decoded(NMEA, [f"\n${body}*{wrong}\r\n".encode()])
    assert [reason for reason, *_ in rejects] == [Reason.CHECKSUM]
