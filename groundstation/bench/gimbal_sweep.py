"""Bench proof of the gimbal's travel: neutral, a whole sweep both ways on both axes, and no play beyond the limit.

The sweep is the flight computer's own; the station commands nothing. Play is how far the angle strays while the
command stands, with the motor mount moved gently by hand.
"""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from groundstation.bench.gimbal_sign import gimbal_of
from groundstation.bench.proof import Figure, Point, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Ends, Seen, Step, Stretch, try_each
from groundstation.bench.words import LISTENS, NO_MOTOR
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.gimbal import following
from groundstation.readiness.finding import Limit
from groundstation.readiness.gimbal import (
    AXES,
    LEAST_GAIN,
    LEAST_VALUES,
    MOST_GAIN,
    REVERSED_GAIN,
    SWEPT_RAD,
    span,
    standing,
)
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import allowed, number
from groundstation.table import FloatArray

STILL_S = 4.0
PLAY_S = 6.0
SWEEP_S = 4.0


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    return tuple(f"gimbal_{axis}_{what}" for axis, _ in AXES for what in ("command", "angle"))


def _steps(vehicle: Vehicle) -> tuple[Step, ...]:
    return (
        Step(
            "neutral",
            "Leave the gimbal alone at neutral, no sweep running. It goes on by itself.",
            STILL_S,
            Ends.AFTER_TIME,
        ),
        Step(
            "sweep",
            "Let the flight computer sweep both axes from limit to limit, both ways. It goes on once that has been "
            "seen; press Enter if the sweep is over before.",
            SWEEP_S,
            Ends.WHEN_SEEN,
        ),
        Step(
            "play",
            "Let the sweep end and the command stand still. Move the motor mount gently by hand on both axes, as far "
            "as it gives. Then press Enter.",
            PLAY_S,
        ),
    )


def _watch(stretch: Stretch) -> Seen:
    if stretch.key != "sweep":
        stretch.together(_measurements(stretch.timeline.vehicle))
        return Seen("the gimbal's commands and angles come")
    shares = [_reach(stretch, k) for k in range(len(AXES))]
    text = "; ".join(
        f"{name} axis {number(_percent(negative), 0)} % and {number(_percent(positive), 0)} % of its limit"
        for (_, name), (negative, positive) in zip(AXES, shares, strict=True)
    )
    asked = stretch.timeline.vehicle.limits.gimbal_sweep_share
    return Seen(text, all(min(pair) >= asked for pair in shares))


def _judge(stretches: Sequence[Stretch]) -> list[Point]:
    by_key = {stretch.key: stretch for stretch in stretches}
    rules = [
        partial(rule, by_key[key], k)
        for key, rule in (
            ("neutral", _neutral),
            ("sweep", _swept),
            ("sweep", _gain),
            ("play", _follows),
            ("play", _play),
        )
        for k in range(len(AXES))
    ]
    return try_each(*rules)


def _neutral(stretch: Stretch, axis: int) -> Point:
    limit = Limit(None, math.degrees(stretch.timeline.vehicle.limits.gimbal_neutral_error_rad))
    command, angle = _axis(stretch, axis)
    neutral = gimbal_of(stretch.timeline.vehicle).neutral_rad[axis]
    name = AXES[axis][1]
    if float(np.max(np.abs(command - neutral))) > math.radians(limit.greatest or 0.0):
        return cannot_tell(f"The {name} axis was commanded away from neutral.", "whether a sweep was running")
    off_deg = math.degrees(abs(float(np.mean(angle)) - neutral))
    figure = Figure(f"off neutral, {name} axis", round(off_deg, 2), "deg")
    text = f"The {name} axis stands {number(off_deg, 2)} deg off neutral, {allowed(limit, 1, 'deg')}."
    if off_deg <= (limit.greatest or 0.0):
        return passed(text, figure)
    return failed(text, f"the {name} axis' linkage, servo horn and neutral setting", figure)


def _swept(stretch: Stretch, axis: int) -> Point:
    limit = Limit(100.0 * stretch.timeline.vehicle.limits.gimbal_sweep_share)
    ways = dict(zip(("negative", "positive"), _reach(stretch, axis), strict=True))
    way, share = min(ways.items(), key=lambda item: item[1])
    name = AXES[axis][1]
    figures = [Figure(f"{name} axis, {w} side", round(_percent(s)), "% of its limit") for w, s in ways.items()]
    asked = allowed(limit, 0, "%").replace("allowed", "asked for")
    if _percent(share) >= (limit.least or 0.0):
        return passed(f"The {name} axis swept both ways, {asked}.", *figures)
    command, _ = _axis(stretch, axis)
    commanded = _percent(min(_ways(stretch, axis, command)))
    text = f"The {name} axis reached {number(_percent(share), 0)} % of its limit on its {way} side, {asked}"
    if commanded < (limit.least or 0.0):
        return cannot_tell(
            f"{text}; it was commanded no farther than {number(commanded, 0)} %.",
            "the sweep: have the flight computer go from limit to limit",
            *figures,
        )
    return failed(
        f"{text}, though commanded there.", f"what is in the way of the {name} axis, then its horn", *figures
    )


