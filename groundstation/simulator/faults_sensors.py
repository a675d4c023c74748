"""Faults of the sensors: accelerometer, gyro, pressure, temperature, attitude, position."""

import math

from decoders.layout import WireKind
from groundstation.config.telemetry import columns
from groundstation.config.vehicle import ZERO_CELSIUS_K, Vehicle
from groundstation.simulator.fault import Asks, Context, Fault, fixed, frozen, noisy, quiet, shifted
from groundstation.simulator.rotation import from_rotation_vector, product
from groundstation.simulator.sensors import Values

ACCEL = ("accel_x", "accel_y", "accel_z")
GYRO = ("gyro_x", "gyro_y", "gyro_z")
ATTITUDE = ("attitude_w", "attitude_x", "attitude_y", "attitude_z")
GNSS = ("gnss_latitude", "gnss_longitude")
GYRO_BIAS_RADPS = math.radians(12.0)
ATTITUDE_OFF_RAD = math.radians(6.5)
PRESSURE_DRIFT_PAPS = 25.0
JUMP_M = 250.0
EARTH_RADIUS_M = 6.371e6
_NO_FIX = {"gnss_fix": 0.0, "gnss_satellites": 2.0, "gnss_hdop": 25.0}


def _accel_bias(values: Values, context: Context) -> Values:
    return {name: 1.12 * values[name] for name in ACCEL}


def _accel_saturated(values: Values, context: Context) -> Values:
    return {"accel_x": context.vehicle.sensors.accel_range_mps2 or 0.0}


def _axes_swapped(values: Values, context: Context) -> Values:
    return {"accel_x": values["accel_z"], "accel_z": values["accel_x"]}


def _gyro_saturated(values: Values, context: Context) -> Values:
    return {"gyro_z": context.vehicle.sensors.gyro_range_radps or 0.0}


def _wrong_norm(values: Values, context: Context) -> Values:
    return {name: 0.9 * values[name] for name in ATTITUDE}


def _attitude_off(values: Values, context: Context) -> Values:
    w, x, y, z = (values[name] for name in ATTITUDE)
    turned = product((w, x, y, z), from_rotation_vector(ATTITUDE_OFF_RAD, 0.0, 0.0))
    return dict(zip(ATTITUDE, turned, strict=True))


def _no_fix(values: Values, context: Context) -> Values:
    return _NO_FIX


def _jumped(values: Values, context: Context) -> Values:
    return {"gnss_latitude": values["gnss_latitude"] + JUMP_M / EARTH_RADIUS_M}


def _nowhere(values: Values, context: Context) -> Values:
    return dict.fromkeys(GNSS, 0.0)


def _has_accel_range(vehicle: Vehicle) -> str | None:
    return None if vehicle.sensors.accel_range_mps2 else "whose file gives no range for the accelerometer"


def _has_gyro_range(vehicle: Vehicle) -> str | None:
    return None if vehicle.sensors.gyro_range_radps else "whose file gives no range for the gyro"


def _sent_as_float(name: str) -> Asks:
    def asks(vehicle: Vehicle) -> str | None:
        if any(c.meaning == name and c.field.kind is WireKind.FLOAT for c in columns(vehicle)):
            return None
        return f"which does not send {name} as a floating-point number"

    return asks


