"""Coming down: descent rate, wind from the drift, and where it will land.

Local frame: east, north, up from the pad. The ground is taken to be level with the pad unless a height says so.
"""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import GAS_CONSTANT_J_PER_KG_K, LAPSE_K_PER_M, SEA_LEVEL_K
from groundstation.estimation.gravity import STANDARD_MPS2
from groundstation.table import FloatArray

WIND_POWER = 1.0 / 7.0  # one-seventh power law over open ground (common engineering practice, no one source)
WIND_METER_M = 2.0  # height a hand-held meter reads at
# One standard deviation each, common practice, no source: of the power from day to day; and of a canopy's rate of
# descent against the vehicle file's, in parts of it.
WIND_POWER_SIGMA = 0.02
CANOPY_SIGMA = 0.05
# The air's own unrest, which a mean evens out with time: gusts, in parts of the wind at the meter (common practice,
# no source), and air that rises and sinks, in parts of the wind at 6 m (MIL-F-8785C, section 3.7.3.4, from memory);
# and how long each lasts for something that drifts with it (common practice, no source).
GUST_SHARE = 0.15
GUST_S = 2.0
RISING_SHARE = 0.1
RISING_AT_M = 6.0
RISING_S = 4.0
# A canopy's own unsteadiness: of a mean rate against the rest of the way, in parts of it, the air's density allowed
# for (common practice, no source).
RATE_SIGMA_SHARE = 0.01
# The errors of a receiver's fixes wander, and go together for so long (common practice, no source).
FIXES_S = 30.0
# The slope of a straight line through a random walk has this much more variance than that through its ends alone:
# its velocity is weighted by the parabola 6·u·(1 - u), whose mean square is 6/5.
SLOPE_VARIANCE = 1.2
# Of a wind read at the pad some time before, each of east and north: the meter's, and in parts of the wind how much
# it has changed in strength and direction since; common practice, no source.
SITE_WIND_SIGMA_MPS = 0.4
SITE_WIND_SIGMA_SHARE = 0.25
# A descent is steady by then, or nothing has opened: a second until a flight computer is sure of the apogee and acts,
# a second more until a second channel does, and two until a canopy stands (common practice, no source). Sooner, a
# free fall is what every good flight shows too. But where the ground is as near as this it can no longer go well, and
# a low flight would be over before the four seconds.
OPENED_BY_S = 4.0
HITS_SOON_S = 1.5
# Twice the expected rate is more than any scatter of a canopy.
TOO_FAST = 2.0
DENSITY_FALLS_PER_M = (STANDARD_MPS2 / GAS_CONSTANT_J_PER_KG_K - LAPSE_K_PER_M) / SEA_LEVEL_K
SURE_SIGMAS = 3.0
LEAST_DRIFT_S = 3.0  # of fixes, before a drift is told from their noise


