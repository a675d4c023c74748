import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.columns import ColumnReader
from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Field, Packet, WireKind


@given(st.data(), st.integers(0, 5), st.integers(0, 5))
def test_columns_of_any_layout_hold_the_packed_numbers(bench, data, before, after):
    layout = data.draw(bench.layouts())
    packet = layout.packets[0]
    one_kind = type(layout)(
        layout.framing, layout.checksum, layout.byte_order, (packet,), layout.id_bits, layout.checksum_order
    )
    samples = data.draw(st.lists(bench.samples(one_kind), max_size=4))
    noise = st.binary(min_size=before, max_size=before), st.binary(min_size=after, max_size=after)
    rows = b"".join(data.draw(noise[0]) + sample.body + data.draw(noise[1]) for sample in samples)
    reader = ColumnReader(packet, layout.byte_order, row_length=before + packet.length + after, body_at=before)
    columns = reader.read(rows)
    assert list(columns) == [item.name for item in packet.fields]
    for item in packet.fields:
        expected = bench.expected_column(item, [sample.raws[item.name] for sample in samples])
        assert bench.equal_columns(columns[item.name], expected), item


def test_columns_keep_no_reference_to_the_rows_and_can_be_written_to():
    packet = Packet("a", 0, 4, (Field("x", WireKind.UNSIGNED, 8, 0), Field("y", WireKind.SIGNED, 16, 16, scale=2.0)))
    columns = ColumnReader(packet, ByteOrder.LITTLE, row_length=4).read(bytes(8))
    for column in columns.values():
        column += 1
        assert np.all(column == 1)


@pytest.mark.parametrize(
    "item",
    [
        Field("x", WireKind.UNSIGNED, 12, 8),
        Field("x", WireKind.UNSIGNED, 72, 8),
        Field("x", WireKind.UNSIGNED, 8, 4),
        Field("x", WireKind.FLOAT, 16, 8),
        Field("x", WireKind.FLOAT, 32, 8, container_bits=32),
        Field("x", WireKind.UNSIGNED, 4, 8, container_bits=8, shift=5),
        Field("x", WireKind.UNSIGNED, 0, 8, container_bits=8),
        Field("x", WireKind.UNSIGNED, 4, 8, container_bits=8, shift=-1),
        Field("x", WireKind.UNSIGNED, 8, 8, scale=0.0),
    ],
)
def test_field_that_no_number_can_hold_is_refused_by_name(item):
    with pytest.raises(LayoutError) as caught:
        ColumnReader(Packet("a", 1, 12, (item,)), ByteOrder.LITTLE, row_length=12)
    assert caught.value.where == "a.x"


def test_two_fields_of_one_name_are_refused():
    fields = (Field("x", WireKind.UNSIGNED, 8, 0), Field("x", WireKind.UNSIGNED, 8, 8))
    with pytest.raises(LayoutError, match=r"a\.x: found the name twice"):
        ColumnReader(Packet("a", 1, 2, fields), ByteOrder.LITTLE, row_length=2)
