"""Bench proof of the gimbal's sign: leant by hand about each axis with its control running, it rights the lean.

The motor's deflection is regressed on the lean and the rate (`groundstation.estimation.gimbal.restoring`). A wiggle
of less than `LEAST_LEAN_RAD` says nothing. What the angle sensors cannot say, a sensor's sign and a servo's wrong
together, the person's eye does: the nozzle's end must swing away from the side that the nose leans to.
"""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from groundstation.bench.proof import Figure, Point, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Seen, Step, Stretch, Takes, try_each
from groundstation.bench.words import NO_MOTOR
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Gimbal, Place, Vehicle
from groundstation.estimation.gimbal import REST_SAMPLES, Action, Restoring, deflection_rad, leans_rad, restoring
from groundstation.readiness.gimbal import AXES, gyro_about
from groundstation.readiness.motion import ATTITUDE
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import number
from groundstation.table import FloatArray

LEAST_LEAN_RAD = math.radians(5.0)  # common practice, no source: sway, play and noise are some tenths of a degree
ASKED_LEAN_DEG = 10
# A deflection about the other axis counts as crossed from this many times what the axis' own answers with.
CROSSED = 3.0
ALONE_SHARE = 0.5  # of the lean: so much about the other axis still counts as a lean about one
STILL_S = 3.0
LEAN_S = 4.0
WRONG = "wrong"


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    return (*ATTITUDE, *(f"gimbal_{axis}_angle" for axis, _ in AXES), "gyro_x", "gyro_y", "gyro_z")


def _steps(vehicle: Vehicle) -> tuple[Step, ...]:
    still = Step(
        "still",
        "Hold the vehicle upright in both hands, its control running, and keep it still for a few seconds. Then "
        "press Enter.",
        STILL_S,
    )
    leans = [
        Step(
            f"lean {axis}",
            f"Begin upright, then lean it about the {name} axis (body {axis}) by some {ASKED_LEAN_DEG} deg to one "
            "side and to the other, slowly, twice. Look at the nozzle: its end must swing away from the side that "
            "the nose leans to. Press Enter, or type wrong if it swings the other way.",
            LEAN_S,
            takes=Takes.WRONG,
        )
        for axis, name in AXES
    ]
    return (still, *leans)


def _watch(stretch: Stretch) -> Seen:
    if stretch.key == "still":
        return Seen("packets come" if stretch.window.has_come("attitude_w") else "no attitude has come yet")
    axis = [f"lean {axis}" for axis, _ in AXES].index(stretch.key)
    _, leans = _leans(stretch)
    lean = _wiggle_rad(leans[:, axis])
    seen = _regressed(stretch, axis, axis)
    said = "cannot tell yet" if seen is None else seen.action.value
    asked = number(math.degrees(LEAST_LEAN_RAD), 0)
    text = f"leant by {number(math.degrees(lean), 1)} deg, at least {asked} deg asked for; {said}"
    return Seen(text, lean >= LEAST_LEAN_RAD and seen is not None and seen.action is not Action.CANNOT_TELL)


def _judge(stretches: Sequence[Stretch]) -> list[Point]:
    by_key = {stretch.key: stretch for stretch in stretches}
    return try_each(*(partial(_axis, by_key[f"lean {axis}"], k, name) for k, (axis, name) in enumerate(AXES)))


