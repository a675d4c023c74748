"""Where the vehicle is: whether a fix can be believed, and range, bearing and elevation from the station.

Angles in radians, distances in metres. Places are WGS 84 latitude and longitude.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from groundstation.estimation.gravity import ECCENTRICITY_SQUARED, SEMI_MAJOR_AXIS_M
from groundstation.table import FloatArray

MOST_HDOP = 5.0  # common practice, no source; 99.99 is what receivers send for "not known"
FEWEST_SATELLITES = 4
NULL_ISLAND_RAD = 1e-6  # six metres around latitude 0, longitude 0: a receiver's zeros, not a place
# Of one satellite's range. A surveyed receiver under an open sky is within 1.82 m of its place for 95 % of the time
# (GPS accuracy, gps.gov, FAA data of early 2021, from memory), which is 1.2 m of range; a small antenna that moves is
# taken for less good (common practice, no source).
RANGING_SIGMA_M = 2.0
# Horizontal dilution where the receiver does not say it: of n satellites spread evenly over the sky above 10° the
# middle one is SKY_HDOP / √(n - 3), within a tenth from six up.
SKY_HDOP = 2.65
UNKNOWN_HDOP = 1.5
FASTEST_MPS = 350.0
JUMP_SIGMAS = 5.0
# A receiver's height against its own at the pad a few minutes before; common practice, no source.
HEIGHT_SIGMA_M = 5.0
APART_SIGMAS = 3.0


class FixProblem(StrEnum):
    """Why a fix is not believed."""

    NO_FIX = "the receiver has no fix"
    NOT_A_PLACE = "latitude or longitude is not a number, out of range, or both are zero"
    DILUTION = "the satellites stand too badly or are too few"
    JUMP = "it is further from the last fix than the vehicle can have gone"


@dataclass(frozen=True, slots=True)
class Place:
    """A place on or above the ellipsoid."""

    latitude_rad: float
    longitude_rad: float
    height_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Fix:
    """One fix as a receiver gives it; NaN for what it does not say."""

    t_s: float
    place: Place
    fix: float
    satellites: float = math.nan
    hdop: float = math.nan

    @property
    def sigma_m(self) -> float:
        """Standard deviation of the place in each of east and north: dilution times ranging error is that of both."""
        hdop = UNKNOWN_HDOP
        if 0.0 < self.hdop < MOST_HDOP:
            hdop = self.hdop
        elif self.satellites >= FEWEST_SATELLITES:
            hdop = SKY_HDOP / math.sqrt(self.satellites - 3.0)
        return RANGING_SIGMA_M * hdop / math.sqrt(2.0)


@dataclass(frozen=True, slots=True)
class LocalPlace:
    """A place as seen from an origin: east, north, up."""

    east_m: float
    north_m: float
    up_m: float

    @property
    def ground_m(self) -> float:
        """Distance over ground."""
        return math.hypot(self.east_m, self.north_m)

    @property
    def range_m(self) -> float:
        """Straight distance."""
        return math.hypot(self.east_m, self.north_m, self.up_m)

    @property
    def bearing_rad(self) -> float:
        """Direction, clockwise from north."""
        return math.atan2(self.east_m, self.north_m) % math.tau

    @property
    def elevation_rad(self) -> float:
        """Angle above the horizontal."""
        return math.atan2(self.up_m, self.ground_m)


def local(origin: Place, place: Place) -> LocalPlace:
    """A place in the east, north, up frame of an origin, exactly, through Earth-centred coordinates.

    Source:
        IOGP Guidance Note 7-2, methods 9602 (geographic to geocentric) and 9837 (to topocentric).
    """
    ox, oy, oz = _geocentric(origin)
    px, py, pz = _geocentric(place)
    x, y, z = px - ox, py - oy, pz - oz
    sin_lat, cos_lat = math.sin(origin.latitude_rad), math.cos(origin.latitude_rad)
    sin_lon, cos_lon = math.sin(origin.longitude_rad), math.cos(origin.longitude_rad)
    return LocalPlace(
        -sin_lon * x + cos_lon * y,
        -sin_lat * cos_lon * x - sin_lat * sin_lon * y + cos_lat * z,
        cos_lat * cos_lon * x + cos_lat * sin_lon * y + sin_lat * z,
    )


def moved(origin: Place, east_m: float, north_m: float) -> Place:
    """The place some way east and north of an origin, along the ellipsoid's radii of curvature.

    Good to 10⁻⁴ of the distance within 10 km, away from the poles.

    Source:
        Meridian and prime vertical radii of curvature of WGS 84, NGA.STND.0036_1.0.0 (2014).
    """
    root = math.sqrt(1.0 - ECCENTRICITY_SQUARED * math.sin(origin.latitude_rad) ** 2)
    prime_m = SEMI_MAJOR_AXIS_M / root + origin.height_m
    meridian_m = SEMI_MAJOR_AXIS_M * (1.0 - ECCENTRICITY_SQUARED) / root**3 + origin.height_m
    latitude = origin.latitude_rad + north_m / meridian_m
    middle = (origin.latitude_rad + latitude) / 2.0
    longitude = origin.longitude_rad + east_m / (prime_m * math.cos(middle))
    return Place(latitude, (longitude + math.pi) % math.tau - math.pi, origin.height_m)


def problem(fix: Fix, last: Fix | None) -> FixProblem | None:
    """What is wrong with a fix, given the last one that was believed; None for a good one.

    Args:
        fix: The fix.
        last: The last believed one, if any.
    """
    place = fix.place
    if not fix.fix >= 1.0:
        return FixProblem.NO_FIX
    inside = abs(place.latitude_rad) <= math.pi / 2.0 and abs(place.longitude_rad) <= math.pi
    if not inside or math.hypot(place.latitude_rad, place.longitude_rad) < NULL_ISLAND_RAD:
        return FixProblem.NOT_A_PLACE
    if fix.satellites < FEWEST_SATELLITES or not (fix.hdop != fix.hdop or 0.0 < fix.hdop <= MOST_HDOP):
        return FixProblem.DILUTION
    if last is not None:
        gone_m = local(last.place, place).ground_m
        allowed_m = FASTEST_MPS * max(fix.t_s - last.t_s, 0.0) + JUMP_SIGMAS * math.hypot(fix.sigma_m, last.sigma_m)
        if gone_m > allowed_m:
            return FixProblem.JUMP
    return None


@dataclass(frozen=True, slots=True)
class HeightDifference:
    """A receiver's height above the pad less the pressure's [m], and the standard deviation to expect of it."""

    metres: float
    sigma_m: float

    @property
    def agrees(self) -> bool:
        """Whether the two say the same within what is to be expected."""
        return abs(self.metres) <= APART_SIGMAS * self.sigma_m


def height_difference(
    flight_m: FloatArray, pad_m: FloatArray, pressure_m: FloatArray, pressure_sigma_m: float
) -> HeightDifference | None:
    """The receiver's height against the pressure's: two ways to know one height that fail for different reasons.

    The receiver's own height at the pad is taken off, so that neither datum nor the site file's elevation matters.

    Args:
        flight_m: (n,) the receiver's heights in flight; rows with NaN are left out.
        pad_m: (m,) its heights on the pad.
        pressure_m: (n,) pressure heights above the pad at the times of the former.
        pressure_sigma_m: Standard deviation of the pressure heights.
    Returns:
        The middle difference; None where either side has nothing.
    """
    pad = pad_m[np.isfinite(pad_m)]
    apart = flight_m - pressure_m
    apart = apart[np.isfinite(apart)]
    if not pad.size or not apart.size:
        return None
    return HeightDifference(float(np.median(apart) - np.median(pad)), math.hypot(HEIGHT_SIGMA_M, pressure_sigma_m))


def _geocentric(place: Place) -> tuple[float, float, float]:
    sin_lat, cos_lat = math.sin(place.latitude_rad), math.cos(place.latitude_rad)
    prime_m = SEMI_MAJOR_AXIS_M / math.sqrt(1.0 - ECCENTRICITY_SQUARED * sin_lat * sin_lat)
    flat_m = (prime_m + place.height_m) * cos_lat
    return (
        flat_m * math.cos(place.longitude_rad),
        flat_m * math.sin(place.longitude_rad),
        (prime_m * (1.0 - ECCENTRICITY_SQUARED) + place.height_m) * sin_lat,
    )
