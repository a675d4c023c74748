import math
import random
import struct
import warnings
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest

from decoders.calibration import Points, Polynomial
from decoders.columns import ColumnReader
from decoders.fields import number_place, place_of, raw_limits, raw_of, value_of
from decoders.layout import BitOrder, ByteOrder, Field, Layout, Packet, WireKind
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.layout_tools.described import Description, described
from groundstation.layout_tools.xtce_export import xtce
from groundstation.layout_tools.xtce_import import layout_from_xtce

# The library decodes by XTCE documents; with it comes the Object Management Group's own schema of XTCE 1.2.
with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from space_packet_parser import load_xtce, validate_xtce

# XTCE 1.2 (OMG; CCSDS 660.0-B-2): an own example that uses each element of the subset, valid against the schema.
# Expected values are worked out by hand from the standard's definitions.
EXAMPLE = """<?xml version="1.0" encoding="UTF-8"?>
<SpaceSystem name="Pad" xmlns="http://www.omg.org/spec/XTCE/20180204"><TelemetryMetaData><ParameterTypeSet>
  <IntegerParameterType name="u8"><IntegerDataEncoding sizeInBits="8"/></IntegerParameterType>
  <FloatParameterType name="volts" sizeInBits="32"><UnitSet><Unit>V</Unit></UnitSet>
   <IntegerDataEncoding sizeInBits="16" encoding="unsigned" byteOrder="leastSignificantByteFirst">
    <DefaultCalibrator><PolynomialCalibrator><Term coefficient="0.5" exponent="0"/>
     <Term coefficient="0.001" exponent="1"/></PolynomialCalibrator></DefaultCalibrator>
   </IntegerDataEncoding></FloatParameterType>
  <FloatParameterType name="alt"><FloatDataEncoding sizeInBits="32" encoding="IEEE754_1985"/></FloatParameterType>
  <EnumeratedParameterType name="mode"><IntegerDataEncoding sizeInBits="8"/><EnumerationList>
   <Enumeration value="0" label="IDLE"/><Enumeration value="1" label="COAST"/></EnumerationList>
  </EnumeratedParameterType>
  <BooleanParameterType name="flag"><IntegerDataEncoding sizeInBits="1"/></BooleanParameterType></ParameterTypeSet>
 <ParameterSet><Parameter name="id" parameterTypeRef="u8"/><Parameter name="vbat" parameterTypeRef="volts"/>
  <Parameter name="h" parameterTypeRef="alt"/><Parameter name="st" parameterTypeRef="mode"/>
  <Parameter name="f0" parameterTypeRef="flag"/></ParameterSet>
 <ContainerSet><SequenceContainer name="Head" abstract="true"><EntryList><ParameterRefEntry parameterRef="id"/>
   </EntryList></SequenceContainer>
  <SequenceContainer name="Health"><EntryList><ParameterRefEntry parameterRef="vbat"/>
   <ParameterRefEntry parameterRef="h"/><ParameterRefEntry parameterRef="st"/>
   <ParameterRefEntry parameterRef="f0"><LocationInContainerInBits referenceLocation="previousEntry">
    <FixedValue>7</FixedValue></LocationInContainerInBits></ParameterRefEntry></EntryList>
   <BaseContainer containerRef="Head"><RestrictionCriteria><Comparison parameterRef="id" value="7"/>
   </RestrictionCriteria></BaseContainer></SequenceContainer></ContainerSet></TelemetryMetaData></SpaceSystem>
"""
CURLEW = described(load_vehicle(EXAMPLE_VEHICLE))


def of_every_kind(order: ByteOrder) -> Description:
    """Every kind of field that an export knows, in two packets."""
    bits = BitOrder.MOST
    first = (
        Field("u8", WireKind.UNSIGNED, 8, 16, labels=((0, "idle"), (1, "boost"))),
        Field("i16", WireKind.SIGNED, 16, 24, 0.25, -3.0),
        Field("u24", WireKind.UNSIGNED, 24, 40),
        Field("i40", WireKind.SIGNED, 40, 64),
        Field("u64", WireKind.UNSIGNED, 64, 104),
        Field("f32", WireKind.FLOAT, 32, 168),
        Field("f64", WireKind.FLOAT, 64, 200, 2.0, 1.0),
        Field("on", WireKind.BOOLEAN, 8, 264),
        Field("low", WireKind.UNSIGNED, 3, 272, container_bits=8, shift=0),
        Field("high", WireKind.SIGNED, 2, 272, container_bits=8, shift=6),
        Field("eleven", WireKind.UNSIGNED, 11, 285, bit_order=bits),
        Field("curved", WireKind.SIGNED, 16, 296, curve=Polynomial((1.5, -0.25, 0.001))),
        # one beyond the greatest raw number: the library fails at a table's last point
        Field("table", WireKind.UNSIGNED, 8, 312, curve=Points((0.0, 100.0, 256.0), (-10.0, 5.0, 90.0))),
    )
    second = (Field("b", WireKind.UNSIGNED, 32, 48),)
    packets = (Packet("first", 300, 42, first), Packet("second", 301, 10, second))
    return Description("Every kind", Layout("cobs", "CRC-16/IBM-3740", order, packets, id_bits=16))


def document(description: Description, folder: Path) -> Path:
    path = folder / "layout.xml"
    path.write_text(xtce(description), encoding="utf-8")
    return path


