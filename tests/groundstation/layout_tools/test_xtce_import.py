import contextlib
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mistakes import CURLEW

from decoders.layout import BitOrder, ByteOrder, WireKind
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.xtce_export import xtce
from groundstation.layout_tools.xtce_import import layout_from_xtce

U8 = '<IntegerParameterType name="u8"><IntegerDataEncoding sizeInBits="8"/></IntegerParameterType>'


def document(
    types: str = "", parameters: str = "", containers: str = "", inner: str = "", name: str = "Own"
) -> bytes:
    return f"""<SpaceSystem name="{name}" xmlns="http://www.omg.org/spec/XTCE/20180204"><TelemetryMetaData>
<ParameterTypeSet>{U8}{types}</ParameterTypeSet>
<ParameterSet><Parameter name="a" parameterTypeRef="u8"/><Parameter name="b" parameterTypeRef="u8"/>{parameters}
</ParameterSet><ContainerSet>{containers}</ContainerSet></TelemetryMetaData>{inner}</SpaceSystem>""".encode()


def container(entries: str, name: str = "P", rest: str = "", **attributes: str) -> str:
    more = "".join(f' {key}="{value}"' for key, value in attributes.items())
    return f'<SequenceContainer name="{name}"{more}><EntryList>{entries}</EntryList>{rest}</SequenceContainer>'


A, B = '<ParameterRefEntry parameterRef="a"/>', '<ParameterRefEntry parameterRef="b"/>'


def places(data: bytes) -> dict[str, tuple[int, int]]:
    (packet,) = layout_from_xtce(data, name="own.xml").layout.packets
    return {item.name: (item.first_bit, item.bits) for item in packet.fields}


def test_entries_stand_one_behind_the_other() -> None:
    assert places(document(containers=container(A + B))) == {"a": (0, 8), "b": (8, 8)}


def test_places_count_from_the_previous_entry_or_the_start() -> None:
    from_start = (
        '<ParameterRefEntry parameterRef="b"><LocationInContainerInBits referenceLocation="containerStart">'
        "<FixedValue>32</FixedValue></LocationInContainerInBits></ParameterRefEntry>"
    )
    assert places(document(containers=container(A + from_start))) == {"a": (0, 8), "b": (32, 8)}
    from_previous = from_start.replace(' referenceLocation="containerStart"', "")
    assert places(document(containers=container(A + from_previous))) == {"a": (0, 8), "b": (40, 8)}


def test_nested_container_stands_in_the_place_of_its_entry() -> None:
    inner = container(A, name="Inner")
    outer = container(B + '<ContainerRefEntry containerRef="Inner"/>')
    assert places(document(containers=inner + outer)) == {"b": (0, 8), "a": (8, 8)}


def test_packets_are_told_apart_by_the_label_of_an_enumeration() -> None:
    kind = (
        '<EnumeratedParameterType name="kind"><IntegerDataEncoding sizeInBits="8"/><EnumerationList>'
        '<Enumeration value="9" label="HEALTH"/></EnumerationList></EnumeratedParameterType>'
    )
    head = container('<ParameterRefEntry parameterRef="k"/>', name="Head", abstract="true")
    base = (
        '<BaseContainer containerRef="Head"><RestrictionCriteria><Comparison parameterRef="k" value="HEALTH"/>'
        "</RestrictionCriteria></BaseContainer>"
    )
    data = document(kind, '<Parameter name="k" parameterTypeRef="kind"/>', head + container(A, rest=base))
    layout = layout_from_xtce(data, name="own.xml").layout
    assert (layout.packets[0].id, layout.id_bits, layout.id_first_bit) == (9, 8, 0)


def test_discriminator_may_be_any_bits_of_the_packet() -> None:
    """The primary header of space packets (CCSDS 133.0-B): APID is 11 bits from bit 5."""
    types = "".join(
        f'<IntegerParameterType name="u{n}"><IntegerDataEncoding sizeInBits="{n}"/></IntegerParameterType>'
        for n in (3, 1, 11)
    )
    names = (("version", 3), ("type", 1), ("secondary", 1), ("apid", 11))
    parameters = "".join(f'<Parameter name="{name}" parameterTypeRef="u{n}"/>' for name, n in names)
    entries = "".join(f'<ParameterRefEntry parameterRef="{name}"/>' for name, _ in names)
    packets = "".join(
        container(
            A,
            name=f"P{apid}",
            rest='<BaseContainer containerRef="Head"><RestrictionCriteria><ComparisonList>'
            f'<Comparison parameterRef="apid" value="0x{apid:X}"/><Comparison parameterRef="version" value="0"/>'
            "</ComparisonList></RestrictionCriteria></BaseContainer>",
        )
        for apid in (0x123, 0x124)
    )
    head = container(entries, name="Head", abstract="true")
    layout = layout_from_xtce(document(types, parameters, head + packets), name="own.xml").layout
    assert (layout.id_bits, layout.id_first_bit, layout.id_bit_order) == (11, 5, BitOrder.MOST)
    assert [packet.id for packet in layout.packets] == [0x123, 0x124]
    assert [packet.field("a").first_bit for packet in layout.packets] == [16, 16]


def test_references_reach_systems_inside_and_outside() -> None:
    inner = """<SpaceSystem name="Inner"><TelemetryMetaData><ParameterSet>
        <Parameter name="c" parameterTypeRef="u8"/></ParameterSet><ContainerSet>
        <SequenceContainer name="P"><EntryList><ParameterRefEntry parameterRef="c"/>
        <ParameterRefEntry parameterRef="../a"/><ParameterRefEntry parameterRef="/Own/b"/>
        </EntryList></SequenceContainer></ContainerSet></TelemetryMetaData></SpaceSystem>"""
    assert list(places(document(inner=inner))) == ["c", "a", "b"]


