"""Checks of the pack beyond its voltage: dips, internal resistance, minutes left, and what is left under load.

All figures are arithmetic on the supply: an igniter's current counts as a load like any other.
"""

import math

import numpy as np

from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.battery import (
    LEAST_STEP_A,
    Pack,
    Resistance,
    endurance,
    pack_from_reading,
    resistance_from_steps,
    sagged_v,
)
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

MEAN_S = 5.0
DIP_WINDOW_S = 60.0
STEP_WINDOW_S = 300.0
LEAST_CURRENT_A = 0.005
SERVOS = 2
MOHM = 1000.0
S_PER_MINUTE = 60.0
_CURRENT = "battery_current"
_VOLTAGE = "battery_voltage"
_NEW = (Figure("resistance when new", "[battery] internal_resistance", "vehicle file"),)
_HOLD = (
    Figure("planned hold", "[pad] planned_hold", "vehicle file"),
    Figure(
        "charge by voltage", "open-circuit curve", "Chen and Rincón-Mora, IEEE Trans. Energy Conversion 21(2), 2006"
    ),
)
_LOADS = (
    Figure("one igniter", "[loads] igniter", "vehicle file"),
    Figure("one stalled servo", "[loads] servo_stall", "vehicle file"),
)


@check(Place.BATTERY, limits=("cell_sag_v",), needs=(_VOLTAGE,), every_s=3.0)
def battery_sag(window: Window) -> list[Outcome]:
    """The pack's voltage has not dipped and come back by more than the limit over the last minute.

    A dip is how far a value lies below both what came before and what came after it: a load that came and went. The
    slow fall with charge is none.
    """
    _, rows = window.together((_VOLTAGE,), DIP_WINDOW_S)
    volts = rows[0]
    before = np.maximum.accumulate(volts)
    after = np.maximum.accumulate(volts[::-1])[::-1]
    dip_v = float(np.max(np.minimum(before, after) - volts)) / window.vehicle.battery.cells
    limit = Limit(None, window.limits.cell_sag_v)

    def good(value: float, decimals: int) -> str:
        return (
            f"The pack dipped by {number(value, decimals)} V per cell over the last minute, {allowed(limit, 2, 'V')}."
        )

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the pack's plug and leads, then at its age: a worn pack sags."

    return [judged(dip_v, limit, unit="V per cell", decimals=2, good=good, bad=bad)]


def _resistance_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [(_CURRENT,)] if vehicle.pad.load_step else []


@check(Place.BATTERY, limits=("resistance_growth",), needs=_resistance_needs, figures=_NEW, every_s=5.0)
def battery_resistance(window: Window) -> list[Outcome]:
    """The pack's internal resistance, seen at load steps such as the camera's, has not grown beyond the limit.

    Without a load step there is nothing to judge: no finding, or unknown where the vehicle file asks for one.
    """
    asked = window.vehicle.pad.load_step
    if not asked and not window.in_layout(_CURRENT):
        return []
    seen = _resistance(window)
    if seen is None:
        if not asked:
            return []
        raise Unknown("No load step has shown the pack's resistance yet. Look at it: switch the camera on and off.")
    new_ohm = window.vehicle.battery.internal_resistance_ohm
    limit = Limit(None, window.limits.resistance_growth * new_ohm * MOHM)
    plural = "" if seen.steps == 1 else "s"

    def good(value: float, decimals: int) -> str:
        return (
            f"The pack's resistance is {number(value, decimals)} mohm by {seen.steps} load step{plural}, "
            f"{allowed(limit, 0, 'mohm')}."
        )

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the pack's plug and leads, its temperature and its age."

    return [judged(seen.ohm * MOHM, limit, unit="mohm", decimals=0, good=good, bad=bad)]


def _minutes_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [(_CURRENT,)] if vehicle.pad.planned_hold_s is not None else []


