"""Checks of the sensors' noise and range: too quiet is as suspect as too loud, and a sensor at its end says nothing.

Noise is the standard deviation of the differences between successive values over the square root of two, so that a
slow drift or a steady lean does not count. An axis that has not changed at all is left to the checks for stuck
sensors. Over five seconds of ten values each the figure strays by a tenth; the limits that ship leave a factor of
five and more on either side of a small MEMS part's noise.
"""

import math

import numpy as np

from groundstation.config.vehicle import PRACTICE, Place
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.motion import ACCEL, GYRO
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

WINDOW_S = 5.0
LEAST_VALUES = 6
RANGE_WINDOW_S = 2.0
RANGE_SHARE = 0.98
_SATURATED = (
    Figure("accelerometer's range", "[sensors] accel_range", "vehicle file"),
    Figure("gyro's range", "[sensors] gyro_range", "vehicle file"),
    Figure("at its end from", f"{100 * RANGE_SHARE:g} % of the range", PRACTICE),
)


@check(Place.AVIONICS, limits=("accel_noise_min_mps2", "accel_noise_max_mps2"), needs=ACCEL, every_s=5.0)
def accelerometer_noise(window: Window) -> list[Outcome]:
    """Each of the accelerometer's axes is as noisy as a living sensor on a vehicle at rest, no more and no less."""
    limit = Limit(window.limits.accel_noise_min_mps2, window.limits.accel_noise_max_mps2)
    return _judged(window, "accelerometer", ACCEL, limit, unit="m/s²", decimals=3, per_si=1.0)


@check(Place.AVIONICS, limits=("gyro_noise_min_radps", "gyro_noise_max_radps"), needs=GYRO, every_s=5.0)
def gyro_noise(window: Window) -> list[Outcome]:
    """Each of the gyro's axes is as noisy as a living sensor on a vehicle at rest, no more and no less."""
    least, most = window.limits.gyro_noise_min_radps, window.limits.gyro_noise_max_radps
    limit = Limit(math.degrees(least), math.degrees(most))
    return _judged(window, "gyro", GYRO, limit, unit="deg/s", decimals=3, per_si=math.degrees(1.0))


@check(Place.AVIONICS, limits=("pressure_noise_min_pa", "pressure_noise_max_pa"), needs=("pressure",), every_s=5.0)
def pressure_noise(window: Window) -> list[Outcome]:
    """The pressure is as noisy as a living sensor in a vented bay, no more and no less."""
    limit = Limit(window.limits.pressure_noise_min_pa, window.limits.pressure_noise_max_pa)
    return _judged(window, "pressure sensor", ("pressure",), limit, unit="Pa", decimals=1, per_si=1.0)


def _judged(
    window: Window, sensor: str, names: tuple[str, ...], limit: Limit, *, unit: str, decimals: int, per_si: float
) -> list[Outcome]:
    _, rows = window.together(names, WINDOW_S)
    if rows.shape[1] < LEAST_VALUES:
        text = f"Too few values of the {sensor} have come to judge its noise. Look at the radio link."
        raise Unknown(text, stale=True)
    steps = np.diff(rows, axis=1)
    noises = np.sqrt(np.mean(steps * steps, axis=1) / 2.0) * per_si
    moving = [(float(noise), name) for noise, name in zip(noises, names, strict=True) if noise > 0.0]
    if not moving:
        return [Outcome(Status.PASS, f"The {sensor} does not move; whether it is stuck is judged apart.", 0.0, unit)]
    middle = math.sqrt((limit.least or 0.0) * (limit.greatest or 0.0))
    worst, name = max(moving, key=lambda noise: abs(math.log(noise[0] / middle)))
    which = f"{sensor}'s {name[-1]} axis" if len(names) > 1 else sensor

    def good(value: float, places: int) -> str:
        return f"The {which} has {number(value, places)} {unit} of noise, {allowed(limit, decimals, unit)}."

    def bad(value: float, places: int) -> str:
        quiet = "Look at its range and filter settings in the firmware: values may be repeated or smoothed."
        loud = "Look at its supply and mounting, and at whether the vehicle stands still and out of the wind."
        return f"{good(value, places)} {quiet if worst < middle else loud}"

    return [judged(worst, limit, unit=unit, decimals=decimals, good=good, bad=bad)]


@check(Place.AVIONICS, figures=_SATURATED, every_s=2.0)
def sensor_range(window: Window) -> list[Outcome]:
    """No axis of accelerometer or gyro was at the end of its range, where it says nothing, for two seconds."""
    sensors = window.vehicle.sensors
    ranges = [("accelerometer", ACCEL, sensors.accel_range_mps2), ("gyro", GYRO, sensors.gyro_range_radps)]
    judged_any = False
    for sensor, names, most in ranges:
        if most is None or not window.in_layout(names[0]):
            continue
        judged_any = True
        reached, name = max((max(map(abs, window.recent(name, RANGE_WINDOW_S))) / most, name) for name in names)
        if reached >= RANGE_SHARE:
            text = (
                f"The {sensor}'s {name[-1]} axis was at the end of its range within the last 2 s, "
                f"at most {100 * RANGE_SHARE:g} % of that allowed. Look at the sensor and its range setting, "
                "and whether it was knocked."
            )
            return [Outcome(Status.FAIL, text, round(100.0 * reached), "%", _RANGE_LIMIT)]
    return [Outcome(Status.PASS, "No axis is at the end of its range.", limit=_RANGE_LIMIT)] if judged_any else []


_RANGE_LIMIT = Limit(None, 100.0 * RANGE_SHARE)