SENSOR_FAULTS = (
    Fault(
        "accel-stuck",
        "the accelerometer repeats its last values",
        ("accelerometer_stuck",),
        5.0,
        ACCEL,
        on_values=frozen(*ACCEL),
    ),
    Fault(
        "accel-axis-stuck",
        "one axis of the accelerometer repeats its last value",
        ("accelerometer_stuck",),
        8.0,
        ("accel_z",),
        on_values=frozen("accel_z"),
    ),
    Fault(
        "accel-scale",
        "the accelerometer reads 12 % too much",
        ("accelerometer_gravity",),
        4.0,
        ACCEL,
        on_values=_accel_bias,
    ),
    Fault(
        "accel-noise",
        "the accelerometer has 2 m/s² of noise",
        ("accelerometer_noise",),
        8.0,
        ACCEL,
        on_values=noisy(ACCEL, 2.0),
    ),
    Fault(
        "accel-quiet",
        "the accelerometer is quieter than a living one",
        ("accelerometer_noise", "accelerometer_stuck"),
        14.0,
        ACCEL,
        on_values=quiet(ACCEL, 0.0008),
    ),
    Fault(
        "accel-saturated",
        "the accelerometer's x axis stands at the end of its range",
        ("sensor_range",),
        4.0,
        ("accel_x",),
        on_values=_accel_saturated,
        asks=_has_accel_range,
    ),
    Fault(
        "accel-nan",
        "the accelerometer's x axis is not a number",
        ("values_possible",),
        3.0,
        ("accel_x",),
        on_values=fixed("accel_x", math.nan),
        asks=_sent_as_float("accel_x"),
    ),
    Fault(
        "accel-swapped",
        "the accelerometer's x and z axes are swapped",
        ("attitude_agrees", "tilt"),
        5.0,
        ACCEL,
        on_values=_axes_swapped,
    ),
    Fault(
        "gyro-bias",
        f"the gyro's x axis reads {math.degrees(GYRO_BIAS_RADPS):.0f} deg/s too much",
        ("gyro_rest",),
        4.0,
        ("gyro_x",),
        on_values=shifted("gyro_x", GYRO_BIAS_RADPS),
    ),
    Fault("gyro-stuck", "the gyro repeats its last values", ("gyro_stuck",), 5.0, GYRO, on_values=frozen(*GYRO)),
    Fault(
        "gyro-noise",
        "the gyro has 8 deg/s of noise",
        ("gyro_noise",),
        8.0,
        GYRO,
        on_values=noisy(GYRO, math.radians(8.0)),
    ),
    Fault(
        "gyro-quiet",
        "the gyro is quieter than a living one",
        ("gyro_noise", "gyro_stuck"),
        14.0,
        GYRO,
        on_values=quiet(GYRO, math.radians(0.002)),
    ),
    Fault(
        "gyro-saturated",
        "the gyro's z axis stands at the end of its range",
        ("sensor_range",),
        4.0,
        ("gyro_z",),
        on_values=_gyro_saturated,
        asks=_has_gyro_range,
    ),
    Fault(
        "gyro-nan",
        "the gyro's y axis is not a number",
        ("values_possible",),
        3.0,
        ("gyro_y",),
        on_values=fixed("gyro_y", math.nan),
        asks=_sent_as_float("gyro_y"),
    ),
    Fault(
        "pressure-stuck",
        "the pressure sensor repeats its last value",
        ("pressure_stuck",),
        5.0,
        ("pressure",),
        on_values=frozen("pressure"),
    ),
    Fault(
        "pressure-offset",
        "the pressure reads 12 hPa too much",
        ("pressure_site",),
        4.0,
        ("pressure",),
        on_values=shifted("pressure", 1200.0),
    ),
    Fault(
        "pressure-drift",
        f"the pressure falls by {PRESSURE_DRIFT_PAPS:.0f} Pa/s",
        ("pressure_still",),
        12.0,
        ("pressure",),
        on_values=shifted("pressure", 0.0, per_s=-PRESSURE_DRIFT_PAPS),
    ),
    Fault(
        "pressure-noise",
        "the pressure has 90 Pa of noise",
        ("pressure_noise",),
        8.0,
        ("pressure",),
        on_values=noisy(("pressure",), 90.0),
    ),
    Fault(
        "pressure-impossible",
        "the pressure reads zero",
        ("values_possible", "pressure_site"),
        3.0,
        ("pressure",),
        on_values=fixed("pressure", 0.0),
    ),
    Fault(
        "bay-hot",
        "the avionics bay is at 70 °C",
        ("temperature_range",),
        5.0,
        ("temperature",),
        on_values=fixed("temperature", ZERO_CELSIUS_K + 70.0),
    ),
    Fault(
        "bay-cold",
        "the avionics bay is at −20 °C",
        ("temperature_range",),
        5.0,
        ("temperature",),
        on_values=fixed("temperature", ZERO_CELSIUS_K - 20.0),
    ),
    Fault(
        "bay-runs-hot",
        "the avionics bay gains 1.5 K each second",
        ("temperature_steady", "temperature_range"),
        12.0,
        ("temperature",),
        on_values=shifted("temperature", 0.0, per_s=1.5),
    ),
    Fault(
        "attitude-frozen",
        "the attitude repeats its last values",
        ("attitude_stuck",),
        10.0,
        ATTITUDE,
        on_values=frozen(*ATTITUDE),
    ),
    Fault(
        "attitude-norm",
        "the attitude is no unit quaternion: a tenth too short",
        ("tilt",),
        4.0,
        ATTITUDE,
        on_values=_wrong_norm,
    ),
    Fault(
        "attitude-off",
        f"the attitude leans {math.degrees(ATTITUDE_OFF_RAD):g} deg from where the accelerometer has it",
        ("attitude_agrees",),
        5.0,
        ATTITUDE,
        on_values=_attitude_off,
    ),
    Fault(
        "gnss-lost",
        "the position is lost: no fix",
        ("gnss_position",),
        5.0,
        ("gnss_fix",),
        on_values=_no_fix,
    ),
    Fault(
        "gnss-jump",
        f"the position jumps {JUMP_M:.0f} m north",
        ("gnss_position",),
        5.0,
        ("gnss_latitude",),
        on_values=_jumped,
    ),
    Fault(
        "gnss-zero",
        "the position is latitude 0, longitude 0 with a fix",
        ("gnss_position",),
        5.0,
        GNSS,
        on_values=_nowhere,
    ),
    Fault(
        "gnss-high",
        "the position's height is 400 m too high",
        ("gnss_position",),
        5.0,
        ("gnss_height",),
        on_values=shifted("gnss_height", 400.0),
    ),
)
