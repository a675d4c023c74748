"""The motor as it burnt: thrust over time from the accelerometer, and what it sums up to.

Thrust is mass times the specific force along the axis, plus drag; mass falls in step with the impulse given so far.
"""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.estimation.gravity import STANDARD_MPS2
from groundstation.table import FloatArray

# Upper bounds of total impulse [N s], inclusive, from the National Association of Rocketry's and NFPA 1125's table:
# 1/4A to 0.625, each class twice the one before. (Some tables know a 1/8A below; this one does not.)
_LETTERS: tuple[str, ...] = ("¼A", "½A", *"ABCDEFGHIJKLMNO")
_FIRST_BOUND_NS = 0.625
# Burn time counts from and to this share of the peak thrust (NFPA 1125, clause from memory).
BURNING_SHARE = 0.05
ON_ROD_S = 0.3  # about as long as a vehicle takes to leave its rod (common practice, no source)
SETTLING_ROUNDS = 6  # mass and impulse hang on each other; each round gains a factor of some twenty
# One standard deviation each, common practice, no source: an accelerometer's scale, and a drag coefficient.
SCALE_SIGMA = 0.008
DRAG_SIGMA = 0.12


@dataclass(frozen=True, slots=True)
class MassBudget:
    """What the vehicle weighs: at liftoff, and how much of it burns."""

    liftoff_kg: float
    propellant_kg: float


@dataclass(frozen=True, slots=True)
class Burn:
    """A motor's burn; t_s, thrust_n and mass_kg are (n,) over the samples given, impulse is over all of them."""

    t_s: FloatArray
    thrust_n: FloatArray
    mass_kg: FloatArray
    start_s: float
    end_s: float
    peak_n: float
    impulse_ns: float
    impulse_sigma_ns: float
    thrust_to_weight: float  # over the first `ON_ROD_S` of thrust, at liftoff mass

    @property
    def time_s(self) -> float:
        """Burn time: between the moments thrust passes 5 % of its peak."""
        return self.end_s - self.start_s

    @property
    def average_n(self) -> float:
        """Total impulse over burn time."""
        return self.impulse_ns / self.time_s

    @property
    def letter(self) -> str:
        """The impulse class."""
        return impulse_letter(self.impulse_ns)

    @property
    def designation(self) -> str:
        """The letter with the average thrust in newtons, as motors are labelled."""
        return f"{self.letter}{round(self.average_n)}"


def impulse_letter(impulse_ns: float) -> str:
    """The impulse class of a total impulse.

    Args:
        impulse_ns: Total impulse [N s], above zero.
    Returns:
        ¼A to O, or "above O" past 40,960 N s.
    Raises:
        ValueError: Not above zero.
    Source:
        NAR's table of motor classes, NFPA 1125; bounds belong to the lower class and are printed to 0.01 N s.
    """
    if not impulse_ns > 0.0:
        raise ValueError(f"found a total impulse of {impulse_ns} N s, expected above zero")
    printed = round(impulse_ns, 2) if impulse_ns > _FIRST_BOUND_NS else impulse_ns
    bound = _FIRST_BOUND_NS
    for letter in _LETTERS:
        if printed <= bound:
            return letter
        bound *= 2.0
    return "above O"


