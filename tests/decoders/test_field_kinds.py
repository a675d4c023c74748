"""Curves, positions, text, quaternions and optional tails: decoded, encoded, and held against other libraries."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

from decoders.calibration import DegreesMinutes, Points, Polynomial
from decoders.columns import ColumnReader
from decoders.errors import LayoutError
from decoders.fields import nearest_value, raw_of, value_of
from decoders.layout import Address, BitOrder, ByteOrder, Field, Layout, Packet, Reason, WireKind
from decoders.packing import FrameEncoder
from decoders.quaternion import fraction_bits, number_bits, packed, unpacked
from decoders.stream import StreamDecoder

from .both_ways import readable


def layout_with(*fields, length, **other):
    packet = Packet("p", 1, length, fields, shorter=other.pop("shorter", ()))
    return Layout("cobs", "CRC-16/IBM-3740", other.pop("byte_order", ByteOrder.LITTLE), (packet,), **other)


def decoded(layout, frames):
    (table,) = StreamDecoder(layout).feed(b"".join(frames)).tables
    return table.columns


def one_field(kind, bits, curve, scale=1.0, bias=0.0):
    return Field("x", kind, bits, 8, scale=scale, bias=bias, curve=curve)


# curves

COEFFICIENTS = st.lists(st.floats(-10, 10, allow_subnormal=False), min_size=2, max_size=5)


@given(COEFFICIENTS, st.lists(st.integers(-(2**15), 2**15 - 1), min_size=1, max_size=5))
def test_polynomial_gives_what_numpy_computes(coefficients, raws):
    layout = layout_with(one_field(WireKind.SIGNED, 16, Polynomial(tuple(coefficients)), 2.0, 5.0), length=3)
    bodies = b"".join(b"\x01" + raw.to_bytes(2, "little", signed=True) for raw in raws)
    column = ColumnReader(layout.packets[0], ByteOrder.LITTLE, row_length=3).read(bodies)["x"]
    expected = 2.0 * np.polynomial.polynomial.polyval(np.array(raws, float), coefficients) + 5.0
    assert np.allclose(column, expected, rtol=1e-12, atol=1e-9)


@st.composite
def tables(draw):
    raws = sorted(draw(st.sets(st.integers(0, 4095), min_size=2, max_size=8)))
    values = draw(st.lists(st.floats(-1000, 1000), min_size=len(raws), max_size=len(raws)))
    return tuple(map(float, raws)), tuple(values)


@given(tables(), st.lists(st.integers(0, 4095), min_size=1, max_size=8))
def test_table_gives_what_a_linear_spline_of_scipy_does_and_nothing_beyond_its_ends(table, raws):
    values = Points(*table).values(np.array(raws))
    spline = make_interp_spline(table[0], table[1], k=1)(np.array(raws, float))
    inside = [table[0][0] <= raw <= table[0][-1] for raw in raws]
    assert np.isnan(values).tolist() == [not there for there in inside]
    assert np.allclose(values[inside], spline[inside], rtol=1e-12, atol=1e-9)


@given(st.one_of(COEFFICIENTS.map(lambda c: Polynomial(tuple(c))), tables().map(lambda t: Points(*t))), st.data())
def test_value_of_any_raw_number_packs_to_a_raw_number_that_means_the_same(curve, data):
    item = one_field(WireKind.UNSIGNED, 12, curve, 0.5, -3.0)
    item = Field("x", WireKind.UNSIGNED, 12, 8, 0.5, -3.0, bit_order=BitOrder.MOST, curve=curve)
    raw = data.draw(st.integers(0, 4095))
    value = value_of(item, raw)
    assume(math.isfinite(value))
    layout = layout_with(item, length=3)
    body = FrameEncoder(layout).body("p", {"x": value})
    back = value_of(item, raw_of(item, body, ByteOrder.LITTLE))
    around = [value_of(item, n) for n in range(max(0, raw - 1), min(4095, raw + 1) + 1)]
    step = np.nanmax(np.abs(np.array(around) - value))
    assert abs(back - value) <= 0.01 * step + 1e-9 * max(1.0, abs(value))


@given(COEFFICIENTS, st.floats(-1e6, 1e6))
def test_nearest_value_is_nearer_than_that_of_any_other_raw_number(coefficients, value):
    item = one_field(WireKind.UNSIGNED, 8, Polynomial(tuple(coefficients)))
    best = nearest_value(item, value)
    every = Polynomial(tuple(coefficients)).values(np.arange(256))
    assert abs(best - value) <= np.min(np.abs(every - value)) * (1 + 1e-9) + 1e-9


def test_value_that_a_curve_does_not_reach_is_refused():
    encoder = FrameEncoder(layout_with(one_field(WireKind.UNSIGNED, 8, Points((0, 100), (5.0, 10.0))), length=2))
    assert encoder.body("p", {"x": 7.5})[1] == 50
    with pytest.raises(LayoutError, match=r"p\.x: found 12\.0, expected one that the curve reaches"):
        encoder.body("p", {"x": 12.0})


@pytest.mark.parametrize(
    ("make", "arguments"),
    [
        (Polynomial, ((),)),
        (Polynomial, ((1.0, math.nan),)),
        (Points, ((0.0,), (1.0,))),
        (Points, ((0.0, 0.0), (1.0, 2.0))),
        (Points, ((0.0, 1.0), (1.0,))),
        (Points, ((0.0, 1.0), (1.0, math.inf))),
        (DegreesMinutes, (0,)),
    ],
)
def test_curve_that_is_none_is_refused(make, arguments):
    with pytest.raises(LayoutError, match="found"):
        make(*arguments)


# degrees and minutes


@given(st.integers(-180, 179), st.integers(0, 60 * 100_000 - 1))
def test_degrees_and_minutes_are_the_fraction_they_say(degrees, minutes_1e5):
    sign = -1 if degrees < 0 else 1
    raw = sign * (abs(degrees) * 100 * 100_000 + minutes_1e5)
    assume(abs(degrees) < 180)
    exact = sign * (abs(degrees) + Fraction(minutes_1e5, 60 * 100_000))
    item = one_field(WireKind.SIGNED, 32 if abs(raw) < 2**31 else 64, DegreesMinutes(100_000))
    value = value_of(item, raw)
    assert value == pytest.approx(float(exact), abs=1e-12)
    body = FrameEncoder(layout_with(item, length=9)).body("p", {"x": value})
    assert raw_of(item, body, ByteOrder.LITTLE) == raw


@pytest.mark.parametrize("raw", [99_60_00000, 1_80_60_00000 // 1, 181_00_00000, 47_75_00000])
def test_sixty_minutes_or_more_than_half_a_circle_is_no_position(raw):
    assert math.isnan(value_of(one_field(WireKind.SIGNED, 64, DegreesMinutes(100_000)), raw))


def test_published_sentence_position_with_letters():
    # NMEA 0183's own form: 4916.45,N is 49 degrees 16.45 minutes north; 12311.12,W is 123 degrees 11.12 minutes west
    layout = layout_with(
        Field("lat", WireKind.FLOAT, 64, 8, curve=DegreesMinutes(1, "ns")),
        Field("ns", WireKind.UNSIGNED, 8, 72),
        Field("lon", WireKind.FLOAT, 64, 80, curve=DegreesMinutes(1, "ew")),
        Field("ew", WireKind.UNSIGNED, 8, 144),
        length=19,
    )
    encoder = FrameEncoder(layout)
    lat, lon = 49 + 16.45 / 60, -(123 + 11.12 / 60)
    frames = [
        encoder.encode("p", {"lat": lat, "ns": ord("N"), "lon": lon, "ew": ord("W")}),
        encoder.encode("p", {"lat": lat, "ns": ord("S"), "lon": lon, "ew": ord("E")}),
        encoder.encode("p", {"lat": lat, "ns": ord("?"), "lon": lon, "ew": 0}),
    ]
    columns = decoded(layout, frames)
    assert columns["lat"].tolist() == pytest.approx([lat, -lat, math.nan], abs=1e-12, nan_ok=True)
    assert columns["lon"].tolist() == pytest.approx([lon, -lon, math.nan], abs=1e-12, nan_ok=True)


# text


@given(st.lists(st.binary(max_size=6), min_size=1, max_size=4))
def test_text_comes_back_without_its_zeros(texts):
    layout = layout_with(Field("call", WireKind.TEXT, 48, 8), length=7)
    encoder = FrameEncoder(layout)
    columns = decoded(layout, [encoder.encode("p", {"call": text}) for text in texts])
    assert columns["call"].tolist() == [text.rstrip(b"\0") for text in texts]


def test_text_that_is_too_long_or_no_bytes_is_refused():
    encoder = FrameEncoder(layout_with(Field("call", WireKind.TEXT, 16, 8), length=3))
    with pytest.raises(LayoutError, match=r"p\.call: found b'abc', expected at most 2 bytes"):
        encoder.encode("p", {"call": b"abc"})
    with pytest.raises(LayoutError, match="expected at most 2 bytes"):
        encoder.encode("p", {"call": 3.0})


# quaternions


@given(st.integers(0, 2**32 - 1), st.sampled_from(range(2, 21)))
def test_smallest_three_keep_the_rotation_within_their_steps(seed, bits):
    turned = Rotation.random(8, rng=np.random.default_rng(seed))
    parts = turned.as_quat(scalar_first=True)
    numbers = np.array([packed(tuple(q), bits) for q in parts], np.uint64)
    found = np.stack(unpacked(numbers, bits), axis=1)
    if bits >= 4:
        again = Rotation.from_quat(found, scalar_first=True)
        # each fraction is off by at most half a step, and the largest part by no more than all three together
        half_step = 0.5 / (math.sqrt(2) * (2 ** (bits - 1) - 1))
        assert np.all((turned.inv() * again).magnitude() <= 2 * math.sqrt(12) * half_step * 1.2 + 1e-7)
    assert np.allclose(np.linalg.norm(found[np.isfinite(found[:, 0])], axis=1), 1.0, atol=1e-12)


@given(st.integers(0, 2**32 - 1), st.sampled_from([4, 9, 10, 12, 20]), st.sampled_from(ByteOrder), st.integers(8, 15))
@settings(max_examples=40)
def test_quaternion_field_decodes_at_any_bit_to_what_was_packed(seed, size, byte_order, first):
    bits = number_bits(size)
    order = None if first % 8 == 0 and bits % 8 == 0 else BitOrder.MOST
    layout = layout_with(
        Field("q", WireKind.QUATERNION, bits, first, bit_order=order), length=11, byte_order=byte_order
    )
    parts = Rotation.random(5, rng=np.random.default_rng(seed)).as_quat(scalar_first=True)
    encoder = FrameEncoder(layout)
    names = ("q_w", "q_x", "q_y", "q_z")
    assert layout.packets[0].columns == names
    columns = decoded(layout, [encoder.encode("p", dict(zip(names, q.tolist(), strict=True))) for q in parts])
    expected = np.stack(unpacked(np.array([packed(tuple(q), size) for q in parts], np.uint64), size))
    assert np.array_equal(np.stack([columns[name] for name in names]), expected)


def test_quaternion_by_hand():
    # no turn: w is the largest, three zeros follow; half a turn about z: z is the largest, index 3
    assert packed((1.0, 0.0, 0.0, 0.0), 10) == 0
    assert packed((0.0, 0.0, 0.0, -1.0), 10) == 3 << 30
    # a quarter turn about x: w and x are 1/sqrt(2) each; w comes first, and x is the full fraction, 511
    half = math.sqrt(0.5)
    assert packed((half, half, 0.0, 0.0), 10) == 511 << 20
    assert packed((-half, half, 0.0, 0.0), 10) == (-511 & 1023) << 20


def test_fractions_longer_than_a_unit_quaternion_are_no_attitude():
    full = 511
    number = np.array([full << 20 | full << 10 | full], np.uint64)
    assert all(np.isnan(part[0]) for part in unpacked(number, 10))


def test_quaternion_that_is_not_of_unit_length_is_refused():
    with pytest.raises(LayoutError, match="expected a unit quaternion"):
        packed((1.0, 1.0, 0.0, 0.0), 10)
    with pytest.raises(LayoutError, match="expected 2 and three fractions"):
        fraction_bits(33)


# optional tails

TAILED = layout_with(
    Field("a", WireKind.UNSIGNED, 16, 8),
    Field("b", WireKind.SIGNED, 16, 24),
    Field("t", WireKind.TEXT, 24, 40),
    Field("c", WireKind.UNSIGNED, 8, 64, scale=0.5),
    length=9,
    shorter=(5, 3),
)


def test_packet_may_end_at_any_of_its_lengths_and_what_is_missing_is_nan():
    encoder = FrameEncoder(TAILED)
    frames = [
        encoder.encode("p", {"a": 1}),
        encoder.encode("p", {"a": 2, "b": -2, "t": b"xyz", "c": 1.5}),
        encoder.encode("p", {"a": 3, "b": -3}),
        encoder.encode("p", {"a": 4}),
    ]
    columns = decoded(TAILED, frames)
    assert columns["a"].tolist() == [1, 2, 3, 4]
    assert columns["a"].dtype == np.uint16
    assert columns["b"].tolist() == pytest.approx([math.nan, -2, -3, math.nan], nan_ok=True)
    assert columns["t"].tolist() == [b"", b"xyz", b"", b""]
    assert columns["c"].tolist() == pytest.approx([math.nan, 1.5, math.nan, math.nan], nan_ok=True)


def test_length_between_is_refused_and_told_with_those_expected(bench):
    decoder = StreamDecoder(TAILED)
    (reject,) = decoder.feed(b"\0" + bench.frame_of(TAILED, b"\x01abc")).rejects
    assert reject.reason is Reason.TOO_SHORT
    assert reject.text == "found 4 bytes, expected the 3 or 5 or 9 of packet 'p'"


def test_values_for_part_of_a_tail_are_refused():
    with pytest.raises(LayoutError, match=r"p\.b: found no value"):
        FrameEncoder(TAILED).encode("p", {"a": 1, "c": 2.0})


def test_tiles_give_tails_as_the_readable_way_does(bench):
    rng = np.random.default_rng(5)
    encoder = FrameEncoder(TAILED)
    frames = []
    for number in range(6000):
        values = {"a": number, "b": -number // 2, "t": bytes(rng.integers(1, 200, 3).tolist()), "c": 0.5}
        frames.append(encoder.encode("p", dict(list(values.items())[: int(rng.choice([1, 2, 4]))])))
    stream = b"".join(frames)
    fast, slow = StreamDecoder(TAILED), readable(TAILED)
    (mine,), (theirs,) = fast.feed(stream).tables, slow.feed(stream).tables
    assert mine.columns["a"].tolist() == list(range(6000))
    assert np.array_equal(mine.start, theirs.start)
    for name, column in mine.columns.items():
        assert bench.equal_columns(column, theirs.columns[name]), name


def test_tail_needs_a_framing_that_tells_how_long_a_frame_is():
    fixed = Layout("fixed length", "CRC-16/IBM-3740", ByteOrder.LITTLE, TAILED.packets)
    with pytest.raises(LayoutError, match="found an optional tail, expected one length"):
        StreamDecoder(fixed)


# discriminators and addresses


def marked(number, address, first_bit, bits, order):
    """A layout of two kinds whose id stands anywhere, and the address of this vehicle in the last byte."""
    kinds = tuple(
        Packet(name, kind, 6, (Field("x", WireKind.UNSIGNED, 8, 32),)) for name, kind in (("p", number), ("q", 0))
    )
    return Layout(
        "cobs",
        "CRC-16/IBM-3740",
        ByteOrder.BIG,
        kinds,
        id_bits=bits,
        id_first_bit=first_bit,
        id_bit_order=order,
        address=Address(address, 8, 40),
    )


@given(st.integers(1, 13), st.integers(0, 18), st.sampled_from(BitOrder), st.data())
def test_discriminator_of_any_width_stands_anywhere_and_only_its_bits_count(bits, first, order, data):
    number = data.draw(st.integers(1, 2**bits - 1))
    layout = marked(number, 9, first, bits, order)
    item = Field("id", WireKind.UNSIGNED, bits, first, bit_order=order)
    body = bytearray(FrameEncoder(layout).body("p", {"x": 77}))
    assert raw_of(item, bytes(body), ByteOrder.BIG) == number
    body[5] = 9
    around = data.draw(st.binary(min_size=4, max_size=4))  # other bits around the id say nothing
    mask = sum(1 << k for k in range(32) if raw_of(item, (1 << k).to_bytes(4, "big") + b"\0\0", ByteOrder.BIG))
    whole = int.from_bytes(body[:4], "big") | int.from_bytes(around, "big") & ~mask
    body[:4] = whole.to_bytes(4, "big")
    from cobs import cobs

    frame = cobs.encode(bytes(body) + _crc(bytes(body))) + b"\0"
    decoded = StreamDecoder(layout).feed(b"\0" + frame)
    assert decoded.rejects == ()
    assert [(t.packet.name, t.columns["x"].tolist()) for t in decoded.tables] == [("p", [77])]


def _crc(body):
    import binascii

    return binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "little")


@pytest.mark.parametrize("count", [3, 3000])
def test_packets_of_another_vehicle_are_told_apart_one_by_one_and_in_tiles(bench, count):
    layout = marked(5, 9, 3, 7, BitOrder.MOST)
    encoder = FrameEncoder(layout)
    frames = []
    for n in range(count):
        for address in (9, 8):
            body = bytearray(encoder.body("p" if n % 2 else "q", {"x": n % 256}))
            body[5] = address
            frames.append(bench.frame_of(layout, bytes(body)))
    decoded = StreamDecoder(layout).feed(b"\0" + b"".join(frames))
    assert sum(len(table) for table in decoded.tables) == count
    assert [r.reason for r in decoded.rejects] == [Reason.OTHER_VEHICLE] * count
    assert decoded.rejects[0].text == "found the address 8, expected 9"


def test_another_vehicles_unknown_packets_are_its_own_and_not_unknown(bench):
    layout = marked(5, 9, 0, 8, BitOrder.MOST)
    frame = bench.frame_of(layout, bytes([77, 0, 0, 0, 0, 8]))
    (reject,) = StreamDecoder(layout).feed(b"\0" + frame).rejects
    assert reject.reason is Reason.OTHER_VEHICLE
