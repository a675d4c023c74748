"""Checks of the vehicle's attitude: it lives, and its down is the accelerometer's down."""

import math

from groundstation.config.vehicle import PRACTICE, Place, Vehicle
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.motion import ACCEL, ATTITUDE, MEAN_S, body_force_mps2
from groundstation.readiness.sensors import AT_LEAST
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

STUCK_FACTOR = 5.0
_STUCK = (Figure("all four parts still", f"less than {STUCK_FACTOR:g} times stuck_time", PRACTICE),)


def _sent(window: Window) -> bool:
    return window.fixed("attitude sent", lambda w: any(map(w.in_layout, ATTITUDE)))


def _needs(_vehicle: Vehicle) -> list[tuple[str, ...]]:
    return []  # a vehicle may send none; one that sends some of it is asked for the rest by the tilt


@check(Place.AVIONICS, limits=("stuck_time_s",), needs=_needs, figures=_STUCK, every_s=2.0)
def attitude_stuck(window: Window) -> list[Outcome]:
    """The attitude's values move as a living filter's do; a vehicle that sends no attitude has no such finding.

    Only all four together are judged: of an upright vehicle's quaternion two parts hardly move. A filter smooths, so
    that they are given longer than a sensor.
    """
    if not _sent(window):
        return []
    most_s = STUCK_FACTOR * window.limits.stuck_time_s
    limit = Limit(None, most_s)
    stood = [window.unchanged(name) for name in ATTITUDE]
    if min(seconds for seconds, _ in stood) < most_s or min(values for _, values in stood) < AT_LEAST:
        return [Outcome(Status.PASS, "The attitude's values move.", unit="s", limit=limit)]
    text = (
        f"The attitude has not changed by a bit for {number(most_s, 1)} s or longer, less allowed. "
        "Look at the flight computer's attitude filter: start the flight computer anew."
    )
    return [Outcome(Status.FAIL, text, most_s, "s", limit)]


@check(Place.AVIONICS, limits=("attitude_error_rad",), needs=_needs, every_s=2.0)
def attitude_agrees(window: Window) -> list[Outcome]:
    """The attitude's up, in the body frame, is where the accelerometer at rest says up is.

    A frozen attitude, a wrong axis or sign, and a quaternion the wrong way round all show once the vehicle leans.
    """
    if not _sent(window):
        return []
    if not all(window.in_layout(name) for name in ACCEL):
        return []  # asked for by the accelerometer's own checks
    parts = [window.recent(name, MEAN_S) for name in ATTITUDE]
    x = y = z = 0.0
    # The third row of the quaternion's rotation matrix: local up, seen from the body.
    for qw, qx, qy, qz in zip(*parts, strict=False):
        x += 2.0 * (qx * qz - qw * qy)
        y += 2.0 * (qy * qz + qw * qx)
        z += qw * qw - qx * qx - qy * qy + qz * qz
    fx, fy, fz = body_force_mps2(window)
    size = math.hypot(x, y, z) * math.hypot(fx, fy, fz)
    if not size > 0.0:
        raise Unknown("The attitude or the accelerometer shows no direction at all. Look at both in the firmware.")
    cross = math.hypot(y * fz - z * fy, z * fx - x * fz, x * fy - y * fx)
    error = math.degrees(math.atan2(cross, x * fx + y * fy + z * fz))
    limit = Limit(None, math.degrees(window.limits.attitude_error_rad))

    def good(value: float, decimals: int) -> str:
        return (
            f"Attitude and accelerometer differ by {number(value, decimals)} deg on where up is, "
            f"{allowed(limit, 1, 'deg')}."
        )

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look at the attitude first: it may be frozen or not yet settled; "
            "then at [sensors] in the vehicle file."
        )

    return [judged(error, limit, unit="deg", decimals=1, good=good, bad=bad)]
