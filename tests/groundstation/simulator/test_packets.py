import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.layout import Field, WireKind
from decoders.stream import StreamDecoder
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import PacketError
from groundstation.simulator.packets import PacketBuilder, saturated

I16 = Field("v", WireKind.SIGNED, 16, 0, scale=0.005)
U8 = Field("v", WireKind.UNSIGNED, 8, 0)


@pytest.mark.parametrize(
    ("field", "value", "sent"),
    [
        (I16, 1.234, 1.235),
        (I16, 1e9, 32767 * 0.005),
        (I16, -1e9, -32768 * 0.005),
        (U8, -3.0, 0),
        (U8, 300.0, 255),
        (Field("v", WireKind.BOOLEAN, 8, 0), 3.0, 1.0),
        (Field("v", WireKind.SIGNED, 16, 0, scale=0.01, bias=273.15), 300.0, 300.0),
    ],
)
def test_values_saturate_at_the_fields_ends(field: Field, value: float, sent: float) -> None:
    assert saturated(field, value, where="p.v") == pytest.approx(sent, abs=1e-9)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_not_a_number_names_the_field(value: float) -> None:
    with pytest.raises(PacketError, match=r"^motion\.ax: found (nan|inf|-inf), expected a number") as caught:
        saturated(I16, value, where="motion.ax")
    assert caught.value.field == "motion.ax"


def test_float_fields_carry_what_is_not_a_number() -> None:
    assert math.isnan(saturated(Field("v", WireKind.FLOAT, 32, 0), math.nan, where="p.v"))


@given(
    bits=st.sampled_from([8, 16, 24, 32, 48, 64]),
    kind=st.sampled_from([WireKind.SIGNED, WireKind.UNSIGNED]),
    scale=st.sampled_from([1.0, 0.01, 1e-7, -0.5, 3.0]),
    bias=st.sampled_from([0.0, 273.15, -40.0]),
    value=st.floats(-1e12, 1e12),
)
def test_every_saturated_value_fits_its_field(
    bits: int, kind: WireKind, scale: float, bias: float, value: float
) -> None:
    from decoders.packing import raw_limits

    field = Field("v", kind, bits, 0, scale=scale, bias=bias)
    sent = saturated(field, value, where="p.v")
    least, greatest = raw_limits(field)
    raw = (value - bias) / scale
    nearest = max(least, min(greatest, raw))
    # within half a step, and what float64 rounds at 64 bits
    assert abs((sent - bias) / scale - nearest) <= 0.5 + abs(nearest) * 1e-12 + 1e-6


def test_fields_without_a_value_are_sent_as_zero(vehicle: Vehicle) -> None:
    frame = PacketBuilder(vehicle, uptime_s=0.0).frame("motion", {"accel_z": 9.81})
    (motion,) = (t for t in StreamDecoder(layout_of(vehicle)).feed(frame).tables if len(t))
    assert motion.columns["az"][0] == pytest.approx(9.81, abs=0.0026)
    assert motion.columns["ax"][0] == 0.0
    assert motion.columns["p"][0] == 0.0


def test_counters_of_each_kind_count_by_themselves() -> None:
    text = EXAMPLE_VEHICLE.read_text().replace('"all packets"', '"packets of its kind"')
    vehicle = parse_vehicle(text, file_name="own-counters.toml")
    builder = PacketBuilder(vehicle, uptime_s=0.0)
    stream = b"".join(builder.frame(name, {}) for name in ("motion", "health", "motion", "motion", "health"))
    got = {t.packet.name: t.columns["n"].tolist() for t in StreamDecoder(layout_of(vehicle)).feed(stream).tables}
    assert got == {"motion": [0, 1, 2], "health": [0, 1]}


def test_vehicle_clock_wraps_at_its_fields_width(vehicle: Vehicle) -> None:
    builder = PacketBuilder(vehicle, uptime_s=0.0)
    frame = builder.frame("motion", {"vehicle_time": 2**32 / 1000 + 1.5})
    (motion,) = (t for t in StreamDecoder(layout_of(vehicle)).feed(frame).tables if len(t))
    assert motion.columns["t"][0] == pytest.approx(1.5, abs=1e-6)
