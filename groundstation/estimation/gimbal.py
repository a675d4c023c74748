"""The gimbal: whether it goes where it is told, how hard it pushes, and whether it pushes the right way.

Deflections here are right-handed rotations of the motor about a body axis, from straight: what the vehicle sends with
its neutral taken off and its sign applied. Deflecting the motor by +δ about an axis turns the body by a moment
-T·sin(δ)·lever about it; so it rights a vehicle that leans by +θ about an axis when it deflects by +δ about the same.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from groundstation.config.vehicle import Gimbal
from groundstation.table import FloatArray

STOP_SHARE = 0.98  # of the limit: a servo at its stop reads a little less
# A wiggle by hand of less says nothing: sway, play and noise are of the same size (common practice, no source).
LEAST_WIGGLE_RAD = math.radians(4.7)
TELLING_SIGMAS = 4.0
REST_SAMPLES = 5  # the first of a wiggle, taken for its rest
FEWEST_SAMPLES = 12


class Action(StrEnum):
    """What a deflection does to a lean."""

    RESTORING = "deflection opposes the lean"
    DIVERGING = "deflection adds to the lean"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Following:
    """How the measured deflection follows the commanded one: angle = offset + gain·command, and what is left."""

    gain: float
    gain_sigma: float
    offset_rad: float
    offset_sigma_rad: float
    left_rms_rad: float


@dataclass(frozen=True, slots=True)
class Lag:
    """How long the gimbal is behind its command, and the standard deviation of that."""

    seconds: float
    sigma_s: float


@dataclass(frozen=True, slots=True)
class Restoring:
    """The loop about one axis: deflection = gain·lean + damping·rate, and what that does."""

    action: Action
    gain: float
    gain_sigma: float
    damping_s: float
    damping_sigma_s: float


def deflection_rad(sent_rad: FloatArray, gimbal: Gimbal, axis: int) -> FloatArray:
    """(n,) right-handed deflections from (n,) angles or commands as the vehicle sends them.

    Args:
        sent_rad: As sent; NaN stays NaN.
        gimbal: The vehicle file's gimbal.
        axis: 0 for the outer axis (body x), 1 for the inner (body y).
    """
    return (sent_rad - gimbal.neutral_rad[axis]) * gimbal.signs[axis]


def side_force_n(thrust_n: FloatArray, deflection: FloatArray) -> FloatArray:
    """(n,) force across the axis, T·sin δ."""
    return np.asarray(thrust_n * np.sin(deflection))


def control_moment_nm(thrust_n: FloatArray, deflection: FloatArray, lever_arm_m: float) -> FloatArray:
    """(n,) moment on the body about the axis of deflection, -T·sin(δ)·lever."""
    return -side_force_n(thrust_n, deflection) * lever_arm_m


def saturation_share(deflection: FloatArray, limit_rad: float) -> float:
    """Share of samples at a stop; NaN rows are left out, NaN where none are left."""
    finite = deflection[np.isfinite(deflection)]
    return float(np.mean(np.abs(finite) >= STOP_SHARE * limit_rad)) if finite.size else math.nan


def following(command: FloatArray, angle: FloatArray) -> Following | None:
    """A straight line through measured over commanded deflection.

    Args:
        command: (n,) commands; rows with NaN are left out.
        angle: (n,) measured deflections at the same times.
    Returns:
        None for fewer than `FEWEST_SAMPLES`, or a command that never changes.
    """
    use = np.isfinite(command) & np.isfinite(angle)
    fit = _regression(np.stack([command[use], np.ones(int(use.sum()))], axis=1), angle[use])
    if fit is None:
        return None
    return Following(*fit.pair(0), *fit.pair(1), fit.left_rms)


def lag(t_s: FloatArray, command: FloatArray, angle: FloatArray) -> Lag | None:
    """How long the measured deflection is behind the command, for lags up to about the time between samples.

    To first order angle(t) = command(t) - lag·command'(t); the lag is the slope of that.

    Args:
        t_s: (n,) rising times.
        command: (n,) commands.
        angle: (n,) measured deflections; stretches with NaN are left out.
    Returns:
        None for too few samples, or a command that never changes.
    """
    if t_s.size < 3:
        return None
    rate = np.gradient(command, t_s)
    use = np.isfinite(rate) & np.isfinite(command) & np.isfinite(angle)
    fit = _regression(np.stack([-rate[use], np.ones(int(use.sum()))], axis=1), (angle - command)[use])
    return None if fit is None else Lag(*fit.pair(0))


def leans_rad(attitude: FloatArray) -> FloatArray:
    """(n, 2) lean of the body about its x and its y axis, from (n, 4) unit quaternions; NaN stays NaN.

    A body turned by +θ about its own x axis alone leans by (θ, 0).
    """
    w, x, y, z = attitude.T
    up_x = 2.0 * (x * z - w * y)
    up_y = 2.0 * (y * z + w * x)
    up_z = 1.0 - 2.0 * (x * x + y * y)
    return np.stack([np.arctan2(up_y, up_z), np.arctan2(-up_x, up_z)], axis=1)


def restoring(lean: FloatArray, rate_radps: FloatArray, deflection: FloatArray) -> Restoring | None:
    """Whether the gimbal works against a lean, from a wiggle by hand or from a flight.

    Args:
        lean: (n,) lean about one body axis [rad], beginning at rest.
        rate_radps: (n,) body rate about it; all NaN where there is none.
        deflection: (n,) deflection about the same axis. Rows with NaN in any are left out.
    Returns:
        The loop; None for fewer than `FEWEST_SAMPLES` or no motion at all. Its action is `CANNOT_TELL` for a wiggle
        of less than `LEAST_WIGGLE_RAD` or a gain within `TELLING_SIGMAS` of nothing.
    """
    rates = rate_radps if np.isfinite(rate_radps).any() else np.zeros_like(lean)
    use = np.isfinite(lean) & np.isfinite(rates) & np.isfinite(deflection)
    leaning, rates, deflected = lean[use], rates[use], deflection[use]
    columns = [leaning, rates, np.ones_like(leaning)] if np.any(rates) else [leaning, np.ones_like(leaning)]
    fit = _regression(np.stack(columns, axis=1), deflected)
    if fit is None:
        return None
    gain, gain_sigma = fit.pair(0)
    damping, damping_sigma = fit.pair(1) if len(columns) == 3 else (math.nan, math.nan)
    wiggle = float(np.max(np.abs(leaning - np.mean(leaning[:REST_SAMPLES]))))
    if wiggle < LEAST_WIGGLE_RAD or not abs(gain) > TELLING_SIGMAS * gain_sigma:
        action = Action.CANNOT_TELL
    else:
        action = Action.RESTORING if gain > 0.0 else Action.DIVERGING
    return Restoring(action, gain, gain_sigma, damping, damping_sigma)


@dataclass(frozen=True, slots=True)
class _Fit:
    """Least squares: coefficients and standard deviations (k,), root mean square of what is left."""

    values: FloatArray
    sigmas: FloatArray
    left_rms: float

    def pair(self, k: int) -> tuple[float, float]:
        return float(self.values[k]), float(self.sigmas[k])


def _regression(columns: FloatArray, values: FloatArray) -> _Fit | None:
    """Ordinary least squares of values (n,) on columns (n, k); None where they do not determine it."""
    n, k = columns.shape
    if n < FEWEST_SAMPLES:
        return None
    normal = columns.T @ columns
    if np.linalg.matrix_rank(columns) < k:
        return None
    inverse = np.linalg.inv(normal)
    found = inverse @ (columns.T @ values)
    left = values - columns @ found
    variance = float(left @ left) / (n - k)
    return _Fit(found, np.sqrt(variance * np.diag(inverse)), math.sqrt(float(left @ left) / n))
