"""Checks of what the gimbal has been seen to do on the pad: a whole sweep, and righting a lean made by hand."""

import math

import numpy as np

from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.gimbal import Action, Restoring, deflection_rad, leans_rad, restoring
from groundstation.inputs import NS_PER_S
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.gimbal import AXES, gyro_about
from groundstation.readiness.motion import ATTITUDE
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

WIGGLE_S = 20.0  # a wiggle is looked for in stretches so long, each overlapping the one before by half
LEAST_LEAN_SPAN = math.radians(4.7)


class Extremes:
    """The least and greatest of a measurement's valid values since the session's start, each looked at once."""

    __slots__ = ("_upto_ns", "greatest", "least")

    def __init__(self) -> None:
        self._upto_ns = 0
        self.least = math.inf
        self.greatest = -math.inf

    def take(self, window: Window, name: str) -> None:
        """Take in what has come since."""
        if window.at_ns < self._upto_ns:  # an earlier moment is looked at: begin anew
            self._upto_ns, self.least, self.greatest = 0, math.inf, -math.inf
        t_ns, values = window.rows_since(name, self._upto_ns)
        finite = values[np.isfinite(values)]
        if len(t_ns):
            self._upto_ns = int(t_ns[-1])
        if finite.size:
            self.least = min(self.least, float(finite.min()))
            self.greatest = max(self.greatest, float(finite.max()))


def _sweep_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    if vehicle.gimbal is None or not vehicle.pad.gimbal_sweep:
        return []
    return [(f"gimbal_{axis}_angle",) for axis, _ in AXES]


@check(Place.GIMBAL, limits=("gimbal_sweep_share",), needs=_sweep_needs, every_s=1.0)
def gimbal_sweep(window: Window) -> list[Outcome]:
    """Each axis has been seen to reach most of its limit either way in this session, where the vehicle file asks."""
    gimbal = window.vehicle.gimbal
    if gimbal is None or not window.vehicle.pad.gimbal_sweep:
        return []
    reached = []
    for k, (axis, name) in enumerate(AXES):
        window.need(f"gimbal_{axis}_angle")
        seen = window.kept(("extremes", axis), Extremes)
        seen.take(window, f"gimbal_{axis}_angle")
        neutral = gimbal.neutral_rad[k]
        reached += [(seen.greatest - neutral, name, "positive"), (neutral - seen.least, name, "negative")]
    least, name, way = min(reached)
    limit = Limit(100.0 * window.limits.gimbal_sweep_share)
    share = max(0.0, 100.0 * least / gimbal.limit_rad)
    asked = allowed(limit, 0, "%").replace("allowed", "asked for")
    if share >= (limit.least or 0.0):
        text = f"The gimbal has swept {number(share, 0)} % of its limit either way on both axes, {asked}."
        return [Outcome(Status.PASS, text, round(share), "%", limit)]
    raise Unknown(
        f"The gimbal's {name} axis has only been seen to reach {number(share, 0)} % of its limit on its {way} side, "
        f"{asked}. Look at a sweep: have the flight computer run one."
    )


class Wiggles:
    """The newest telling result for each axis, from stretches of the session, each looked at once."""

    __slots__ = ("_next_ns", "found")

    def __init__(self) -> None:
        self._next_ns = 0
        self.found: dict[int, Restoring] = {}

    def take(self, window: Window) -> None:
        """Look at the last stretch when the next half of one is over."""
        half_ns = round(WIGGLE_S * NS_PER_S / 2)
        if window.at_ns < self._next_ns - 2 * half_ns:  # an earlier moment is looked at: begin anew
            self.found.clear()
        elif window.at_ns < self._next_ns:
            return
        self._next_ns = window.at_ns + half_ns
        for axis, seen in _looked_at(window).items():
            if seen.action is not Action.CANNOT_TELL:
                self.found[axis] = seen


def _looked_at(window: Window) -> dict[int, Restoring]:
    gimbal = window.vehicle.gimbal
    if gimbal is None:
        return {}
    _, attitude = window.together(ATTITUDE, WIGGLE_S)
    if attitude.shape[1] == 0 or 2.0 * float(np.max(np.ptp(attitude[1:3], axis=1))) < LEAST_LEAN_SPAN:
        return {}
    gyros = [gyro_about(window.vehicle, axis) for axis in range(len(AXES))]
    rated = all(window.in_layout(name) for name, _ in gyros)
    names = (*ATTITUDE, *(f"gimbal_{axis}_angle" for axis, _ in AXES), *(name for name, _ in gyros if rated))
    _, rows = window.together(names, WIGGLE_S)
    leans = leans_rad(rows[:4].T)
    seen = {}
    for k, (_, sign) in enumerate(gyros):
        rate = sign * rows[6 + k] if rated else np.full(rows.shape[1], np.nan)
        result = restoring(leans[:, k], rate, deflection_rad(rows[4 + k], gimbal, k))
        if result is not None:
            seen[k] = result
    return seen


def _wiggle_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    if vehicle.gimbal is None or not vehicle.pad.gimbal_wiggle:
        return []
    return [*((name,) for name in ATTITUDE), *((f"gimbal_{axis}_angle",) for axis, _ in AXES)]


@check(Place.GIMBAL, needs=_wiggle_needs, every_s=2.0)
def gimbal_restoring(window: Window) -> list[Outcome]:
    """Where the vehicle was leant by hand with its control running, the gimbal deflected so as to right it.

    Without such a wiggle there is no finding, or unknown where the vehicle file asks for one.
    """
    gimbal, asked = window.vehicle.gimbal, window.vehicle.pad.gimbal_wiggle
    sent = all(window.in_layout(name) for name in (*ATTITUDE, "gimbal_x_angle", "gimbal_y_angle"))
    if gimbal is None or not (sent or asked):
        return []
    wiggles = window.kept("wiggles", Wiggles)
    wiggles.take(window)
    for k, (_, name) in enumerate(AXES):
        seen = wiggles.found.get(k)
        if seen is not None and seen.action is Action.DIVERGING:
            text = (
                f"The gimbal's {name} axis adds to a lean instead of righting it: {number(seen.gain, 2)} times the "
                "lean, above 0 allowed. Look at that axis' servo direction and its sign under [gimbal]."
            )
            return [Outcome(Status.FAIL, text, round(seen.gain, 2), "", Limit(0.0))]
    if len(wiggles.found) == len(AXES):
        return [Outcome(Status.PASS, "The gimbal was seen to right a lean about both axes.", limit=Limit(0.0))]
    if not asked:
        return []
    missing = " and ".join(name for k, (_, name) in enumerate(AXES) if k not in wiggles.found)
    raise Unknown(
        f"The gimbal has not been seen to right a lean about its {missing} axis. "
        "Look at it: lean the vehicle by some 10 deg by hand, with its control running."
    )