@check(Place.BATTERY, limits=("cell_voltage_min_v",), needs=_minutes_needs, figures=_HOLD, every_s=5.0)
def battery_minutes(window: Window) -> list[Outcome]:
    """The pack lasts the planned hold at the present current before it falls below the least voltage for GO.

    The lower end of the estimate's 95 % interval is judged. Without a planned hold there is no such finding.

    Source:
        Charge from open-circuit voltage: Chen and Rincón-Mora, IEEE Trans. Energy Conversion 21(2), 2006.
    """
    planned_s = window.vehicle.pad.planned_hold_s
    if planned_s is None:
        return []
    current_a = window.mean(_CURRENT, MEAN_S)
    if not current_a >= LEAST_CURRENT_A:
        raise Unknown(
            f"The pack's current reads {number(current_a, 3)} A while the vehicle sends. Look at the current sensor."
        )
    limit_v = window.limits.cell_voltage_min_v * window.vehicle.battery.cells
    left = endurance(_pack(window, current_a), current_a, limit_v=limit_v)
    limit = Limit(planned_s / S_PER_MINUTE)
    least, most = number(left.least_minutes, 0), number(left.most_minutes, 0)
    lasts = "less than a minute" if most == "0" else f"{most} min" if least == most else f"{least} to {most} min"

    def good(_value: float, _decimals: int) -> str:
        return f"The pack lasts {lasts} at {number(current_a, 1)} A, {allowed(limit, 0, 'min')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the pack: charge or change it; switch off what can wait."

    return [judged(left.least_minutes, limit, unit="min", decimals=0, good=good, bad=bad)]


@check(Place.BATTERY, limits=("cell_voltage_loaded_min_v",), figures=_LOADS, every_s=5.0)
def supply_left(window: Window) -> list[Outcome]:
    """With one igniter's current and stalled servos on top of the present load the pack keeps its least voltage.

    The currents are the vehicle file's; one without any has no such finding.
    """
    loads, battery = window.vehicle.loads, window.vehicle.battery
    igniter_a = loads.igniter_a or 0.0
    stalled_a = SERVOS * (loads.servo_stall_a or 0.0) if window.vehicle.gimbal is not None else 0.0
    if igniter_a + stalled_a == 0.0:
        return []
    current_a = window.mean(_CURRENT, MEAN_S) if window.in_layout(_CURRENT) else loads.board_a or 0.0
    under_load_v = sagged_v(_pack(window, current_a), current_a + igniter_a + stalled_a) / battery.cells
    limit = Limit(window.limits.cell_voltage_loaded_min_v)

    def good(value: float, decimals: int) -> str:
        return (
            f"With {number(igniter_a, 1)} A for an igniter and {number(stalled_a, 1)} A for stalled servos the pack "
            f"would have {number(value, decimals)} V per cell, {allowed(limit, 2, 'V')}."
        )

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the pack: its charge, its plug and its resistance."

    return [judged(under_load_v, limit, unit="V per cell", decimals=2, good=good, bad=bad)]


def _pack(window: Window, current_a: float) -> Pack:
    return window.once(("pack", current_a), lambda w: _pack_now(w, current_a))


def _pack_now(window: Window, current_a: float) -> Pack:
    battery = window.vehicle.battery
    return pack_from_reading(
        window.mean(_VOLTAGE, MEAN_S),
        current_a,
        cells=battery.cells,
        capacity_c=battery.capacity_c,
        resistance_ohm=_resistance_ohm(window),
    )


def _resistance_ohm(window: Window) -> float:
    """The pack's resistance: as seen where it was seen well, else the vehicle file's."""
    new_ohm = window.vehicle.battery.internal_resistance_ohm
    seen = _resistance(window) if window.in_layout(_CURRENT) else None
    if seen is None or not seen.ohm > 0.0:
        return new_ohm
    return seen.ohm


def _resistance(window: Window) -> Resistance | None:
    return window.once("pack resistance", _resistance_now)


def _resistance_now(window: Window) -> Resistance | None:
    t_s, (current_a, voltage_v) = window.together((_CURRENT, _VOLTAGE), STEP_WINDOW_S)
    if not t_s.size or float(np.ptp(current_a)) < LEAST_STEP_A:
        return None
    seen = resistance_from_steps(t_s, current_a, voltage_v)
    if seen is None or not math.isfinite(seen.ohm) or not seen.sigma_ohm < 0.25 * abs(seen.ohm):
        return None
    return seen