class DescentKind(StrEnum):
    """How a vehicle comes down."""

    OPENING = "a canopy may still be opening"
    CANOPY = "under its canopy"
    BALLISTIC = "falling much faster than under its canopy"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Wind:
    """A horizontal wind, where it blows to: east and north [m/s], the standard deviation of each, at a height."""

    east_mps: float
    north_mps: float
    sigma_mps: float
    height_m: float

    @property
    def speed_mps(self) -> float:
        """Its speed."""
        return math.hypot(self.east_mps, self.north_mps)

    @property
    def from_rad(self) -> float:
        """The direction it blows from, clockwise from north."""
        return math.atan2(-self.east_mps, -self.north_mps) % math.tau

    def mean_below(self, height_m: float) -> "Wind":
        """The mean wind from the ground up to a height, by the power law."""
        return self._scaled(_below(height_m, self.height_m, WIND_POWER))

    def share_sigma_below(self, height_m: float) -> float:
        """Standard deviation of that mean's speed, in parts of it, for a power that is another on the day."""
        other = _below(height_m, self.height_m, WIND_POWER + WIND_POWER_SIGMA)
        return abs(other / _below(height_m, self.height_m, WIND_POWER) - 1.0)

    def gust_sigma_mps(self, over_s: float) -> float:
        """Standard deviation that gusts leave in a mean over a time, each of east and north."""
        gust_mps = GUST_SHARE * self.speed_mps / _factor(self.height_m)
        return gust_mps * _left_in_mean(over_s, GUST_S)

    def rising_sigma_mps(self, over_s: float) -> float:
        """The same of the air that rises and sinks."""
        rising_mps = RISING_SHARE * self.speed_mps * _factor(RISING_AT_M) / _factor(self.height_m)
        return rising_mps * _left_in_mean(over_s, RISING_S)

    def _scaled(self, by: float) -> "Wind":
        return Wind(self.east_mps * by, self.north_mps * by, self.sigma_mps * by, self.height_m)


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An area of a stated probability: half axes, and the direction of the long one, clockwise from north."""

    probability: float
    long_m: float
    short_m: float
    heading_rad: float


@dataclass(frozen=True, slots=True)
class Landing:
    """Where and when it will land: the most likely place, and the covariance of east and north [m²]."""

    east_m: float
    north_m: float
    time_s: float
    east_variance_m2: float
    north_variance_m2: float
    covariance_m2: float

    def ellipse(self, probability: float) -> Ellipse:
        """The smallest area that holds the landing with a probability, for a normal distribution.

        Raises:
            ValueError: Not between 0 and 1.
        """
        if not 0.0 < probability < 1.0:
            raise ValueError(f"found a probability of {probability}, expected between 0 and 1")
        middle = (self.east_variance_m2 + self.north_variance_m2) / 2.0
        half = (self.east_variance_m2 - self.north_variance_m2) / 2.0
        apart = math.hypot(half, self.covariance_m2)
        reach = math.sqrt(-2.0 * math.log(1.0 - probability))
        heading = 0.5 * math.atan2(self.covariance_m2, half) if apart > 0.0 else 0.0  # from east, anticlockwise
        return Ellipse(
            probability,
            reach * math.sqrt(middle + apart),
            reach * math.sqrt(max(middle - apart, 0.0)),
            (math.pi / 2.0 - heading) % math.pi,
        )

    def holds(self, east_m: float, north_m: float, probability: float) -> bool:
        """Whether a place lies within the ellipse of that probability."""
        e, n = east_m - self.east_m, north_m - self.north_m
        a, b, c = self.east_variance_m2, self.covariance_m2, self.north_variance_m2
        distance = (c * e * e - 2.0 * b * e * n + a * n * n) / (a * c - b * b)
        return distance <= -2.0 * math.log(1.0 - probability)


def terminal_speed_mps(mass_kg: float, drag_area_m2: float, density_kgpm3: float, gravity_mps2: float) -> float:
    """The steady speed of falling: drag equals weight, √(2·m·g/(ρ·Cd·A)).

    Args:
        mass_kg: Mass.
        drag_area_m2: Drag coefficient times area.
        density_kgpm3: Air density.
        gravity_mps2: Gravity.
    Returns:
        The speed; NaN where one of them is NaN.
    Raises:
        ValueError: One of them is not above zero.
    """
    given = (mass_kg, drag_area_m2, density_kgpm3, gravity_mps2)
    if any(x <= 0.0 for x in given):
        raise ValueError(
            f"found {mass_kg} kg, {drag_area_m2} m², {density_kgpm3} kg/m³ and {gravity_mps2} m/s², "
            "expected all above zero"
        )
    return math.sqrt(2.0 * mass_kg * gravity_mps2 / (density_kgpm3 * drag_area_m2))


def canopy_rate_mps(vehicle: Vehicle, density_kgpm3: float, gravity_mps2: float) -> float:
    """The rate of descent under the vehicle file's parachute with the motor burnt out."""
    mass_kg = vehicle.airframe.liftoff_mass_kg - vehicle.motor.propellant_mass_kg
    recovery = vehicle.recovery
    drag_area_m2 = recovery.parachute_area_m2 * recovery.drag_coefficient
    return terminal_speed_mps(mass_kg, drag_area_m2, density_kgpm3, gravity_mps2)