def burn_of(
    t_s: FloatArray,
    axial_mps2: FloatArray,
    speed_mps: FloatArray,
    *,
    liftoff_s: float,
    mass: MassBudget,
    drag_kgpm: float,
    bias_sigma_mps2: float = 0.05,
) -> Burn:
    """The burn in a stretch of samples from about liftoff to well after burnout.

    Args:
        t_s: (n,) rising times.
        axial_mps2: (n,) specific force along the long axis, bias taken out; rows with NaN are left out.
        speed_mps: (n,) speed through the air along the axis.
        liftoff_s: When it left the pad; before, the accelerometer shows the pad's push, not the motor's.
        mass: What it weighs.
        drag_kgpm: ½·ρ·Cd·A.
        bias_sigma_mps2: Standard deviation of the bias that is left.
    Raises:
        ValueError: The columns differ in length, or hold no thrust after liftoff.
    """
    if not t_s.shape == axial_mps2.shape == speed_mps.shape or t_s.ndim != 1:
        raise ValueError(f"found shapes {t_s.shape}, {axial_mps2.shape}, {speed_mps.shape}, expected equal columns")
    use = np.isfinite(axial_mps2) & np.isfinite(speed_mps) & (t_s > liftoff_s)
    t, axial, speed = t_s[use], axial_mps2[use], speed_mps[use]
    if t.size < 2 or not np.any(axial > 0.0):
        raise ValueError(f"found {t.size} samples after liftoff and no push among them, expected a burn")
    # Thrust stands at once: what the rise takes is lost in the time between two samples.
    t = np.concatenate([[liftoff_s], t])
    axial = np.concatenate([axial[:1], axial])
    speed = np.concatenate([[0.0], speed])
    drag = drag_kgpm * speed * np.abs(speed)
    mass_kg = np.full(t.shape, mass.liftoff_kg)
    thrust = np.zeros(t.shape)
    given = np.zeros(t.shape)
    end = _end_of_push(axial, drag / mass.liftoff_kg)
    for _ in range(SETTLING_ROUNDS):
        thrust = np.maximum(mass_kg * axial + drag, 0.0)
        thrust[end:] = 0.0
        given = np.concatenate([[0.0], np.cumsum(np.diff(t) * (thrust[1:] + thrust[:-1]) / 2.0)])
        mass_kg = mass.liftoff_kg - mass.propellant_kg * given / given[-1]
    impulse = float(given[-1])
    peak = float(np.max(thrust))
    burning_s = float(t[end] - t[0])
    braked_ns = float(np.sum(np.diff(t[: end + 1]) * (drag[1 : end + 1] + drag[:end]) / 2.0))
    sigma = math.hypot(
        SCALE_SIGMA * impulse,
        DRAG_SIGMA * braked_ns,
        bias_sigma_mps2 * mass.liftoff_kg * burning_s,
        # of the step in which thrust stops nothing is known but its ends
        float(thrust[end - 1] * (t[end] - t[end - 1]) / math.sqrt(12.0)),
    )
    # between the samples there are, not back to liftoff: thrust may have been rising at the first
    on_rod = np.linspace(t[1], t[0] + ON_ROD_S, 31) if t[1] < t[0] + ON_ROD_S else t[1:2]
    first = np.interp(on_rod, t[1:], thrust[1:])
    weight_n = mass.liftoff_kg * STANDARD_MPS2
    level = BURNING_SHARE * peak
    end_s = _falls_through(t, thrust, level, end)
    return Burn(t, thrust, mass_kg, liftoff_s, end_s, peak, impulse, sigma, float(np.mean(first)) / weight_n)


def _end_of_push(axial: FloatArray, drag_mps2: FloatArray) -> int:
    """Index of the first of two samples with thrust over mass below a twentieth of its peak."""
    push = axial + drag_mps2
    low = push < BURNING_SHARE * np.max(push)
    for k in range(1, low.size):
        if low[k] and (k + 1 == low.size or low[k + 1]):
            return k
    return int(low.size) - 1


def _falls_through(t: FloatArray, thrust: FloatArray, level: float, end: int) -> float:
    """When thrust passes `level` on its way to nothing at index `end`."""
    last, after = float(thrust[end - 1]), float(thrust[end])
    if last <= level:
        return float(t[end - 1])
    if last > 0.5 * float(np.max(thrust)):  # it stopped at once, anywhere between the two samples
        return float(t[end - 1] + t[end]) / 2.0
    return float(t[end - 1] + (t[end] - t[end - 1]) * (last - level) / (last - after))
