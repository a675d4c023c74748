import random
from collections import Counter
from dataclasses import replace
from functools import reduce
from operator import xor

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mistakes import CURLEW, DESCRIPTIONS, MISTAKES, frame, plausible, some

from decoders.crc import CATALOGUE
from decoders.delimited import Delimited
from decoders.framing import framing
from decoders.layout import ChecksumPlace, Envelope, Field, Layout, LineMark, Packet, Reason, WireKind
from groundstation.layout_tools.described import Description
from groundstation.layout_tools.explained_text import explained_lines, rows
from groundstation.layout_tools.explaining import Explanation, explain
from groundstation.layout_tools.hypothesis import Hypothesis, Mistake, ranked

FRAMES = 4  # of each mistake on each description; the campaign takes more


def named(name: str, frames: int) -> tuple[int, int]:
    """How often the strongest hypothesis is the mistake that was made, and of how many frames."""
    make, mistake, descriptions = MISTAKES[name]
    right = 0
    for description in descriptions:
        chance = random.Random(f"{name}, {description}")
        for _ in range(frames):
            case = make(DESCRIPTIONS[description], chance)
            found = explain(case.description, case.data).hypotheses
            right += bool(found) and found[0].mistake is mistake
    return right, frames * len(descriptions)


@pytest.mark.parametrize("name", MISTAKES)
def test_mistake_is_named_first(name: str) -> None:
    right, of = named(name, FRAMES)
    assert right >= 0.9 * of, f"{right} of {of}"


@pytest.mark.campaign
def test_share_of_mistakes_named_over_many_frames() -> None:
    for name in MISTAKES:
        right, of = named(name, 40)
        print(f"{name}: {right} of {of}")
        assert right >= 0.95 * of


@pytest.mark.parametrize("name", DESCRIPTIONS)
def test_sound_frames_have_nothing_to_explain(name: str) -> None:
    description = DESCRIPTIONS[name]
    chance = random.Random(11)
    for _ in range(20):
        packet, values = some(description, chance)
        found = explain(description, frame(description.layout, packet.name, values))
        assert found.fault is None
        assert found.packet is packet
        assert found.checksum_stated == found.checksum_expected
        assert [one.raw for one in found.readings if one.item.field.name == "n"] == [values["n"]]
        assert [h for h in found.hypotheses if h.bits >= 5] == []


def test_frame_that_is_only_damaged_is_given_no_certain_mistake() -> None:
    chance = random.Random(5)
    found: Counter[str] = Counter()
    for _ in range(40):
        packet, values = some(CURLEW, chance)
        sent = bytearray(frame(CURLEW.layout, packet.name, values))
        for place in chance.sample(range(1, len(sent) - 1), 4):
            sent[place] ^= 1 << chance.randrange(8)
        for one in explain(CURLEW, bytes(sent)).hypotheses:
            found[one.strength] += 1
    assert found["very strong"] == 0
    assert found["strong"] <= 1  # with ten bits, about one frame in a thousand for each of some sixty tried


def test_one_damaged_bit_is_told_from_a_wrong_description() -> None:
    chance = random.Random(6)
    packet, values = some(CURLEW, chance)
    sent = bytearray(frame(CURLEW.layout, packet.name, values))
    sent[-4] ^= 0x10  # within a run, so that no code of the stuffing is hit
    first = explain(CURLEW, bytes(sent)).hypotheses[0]
    assert first.mistake is Mistake.DAMAGE
    assert first.strength == "fair"


def test_table_of_a_frame_is_byte_by_byte_without_a_gap() -> None:
    chance = random.Random(7)
    for description in DESCRIPTIONS.values():
        packet, values = some(description, chance)
        found = explain(description, frame(description.layout, packet.name, values))
        contents = found.taken.contents
        assert contents is not None
        seen = bytearray(len(contents))
        for row in rows(description, found):
            assert contents[row.at : row.at + len(row.data)] == row.data
            seen[row.at : row.at + len(row.data)] = b"\1" * len(row.data)
        assert all(seen)


def test_explanation_by_hand() -> None:
    """The bytes written out by hand: id 2, then 0x1234 in millivolts, XOR-8 of the three; COBS and its delimiter."""
    fields = (Field("vbat", WireKind.UNSIGNED, 16, 8, 0.001, unit="V"),)
    layout = Layout("cobs", "XOR-8", CURLEW.layout.byte_order, (Packet("health", 2, 3, fields),))
    description = Description("own", layout)
    found = explain(description, bytes.fromhex("05 02 34 12 24 00"))
    assert found.is_sound
    assert found.checksum_stated == b"\x24"
    assert [(one.raw, one.value) for one in found.readings] == [(0x1234, pytest.approx(4.66, abs=1e-12))]
    text = "\n".join(explained_lines(description, found))
    assert "34 12" in text
    assert "4660" in text
    assert "a sound packet 'health'" in text


