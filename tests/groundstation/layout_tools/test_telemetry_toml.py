from dataclasses import replace

import pytest
from mistakes import CURLEW

from decoders.calibration import Points, Polynomial
from decoders.crc import CrcModel
from decoders.layout import (
    BitOrder,
    ByteOrder,
    ChecksumPlace,
    Field,
    Layout,
    LengthField,
    LineMark,
    Packet,
    Sync,
    WireKind,
)
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.telemetry import layout_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.layout_tools.described import Description
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.telemetry_toml import telemetry_toml
from groundstation.layout_tools.xtce_export import xtce
from groundstation.layout_tools.xtce_import import layout_from_xtce

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
BEFORE, _, _ = TEXT.partition("[telemetry]")


def loaded(telemetry: str) -> Vehicle:
    return parse_vehicle(BEFORE + telemetry, file_name="own.toml")


def test_example_comes_through_a_document_into_the_same_vehicle_file() -> None:
    again = layout_from_xtce(xtce(CURLEW).encode(), name="layout.xml")
    vehicle = loaded(telemetry_toml(again))
    original = parse_vehicle(TEXT, file_name="curlew.toml")
    assert layout_of(vehicle) == layout_of(original)
    assert sources_of(vehicle) == sources_of(original)
    assert [packet.rate_hz for packet in vehicle.telemetry.packets] == [10, 4]


def fields(order: BitOrder) -> tuple[Field, ...]:
    return (
        Field("a", WireKind.UNSIGNED, 8, 0, labels=((0, 'idle "now"'), (1, "boost"))),
        Field("b", WireKind.SIGNED, 16, 32, 0.25, -3.0),
        Field("c", WireKind.UNSIGNED, 11, 48, bit_order=order),
        Field("d", WireKind.UNSIGNED, 13, 59, bit_order=order),
        Field("low", WireKind.UNSIGNED, 3, 72, container_bits=16, shift=0),
        Field("high", WireKind.UNSIGNED, 2, 72, container_bits=16, shift=14),
        Field("e", WireKind.FLOAT, 64, 88),
        Field("f", WireKind.UNSIGNED, 16, 152, curve=Polynomial((1.5, -0.25, 0.001))),
        Field("g", WireKind.SIGNED, 8, 168, curve=Points((0.0, 100.0), (-10.0, 5.0))),
        Field("h", WireKind.BOOLEAN, 8, 176),
        Field("i", WireKind.TEXT, 48, 184),
    )


@pytest.mark.parametrize(
    "rest",
    [
        {"framing": "cobs", "checksum": "CRC-16/IBM-3740"},
        {"framing": "slip", "checksum": "CRC-32/ISO-HDLC", "checksum_from": 2, "checksum_until": 1},
        {
            "framing": "sync",
            "sync": Sync(b"\xa5\x5a", LengthField(16, at=1, adds=3, byte_order=ByteOrder.BIG), header=4),
            "checksum": "Fletcher-16",
            "checksum_from": -4,
        },
        {
            "framing": "sync",
            "sync": Sync(b"\xa5\x5a\x01"),
            "checksum": "crc",
            "crc": CrcModel("own CRC", 24, 0x5D6DCB, 0x123456, True, False, 0xFF00),
            "checksum_from": -3,
            "checksum_place": ChecksumPlace.START,
        },
        {"framing": "fixed length", "checksum": "XOR-8"},
    ],
    ids=lambda rest: f"{rest['framing']}, {rest['checksum']}",
)
@pytest.mark.parametrize("order", list(ByteOrder))
def test_every_part_of_a_layout_is_written_so_that_it_is_read_the_same(
    rest: dict[str, object], order: ByteOrder
) -> None:
    bits = BitOrder.MOST if order is ByteOrder.BIG else BitOrder.LEAST
    packet = Packet("own", 200, 30, fields(bits))
    layout = Layout(byte_order=order, packets=(packet,), id_bits=16, id_first_bit=16, **rest)  # type: ignore[arg-type]
    vehicle = loaded(telemetry_toml(Description("x", layout)))
    assert layout_of(vehicle) == replace(layout, checksum=layout_of(vehicle).checksum)


def test_numbers_in_both_byte_orders_are_refused() -> None:
    odd = Field("a", WireKind.UNSIGNED, 16, 8, bit_order=BitOrder.LEAST)
    layout = Layout("cobs", "none", ByteOrder.BIG, (Packet("p", 1, 3, (odd,)),))
    with pytest.raises(LayoutToolError, match=r"p\.a: is sent in another byte order"):
        telemetry_toml(Description("x", layout))


def test_name_that_a_vehicle_file_cannot_have_is_refused() -> None:
    layout = Layout("cobs", "none", ByteOrder.BIG, (Packet("p q", 1, 2, (Field("a", WireKind.UNSIGNED, 8, 8),)),))
    with pytest.raises(LayoutToolError, match="a vehicle file cannot describe this"):
        telemetry_toml(Description("x", layout))


@pytest.mark.parametrize("framing", ["delimited values", "key=value"])
def test_lines_without_a_tag_come_through_a_document_into_the_same_layout(framing: str) -> None:
    values = tuple(Field(name, WireKind.FLOAT, 64, 8 + 64 * place) for place, name in enumerate("abc"))
    packets = (Packet("three", 0, 25, values), Packet("two", 1, 17, values[:2]))
    layout = Layout(framing, "XOR-8", ByteOrder.LITTLE, packets, separator=";", line_mark=LineMark.COUNT)
    written = xtce(Description("x", layout, rates_hz={"three": 5, "two": 1}))
    again = layout_from_xtce(written.encode(), name="layout.xml")
    assert again.layout == layout
    text = telemetry_toml(again)
    assert 'id_type = "none"' in text
    assert layout_of(loaded(text)) == layout