def descent_kind(
    speed_mps: float, sigma_mps: float, *, since_apogee_s: float, expected_mps: float, height_m: float = math.inf
) -> DescentKind:
    """How the vehicle comes down, by its speed.

    Args:
        speed_mps: Upward speed, negative in descent; NaN where not known.
        sigma_mps: Its standard deviation.
        since_apogee_s: Time since apogee.
        expected_mps: Rate of descent under the canopy, positive.
        height_m: Height above the ground; the sooner it hits, the less time a canopy is given.
    """
    falling_mps, unsure_mps = -speed_mps, SURE_SIGMAS * sigma_mps
    if not math.isfinite(falling_mps) or not math.isfinite(unsure_mps):
        return DescentKind.CANNOT_TELL
    if falling_mps - unsure_mps > TOO_FAST * expected_mps:
        hits_soon = height_m < falling_mps * HITS_SOON_S + 0.5 * STANDARD_MPS2 * HITS_SOON_S**2
        return DescentKind.BALLISTIC if hits_soon or since_apogee_s >= OPENED_BY_S else DescentKind.OPENING
    if falling_mps + unsure_mps < TOO_FAST * expected_mps:
        return DescentKind.CANOPY if since_apogee_s >= OPENED_BY_S else DescentKind.OPENING
    return DescentKind.CANNOT_TELL


def wind_of_site(speed_mps: float, from_rad: float) -> Wind:
    """The wind a hand-held meter shows at the pad."""
    sigma = math.hypot(SITE_WIND_SIGMA_MPS, SITE_WIND_SIGMA_SHARE * speed_mps)
    return Wind(-speed_mps * math.sin(from_rad), -speed_mps * math.cos(from_rad), sigma, WIND_METER_M)


def wind_from_drift(
    t_s: FloatArray, east_m: FloatArray, north_m: FloatArray, height_m: FloatArray, *, fix_sigma_m: float
) -> Wind | None:
    """The wind from how the vehicle drifts under its canopy: straight lines through its positions.

    Args:
        t_s: (n,) rising times.
        east_m: (n,) positions; rows with NaN are left out.
        north_m: (n,) positions.
        height_m: (n,) heights above the pad.
        fix_sigma_m: Standard deviation of one position.
    Returns:
        The wind at the mean height; None where the positions span less than `LEAST_DRIFT_S`.
    """
    use = np.isfinite(t_s) & np.isfinite(east_m) & np.isfinite(north_m) & np.isfinite(height_m)
    t = t_s[use]
    if t.size < 3 or t[-1] - t[0] < LEAST_DRIFT_S:
        return None
    since = t - np.mean(t)
    square = float(since @ since)
    east = float(since @ east_m[use]) / square
    north = float(since @ north_m[use]) / square
    span_s = float(t[-1] - t[0])
    seen = Wind(east, north, 0.0, max(float(np.mean(height_m[use])), WIND_METER_M))
    of_fixes = fix_sigma_m * math.sqrt(2.0 * (1.0 - math.exp(-span_s / FIXES_S))) / span_s
    sigma = math.sqrt(SLOPE_VARIANCE) * math.hypot(of_fixes, seen.gust_sigma_mps(span_s))
    return Wind(east, north, sigma, seen.height_m)


def rate_below_mps(rate_mps: float, seen_m: float, height_m: float) -> float:
    """The mean rate of descent from a height to the ground, given one seen at a mean height: denser air holds better.

    Source:
        Terminal speed goes with the density's power of -1/2; the density near the ground of the U.S. Standard
        Atmosphere 1976 (NOAA-S/T 76-1562), where its logarithm falls by (g/R - L)/T a metre, eq. 42 with 33a.
    """
    return rate_mps * math.exp(0.5 * DENSITY_FALLS_PER_M * (0.5 * height_m - seen_m))


def rate_sigma_mps(rate_mps: float, wind: Wind, over_s: float) -> float:
    """Standard deviation of a rate of descent seen over a time, against what it is in still air."""
    return math.hypot(RATE_SIGMA_SHARE * rate_mps, wind.rising_sigma_mps(over_s))