def test_value_outside_its_range_is_shown_in_the_units_of_the_file() -> None:
    chance = random.Random(8)
    packet = CURLEW.layout.packets[1]
    values = plausible(CURLEW, packet, chance) | {"vbat": 1.25}
    found = explain(CURLEW, frame(CURLEW.layout, packet.name, values))
    assert [one.item.field.name for one in found.outside] == ["vbat"]
    text = "\n".join(explained_lines(CURLEW, found))
    assert "1250 mV" in text
    assert "outside 6000 to 13000" in text
    assert found.hypotheses[0].mistake is Mistake.SCALE


def test_bytes_before_and_after_the_frame_are_kept_apart() -> None:
    packet, values = some(CURLEW, random.Random(9))
    sent = frame(CURLEW.layout, packet.name, values)
    found = explain(CURLEW, b"\0\0" + sent + b"\x55\x66")
    assert found.is_sound
    assert found.taken.before == b"\0\0"
    assert found.taken.after == b"\x55\x66"


def test_checksum_at_the_start_is_named() -> None:
    packet, values = some(CURLEW, random.Random(10))
    moved = replace(CURLEW.layout, checksum_place=ChecksumPlace.START)
    first = explain(CURLEW, frame(moved, packet.name, values)).hypotheses[0]
    assert first.mistake is Mistake.CHECKSUM_PLACE


@pytest.mark.parametrize("name", ["CRC-32/ISO-HDLC", "Fletcher-16", "CRC-8/SMBUS", "CRC-16/MODBUS"])
def test_another_checksum_of_the_catalogue_is_named(name: str) -> None:
    packet, values = some(CURLEW, random.Random(12))
    other = replace(CURLEW.layout, checksum=name)
    found = explain(CURLEW, frame(other, packet.name, values)).hypotheses
    assert any(h.mistake is Mistake.CHECKSUM_OTHER and name in h.sentence for h in found)


def test_padding_of_the_compiler_is_named() -> None:
    fields = (
        Field("a", WireKind.UNSIGNED, 8, 8),
        Field("b", WireKind.FLOAT, 32, 16),
        Field("c", WireKind.UNSIGNED, 8, 48),
        Field("d", WireKind.FLOAT, 32, 56),
    )
    described_so = Layout("cobs", "CRC-16/IBM-3740", CURLEW.layout.byte_order, (Packet("p", 1, 11, fields),))
    padded = tuple(replace(f, first_bit=at) for f, at in zip(fields, (8, 32, 64, 96), strict=True))
    sent = replace(described_so, packets=(Packet("p", 1, 16, padded),))
    data = frame(sent, "p", {"a": 1, "b": 12.5, "c": 2, "d": -3.25})
    first = explain(Description("own", described_so), data).hypotheses[0]
    assert first.mistake is Mistake.PADDING


def test_other_framing_is_named() -> None:
    chance = random.Random(13)
    for name in ("slip", "rfc 1662"):
        method = framing(replace(CURLEW.layout, framing=name))
        assert isinstance(method, Delimited)
        while True:  # a frame in which something had to be stuffed
            packet, values = some(CURLEW, chance)
            sent = frame(replace(CURLEW.layout, framing=name), packet.name, values)
            if method.decode(sent.strip(method.delimiter)) != sent.strip(method.delimiter):
                break
        found = explain(CURLEW, sent).hypotheses
        assert found[0].mistake is Mistake.OTHER_FRAMING
        assert name in found[0].sentence


def test_rivals_that_fit_alike_leave_none_of_them_certain() -> None:
    alike = [Hypothesis(Mistake.SCALE, f"explanation {n}", (), 30.0) for n in range(4)]
    found = ranked(alike)
    assert [h.strength for h in found] == ["weak"] * 4
    assert ranked(alike[:1])[0].strength == "very strong"


@pytest.mark.parametrize("name", DESCRIPTIONS)
@settings(max_examples=8, deadline=None)
@given(data=st.binary(max_size=90), seed=st.integers(0, 1000), cut=st.integers(0, 60))
def test_no_bytes_are_an_error(name: str, data: bytes, seed: int, cut: int) -> None:
    description = DESCRIPTIONS[name]
    packet, values = some(description, random.Random(seed))
    sent = frame(description.layout, packet.name, values)
    for given_bytes in (data, sent[:cut] + data, data[:9] + sent, sent[cut:]):
        found = explain(description, given_bytes)
        assert isinstance(found, Explanation)
        assert found.fault is None or isinstance(found.fault[0], Reason)
        assert list(explained_lines(description, found))


@pytest.mark.parametrize("name", ["cobs, little", "sync with length, big"])
def test_what_the_receiver_puts_around_a_packet_is_told_apart(name: str) -> None:
    plain = DESCRIPTIONS[name].layout
    rssi = Field("rssi", WireKind.SIGNED, 8, 0)
    layout = replace(plain, envelope=Envelope(before=1, after=2, fields=(rssi,)))
    description = replace(DESCRIPTIONS[name], layout=layout)
    chance = random.Random(14)
    packet, values = some(description, chance)
    sent = frame(layout, packet.name, values | {"rssi": -70})
    found = explain(description, sent)
    assert found.is_sound
    assert [row.data for row in rows(description, found) if row.what == "receiver"] == [b"\xba", b"\0\0"]
    model = CATALOGUE[layout.checksum]
    wrong = replace(layout, crc=replace(model, init=0x1D0F))
    first = explain(description, frame(wrong, packet.name, values | {"rssi": -70})).hypotheses[0]
    assert first.mistake is Mistake.CHECKSUM_START