def test_schema_defaults_hold() -> None:
    """XTCE 1.2: whole numbers are 8 bits and unsigned, floats 32 bits, most significant byte first."""
    types = (
        '<IntegerParameterType name="i"><IntegerDataEncoding/></IntegerParameterType>'
        '<FloatParameterType name="f"><FloatDataEncoding/></FloatParameterType>'
    )
    parameters = '<Parameter name="i" parameterTypeRef="i"/><Parameter name="f" parameterTypeRef="f"/>'
    entries = '<ParameterRefEntry parameterRef="i"/><ParameterRefEntry parameterRef="f"/>'
    layout = layout_from_xtce(document(types, parameters, container(entries)), name="own.xml").layout
    first, second = layout.packets[0].fields
    assert (first.kind, first.bits) == (WireKind.UNSIGNED, 8)
    assert (second.kind, second.bits) == (WireKind.FLOAT, 32)
    assert layout.byte_order is ByteOrder.BIG


def test_time_has_the_scale_of_its_encoding() -> None:
    types = (
        '<AbsoluteTimeParameterType name="t"><Encoding units="seconds" scale="0.001" offset="5">'
        '<IntegerDataEncoding sizeInBits="32"/></Encoding></AbsoluteTimeParameterType>'
    )
    parameters = '<Parameter name="t" parameterTypeRef="t"/>'
    data = document(types, parameters, container('<ParameterRefEntry parameterRef="t"/>'))
    description = layout_from_xtce(data, name="own.xml")
    (item,) = description.of(description.layout.packets[0])
    assert (item.field.scale, item.field.bias, item.unit) == (0.001, 5.0, "s")


def typed(encoding: str) -> bytes:
    types = f'<IntegerParameterType name="x">{encoding}</IntegerParameterType>'
    return document(
        types, '<Parameter name="x" parameterTypeRef="x"/>', container('<ParameterRefEntry parameterRef="x"/>')
    )


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no XML"),
        (b"<SpaceSystem", "own.xml:1: is no XML"),
        (b"<Other/>", "found the element 'Other', expected SpaceSystem"),
        (b'<SpaceSystem name="x"/>', "found no container"),
        (document(containers=container('<ParameterRefEntry parameterRef="zz"/>')), "refers to 'zz'"),
        (document(containers=container("<ArrayParameterRefEntry/>")), "ArrayParameterRefEntry is not supported yet"),
        (document(containers=container(A + A)), "found the name twice"),
        (
            document(containers=container(A.replace("/>", "><IncludeCondition/></ParameterRefEntry>"))),
            "IncludeCondition is not supported yet",
        ),
        (
            document(containers=container(A, rest='<BaseContainer containerRef="P"/>')),
            "found no container that is not abstract",
        ),
        (document(containers=container(A) + container(B, name="Q")), "discriminator"),
        (typed('<IntegerDataEncoding encoding="BCD"/>'), "the encoding 'BCD' is not supported yet"),
        (typed('<IntegerDataEncoding sizeInBits="65"/>'), "found 65 bits, expected 1 to 64"),
        (typed('<IntegerDataEncoding sizeInBits="many"/>'), "found 'many', expected a whole number"),
        (typed('<IntegerDataEncoding bitOrder="leastSignificantBitFirst"/>'), "lowest bit first"),
        (typed('<FloatDataEncoding sizeInBits="128"/>'), "floats as IEEE754_1985 of 128 bits"),
        (typed("<StringDataEncoding/>"), "has no encoding of whole numbers or floats"),
        (
            typed(
                "<IntegerDataEncoding><DefaultCalibrator><MathOperationCalibrator/></DefaultCalibrator></IntegerDataEncoding>"
            ),
            "neither a polynomial nor a table",
        ),
        (b"<SpaceSystem name='x'>" + b"<SpaceSystem name='x'>" * 70, "nested more than 64 deep"),
    ],
)
def test_what_is_not_supported_is_refused_by_name(data: bytes, words: str) -> None:
    with pytest.raises(LayoutToolError) as refused:
        layout_from_xtce(data, name="own.xml")
    assert words in str(refused.value)


def test_circle_of_containers_is_refused() -> None:
    first = container(A, name="P", rest='<BaseContainer containerRef="Q"/>')
    second = container(B, name="Q", rest='<BaseContainer containerRef="P"/>')
    third = container("", name="R", rest='<BaseContainer containerRef="Q"/>')
    with pytest.raises(LayoutToolError, match="round in a circle"):
        layout_from_xtce(document(containers=first + second + third), name="own.xml")


@pytest.mark.parametrize(
    "head",
    [
        b'<!DOCTYPE x SYSTEM "file:///etc/passwd">',
        b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>',
        b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>',
    ],
)
def test_document_type_and_entities_are_refused(head: bytes) -> None:
    with pytest.raises(LayoutToolError, match="document type"):
        layout_from_xtce(head + document(containers=container(A)), name="own.xml")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**32), st.integers(1, 4))
def test_damaged_documents_give_the_documented_error_or_a_layout(seed: int, changes: int) -> None:
    chance = random.Random(seed)
    data = bytearray(xtce(CURLEW).encode())
    for _ in range(changes):
        at = chance.randrange(len(data))
        data[at : at + chance.randrange(30)] = chance.choice(
            [b"", b'"', b"9", b"<", b"-1", b"Q", chance.randbytes(2)]
        )
    with contextlib.suppress(LayoutToolError):  # and no other
        assert layout_from_xtce(bytes(data), name="own.xml").layout.packets