def predict_landing(
    east_m: float,
    north_m: float,
    height_m: float,
    *,
    place_sigma_m: float,
    height_sigma_m: float,
    wind: Wind,
    rate_mps: float,
    rate_sigma_mps: float,
    ground_m: float = 0.0,
) -> Landing:
    """Where a vehicle under its canopy will land: it sinks at a steady rate and goes with the wind.

    To go on predicting after the last packet, give the last place and height there was, and the wind.

    Args:
        east_m: Last known place.
        north_m: Last known place.
        height_m: Height above the pad there.
        place_sigma_m: Standard deviation of the place, east and north alike.
        height_sigma_m: Standard deviation of the height.
        wind: The wind, at any height.
        rate_mps: Mean rate of descent from there to the ground, above zero.
        rate_sigma_mps: Its standard deviation, against what it is in still air.
        ground_m: Height of the ground where it lands, above the pad.
    Raises:
        ValueError: No rate of descent.
    """
    if not rate_mps > 0.0:
        raise ValueError(f"found a rate of descent of {rate_mps} m/s, expected above zero")
    fall_m = max(height_m - ground_m, 0.0)
    time_s = fall_m / rate_mps
    below = wind.mean_below(fall_m)
    below = replace(below, sigma_mps=math.hypot(below.sigma_mps, wind.gust_sigma_mps(time_s)))
    unsteady_mps = math.hypot(rate_sigma_mps, wind.rising_sigma_mps(time_s))
    # a wind stronger by a share of it does what a longer time does
    share = math.hypot(unsteady_mps / rate_mps, wind.share_sigma_below(fall_m))
    time_sigma_s = math.hypot(share * time_s, height_sigma_m / rate_mps)
    return _carried(east_m, north_m, place_sigma_m, below, time_s, time_sigma_s)


def predict_fall(
    east_m: float,
    north_m: float,
    height_m: float,
    *,
    place_sigma_m: float,
    drift: Wind,
    fall_mps: float,
    gravity_mps2: float,
) -> Landing:
    """Where a vehicle that falls without a canopy will hit: between going on at this speed and falling free.

    Args:
        east_m: Last known place.
        north_m: Last known place.
        height_m: Height above the ground there.
        place_sigma_m: Standard deviation of the place.
        drift: Its own sideways motion; in a fall this is not the wind's.
        fall_mps: Rate of fall, above zero.
        gravity_mps2: Gravity.
    """
    height_m = max(height_m, 0.0)
    steady_s = height_m / fall_mps
    free_s = (math.sqrt(fall_mps * fall_mps + 2.0 * gravity_mps2 * height_m) - fall_mps) / gravity_mps2
    time_s, time_sigma_s = (steady_s + free_s) / 2.0, (steady_s - free_s) / 2.0
    return _carried(east_m, north_m, place_sigma_m, drift, time_s, time_sigma_s)


def _carried(
    east_m: float, north_m: float, place_sigma_m: float, drift: Wind, time_s: float, time_sigma_s: float
) -> Landing:
    """Where a drift carries from a place in an uncertain time; the time's error moves both axes together."""
    common = place_sigma_m**2 + (drift.sigma_mps * time_s) ** 2
    east_mps, north_mps = drift.east_mps, drift.north_mps
    return Landing(
        east_m + east_mps * time_s,
        north_m + north_mps * time_s,
        time_s,
        common + (east_mps * time_sigma_s) ** 2,
        common + (north_mps * time_sigma_s) ** 2,
        east_mps * north_mps * time_sigma_s**2,
    )


def _factor(height_m: float, power: float = WIND_POWER) -> float:
    """Wind at a height over that at the meter."""
    return math.pow(max(height_m, WIND_METER_M) / WIND_METER_M, power)


def _below(height_m: float, seen_m: float, power: float) -> float:
    """Mean wind from the ground up to a height over that at another height."""
    if height_m <= WIND_METER_M:
        return 1.0 / _factor(seen_m, power)
    above = (_factor(height_m, power) * height_m - WIND_METER_M) / (1.0 + power)
    return (WIND_METER_M + above) / height_m / _factor(seen_m, power)


def _left_in_mean(over_s: float, lasts_s: float) -> float:
    """What is left of first-order Gauss-Markov noise of deviation 1 in its mean over a time.

    Source:
        A. Papoulis, Probability, Random Variables, and Stochastic Processes: the variance of a time average, for an
        autocorrelation exp(-|t|/T) (from memory).
    """
    turns = over_s / lasts_s
    if turns < 1e-3:
        return 1.0
    return math.sqrt(2.0 / turns * (1.0 - (1.0 - math.exp(-turns)) / turns))
