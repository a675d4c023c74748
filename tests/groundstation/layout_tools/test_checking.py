from dataclasses import replace

import pytest
from mistakes import CURLEW

from decoders.layout import ByteOrder, Field, Layout, LengthField, LineMark, Packet, Sync, WireKind
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.layout_tools.checking import Remark, Weight, remarks
from groundstation.layout_tools.described import Description, described
from groundstation.layout_tools.tabulating import table_lines

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")


def changed(before: str, after: str) -> Description:
    assert before in TEXT
    return described(parse_vehicle(TEXT.replace(before, after), file_name="own.toml"))


def at(description: Description, where: str) -> list[Remark]:
    return [remark for remark in remarks(description) if remark.where == where]


def with_layout(**parts: object) -> Description:
    return replace(CURLEW, layout=replace(CURLEW.layout, **parts))  # type: ignore[arg-type]


def test_example_has_nothing_to_remark() -> None:
    assert remarks(CURLEW) == ()


@pytest.mark.parametrize(
    ("before", "after", "where", "words"),
    [
        (
            'name = "n",      type = "u16", meaning = "sequence"',
            'name = "n",      type = "u8", meaning = "sequence"',
            "motion.n",
            "8 bits at 14 packets a second start over every 18.3 s",
        ),
        (
            'name = "t",      type = "u32", unit = "ms", meaning = "vehicle_time"',
            'name = "t",      type = "u16", unit = "ms", meaning = "vehicle_time"',
            "health.t",
            "starts over every 65.5 s",
        ),
        (
            'name = "t",      type = "u32", unit = "ms"',
            'name = "t",      type = "u32", unit = "s"',
            "motion.t",
            "steps by 1 s, and 10 packets come a second",
        ),
        (
            'name = "tbat",   type = "i16"',
            'name = "tbat",   type = "u16"',
            "health.tbat",
            "valid from -40 degC on, but unsigned",
        ),
        (
            "valid = [6000, 13000]",
            "valid = [6000, 90000]",
            "health.vbat",
            "valid to 90000 mV, but its raw number ends at 65535 mV",
        ),
        (
            'type = "u16", unit = "mV", valid = [6000, 13000]',
            'type = "u16", unit = "mV", scale = 1000, valid = [6000, 13000]',
            "health.vbat",
            "has only 8 steps of 1000 mV",
        ),
        (
            'name = "lon",    type = "i32", unit = "deg", scale = 1e-7',
            'name = "lon",    type = "f32", unit = "deg"',
            "health.lon",
            "it steps by up to 2.4 m on the ground",
        ),
    ],
)
def test_risk_in_a_vehicle_file_is_named_with_its_fix(before: str, after: str, where: str, words: str) -> None:
    found = at(changed(before, after), where)
    assert any(words in remark.text for remark in found), [str(remark) for remark in found]
    assert all(remark.fix for remark in found)


def test_missing_clock_and_counter_are_hints() -> None:
    text = changed(', meaning = "vehicle_time"', "")
    assert any("vehicle's clock" in remark.text for remark in remarks(text))
    text = changed(', meaning = "sequence"', "")
    assert any("counts packets" in remark.text for remark in remarks(text))


def test_weak_checksums_are_risks() -> None:
    assert "there is none" in at(with_layout(checksum="none"), "telemetry.checksum")[0].text
    assert "1 in 256" in at(with_layout(checksum="XOR-8"), "telemetry.checksum")[0].text


def test_lines_told_apart_by_their_values_alone_are_a_risk() -> None:
    values = tuple(Field(name, WireKind.FLOAT, 64, 8 + 64 * place) for place, name in enumerate("abc"))
    packets = (Packet("three", 0, 25, values), Packet("two", 1, 17, values[:2]))
    bare = Layout("delimited values", "none", ByteOrder.LITTLE, packets, line_mark=LineMark.COUNT)
    (remark,) = at(Description("own", bare), "telemetry.id_type")
    assert (remark.weight, "a line that has lost some passes as another packet" in remark.text) == (Weight.RISK, True)
    assert at(Description("own", replace(bare, checksum="XOR-8")), "telemetry.id_type") == []


def test_layout_that_no_decoder_takes_is_a_fault() -> None:
    found = remarks(with_layout(checksum="CRC-16/IBM-3704"))
    assert found[0].weight is Weight.FAULT
    assert "CRC-16/IBM-3740" in found[0].text


def test_length_that_cannot_hold_the_longest_packet_is_a_fault() -> None:
    sync = Sync(b"\xa5\x5a", LengthField(8, adds=-230), header=1)
    found = at(with_layout(framing="sync", sync=sync), "telemetry.sync")
    assert "needs the length 272, which 8 bits cannot hold" in found[0].text
    assert found[0].weight is Weight.FAULT


def test_table_has_every_field_with_its_place() -> None:
    lines = list(table_lines(CURLEW))
    layout: Layout = CURLEW.layout
    for packet in layout.packets:
        for item in packet.fields:
            assert any(item.name in line.split() for line in lines), item.name
    vbat = next(line.split() for line in lines if " vbat " in line)
    assert vbat[:5] == ["7", "16", "vbat", "unsigned", "mV"]
    assert "6000 … 13000" in next(line for line in lines if " vbat " in line)
