"""Checks of the camera: whether it runs as planned, and whether it draws what a running camera draws."""

from statistics import median

import numpy as np

from groundstation.config.vehicle import PRACTICE, Place, Vehicle
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number
from groundstation.table import FloatArray

DRAW_WINDOW_S = 120.0
STEP_MEAN_S = 4.0  # on either side of a switching
STARTING_S = 2.0  # a camera takes so long until it draws what it draws (common practice, no source)
LEAST_VALUES = 3
S_PER_MINUTE = 60.0
_STATES = {0.0: "off", 1.0: "on"}
_PLAN = (
    Figure("on or off for GO", "[camera] on_pad", "vehicle file"),
    Figure("longest on the pad", "[camera] longest_on", "vehicle file"),
)
_DRAW = (
    Figure("current", "[camera] current", "vehicle file"),
    Figure("time until it draws all it draws", f"{STARTING_S:g} s", PRACTICE),
)


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("camera_on",)] if vehicle.camera is not None else []


def _draw_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("battery_current",)] if vehicle.camera is not None and vehicle.camera.current_a is not None else []


@check(Place.CAMERA, needs=_needs, figures=_PLAN, every_s=0.4)
def camera_state(window: Window) -> list[Outcome]:
    """The camera is on or off as planned, on for no longer than planned, and its channel agrees."""
    camera = window.vehicle.camera
    if camera is None:
        return []
    on = window.need("camera_on")
    if on not in _STATES:
        raise Unknown(f"The camera's state reads {number(on, 1)}, 0 or 1 expected. Look at the packet's layout.")
    state = f"The camera is {_STATES[on]}"
    switched = f"pyro_{camera.channel}_energised"
    if camera.channel is not None and window.in_layout(switched) and window.need(switched) != on:
        other = _STATES[1.0 - on]
        text = (
            f"{state} by its state, but channel {camera.channel} is {other}. Look at the camera's switch and leads."
        )
        return [Outcome(Status.FAIL, text, on)]
    if camera.on_pad not in ("either", _STATES[on]):
        text = f"{state}, {camera.on_pad} planned for GO. Look at the camera: switch it {camera.on_pad}."
        return [Outcome(Status.FAIL, text, on)]
    if on == 0.0 or camera.longest_on_s is None:
        return [Outcome(Status.PASS, f"{state}, as the vehicle file allows.", on)]
    been_s = _on_for_s(window, camera.longest_on_s)
    limit = Limit(None, camera.longest_on_s / S_PER_MINUTE)

    def good(value: float, decimals: int) -> str:
        return f"The camera has been on for {number(value, decimals)} min, {allowed(limit, 0, 'min')}.{_cost(window)}"

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the camera: switch it off until shortly before the launch."

    return [judged(been_s / S_PER_MINUTE, limit, unit="min", decimals=0, good=good, bad=bad)]


@check(Place.CAMERA, needs=_draw_needs, figures=_DRAW, every_s=4.0)
def camera_draw(window: Window) -> list[Outcome]:
    """The camera draws what a running one draws, by the step in the pack's current when it was switched.

    Without a step within the last two minutes, the current above the vehicle file's for the board is judged. A file
    that gives no current for the camera has no such finding.
    """
    camera = window.vehicle.camera
    if camera is None or camera.current_a is None:
        return []
    least_a, most_a = camera.current_a
    t_s, (current_a, on) = window.together(("battery_current", "camera_on"), DRAW_WINDOW_S)
    runs = bool(on.size) and on[-1] == 1.0
    step_a = _step_a(t_s, current_a, on)
    board_a = window.vehicle.loads.board_a
    if step_a is None and board_a is not None:
        # Only once the state has been the same for as long as a switched camera takes to show in the current.
        settled = bool(np.all(on[t_s > -STEP_MEAN_S - STARTING_S] == on[-1])) if on.size else False
        lately = current_a[t_s > -STEP_MEAN_S]
        above_a = median(lately.tolist()) - board_a if settled and lately.size >= LEAST_VALUES else None
        if not runs and above_a is not None and above_a >= least_a:
            text = (
                f"The camera is off by its state, but the pack gives {number(above_a, 2)} A more than the board's "
                f"{number(board_a, 2)} A. Look at the camera: it may run all the same."
            )
            return [Outcome(Status.FAIL, text, round(above_a, 2), "A", Limit(None, least_a))]
        step_a = above_a if runs else None
    if step_a is None:
        state = "starting" if runs else "off"
        return [Outcome(Status.PASS, f"The camera is {state}; its draw has not been seen yet.")]
    limit = Limit(least_a, most_a)

    def good(value: float, decimals: int) -> str:
        return f"The camera draws {number(value, decimals)} A, {allowed(limit, 2, 'A')}."

    def bad(value: float, decimals: int) -> str:
        low = "it may be switched but not running: its plug, its card, its own battery."
        return (
            f"{good(value, decimals)} Look at the camera: {low if value < least_a else 'its leads may be shorted.'}"
        )

    return [judged(step_a, limit, unit="A", decimals=2, good=good, bad=bad)]


def _step_a(t_s: FloatArray, current_a: FloatArray, on: FloatArray) -> float | None:
    """How much more current flows with the camera on, by its newest switching that has settled; None without one."""
    for at in np.flatnonzero(np.diff(on))[::-1] + 1:
        before = current_a[(t_s < t_s[at]) & (t_s > t_s[at] - STEP_MEAN_S) & (on == on[at - 1])]
        since_s = t_s - t_s[at] - STARTING_S
        after = current_a[(since_s > 0.0) & (since_s < STEP_MEAN_S) & (on == on[at])]
        if min(before.size, after.size) >= LEAST_VALUES:
            return float(median(after.tolist()) - median(before.tolist())) * (1.0 if on[at] > on[at - 1] else -1.0)
    return None


def _on_for_s(window: Window, longest_s: float) -> float:
    """For how long the camera has been on, up to a little more than the longest that is allowed."""
    t_s, (on,) = window.together(("camera_on",), longest_s + S_PER_MINUTE)
    off = np.flatnonzero(on != 1.0)
    first = int(off[-1]) + 1 if off.size else 0
    return -float(t_s[first]) if first < t_s.size else 0.0


def _cost(window: Window) -> str:
    """What leaving it on costs in waiting, by its share of the present current; empty where that is not known."""
    camera = window.vehicle.camera
    if camera is None or camera.current_a is None or not window.in_layout("battery_current"):
        return ""
    now_a = window.need("battery_current")
    without_a = now_a - sum(camera.current_a) / 2.0
    if not without_a > 0.0:
        return ""
    return f" Each minute on costs {number(now_a / without_a, 1)} min of waiting without it."