@pytest.mark.parametrize("behind", [1, 2])
def test_bytes_behind_a_delimiter_are_the_receivers(behind: int) -> None:
    plain = DESCRIPTIONS["cobs, little"].layout
    rssi = Field("rssi", WireKind.SIGNED, 8, 0)
    layout = replace(plain, envelope=Envelope(after=2, fields=(rssi,), behind=behind))
    description = replace(DESCRIPTIONS["cobs, little"], layout=layout)
    packet, values = some(description, random.Random(14))
    sent = frame(layout, packet.name, values | {"rssi": -70})
    found = explain(description, sent + b"more")
    assert found.is_sound
    assert found.taken.after == b"more"
    assert [row.data for row in rows(description, found) if row.what == "receiver"] == [b"\xba\0"]
    assert f", and behind that {behind} of the receiver's bytes" in "\n".join(explained_lines(description, found))
    wrong = replace(layout, crc=replace(CATALOGUE[layout.checksum], init=0x1D0F))
    first = explain(description, frame(wrong, packet.name, values | {"rssi": -70})).hypotheses[0]
    assert first.mistake is Mistake.CHECKSUM_START
    for size in range(len(sent)):
        assert list(explained_lines(description, explain(description, sent[:size])))


@pytest.mark.parametrize("name", ["cobs, little", "sync with length, big"])
@pytest.mark.parametrize("place", ["before", "after"])
def test_a_line_beside_the_frame_is_told_with_its_numbers(name: str, place: str) -> None:
    fields = (Field("rssi", WireKind.FLOAT, 64, 0), Field("snr", WireKind.FLOAT, 64, 64))
    sizes = (16, 0) if place == "before" else (0, 16)
    layout = replace(DESCRIPTIONS[name].layout, envelope=Envelope(*sizes, fields, "RSSI {rssi} SNR {snr}"))
    description = replace(DESCRIPTIONS[name], layout=layout)
    packet, values = some(description, random.Random(15))
    sent = frame(layout, packet.name, values | {"rssi": -87, "snr": 9.5})
    found = explain(description, sent)
    side = "in front of" if place == "before" else "behind"
    assert found.is_sound
    told = next(explained_lines(description, found))
    assert told == f"receiver  the line {side} the frame: 'RSSI -87 SNR 9.5': rssi = −87, snr = 9.5"
    alone = explain(description, sent.replace(b"RSSI -87 SNR 9.5\r\n", b""))
    assert alone.is_sound
    assert "its numbers are unknown" in next(explained_lines(description, alone))


@pytest.mark.parametrize("name", ["nmea 0183", "key=value", "delimited values"])
def test_lines_of_text_are_explained_too(name: str) -> None:
    fields = (Field("a", WireKind.SIGNED, 32, 8), Field("b", WireKind.FLOAT, 32, 40))
    layout = Layout(name, "XOR-8", CURLEW.layout.byte_order, (Packet("GGA", 1, 9, fields),))
    description = Description("own", layout)
    sent = frame(layout, "GGA", {"a": -5, "b": 2.5})
    assert [one.raw for one in explain(description, sent).readings] == [-5, 2.5]
    broken = explain(description, sent.replace(b"-5", b"-6"))
    assert broken.fault is not None
    assert "checksum" in broken.fault[1] or "XOR-8" in broken.fault[1]


@pytest.mark.parametrize("name", ["key=value", "delimited values"])
def test_lines_without_a_tag_are_explained_too(name: str) -> None:
    fields = (Field("a", WireKind.SIGNED, 32, 8), Field("b", WireKind.FLOAT, 32, 40))
    packets = (Packet("two", 1, 9, fields), Packet("one", 2, 5, fields[:1]))
    layout = Layout(name, "XOR-8", CURLEW.layout.byte_order, packets, line_mark=LineMark.COUNT)
    description = Description("own", layout)
    for packet, values in (("two", {"a": -5, "b": 2.5}), ("one", {"a": 7})):
        found = explain(description, frame(layout, packet, values))
        assert [one.raw for one in found.readings] == list(values.values())
        assert list(explained_lines(description, found))
    more = b"1,2,3" if name == "delimited values" else b"a=1,b=2,c=3"
    checked = more + f"*{reduce(xor, more):02X}\r\n".encode()
    broken = explain(description, checked)
    assert broken.fault is not None
    assert "found 3 values, expected the 1 of packet 'one' or 2 of packet 'two'" in broken.fault[1]
    assert list(explained_lines(description, broken))


def test_length_alone_is_a_weak_hint_where_no_valid_range_tells_more() -> None:
    make, mistake, _ = MISTAKES["one field too long"]
    case = make(CURLEW, random.Random(15))
    found = explain(replace(case.description, items={}), case.data).hypotheses
    assert found[0].mistake is mistake
    assert found[0].strength == "weak"
