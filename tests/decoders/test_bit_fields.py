"""Numbers of any width anywhere in a body, against slices of the whole body taken as one long number."""

import dataclasses
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.columns import ColumnReader
from decoders.errors import LayoutError
from decoders.fields import raw_of
from decoders.layout import BitOrder, ByteOrder, Field, Layout, Packet, WireKind
from decoders.packing import FrameEncoder
from decoders.stream import StreamDecoder

from .both_ways import readable

KINDS = [WireKind.UNSIGNED, WireKind.SIGNED, WireKind.BOOLEAN]
SCALES = st.sampled_from([(1.0, 0.0), (1.0, 0.0), (0.25, 0.0), (-2.0, 7.5)])


def sliced(body, item):
    """The bits of a field, by its definition: the body is one number, its first bit the highest or the lowest."""
    if item.bit_order is BitOrder.MOST:
        return int.from_bytes(body, "big") >> (8 * len(body) - item.first_bit - item.bits) & ((1 << item.bits) - 1)
    return int.from_bytes(body, "little") >> item.first_bit & ((1 << item.bits) - 1)


def meant(item, number):
    """What those bits of a field say."""
    if item.kind is WireKind.BOOLEAN:
        return number != 0
    if item.kind is WireKind.SIGNED and number >> (item.bits - 1):
        number -= 1 << item.bits
    return number if (item.scale, item.bias) == (1.0, 0.0) else float(number) * item.scale + item.bias


@st.composite
def packed_packets(draw):
    """A packet of fields that follow each other bit by bit, some with a gap between, both bit orders mixed."""
    at, fields = 8, []
    order = draw(st.sampled_from(BitOrder))
    for number in range(draw(st.integers(1, 8))):
        at += draw(st.sampled_from([0, 0, 0, 1, 5, 17]))
        kind = draw(st.sampled_from(KINDS))
        scale, bias = (1.0, 0.0) if kind is WireKind.BOOLEAN else draw(SCALES)
        bits, count = draw(st.integers(1, 64)), draw(st.sampled_from([1, 1, 1, 2, 5]))
        fields.append(Field(f"f{number}", kind, bits, at, scale, bias, bit_order=order, count=count))
        at += bits * count
    return Packet("p", 7, (at + 7) // 8, tuple(fields))


@given(st.data(), packed_packets(), st.sampled_from(ByteOrder), st.integers(0, 3), st.integers(0, 9))
def test_bits_anywhere_are_those_of_the_body_as_one_number(data, packet, byte_order, before, after):
    bodies = data.draw(st.lists(st.binary(min_size=packet.length, max_size=packet.length), min_size=1, max_size=4))
    rows = b"".join(b"\xff" * before + body + b"\xaa" * after for body in bodies)
    reader = ColumnReader(packet, byte_order, row_length=before + packet.length + after, body_at=before)
    columns = reader.read(rows)
    assert tuple(columns) == packet.columns
    for item in packet.fields:
        for element in item.elements:
            expected = [meant(element, sliced(body, element)) for body in bodies]
            assert columns[element.name].tolist() == expected, element
            raws = [raw_of(element, body, byte_order) for body in bodies]
            signed = dataclasses.replace(element, scale=1.0, bias=0.0)
            assert raws == [meant(signed, sliced(body, element)) for body in bodies]


@given(st.data(), packed_packets(), st.sampled_from(ByteOrder))
def test_packing_puts_bits_where_reading_finds_them_and_nothing_else(data, packet, byte_order):
    numbers = {
        e.name: data.draw(st.integers(0, 1 if e.kind is WireKind.BOOLEAN else 2**e.bits - 1))
        for item in packet.fields
        for e in item.elements
    }
    exact = {  # raw numbers that float64 holds, where a scale is between
        e.name: numbers[e.name] if (e.scale, e.bias) == (1.0, 0.0) else numbers[e.name] >> max(0, e.bits - 50)
        for item in packet.fields
        for e in item.elements
    }
    values = {e.name: meant(e, exact[e.name]) for item in packet.fields for e in item.elements}
    values = {name: int(v) if isinstance(v, bool) else v for name, v in values.items()}
    layout = Layout("cobs", "CRC-16/IBM-3740", byte_order, (packet,))
    body = FrameEncoder(layout).body("p", values)
    for item in packet.fields:
        for element in item.elements:
            assert sliced(body, element) == exact[element.name]
    blank = bytearray(body)
    blank[0] = 0
    rest = int.from_bytes(blank, "big")
    for item in packet.fields:
        for element in item.elements:
            for bit in range(element.first_bit, element.first_bit + element.bits):
                byte, within = divmod(bit, 8)
                within = 7 - within if item.bit_order is BitOrder.MOST else within
                rest &= ~(1 << 8 * (len(body) - 1 - byte) + within)
    assert rest == 0
    assert body[0] == 7


@pytest.mark.parametrize("order", BitOrder)
@pytest.mark.parametrize("bits", range(1, 65))
def test_every_width_at_every_bit_of_a_byte(bits, order):
    rng = np.random.default_rng(bits)
    bodies = [rng.bytes(10) for _ in range(3)]
    for first in range(8, 16):
        for kind in (WireKind.UNSIGNED, WireKind.SIGNED):
            item = Field("x", kind, bits, first, bit_order=order)
            reader = ColumnReader(Packet("p", 0, 10, (item,)), ByteOrder.BIG, row_length=10)
            found = reader.read(b"".join(bodies))["x"]
            assert found.tolist() == [meant(item, sliced(body, item)) for body in bodies]
            assert found.dtype.itemsize == next(size for size in (1, 2, 4, 8) if 8 * size >= bits)


@pytest.mark.parametrize("order", BitOrder)
@pytest.mark.parametrize("bits", [32, 64])
@given(first=st.integers(8, 23), number=st.floats(allow_nan=False, width=32), scale=st.sampled_from([1.0, 0.5]))
def test_floats_off_whole_bytes_keep_every_bit(bits, order, first, number, scale):
    item = Field("x", WireKind.FLOAT, bits, first, scale=scale, bit_order=order)
    layout = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (Packet("p", 0, 11, (item,)),))
    value = float(np.float32(number * 0.25))
    body = FrameEncoder(layout).body("p", {"x": value * scale})
    packed = struct.unpack(">I" if bits == 32 else ">Q", struct.pack(">f" if bits == 32 else ">d", value))[0]
    assert sliced(body, item) == packed
    reader = ColumnReader(layout.packets[0], ByteOrder.LITTLE, row_length=11)
    assert reader.read(body)["x"].tolist() == [value * scale]