def _axis(stretch: Stretch, axis: int, name: str) -> Point:
    if stretch.said == WRONG:
        return failed(
            f"By eye the nozzle swings to the side that the nose leans to, about the {name} axis.",
            f"the {name} axis' servo direction, then the signs under [gimbal] and [sensors]",
        )
    _, leans = _leans(stretch)
    lean_rad = _wiggle_rad(leans[:, axis])
    lean = Figure(f"lean about the {name} axis", round(math.degrees(lean_rad), 1), "deg")
    asked = f"at least {number(math.degrees(LEAST_LEAN_RAD), 0)} deg asked for"
    if not lean_rad >= LEAST_LEAN_RAD:
        return cannot_tell(
            f"The vehicle was leant about its {name} axis by {number(lean.value, 1)} deg, {asked}.",
            "the lean: lean it farther, about that axis alone",
            lean,
        )
    own, other = _regressed(stretch, axis, axis), _regressed(stretch, axis, 1 - axis)
    told = own is not None and own.action is not Action.CANNOT_TELL
    own_gain = own.gain if own is not None and told else 0.0
    # Only a lean about this axis alone says whose deflection answers it.
    alone = _wiggle_rad(leans[:, 1 - axis]) < ALONE_SHARE * lean_rad
    answers = other is not None and other.action is not Action.CANNOT_TELL
    if other is not None and answers and alone and abs(other.gain) > CROSSED * abs(own_gain):
        return failed(
            f"A lean about the {name} axis moves the other axis.",
            "the two servos' plugs: they are likely swapped, or the axes under [sensors] are",
            lean,
            Figure(f"the other axis' deflection over lean, {name} axis", round(other.gain, 2), ""),
        )
    if own is None or not told:
        return cannot_tell(
            f"The gimbal did not answer a lean of {number(lean.value, 1)} deg about its {name} axis clearly.",
            f"whether the control runs, then the {name} axis' servo, plug and horn",
            lean,
        )
    gain = Figure(f"deflection over lean, {name} axis", round(own.gain, 2), "")
    if own.action is Action.DIVERGING:
        return failed(
            f"The gimbal's {name} axis adds to a lean: {number(own.gain, 2)} times the lean, above 0 asked for.",
            f"the {name} axis' servo direction, then its sign under [gimbal] and the firmware's",
            lean,
            gain,
        )
    return passed(f"The gimbal's {name} axis rights a lean: {number(own.gain, 2)} times the lean.", lean, gain)


def _leans(stretch: Stretch) -> tuple[FloatArray, FloatArray]:
    """Times [s] and (n, 2) leans over a stretch."""
    t_s, attitude = stretch.together(ATTITUDE)
    if not t_s.size:
        raise Unknown("No attitude has come in this step. Look at the radio link.", stale=True)
    return t_s, leans_rad(attitude.T)


def _wiggle_rad(lean: FloatArray) -> float:
    """How far a lean went from where it began."""
    return float(np.max(np.abs(lean - np.mean(lean[:REST_SAMPLES]))))


def _regressed(stretch: Stretch, lean_axis: int, gimbal_axis: int) -> Restoring | None:
    """How the deflection about one axis answers the lean about another or the same."""
    vehicle = stretch.timeline.vehicle
    gimbal = gimbal_of(vehicle)
    angle = f"gimbal_{AXES[gimbal_axis][0]}_angle"
    rate, sign = gyro_about(vehicle, lean_axis)
    rated = stretch.window.in_layout(rate)
    _, rows = stretch.together((*ATTITUDE, angle, *([rate] if rated else [])))
    lean = leans_rad(rows[:4].T)[:, lean_axis]
    rates = sign * rows[5] if rated else np.full(lean.shape, np.nan)
    return restoring(lean, rates, deflection_rad(rows[4], gimbal, gimbal_axis))


def gimbal_of(vehicle: Vehicle) -> Gimbal:
    """The gimbal; Unknown where the vehicle file describes none."""
    if vehicle.gimbal is None:
        raise Unknown("The vehicle file describes no gimbal. Add a [gimbal] table.")
    return vehicle.gimbal


GIMBAL_SIGN = BenchTest(
    name=ProofName.GIMBAL_SIGN,
    shows="that the gimbal deflects so as to right a lean, about both axes",
    cautions=(NO_MOTOR, "Keep fingers clear of the gimbal: it moves by itself."),
    place=Place.GIMBAL,
    tables=("gimbal", "sensors"),
    limits=(),
    measurements=_measurements,
    steps=_steps,
    watch=_watch,
    judge=_judge,
)
