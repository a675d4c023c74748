import binascii
import json
import math
import struct

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.layout import ByteOrder, Layout, WireKind
from decoders.stream import StreamDecoder
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle, parse_vehicle
from groundstation.config.telemetry import columns, columns_of, layout_of, sources_of
from groundstation.measurements import measurement

CURLEW = load_vehicle(EXAMPLE_VEHICLE)
REST = EXAMPLE_VEHICLE.read_text(encoding="utf-8").split("[telemetry]")[0]


def vehicle_with(telemetry: str):
    return parse_vehicle(f"{REST}[telemetry]\n{telemetry}", file_name="test.toml")


def one_packet(*fields: str, byte_order: str = "little", id_type: str = "u8"):
    rows = ",\n".join(fields)
    return vehicle_with(
        f'framing = "cobs"\nchecksum = "CRC-16/IBM-3740"\nbyte_order = "{byte_order}"\nid_type = "{id_type}"\n'
        f'[[telemetry.packet]]\nname = "p"\nid = 7\nrate_hz = 5\nfields = [\n{rows}\n]\n'
    )


def test_fields_follow_the_discriminator_without_gaps() -> None:
    vehicle = one_packet(
        '{ name = "a", type = "u24" }',
        '{ name = "b", type = "f32" }',
        '{ name = "c", type = "u16", bits = [{ name = "c1", at = 3, width = 5 }, { name = "c0", at = 0 }] }',
        '{ name = "d", type = "bool" }',
        '{ name = "e", type = "i40" }',
        byte_order="big",
        id_type="u16",
    )
    layout = layout_of(vehicle)
    (packet,) = layout.packets
    assert (layout.byte_order, layout.checksum_order, layout.id_bits) == (ByteOrder.BIG, ByteOrder.LITTLE, 16)
    assert (packet.name, packet.id, packet.length) == ("p", 7, 2 + 3 + 4 + 2 + 1 + 5)
    assert [(f.name, f.kind, f.bits, f.first_bit, f.container_bits, f.shift) for f in packet.fields] == [
        ("a", WireKind.UNSIGNED, 24, 16, None, 0),
        ("b", WireKind.FLOAT, 32, 40, None, 0),
        ("c1", WireKind.UNSIGNED, 5, 72, 16, 3),
        ("c0", WireKind.UNSIGNED, 1, 72, 16, 0),
        ("d", WireKind.BOOLEAN, 8, 88, None, 0),
        ("e", WireKind.SIGNED, 40, 96, None, 0),
    ]
    assert columns_of(vehicle) == {"p": ("a", "b", "c1", "c0", "d", "e")}


def test_field_with_a_meaning_decodes_in_si_and_its_valid_range_with_it() -> None:
    vehicle = one_packet(
        '{ name = "t", type = "i16", unit = "degC", scale = 0.01, offset = -5, valid = [-40, 85], '
        'meaning = "temperature" }',
        '{ name = "u", type = "i16", unit = "degC", scale = 0.01, valid = [-40, 85] }',
    )
    with_meaning, without = (column.field for column in columns(vehicle))
    # raw 2000 is 2000 * 0.01 - 5 = 15 degC, which is 288.15 K (SI Brochure, 9th edition: t/degC = T/K - 273.15)
    assert 2000 * with_meaning.scale + with_meaning.bias == pytest.approx(288.15, abs=1e-9)
    assert with_meaning.unit == "K"
    assert (without.scale, without.bias, without.unit) == (0.01, 0.0, "degC")
    sources = sources_of(vehicle)
    assert list(sources) == ["temperature", "p.t", "p.u"]
    assert sources["temperature"] == sources["p.t"]
    assert (sources["temperature"].least, sources["temperature"].greatest) == pytest.approx(
        (233.15, 358.15), abs=1e-9
    )
    assert (sources["p.u"].unit, sources["p.u"].least, sources["p.u"].greatest) == ("degC", -40, 85)


def test_levels_and_bytes_keep_their_unit() -> None:
    vehicle = one_packet(
        '{ name = "r", type = "i8", unit = "dBm", meaning = "rssi" }',
        '{ name = "s", type = "i8", unit = "dB", scale = 0.25, meaning = "snr" }',
        '{ name = "f", type = "u32", unit = "kB", meaning = "storage_free" }',
    )
    assert [(c.field.scale, c.field.bias, c.field.unit) for c in columns(vehicle)] == [
        (1.0, 0.0, "dBm"),
        (0.25, 0.0, "dB"),
        (1000.0, 0.0, "byte"),
    ]


def test_field_without_a_valid_range_takes_every_number() -> None:
    source = sources_of(one_packet('{ name = "a", type = "u8" }'))["p.a"]
    assert (source.least, source.greatest) == (-math.inf, math.inf)


