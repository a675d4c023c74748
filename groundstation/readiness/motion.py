"""Checks of how the vehicle stands: accelerometer, gyro and tilt at rest.

Means over a second are judged. Of ten values a second with one in ten lost, nine are left, so that noise shrinks to
a third: a hobby accelerometer's 0.1 m/s² to 0.03 and a gyro's 0.2 deg/s to 0.07, far inside the limits that ship. A
step of twice a limit shows after half a second, one just beyond it after a second.
"""

import math

from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.gravity import STANDARD_MPS2, normal_gravity_mps2
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

MEAN_S = 1.0
_GRAVITY = (Figure("gravity at the site", "normal gravity of WGS 84", "NGA.STND.0036_1.0.0 (2014)"),)
LEAST_NORM, MOST_NORM = 0.98, 1.02  # of the attitude quaternion; common practice, no source
ACCEL = ("accel_x", "accel_y", "accel_z")
GYRO = ("gyro_x", "gyro_y", "gyro_z")
ATTITUDE = ("attitude_w", "attitude_x", "attitude_y", "attitude_z")


@check(Place.AVIONICS, limits=("gravity_error_mps2",), needs=ACCEL, figures=_GRAVITY, every_s=0.4)
def accelerometer_gravity(window: Window) -> list[Outcome]:
    """The accelerometer at rest shows local gravity, along the body's z axis and upwards.

    Specific force at rest points up: an axis whose sign is wrong in the vehicle file shows it pointing down.

    Source:
        Local gravity from WGS 84's normal gravity; standard gravity where the site has no latitude.
    """
    force = body_force_mps2(window)
    size = math.hypot(*force)
    gravity, which = _gravity(window)
    error = window.limits.gravity_error_mps2
    limit = Limit(gravity - error, gravity + error)

    def good(value: float, decimals: int) -> str:
        return f"The accelerometer shows {number(value, decimals)} m/s², {allowed(limit, 2, 'm/s²')} ({which})."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the accelerometer's scale and its mounting; keep the vehicle still."

    outcome = judged(size, limit, unit="m/s²", decimals=2, good=good, bad=bad)
    if outcome.status is Status.PASS and force[2] < 0.0:
        text = (
            "By the accelerometer the nose points down, only up allowed. Look at which way round the flight computer "
            "sits in its bay, then at the signs under [sensors] in the vehicle file."
        )
        return [Outcome(Status.FAIL, text, outcome.value, outcome.unit, limit)]
    return [outcome]


@check(Place.AVIONICS, limits=("gyro_rest_radps",), needs=GYRO, every_s=0.4)
def gyro_rest(window: Window) -> list[Outcome]:
    """The gyro shows no rotation while the vehicle stands: no axis' mean rate is beyond the limit."""
    rates = [math.degrees(window.mean(name, MEAN_S)) for name in GYRO]
    worst, axis = max((abs(rate), name[-1]) for rate, name in zip(rates, GYRO, strict=True))
    limit = Limit(None, math.degrees(window.limits.gyro_rest_radps))

    def good(value: float, decimals: int) -> str:
        return f"The gyro shows {number(value, decimals)} deg/s at rest, {allowed(limit, 1, 'deg/s')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"The gyro's {axis} axis shows {number(value, decimals)} deg/s at rest, {allowed(limit, 1, 'deg/s')}. "
            "Look at whether the vehicle stands still; if it does, start the flight computer anew to zero the gyro."
        )

    return [judged(worst, limit, unit="deg/s", decimals=1, good=good, bad=bad)]


def _tilt_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("attitude_w", "accel_z")]


@check(Place.VEHICLE, limits=("tilt_rad",), needs=_tilt_needs, every_s=0.4)
def tilt(window: Window) -> list[Outcome]:
    """The vehicle stands upright within the limit: by its attitude where it sends that, else by its accelerometer."""
    by_attitude = any(window.in_layout(name) for name in ATTITUDE)
    angle = math.degrees(_attitude_tilt_rad(window) if by_attitude else _force_tilt_rad(window))
    source = "attitude" if by_attitude else "accelerometer"
    limit = Limit(None, math.degrees(window.limits.tilt_rad))

    def good(value: float, decimals: int) -> str:
        return f"The vehicle leans {number(value, decimals)} deg by its {source}, {allowed(limit, 1, 'deg')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the launch rod or rail and how the vehicle sits on it."

    return [judged(angle, limit, unit="deg", decimals=1, good=good, bad=bad)]


def _attitude_tilt_rad(window: Window) -> float:
    """Angle between up and the mean of the body's z axis, the third column of the quaternion's rotation matrix."""
    parts = [window.recent(name, MEAN_S) for name in ATTITUDE]
    east = north = up = 0.0
    for w, x, y, z in zip(*parts, strict=False):
        size = w * w + x * x + y * y + z * z
        if not LEAST_NORM**2 <= size <= MOST_NORM**2:
            raise Unknown(
                f"The attitude is not a unit quaternion: its norm is {number(math.sqrt(size), 2)}, 0.98 to 1.02 "
                "expected. Look at the attitude fields' scale in the vehicle file and at the firmware's filter."
            )
        east += (x * z + w * y) / size
        north += (y * z - w * x) / size
        up += 0.5 - (x * x + y * y) / size
    return math.atan2(math.hypot(east, north), up)


def _force_tilt_rad(window: Window) -> float:
    x, y, z = body_force_mps2(window)
    if not math.hypot(x, y, z) > 0.0:
        raise Unknown("The accelerometer shows no force at all, so the tilt is not known. Look at the accelerometer.")
    return math.atan2(math.hypot(x, y), z)


def body_force_mps2(window: Window) -> tuple[float, float, float]:
    """Mean specific force in the body frame, the sensor's axes turned as the vehicle file says."""
    x, y, z = (
        (-1.0 if axis[0] == "-" else 1.0) * window.mean(f"accel_{axis[1]}", MEAN_S)
        for axis in window.vehicle.sensors.accel
    )
    return x, y, z


def _gravity(window: Window) -> tuple[float, str]:
    site = window.site
    if site.latitude_rad is None:
        return STANDARD_MPS2, "standard gravity: the station file has no latitude"
    height_m = 0.0 if site.elevation_m is None else site.elevation_m
    return normal_gravity_mps2(site.latitude_rad, height_m), "local gravity"
