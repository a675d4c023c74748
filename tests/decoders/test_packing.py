import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Field, Layout, Packet, WireKind
from decoders.packing import FrameEncoder

POWER = Packet(
    "power",
    7,
    6,
    (
        Field("v", WireKind.UNSIGNED, 16, 8, scale=0.001, unit="V"),
        Field("temp", WireKind.SIGNED, 8, 24, scale=0.5, bias=20.0, unit="degC"),
        Field("on", WireKind.BOOLEAN, 1, 32, container_bits=16, shift=0),
        Field("trim", WireKind.SIGNED, 4, 32, container_bits=16, shift=9),
    ),
)
LITTLE = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (POWER,))
BIG = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.BIG, (POWER,), checksum_order=ByteOrder.BIG)
VALUES = {"v": 11.7, "temp": 17.5, "on": 1, "trim": -3}
# 11.7 V = 0x2DB4; (17.5 - 20) / 0.5 = -5 = 0xFB; -3 in 4 bits = 0xD, at bit 9: 0x1A00, and bit 0: 0x1A01


@pytest.mark.parametrize(("layout", "body"), [(LITTLE, "07 B4 2D FB 01 1A"), (BIG, "07 2D B4 FB 1A 01")])
def test_body_is_laid_out_as_written_by_hand(layout, body):
    assert FrameEncoder(layout).body("power", VALUES) == bytes.fromhex(body)


@pytest.mark.parametrize("layout", [LITTLE, BIG])
def test_frame_is_the_body_with_crc_stuffed_and_delimited(bench, layout):
    encoder = FrameEncoder(layout)
    assert encoder.encode("power", VALUES) == bench.frame_of(layout, encoder.body("power", VALUES))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("v", 65.5356),
        ("v", -0.001),
        ("v", float("nan")),
        ("v", float("inf")),
        ("temp", 84.0),
        ("on", 2),
        ("on", 0.5),
        ("trim", 8),
        ("trim", -9),
    ],
)
def test_value_that_does_not_fit_is_refused_by_packet_and_field(name, value):
    with pytest.raises(LayoutError, match="expected") as caught:
        FrameEncoder(LITTLE).encode("power", {**VALUES, name: value})
    assert caught.value.where == f"power.{name}"


def test_missing_unknown_and_misnamed_values_are_refused():
    encoder = FrameEncoder(LITTLE)
    with pytest.raises(LayoutError, match=r"power\.trim: found no value"):
        encoder.encode("power", {"v": 1, "temp": 20, "on": 0})
    with pytest.raises(LayoutError, match="power: has no field amps"):
        encoder.encode("power", {**VALUES, "amps": 1})
    with pytest.raises(LayoutError, match="expected one of power"):
        encoder.encode("powder", VALUES)


def test_float_too_large_for_32_bits_is_refused():
    layout = Layout(
        "cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (Packet("a", 1, 5, (Field("x", WireKind.FLOAT, 32, 8),)),)
    )
    with pytest.raises(LayoutError, match=r"a\.x: found 1e\+39"):
        FrameEncoder(layout).encode("a", {"x": 1e39})


@pytest.mark.parametrize(("kind", "value"), [(WireKind.UNSIGNED, 2**64 - 1), (WireKind.SIGNED, -(2**63) + 1)])
def test_whole_numbers_of_64_bits_keep_every_bit(kind, value):
    layout = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.BIG, (Packet("a", 1, 9, (Field("x", kind, 64, 8),)),))
    body = FrameEncoder(layout).body("a", {"x": value})
    assert int.from_bytes(body[1:], "big", signed=kind is WireKind.SIGNED) == value


def zero(item):
    """The raw number of a field whose value is its bias; a float keeps the sign that the scale gives its zero."""
    return 0.0 / item.scale if item.kind is WireKind.FLOAT else 0


@given(st.data())
def test_raw_numbers_of_any_layout_stand_where_the_layout_says(bench, data):
    layout = data.draw(bench.layouts())
    sample = data.draw(bench.samples(layout))
    fields = {item.name: item for item in sample.packet.fields}
    plain = {name for name, item in fields.items() if item.scale == 1 and item.bias == 0}
    values = {name: raw if name in plain else fields[name].bias for name, raw in sample.raws.items()}
    raws = {name: raw if name in plain else zero(fields[name]) for name, raw in sample.raws.items()}
    assert FrameEncoder(layout).body(sample.packet.name, values) == bench.body_of(layout, sample.packet, raws)