@settings(max_examples=10, deadline=None)
@given(packed_packets(), st.sampled_from(ByteOrder), st.integers(0, 2**32 - 1))
def test_tiles_give_bits_anywhere_as_the_readable_way_does(bench, packet, byte_order, seed):
    layout = Layout("cobs", "CRC-16/IBM-3740", byte_order, (packet,))
    rng = np.random.default_rng(seed)
    bodies = [b"\x07" + rng.bytes(packet.length - 1) for _ in range(2500)]
    stream = b"".join(bench.frame_of(layout, body) for body in bodies)
    stream += bytes(max(0, 40_000 - len(stream)))
    fast, slow = StreamDecoder(layout), readable(layout)
    (mine,), (theirs,) = fast.feed(stream).tables, slow.feed(stream).tables
    assert len(mine) == len(theirs) == len(bodies)
    assert tuple(mine.columns) == packet.columns
    for name, column in mine.columns.items():
        assert bench.equal_columns(column, theirs.columns[name]), name


@pytest.mark.parametrize(
    "item",
    [
        Field("x", WireKind.UNSIGNED, 65, 8, bit_order=BitOrder.MOST),
        Field("x", WireKind.UNSIGNED, 0, 8, bit_order=BitOrder.MOST),
        Field("x", WireKind.UNSIGNED, 4, 8, container_bits=8, bit_order=BitOrder.MOST),
        Field("x", WireKind.TEXT, 16, 12),
        Field("x", WireKind.TEXT, 12, 8),
        Field("x", WireKind.QUATERNION, 33, 8, bit_order=BitOrder.MOST),
        Field("x", WireKind.QUATERNION, 32, 8, scale=2.0),
    ],
)
def test_field_that_cannot_be_is_refused(item):
    with pytest.raises(LayoutError, match="found"):
        ColumnReader(Packet("a", 1, 20, (item,)), ByteOrder.LITTLE, row_length=20)


def test_array_of_nothing_or_of_bit_fields_of_one_number_is_refused():
    with pytest.raises(LayoutError, match="x: found 0 of it"):
        Field("x", WireKind.UNSIGNED, 8, 8, count=0)
    with pytest.raises(LayoutError, match="x: found 2 of it, expected one bit field of a number"):
        Field("x", WireKind.UNSIGNED, 4, 8, container_bits=8, count=2)
