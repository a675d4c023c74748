"""The pack: open-circuit voltage and internal resistance from load steps, charge, and how long it will last.

Voltages and currents are of the whole pack unless a name says cell. Lithium polymer.
"""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.table import FloatArray

# Open-circuit voltage of a cell over its state of charge s: M. Chen, G. A. Rincón-Mora, Accurate electrical battery
# model capable of predicting runtime and I-V performance, IEEE Trans. Energy Conversion 21(2), 2006, an 850 mAh
# polymer lithium-ion cell. The quadratic term is negative; copies with a plus give 4.34 V for a full cell.
_EXP_V, _EXP_RATE, _CONSTANT_V, _LINEAR_V, _SQUARE_V, _CUBE_V = -1.031, -35.0, 3.685, 0.2156, -0.1178, 0.3201
# One standard deviation of that curve against another pack of the kind; common practice, no source.
CURVE_SIGMA_V = 0.015
LEAST_STEP_A = 0.15  # smaller changes of current tell nothing over the noise
STEP_WINDOW_S = 2.0
FIRST_NOISE_V = 0.01  # of one voltage sample, where there are too few to tell
LEAST_NOISE_V = 0.0005
QUANTILE_95 = 1.96


def cell_open_circuit_v(charge: float) -> float:
    """Open-circuit voltage of one cell at a state of charge from 0 to 1; NaN stays NaN.

    Source:
        Chen and Rincón-Mora (2006), eq. for Voc(SOC); see above.
    """
    s = charge
    return _EXP_V * math.exp(_EXP_RATE * s) + _CONSTANT_V + _LINEAR_V * s + _SQUARE_V * s * s + _CUBE_V * s**3


def charge_of_cell(open_circuit_v: float) -> float:
    """State of charge at an open-circuit voltage of one cell: the inverse, 0 or 1 beyond the ends; NaN stays NaN."""
    if open_circuit_v != open_circuit_v:
        return math.nan
    low, high = 0.0, 1.0
    if open_circuit_v <= cell_open_circuit_v(low):
        return low
    if open_circuit_v >= cell_open_circuit_v(high):
        return high
    for _ in range(50):
        middle = (low + high) / 2.0
        if cell_open_circuit_v(middle) < open_circuit_v:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


@dataclass(frozen=True, slots=True)
class Resistance:
    """Internal resistance of the pack, its standard deviation, and from how many load steps."""

    ohm: float
    sigma_ohm: float
    steps: int


def resistance_from_steps(t_s: FloatArray, current_a: FloatArray, voltage_v: FloatArray) -> Resistance | None:
    """Internal resistance from the voltage's answer to steps of the current.

    Each step is measured between the means over up to `STEP_WINDOW_S` of steady current before and after it, so that
    the slow fall of the voltage with charge hardly counts. The resistance is the slope through all steps.

    Args:
        t_s: (n,) rising times.
        current_a: (n,) current, positive while discharging; rows with NaN are left out.
        voltage_v: (n,) voltage.
    Returns:
        None where there was no step of at least `LEAST_STEP_A`.
    Raises:
        ValueError: The columns differ in length.
    """
    if not t_s.shape == current_a.shape == voltage_v.shape or t_s.ndim != 1:
        raise ValueError(f"found shapes {t_s.shape}, {current_a.shape}, {voltage_v.shape}, expected equal columns")
    use = np.isfinite(t_s) & np.isfinite(current_a) & np.isfinite(voltage_v)
    t, amperes, volts = t_s[use], current_a[use], voltage_v[use]
    places = np.flatnonzero(np.abs(np.diff(amperes)) >= LEAST_STEP_A) + 1  # index of the first sample after each step
    if places.size == 0:
        return None
    borders = [0, *places.tolist(), int(t.size)]
    changes_a, changes_v, variances = [], [], []
    for start, at, end in zip(borders[:-2], borders[1:-1], borders[2:], strict=True):
        before = np.arange(start, at)[t[start:at] > t[at - 1] - STEP_WINDOW_S]
        after = np.arange(at, end)[t[at:end] < t[at] + STEP_WINDOW_S]
        changes_a.append(float(np.mean(amperes[after]) - np.mean(amperes[before])))
        changes_v.append(float(np.mean(volts[after]) - np.mean(volts[before])))
        variances.append(1.0 / before.size + 1.0 / after.size)
    a, v, weight = np.array(changes_a), np.array(changes_v), 1.0 / np.array(variances)
    square = float(np.sum(weight * a * a))
    if square == 0.0:
        return None
    ohm = -float(np.sum(weight * a * v)) / square
    quiet_v = np.diff(volts)[np.abs(np.diff(amperes)) < LEAST_STEP_A]
    noise = float(np.var(quiet_v)) / 2.0 if quiet_v.size >= 2 else FIRST_NOISE_V**2
    return Resistance(ohm, math.sqrt(max(noise, LEAST_NOISE_V**2) / square), int(places.size))


