"""Checks of the sensors as such: values that do not move, and values that cannot be.

A sensor with normal noise changes its last bit all the time. A sensor whose step is as large as its noise repeats
itself about every second time, so that one axis alone may stand still by chance: the axes of one sensor are stuck
when all have stood still for limits.stuck_time_s, or any of them for ALONE_FACTOR times as long. At ten values a
second, one in ten lost, a repeat chance of one half makes three axes stand still for 1.2 s once in 10^9 values, and
one axis for 6 s once in 10^16. A field whose step is much larger than the noise cannot be judged this way.
"""

from groundstation.config.vehicle import Place
from groundstation.measurements import measurement
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.motion import ACCEL, GYRO
from groundstation.readiness.window import Window
from groundstation.readiness.words import number, spoken

AT_LEAST = 8
ALONE_FACTOR = 5.0
NAMED = 3


@check(Place.AVIONICS, limits=("stuck_time_s",), needs=ACCEL, every_s=0.4)
def accelerometer_stuck(window: Window) -> list[Outcome]:
    """The accelerometer's values move as a living sensor's do."""
    return [_stuck(window, "The accelerometer", ACCEL)]


@check(Place.AVIONICS, limits=("stuck_time_s",), needs=GYRO, every_s=0.4)
def gyro_stuck(window: Window) -> list[Outcome]:
    """The gyro's values move as a living sensor's do."""
    return [_stuck(window, "The gyro", GYRO)]


@check(Place.AVIONICS, limits=("stuck_time_s",), needs=("pressure",), every_s=0.4)
def pressure_stuck(window: Window) -> list[Outcome]:
    """The pressure sensor's values move as a living sensor's do."""
    return [_stuck(window, "The pressure sensor", ("pressure",))]


def _stuck(window: Window, sensor: str, names: tuple[str, ...]) -> Outcome:
    most_s = window.limits.stuck_time_s
    limit = Limit(None, most_s)
    stood = [(*window.unchanged(name), name) for name in names]
    still = [s for s in stood if s[0] >= most_s and s[1] >= AT_LEAST]
    if len(still) < len(stood):
        still = [s for s in still if s[0] >= ALONE_FACTOR * most_s]
    if not still:
        return Outcome(Status.PASS, f"{sensor}'s values move.", unit="s", limit=limit)
    alone = len(still) < len(stood)
    which = f"{sensor}'s {still[0][2][-1]} axis" if alone else sensor
    stood_s = most_s * (ALONE_FACTOR if alone else 1.0)
    return Outcome(
        Status.FAIL,
        f"{which} has not changed by a bit for {number(stood_s, 1)} s or longer. "
        "Look at the sensor's bus wiring, then start the flight computer anew.",
        stood_s,
        "s",
        limit,
    )


@check(Place.AVIONICS, every_s=0.4)
def values_possible(window: Window) -> list[Outcome]:
    """Every value that is sent is a number within the valid range the vehicle file gives for it.

    Fields without a standard meaning are held to their valid range too, where the file gives one.
    """
    wrong = window.impossible()
    if not wrong:
        return [Outcome(Status.PASS, "Every value is a number within its valid range.")]
    wrong.sort()
    named = "; ".join(f"the {_told(name)} {problem}" for name, problem in wrong[:NAMED])
    more = f"; and {len(wrong) - NAMED} more" if len(wrong) > NAMED else ""
    return [
        Outcome(
            Status.FAIL,
            f"{named[0].upper()}{named[1:]}{more}. Look at what measures it and its wiring, then at the field's "
            "valid range in the vehicle file.",
            float(len(wrong)),
        )
    ]


def _told(name: str) -> str:
    return spoken(name) if measurement(name) else f"field {name}"
