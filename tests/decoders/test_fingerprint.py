import dataclasses
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.calibration import DegreesMinutes, Points, Polynomial
from decoders.crc import CrcModel
from decoders.fingerprint import fingerprint_text, layout_fingerprint
from decoders.layout import (
    Address,
    BitOrder,
    ByteOrder,
    ChecksumPlace,
    Field,
    Layout,
    LengthField,
    Packet,
    Sync,
    WireKind,
)

ITEM = Field("v", WireKind.UNSIGNED, 16, 8, scale=0.001, unit="V")
PACKET = Packet("power", 7, 5, (ITEM, Field("t", WireKind.SIGNED, 16, 24)))
LAYOUT = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (PACKET, Packet("other", 8, 1, ())))


def with_packet(**changes):
    return dataclasses.replace(LAYOUT, packets=(dataclasses.replace(PACKET, **changes), LAYOUT.packets[1]))


def with_field(**changes):
    return with_packet(fields=(dataclasses.replace(ITEM, **changes), PACKET.fields[1]))


SYNC = Sync(b"\xa5\x5a", LengthField(8, 0, 1), 1)
OTHERS = [
    dataclasses.replace(LAYOUT, framing="slip"),
    dataclasses.replace(LAYOUT, separator=";"),
    dataclasses.replace(LAYOUT, checksum="CRC-16/XMODEM"),
    dataclasses.replace(LAYOUT, checksum_order=ByteOrder.BIG),
    dataclasses.replace(LAYOUT, checksum_place=ChecksumPlace.START),
    dataclasses.replace(LAYOUT, checksum_from=1),
    dataclasses.replace(LAYOUT, checksum_until=1),
    dataclasses.replace(LAYOUT, crc=CrcModel("own", 16, 0x1021, 0, False, False, 0)),
    dataclasses.replace(LAYOUT, crc=CrcModel("own", 16, 0x1021, 1, False, False, 0)),
    dataclasses.replace(LAYOUT, crc=CrcModel("own", 16, 0x1021, 0, True, False, 0)),
    dataclasses.replace(LAYOUT, byte_order=ByteOrder.BIG),
    dataclasses.replace(LAYOUT, id_bits=16),
    dataclasses.replace(LAYOUT, id_bits=4, id_bit_order=BitOrder.MOST),
    dataclasses.replace(LAYOUT, id_bits=4, id_bit_order=BitOrder.LEAST),
    dataclasses.replace(LAYOUT, address=Address(1, 8, 0)),
    dataclasses.replace(LAYOUT, sync=SYNC),
    dataclasses.replace(LAYOUT, sync=Sync(b"\xa5\x5b", SYNC.length, 1)),
    dataclasses.replace(LAYOUT, sync=Sync(SYNC.word, None, 1)),
    dataclasses.replace(LAYOUT, sync=Sync(SYNC.word, SYNC.length, 2)),
    dataclasses.replace(LAYOUT, sync=Sync(SYNC.word, LengthField(16, 0, 1), 2)),
    dataclasses.replace(LAYOUT, sync=Sync(SYNC.word, LengthField(16, 0, 1, ByteOrder.BIG), 2)),
    with_packet(name="powers"),
    with_packet(id=9),
    with_packet(length=6),
    with_packet(shorter=(3,)),
    with_packet(tag="P"),
    with_packet(fields=(ITEM,)),
    with_field(name="u"),
    with_field(kind=WireKind.SIGNED),
    with_field(bits=8),
    with_field(first_bit=16),
    with_field(scale=0.01),
    with_field(bias=1.0),
    with_field(unit="mV"),
    with_field(bit_order=BitOrder.MOST),
    with_field(count=2, bits=8),
    with_field(container_bits=16, bits=3),
    with_field(container_bits=16, bits=3, shift=1),
    with_field(curve=Polynomial((1.0, 2.0))),
    with_field(curve=Points((0.0, 1.0), (1.0, 2.0))),
    with_field(curve=DegreesMinutes(100)),
    with_field(curve=DegreesMinutes(100, "ns")),
]


def test_fingerprint_is_the_crc_of_the_text_as_documented():
    assert fingerprint_text(LAYOUT) == (
        "layout 1\n"
        "framing cobs separator ,\n"
        "checksum CRC-16/IBM-3740 end little from 0 until 0\n"
        "numbers little\n"
        "id 8 at 0 bytes\n"
        "packet power 7 5 \n"
        "field v unsigned 16 at 8 bytes of 16 shift 0 times 1 scale 0.001 bias 0 unit V curve none\n"
        "field t signed 16 at 24 bytes of 16 shift 0 times 1 scale 1 bias 0 unit 1 curve none\n"
        "packet other 8 1 \n"
    )
    assert layout_fingerprint(LAYOUT) == zlib.crc32(fingerprint_text(LAYOUT).encode("ascii"))


def test_whatever_changes_what_the_bytes_mean_changes_the_fingerprint():
    every = [layout_fingerprint(layout) for layout in (LAYOUT, *OTHERS)]
    assert len(set(every)) == len(every)


def test_order_of_packets_and_fields_labels_and_rounding_change_nothing():
    turned = dataclasses.replace(LAYOUT, packets=LAYOUT.packets[::-1])
    assert layout_fingerprint(turned) == layout_fingerprint(LAYOUT)
    assert layout_fingerprint(with_packet(fields=PACKET.fields[::-1])) == layout_fingerprint(LAYOUT)
    assert layout_fingerprint(with_field(labels=((0, "off"),))) == layout_fingerprint(LAYOUT)
    assert layout_fingerprint(with_field(scale=0.001 * (1 + 2e-16))) == layout_fingerprint(LAYOUT)


def test_address_itself_is_the_vehicles_and_not_the_layouts():
    one, two = (dataclasses.replace(LAYOUT, address=Address(value, 8, 0)) for value in (1, 2))
    assert layout_fingerprint(one) == layout_fingerprint(two)


@given(st.data())
def test_fingerprint_of_any_layout_has_32_bits_and_depends_on_its_byte_order(bench, data):
    layout = data.draw(bench.layouts())
    other = ByteOrder.BIG if layout.byte_order is ByteOrder.LITTLE else ByteOrder.LITTLE
    assert 0 <= layout_fingerprint(layout) < 2**32
    assert layout_fingerprint(layout) != layout_fingerprint(dataclasses.replace(layout, byte_order=other))


@pytest.mark.parametrize("name", ["Größe", "π"])
def test_names_beyond_ascii_have_a_fingerprint(name):
    assert layout_fingerprint(with_field(name=name)) != layout_fingerprint(LAYOUT)