def body_of(layout: Layout, packet: Packet, chance: random.Random) -> bytes:
    """A random body whose numbers are all that their fields can say."""
    body = bytearray(packet.length)
    number_place(layout.id_first_bit, layout.id_bits, layout.byte_order, layout.id_bit_order, "id").put(
        body, packet.id
    )
    for item in packet.fields:
        if item.kind is WireKind.FLOAT:
            number = chance.uniform(-1, 1) * 10.0 ** chance.randrange(-20, 20)
            raw = int.from_bytes(struct.pack("<f" if item.bits == 32 else "<d", number), "little")
        elif item.kind is WireKind.BOOLEAN or item.labels:
            raw = chance.randrange(2)
        else:
            raw = chance.randint(*raw_limits(item)) & ((1 << item.bits) - 1)
        place_of(item, layout.byte_order, item.name).put(body, raw)
    return bytes(body)


def assert_equal_to_reference(description: Description, folder: Path, count: int) -> int:
    """How many values were compared."""
    reference = load_xtce(document(description, folder))
    chance = random.Random(13)
    compared = 0
    for _ in range(count):
        packet = chance.choice(description.layout.packets)
        body = body_of(description.layout, packet, chance)
        found = reference.parse_bytes(body, root_container_name="AnyPacket")
        reader = ColumnReader(packet, description.layout.byte_order, row_length=packet.length)
        columns = reader.read(body)
        for item in description.of(packet):
            theirs = found[f"{packet.name}_{item.field.name}"]
            raw = raw_of(item.field, body, description.layout.byte_order)
            assert theirs.raw_value == raw or (raw != raw and theirs.raw_value != theirs.raw_value)
            compared += 1
            if item.field.labels:
                assert str(theirs) == dict(item.field.labels)[raw]
                continue
            ours = item.shown(float(columns[item.field.name][0]))
            assert float(theirs) == pytest.approx(ours, rel=1e-12, abs=1e-9)
    return compared


@pytest.mark.parametrize("order", list(ByteOrder))
def test_exported_definition_decodes_in_the_reference_library_to_the_same_values(
    order: ByteOrder, tmp_path: Path
) -> None:
    assert assert_equal_to_reference(of_every_kind(order), tmp_path, 500) > 3_000


def test_example_vehicle_decodes_in_the_reference_library_to_the_same_values(tmp_path: Path) -> None:
    assert assert_equal_to_reference(CURLEW, tmp_path, 1_000) > 15_000


@pytest.mark.parametrize(
    "description",
    [CURLEW, of_every_kind(ByteOrder.LITTLE), of_every_kind(ByteOrder.BIG)],
    ids=["example", "little", "big"],
)
def test_exported_document_is_valid_by_the_published_schema(description: Description) -> None:
    text = xtce(description)
    # the validator finds its copy of the schema by the address that a document names
    located = text.replace(
        "<SpaceSystem ",
        '<SpaceSystem xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" '
        'xsi:schemaLocation="http://www.omg.org/spec/XTCE/20180204 '
        'https://www.omg.org/spec/XTCE/20180204/SpaceSystem.xsd" ',
        1,
    )
    result = validate_xtce(BytesIO(located.encode()), level="schema")
    assert result.valid, [str(error) for error in result.errors]


def test_worked_example_decodes_to_the_values_of_the_standard() -> None:
    description = layout_from_xtce(EXAMPLE.encode(), name="example.xml")
    (packet,) = description.layout.packets
    body = bytes.fromhex("07 E0 2E 42 F7 00 00 01 01")
    assert (packet.name, packet.id, packet.length) == ("Health", 7, 9)
    values = {}
    for item in description.of(packet):
        raw = raw_of(item.field, body, description.layout.byte_order)
        assert not isinstance(raw, bytes)
        values[item.field.name] = (raw, value_of(item.field, raw))
    assert values["vbat"] == (12000, pytest.approx(12.5, abs=1e-12))
    assert values["h"] == (123.5, 123.5)
    assert dict(packet.field("st").labels)[int(values["st"][0])] == "COAST"
    assert values["f0"] == (1, 1)
    assert {item.field.name: item.unit for item in description.of(packet)} == {
        "vbat": "V",
        "h": "1",
        "st": "1",
        "f0": "1",
    }


def test_reference_library_agrees_on_the_worked_example(tmp_path: Path) -> None:
    path = tmp_path / "example.xml"
    # it passes over LocationInContainerInBits: the seven bits have to be a parameter
    filled = EXAMPLE.replace(
        '<ParameterRefEntry parameterRef="f0">',
        '<ParameterRefEntry parameterRef="gap"/><ParameterRefEntry parameterRef="f0">',
    )
    filled = filled.replace(
        '<Parameter name="f0"', '<Parameter name="gap" parameterTypeRef="seven"/><Parameter name="f0"'
    )
    filled = filled.replace(
        "<BooleanParameterType",
        '<IntegerParameterType name="seven"><IntegerDataEncoding sizeInBits="7"/></IntegerParameterType>'
        "<BooleanParameterType",
    )
    path.write_text(filled, encoding="utf-8")
    found = load_xtce(path).parse_bytes(bytes.fromhex("07 E0 2E 42 F7 00 00 01 01"), root_container_name="Head")
    assert (float(found["vbat"]), float(found["h"]), str(found["st"]), bool(found["f0"])) == (
        12.5,
        123.5,
        "COAST",
        True,
    )


@pytest.mark.parametrize(
    "description",
    [CURLEW, of_every_kind(ByteOrder.LITTLE), of_every_kind(ByteOrder.BIG)],
    ids=["example", "little", "big"],
)
def test_round_trip_gives_the_same_layout(description: Description) -> None:
    again = layout_from_xtce(xtce(description).encode(), name="layout.xml")
    assert again.layout == description.layout
    assert again.name == description.name
    assert dict(again.rates_hz) == dict(description.rates_hz)
    for packet in description.layout.packets:
        for before, after in zip(description.of(packet), again.of(packet), strict=True):
            assert replace(before, packet=after.packet) == after or (math.isinf(before.least) and before == after)
