"""What truly caused a loss of GO in a nominal watch, by what the simulator knows: lost packets, the camera, gusts.

A cause must account for what the sentence says: as many packets lost in a row, or out of so many, as it takes, ending
when the sentence was said. What only happened near by is none.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from groundstation.config.vehicle import Vehicle
from groundstation.readiness.radio import DAMAGE_WINDOW_S, LEAST_DAMAGED, loss_window_s
from groundstation.readiness.reading import allowed_silence_s
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.simulate import Fate

LEAST_LOST = 3  # fewer packets lost in a row are no burst that makes anything old
RUN_ANEW_S = 1.0  # a check on packet loss looks once a second
GATHERED_S = 6.0  # what "too few values" looks back on, at the most
CAMERA_S = 60.0  # how long the checks of the pack look back on its switching
SETTLES_S = 10.0  # how long those of the sensors look back
GUST = 1.3  # times the mean wind: two standard deviations

_PACK = {"battery_sag", "battery_resistance", "supply_left", "battery_minutes", "camera_state", "camera_draw"}
_SHAKEN = {"accelerometer_noise", "gyro_noise", "gyro_rest", "tilt", "attitude_agrees", "pressure_noise"}


@dataclass(frozen=True)
class Flicker:
    """A time at which GO was lost: the first check against it, what it said, and the cause; empty for none found."""

    seed: int
    at_s: float
    check: str
    text: str
    stale: bool = False
    cause: str = ""


@dataclass(frozen=True)
class Truth:
    """A watch as it truly was."""

    vehicle: Vehicle
    plan: PadPlan
    fates: Sequence[Fate]


def cause(flicker: Flicker, truth: Truth) -> str:
    """The cause of a flicker; empty where what is true does not account for it."""
    if flicker.stale or flicker.check == "packet_age":
        return _silence(flicker, truth)
    if flicker.check == "packet_loss":
        return _loss(flicker, truth)
    if flicker.check == "frame_damage":
        return _damage(flicker, truth)
    if flicker.check in _PACK:
        return _camera(flicker, truth)
    return _gust(flicker, truth) if flicker.check in _SHAKEN else ""


def heard(fate: Fate, by_s: float) -> bool:
    """Whether a packet had come whole by a time."""
    return fate.arrived_s <= by_s and not fate.damaged


def _silence(flicker: Flicker, truth: Truth) -> str:
    """The longest run of lost packets, of one kind or of all, that lasts until then; or too many lost before it."""
    runs = []
    kinds: list[str | None] = [None] if flicker.check == "packet_age" else list(_kinds(truth))
    for kind in kinds:
        sent = [f for f in truth.fates if f.t_s < flicker.at_s and kind in (None, f.packet)]
        last = max((k for k, f in enumerate(sent) if heard(f, flicker.at_s)), default=-1)
        run = sent[last + 1 :]
        if len(run) >= LEAST_LOST:
            runs.append((flicker.at_s - (sent[last].t_s if last >= 0 else 0.0), kind, run))
    least_s = min(allowed_silence_s(truth.vehicle), truth.vehicle.limits.packet_age_s)
    if runs and max(runs, key=lambda r: r[0])[0] > least_s:
        age_s, kind, run = max(runs, key=lambda r: r[0])
        name = f"{kind} packets" if kind else "packets"
        return f"{len(run)} {name} lost in a row, {age_s:.1f} s, from t = {run[0].t_s:.1f} s{_bursts(run)}"
    if "Too few values" in flicker.text:
        return max((_too_few(flicker, truth, kind) for kind in _kinds(truth)), key=len)
    return ""


def _too_few(flicker: Flicker, truth: Truth, kind: str) -> str:
    sent = [f for f in truth.fates if f.packet == kind and flicker.at_s - GATHERED_S < f.t_s < flicker.at_s]
    lost = [f for f in sent if not heard(f, flicker.at_s)]
    if len(sent) - len(lost) >= LEAST_LOST:
        return ""
    return f"{len(lost)} of {len(sent)} {kind} packets lost, from t = {sent[0].t_s:.1f} s{_bursts(lost)}"


def _loss(flicker: Flicker, truth: Truth) -> str:
    """The share truly lost in the window that the check looked at, which it does once a second."""
    over_s = loss_window_s(truth.vehicle)
    sent = [f for f in truth.fates if flicker.at_s - over_s - RUN_ANEW_S < f.t_s < flicker.at_s]
    lost = [f for f in sent if not heard(f, flicker.at_s)]
    newest = [f for f in sent if f.t_s >= flicker.at_s - over_s]
    share = sum(not heard(f, flicker.at_s) for f in newest) / max(1, len(newest))
    if share <= truth.vehicle.limits.packet_loss * (1.0 - RUN_ANEW_S / over_s):
        return ""
    return f"{len(lost)} of {len(sent)} packets lost, {flicker.at_s - sent[0].t_s:.1f} s, from t = " + (
        f"{sent[0].t_s:.1f} s{_bursts(lost)}"
    )


def _damage(flicker: Flicker, truth: Truth) -> str:
    hurt = [f for f in truth.fates if f.damaged and 0.0 <= flicker.at_s - f.arrived_s <= DAMAGE_WINDOW_S]
    return (
        f"{len(hurt)} frames damaged on the link, from t = {hurt[0].t_s:.1f} s" if len(hurt) >= LEAST_DAMAGED else ""
    )


def _camera(flicker: Flicker, truth: Truth) -> str:
    switched = [s for s in truth.plan.camera_switches if 0.0 <= flicker.at_s - s[0] <= CAMERA_S]
    if not switched:
        return ""
    at_s, on = switched[-1]
    return f"the camera was switched {'on' if on else 'off'} at t = {at_s:.1f} s"


def _gust(flicker: Flicker, truth: Truth) -> str:
    winds = [(f.wind_mps, f.t_s) for f in truth.fates if 0.0 <= flicker.at_s - f.t_s <= SETTLES_S]
    mean_mps = math.fsum(f.wind_mps for f in truth.fates) / len(truth.fates)
    most_mps, at_s = max(winds)
    return f"a gust of {most_mps:.1f} m/s at t = {at_s:.1f} s" if most_mps > GUST * mean_mps else ""


def _bursts(lost: Sequence[Fate]) -> str:
    held = sum(f.burst for f in lost)
    return f", {held} of them in a burst of the link" if held else ", none in a burst of the link"


def _kinds(truth: Truth) -> list[str]:
    return [packet.name for packet in truth.vehicle.telemetry.packets]