def test_measurement_in_several_packets_is_read_from_the_first_and_kept_in_all() -> None:
    sources = sources_of(CURLEW)
    assert (sources["sequence"].table, sources["sequence"].column) == ("motion", "n")
    assert sources["health.n"].table == "health"
    assert sources["vehicle_time"] == sources["motion.t"]


def test_every_standard_source_of_the_example_is_in_its_measurements_unit() -> None:
    sources = sources_of(CURLEW)
    standard = [name for name in sources if "." not in name]
    assert list(sources)[: len(standard)] == standard
    for name in standard:
        known = measurement(name)
        assert known is not None
        assert sources[name].unit == known.unit


def test_example_layout_has_the_columns_sources_and_lengths_of_its_fields() -> None:
    layout = layout_of(CURLEW)
    assert {p.name: tuple(f.name for f in p.fields) for p in layout.packets} == columns_of(CURLEW)
    assert {f"{p.name}.{f.name}" for p in layout.packets for f in p.fields} <= sources_of(CURLEW).keys()
    # by hand: motion 1 + 2 + 4 + 6*2 + 3 + 4*2 + 4*2; health 1 + 2 + 4 + 4 + 4 + 2 + 3*2 + 4*1 + 3*4
    assert [p.length for p in layout.packets] == [38, 39]


INTEGERS = [f"{sign}{bits}" for sign in "ui" for bits in range(8, 65, 8)]


@st.composite
def streams(draw: st.DrawFn):
    """A random layout as a vehicle file, with the raw numbers of one packet and its bytes packed by hand."""
    order = draw(st.sampled_from(["little", "big"]))
    rows, expected, body = [], {}, b"\x07"
    for k in range(draw(st.integers(1, 12))):
        wire = draw(st.sampled_from([*INTEGERS, "f32", "f64", "bool", "bits"]))
        scale, offset = draw(st.sampled_from([(1.0, 0.0), (0.5, 0.0), (2.0, -3.0), (-0.25, 1.0)]))
        row: dict[str, object] = {"name": f"f{k}", "type": wire}
        if wire == "bits":
            size = draw(st.sampled_from([8, 16, 24, 32, 40, 48]))
            whole = draw(st.integers(0, 2**size - 1))
            at, parts = 0, []
            while at < size:
                width = draw(st.integers(1, size - at))
                if draw(st.booleans()):
                    parts.append(f'{{ name = "f{k}_{at}", at = {at}, width = {width} }}')
                    expected[f"f{k}_{at}"] = float(whole >> at & (1 << width) - 1)
                at += width
            if parts:
                rows.append(f'{{ name = "f{k}", type = "u{size}", bits = [{", ".join(parts)}] }}')
            else:
                rows.append(f'{{ name = "f{k}", type = "u{size}" }}')
                expected[f"f{k}"] = float(whole)
            body += whole.to_bytes(size // 8, order)
            continue
        if wire == "bool":
            raw: float = draw(st.integers(0, 1))
            body += bytes([int(raw)])
        elif wire[0] == "f":
            raw = draw(st.floats(-1e6, 1e6, width=int(wire[1:])))
            body += struct.pack(("<" if order == "little" else ">") + {"f32": "f", "f64": "d"}[wire], raw)
        else:
            bits = int(wire[1:])
            least, greatest = (0, 2**bits - 1) if wire[0] == "u" else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
            raw = draw(st.integers(least, greatest))
            body += int(raw).to_bytes(bits // 8, order, signed=wire[0] == "i")
        if wire != "bool":
            row |= {"scale": scale, "offset": offset}
            raw = raw * scale + offset
        expected[f"f{k}"] = float(raw)
        rows.append("{ " + ", ".join(f"{key} = {json.dumps(value)}" for key, value in row.items()) + " }")
    return one_packet(*rows, byte_order=order), body, expected


def decode_one(layout: Layout, body: bytes) -> dict[str, float]:
    """The columns of one packet that other libraries framed and summed."""
    frame = cobs.encode(body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "little"))
    decoded = StreamDecoder(layout).feed(b"\0" + frame + b"\0")
    (table,) = decoded.tables
    assert len(table) == 1
    return {name: float(values[0]) for name, values in table.columns.items()}


@settings(max_examples=150, deadline=None)
@given(streams())
def test_any_layout_of_a_vehicle_file_decodes_the_numbers_that_were_packed(stream) -> None:
    vehicle, body, expected = stream
    layout = layout_of(vehicle)
    assert layout.packets[0].length == len(body)
    decoded = decode_one(layout, body)
    assert decoded.keys() == expected.keys() == set(columns_of(vehicle)["p"])
    for name, value in expected.items():
        assert decoded[name] == pytest.approx(value, rel=1e-15, abs=1e-12)