def _gain(stretch: Stretch, axis: int) -> Point:
    command, angle = _axis(stretch, axis)
    name = AXES[axis][1]
    fit = following(command, angle) if span(command) > SWEPT_RAD else None
    if fit is None:
        return cannot_tell(f"The {name} axis' command hardly moved.", "the sweep")
    figure = Figure(f"angle over command, {name} axis", round(fit.gain, 2), "")
    text = f"The {name} axis moves by {number(fit.gain, 2)} times its command, {LEAST_GAIN} to {MOST_GAIN} allowed."
    if LEAST_GAIN <= fit.gain <= MOST_GAIN:
        return passed(text, figure)
    if fit.gain < -REVERSED_GAIN:
        return failed(text, f"the sign of the {name} axis' angle sensor, then of [gimbal] signs", figure)
    return failed(
        text, f"the {name} axis' servo and plug, its horn and linkage, and the angle sensor's scale", figure
    )


def _follows(stretch: Stretch, axis: int) -> Point:
    limit = Limit(None, math.degrees(stretch.timeline.vehicle.limits.gimbal_following_rad))
    off, name = _off_standing(stretch, axis), AXES[axis][1]
    off_deg = math.degrees(abs(float(np.mean(off))))
    figure = Figure(f"angle from a standing command, {name} axis", round(off_deg, 2), "deg")
    text = f"The {name} axis is {number(off_deg, 2)} deg from a standing command, {allowed(limit, 1, 'deg')}."
    if off_deg <= (limit.greatest or 0.0):
        return passed(text, figure)
    return failed(text, f"the {name} axis' servo, its plug and horn, and whether it is stalled", figure)


def _play(stretch: Stretch, axis: int) -> Point:
    limit = Limit(None, math.degrees(stretch.timeline.vehicle.limits.gimbal_play_rad))
    name = AXES[axis][1]
    play_deg = math.degrees(span(_off_standing(stretch, axis)))
    figure = Figure(f"play, {name} axis", round(play_deg, 2), "deg")
    text = f"The {name} axis strays by {number(play_deg, 2)} deg, {allowed(limit, 1, 'deg')}."
    if play_deg <= (limit.greatest or 0.0):
        return passed(text, figure)
    return failed(text, f"the {name} axis' ball joint, horn screw and pivot: one is loose", figure)


def _off_standing(stretch: Stretch, axis: int) -> FloatArray:
    """(n,) how far the angle is from the command while that stands; at least `LEAST_VALUES`."""
    t_s, rows = stretch.together(_measurements(stretch.timeline.vehicle))
    command, angle = rows[2 * axis], rows[2 * axis + 1]
    off: FloatArray = (angle - command)[standing(t_s, command)]
    if off.size < LEAST_VALUES:
        raise Unknown(f"The {AXES[axis][1]} axis' command did not stand still. Look at whether a sweep still ran.")
    return off


def _reach(stretch: Stretch, axis: int) -> tuple[float, float]:
    """The share of its limit that an axis' angle reached on its negative and on its positive side."""
    return _ways(stretch, axis, _axis(stretch, axis)[1])


def _ways(stretch: Stretch, axis: int, angle: FloatArray) -> tuple[float, float]:
    gimbal = gimbal_of(stretch.timeline.vehicle)
    neutral = gimbal.neutral_rad[axis]
    least, greatest = float(np.min(angle)), float(np.max(angle))
    return (neutral - least) / gimbal.limit_rad, (greatest - neutral) / gimbal.limit_rad


def _percent(share: float) -> float:
    return max(0.0, 100.0 * share)


def _axis(stretch: Stretch, axis: int) -> tuple[FloatArray, FloatArray]:
    """(n,) commands and angles of one axis over a stretch, at least one of each."""
    _, rows = stretch.together(_measurements(stretch.timeline.vehicle))
    if not rows.shape[1]:
        raise Unknown("No command and angle have come in this step. Look at the radio link.", stale=True)
    return rows[2 * axis], rows[2 * axis + 1]


GIMBAL_SWEEP = BenchTest(
    name=ProofName.GIMBAL_SWEEP,
    shows="that both axes stand at neutral, reach their limits both ways, follow their commands and have no play",
    cautions=(NO_MOTOR, LISTENS),
    place=Place.GIMBAL,
    tables=("gimbal",),
    limits=("gimbal_neutral_error_rad", "gimbal_sweep_share", "gimbal_following_rad", "gimbal_play_rad"),
    measurements=_measurements,
    steps=_steps,
    watch=_watch,
    judge=_judge,
)