@dataclass(frozen=True, slots=True)
class Pack:
    """What is known of a pack: from its label and from its behaviour.

    charge_sigma is of the state of charge (0 to 1).
    """

    cells: int
    capacity_c: float
    resistance_ohm: float
    charge: float
    charge_sigma: float

    def open_circuit_v(self, charge: float) -> float:
        """Open-circuit voltage of the pack at a state of charge."""
        return self.cells * cell_open_circuit_v(charge)


def pack_from_reading(
    voltage_v: float, current_a: float, *, cells: int, capacity_c: float, resistance_ohm: float
) -> Pack:
    """The pack's state from one voltage under a known current, by open-circuit voltage.

    Args:
        voltage_v: Pack voltage, best a mean over seconds.
        current_a: Current then.
        cells: Cells in series.
        capacity_c: Capacity [C].
        resistance_ohm: Internal resistance of the pack.
    """
    cell_v = (voltage_v + current_a * resistance_ohm) / cells
    charge = charge_of_cell(cell_v)
    spread = charge_of_cell(cell_v + CURVE_SIGMA_V) - charge_of_cell(cell_v - CURVE_SIGMA_V)
    return Pack(cells, capacity_c, resistance_ohm, charge, max(spread / 2.0, 0.01))


def sagged_v(pack: Pack, current_a: float) -> float:
    """Pack voltage to expect at once under a current, such as an igniter's firing current."""
    return pack.open_circuit_v(pack.charge) - current_a * pack.resistance_ohm


@dataclass(frozen=True, slots=True)
class Endurance:
    """Minutes until the pack under load falls below a limit: the estimate and its 95 % interval."""

    minutes: float
    least_minutes: float
    most_minutes: float


def endurance(pack: Pack, current_a: float, *, limit_v: float, current_sigma_a: float = 0.0) -> Endurance:
    """How long the pack stays above a limit under a steady current.

    Args:
        pack: The pack now.
        current_a: Mean current of the load case, above zero.
        limit_v: Pack voltage under load not to fall below.
        current_sigma_a: Standard deviation of that current.
    Raises:
        ValueError: No current to speak of.
    """
    if not current_a > 0.0:
        raise ValueError(f"found a current of {current_a} A, expected above zero")
    empty = charge_of_cell((limit_v + current_a * pack.resistance_ohm) / pack.cells)
    # the limit lies on the same curve as the charge now, and is wrong the same way; what is left is each one's own
    usable_c = max(pack.charge - empty, 0.0) * pack.capacity_c
    minutes = usable_c / current_a / 60.0
    relative = math.hypot(pack.charge_sigma / max(pack.charge - empty, 1e-3), current_sigma_a / current_a)
    spread = QUANTILE_95 * relative * minutes
    return Endurance(minutes, max(minutes - spread, 0.0), minutes + spread)


def drawn_c(t_s: FloatArray, current_a: FloatArray) -> float:
    """Charge drawn over samples (n,), by trapezoids; rows with NaN are left out."""
    use = np.isfinite(t_s) & np.isfinite(current_a)
    t, a = t_s[use], current_a[use]
    return float(np.sum(np.diff(t) * (a[1:] + a[:-1]) / 2.0))
