"""Checks of the gimbal at rest and in a sweep: neutral, following, play.

Angles and commands are judged as the vehicle sends them, each axis against its own neutral; one finding tells the
worse axis. A command counts as standing once it has not moved by more than a hair for half a second, servos being
done long before. Angle noise of a small sensor is some hundredths of a degree.
"""

import math

import numpy as np

from groundstation.config.vehicle import PRACTICE, Place, Vehicle
from groundstation.estimation.gimbal import following
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Window
from groundstation.readiness.words import allowed, number
from groundstation.table import BoolArray, FloatArray

AXES = (("x", "outer"), ("y", "inner"))
WINDOW_S = 20.0
MEAN_S = 1.0
STANDING_S = 0.5
HAIR_RAD = math.radians(0.05)
SWEPT_RAD = math.radians(1.0)  # a command that moved so much tells a gain
LEAST_GAIN, MOST_GAIN = 0.8, 1.2
REVERSED_GAIN = 0.3  # nearer to nothing it is not reversed, but does not move
LEAST_VALUES = 3
_BOTH = tuple(f"gimbal_{axis}_{what}" for axis, _ in AXES for what in ("command", "angle"))
_GAIN = (Figure("angle over command in a sweep", f"{LEAST_GAIN:g} to {MOST_GAIN:g}", PRACTICE),)


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    if vehicle.gimbal is None:
        return []
    return [(f"gimbal_{axis}_{what}",) for axis, _ in AXES for what in ("command", "angle")]


@check(Place.GIMBAL, limits=("gimbal_neutral_error_rad",), needs=_needs, every_s=2.0)
def gimbal_neutral(window: Window) -> list[Outcome]:
    """Both axes are commanded to neutral and stand there; a vehicle without a gimbal has no such finding."""
    gimbal = window.vehicle.gimbal
    if gimbal is None:
        return []
    errors = []
    for k, (axis, name) in enumerate(AXES):
        neutral = gimbal.neutral_rad[k]
        commands = window.recent(f"gimbal_{axis}_command", MEAN_S)
        errors.append((max(abs(command - neutral) for command in commands), name, "command"))
        errors.append((abs(window.mean(f"gimbal_{axis}_angle", MEAN_S) - neutral), name, "angle"))
    error, name, what = max(errors)
    limit = Limit(None, math.degrees(window.limits.gimbal_neutral_error_rad))
    is_at = "is commanded" if what == "command" else "stands"

    def good(value: float, decimals: int) -> str:
        return f"The gimbal stands within {number(value, decimals)} deg of neutral, {allowed(limit, 1, 'deg')}."

    def bad(value: float, decimals: int) -> str:
        sweep = "the flight computer: a sweep may be running, or its neutral is not [gimbal] neutral"
        look = sweep if what == "command" else "its linkage, servo horn and neutral setting"
        return (
            f"The gimbal's {name} axis {is_at} {number(value, decimals)} deg off neutral, "
            f"{allowed(limit, 1, 'deg')}. Look at {look}."
        )

    return [judged(math.degrees(error), limit, unit="deg", decimals=1, good=good, bad=bad)]


@check(Place.GIMBAL, limits=("gimbal_following_rad",), needs=_needs, figures=_GAIN, every_s=5.0)
def gimbal_follows(window: Window) -> list[Outcome]:
    """Each axis goes where it is told: to a command that stands, and by as much as the command in a sweep."""
    if window.vehicle.gimbal is None:
        return []
    worst = 0.0, "outer"
    for axis, name in AXES:
        t_s, command, angle = _axis(window, axis)
        if span(command) > SWEPT_RAD:
            fit = following(command, angle)
            if fit is not None and not LEAST_GAIN <= fit.gain <= MOST_GAIN:
                return [_gain(name, fit.gain)]
        still = standing(t_s, command) & (t_s > -MEAN_S - STANDING_S)
        if np.count_nonzero(still) >= LEAST_VALUES:
            worst = max(worst, (abs(float(np.mean((angle - command)[still]))), name))
    limit = Limit(None, math.degrees(window.limits.gimbal_following_rad))

    def good(value: float, decimals: int) -> str:
        return f"The gimbal follows its command within {number(value, decimals)} deg, {allowed(limit, 1, 'deg')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"The gimbal's {worst[1]} axis is {number(value, decimals)} deg from its command, "
            f"{allowed(limit, 1, 'deg')}. Look at that axis' servo, its plug and horn, and whether it is stalled."
        )

    return [judged(math.degrees(worst[0]), limit, unit="deg", decimals=1, good=good, bad=bad)]


@check(Place.GIMBAL, limits=("gimbal_play_rad",), needs=_needs, every_s=5.0)
def gimbal_play(window: Window) -> list[Outcome]:
    """Under a command that stands the angle strays little: no loose joint, and no slack between two directions.

    Over twenty seconds the angle's distance from the command is taken while the command stands; how far that strays
    from its least to its greatest is play.
    """
    if window.vehicle.gimbal is None:
        return []
    worst = 0.0, "outer"
    for axis, name in AXES:
        t_s, command, angle = _axis(window, axis)
        off = (angle - command)[standing(t_s, command)]
        worst = max(worst, (span(off), name))
    limit = Limit(None, math.degrees(window.limits.gimbal_play_rad))

    def good(value: float, decimals: int) -> str:
        return f"The gimbal strays by {number(value, decimals)} deg at rest, {allowed(limit, 1, 'deg')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"The gimbal's {worst[1]} axis strays by {number(value, decimals)} deg at rest, "
            f"{allowed(limit, 1, 'deg')}. Look at that axis' ball joint, horn screw and pivot: one is loose."
        )

    return [judged(math.degrees(worst[0]), limit, unit="deg", decimals=1, good=good, bad=bad)]


def _gain(name: str, gain: float) -> Outcome:
    look = (
        "the sign of its angle sensor and of [gimbal] signs in the vehicle file"
        if gain < -REVERSED_GAIN
        else "that axis' servo and plug, its horn and linkage, and the angle sensor's scale"
    )
    text = (
        f"The gimbal's {name} axis moves by {number(gain, 2)} times its command, "
        f"{LEAST_GAIN} to {MOST_GAIN} allowed. Look at {look}."
    )
    return Outcome(Status.FAIL, text, round(gain, 2), "", Limit(LEAST_GAIN, MOST_GAIN))


def _axis(window: Window, axis: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Times [s, up to this moment], commands and angles of one axis over the window."""
    t_s, rows = window.together(_BOTH, WINDOW_S)
    command = 2 * [name for name, _ in AXES].index(axis)
    return t_s, rows[command], rows[command + 1]


def gyro_about(vehicle: Vehicle, axis: int) -> tuple[str, float]:
    """The measurement of the rate about a body axis (0 to 2: x to z) and its sign, by how the gyro sits."""
    along = vehicle.sensors.gyro[axis]
    return f"gyro_{along[1]}", -1.0 if along[0] == "-" else 1.0


def standing(t_s: FloatArray, command: FloatArray) -> BoolArray:
    """(n,) whether the command has not moved for `STANDING_S` before each value."""
    if not t_s.size:
        return np.zeros(0, np.bool_)
    moved = np.flatnonzero(np.abs(np.diff(command)) > HAIR_RAD) + 1
    last = np.full(t_s.shape, -np.inf)
    last[moved] = t_s[moved]
    return np.asarray(t_s - np.maximum.accumulate(last) >= STANDING_S)


def span(values: FloatArray) -> float:
    """From the least to the greatest of values (n,); 0 for none."""
    return float(np.ptp(values)) if values.size else 0.0
