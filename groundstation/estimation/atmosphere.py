"""Pressure, height and density of the air: the standard atmosphere, and the real day's air above a pad.

The air above the pad is described by the pressure and temperature measured there and a constant lapse rate
(`PadAir`). Where temperatures aloft are known too, `layered_height_m` sums the layers.

Units: pascals, kelvins, metres, kilograms per cubic metre. Heights are geopotential unless a function says otherwise;
within 3 km of the ground geometric height differs from it by less than 0.05 % plus (g0 - g)/g0 of the place.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from groundstation.estimation.gravity import STANDARD_MPS2
from groundstation.table import FloatArray

# Constants of the U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), table 2 and section 1.2. Its gas constant is its
# own, not today's CODATA value.
SEA_LEVEL_PA = 101325.0
SEA_LEVEL_K = 288.15
LAPSE_K_PER_M = 0.0065
GAS_CONSTANT_J_PER_KG_K = 8314.32 / 28.9644  # R*/M0
HEAT_RATIO = 1.4
EARTH_RADIUS_M = 6356766.0
TROPOPAUSE_M = 11000.0
STANDARD_TOP_M = 20000.0


@dataclass(frozen=True, slots=True)
class PadAir:
    """The air above one pad: pressure and temperature there, a constant lapse, gravity.

    With `gravity_mps2` left at standard gravity heights are geopotential; with the place's own gravity they are
    geometric metres (to 0.05 % at 3 km, the fall of gravity with height being left out).

    Source:
        U.S. Standard Atmosphere, 1976, eq. 33a, with the day's pressure and temperature at the base of the layer.
    """

    pressure_pa: float
    temperature_k: float
    lapse_k_per_m: float = LAPSE_K_PER_M
    gravity_mps2: float = STANDARD_MPS2
    # g/(R·L): pressure goes with this power of temperature.
    exponent: float = field(init=False, repr=False, compare=False)
    _root: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not (self.pressure_pa > 0.0 and self.temperature_k > 0.0 and self.gravity_mps2 > 0.0):
            raise ValueError(
                f"found {self.pressure_pa} Pa, {self.temperature_k} K and {self.gravity_mps2} m/s² at the pad, "
                "expected all above zero"
            )
        if self.lapse_k_per_m == 0.0 or not math.isfinite(self.lapse_k_per_m):
            raise ValueError(f"found a lapse of {self.lapse_k_per_m} K/m, expected a finite one other than zero")
        exponent = self.gravity_mps2 / (GAS_CONSTANT_J_PER_KG_K * self.lapse_k_per_m)
        object.__setattr__(self, "exponent", exponent)
        object.__setattr__(self, "_root", 1.0 / exponent)

    def height_m(self, pressure_pa: float) -> float:
        """Height above the pad at a static pressure; NaN for NaN and for what is no pressure (zero or less)."""
        if not pressure_pa > 0.0:
            return math.nan
        ratio = math.pow(pressure_pa / self.pressure_pa, self._root)
        return self.temperature_k / self.lapse_k_per_m * (1.0 - ratio)

    def heights_m(self, pressure_pa: FloatArray) -> FloatArray:
        """(n,) heights above the pad from (n,) static pressures; NaN as in `height_m`."""
        usable = np.where(pressure_pa > 0.0, pressure_pa, np.nan)
        return np.asarray(self.temperature_k / self.lapse_k_per_m * (1.0 - (usable / self.pressure_pa) ** self._root))

    def pressure_at_pa(self, height_m: float) -> float:
        """Static pressure at a height above the pad; NaN for NaN and where the lapse would reach 0 K."""
        temperature_k = self.temperature_at_k(height_m)
        if not temperature_k > 0.0:
            return math.nan
        return self.pressure_pa * math.pow(temperature_k / self.temperature_k, self.exponent)

    def pressures_at_pa(self, height_m: FloatArray) -> FloatArray:
        """(n,) static pressures at (n,) heights above the pad; NaN as in `pressure_at_pa`."""
        temperature_k = self.temperature_k - self.lapse_k_per_m * height_m
        usable = np.where(temperature_k > 0.0, temperature_k, np.nan)
        return np.asarray(self.pressure_pa * (usable / self.temperature_k) ** self.exponent)

    def temperature_at_k(self, height_m: float) -> float:
        """Air temperature at a height above the pad, by the lapse."""
        return self.temperature_k - self.lapse_k_per_m * height_m

    def density_at_kgpm3(self, height_m: float) -> float:
        """Air density at a height above the pad."""
        return density_kgpm3(self.pressure_at_pa(height_m), self.temperature_at_k(height_m))

    def metres_per_pascal(self, pressure_pa: float) -> float:
        """How much height one pascal is, at a pressure; positive. NaN as in `height_m`."""
        if not pressure_pa > 0.0:
            return math.nan
        temperature_k = self.temperature_k * math.pow(pressure_pa / self.pressure_pa, self._root)
        return GAS_CONSTANT_J_PER_KG_K * temperature_k / (self.gravity_mps2 * pressure_pa)


def density_kgpm3(pressure_pa: float, temperature_k: float) -> float:
    """Density of dry air, p/(R·T). Humid summer air is up to 1 % lighter. NaN stays NaN.

    Source:
        U.S. Standard Atmosphere, 1976, eq. 42.
    """
    return pressure_pa / (GAS_CONSTANT_J_PER_KG_K * temperature_k)


def speed_of_sound_mps(temperature_k: float) -> float:
    """Speed of sound in dry air, √(γ·R·T). NaN stays NaN.

    Source:
        U.S. Standard Atmosphere, 1976, eq. 50.
    """
    return math.sqrt(HEAT_RATIO * GAS_CONSTANT_J_PER_KG_K * temperature_k)


def layered_height_m(pressure_pa: FloatArray, temperature_k: FloatArray) -> FloatArray:
    """Heights above the first level from pressures and temperatures measured at each level.

    Args:
        pressure_pa: (n,) static pressure, falling.
        temperature_k: (n,) air temperature; virtual temperature for humid air.
    Returns:
        (n,) geopotential height, 0 at the first level. From a NaN on everything is NaN.
    Raises:
        ValueError: The two columns differ in length.
    Source:
        The hypsometric equation with each layer's mean temperature: WMO-No. 8 (2018), volume I, chapter 12, annex.
        (Section number from memory.)
    """
    if pressure_pa.shape != temperature_k.shape or pressure_pa.ndim != 1:
        raise ValueError(f"found shapes {pressure_pa.shape} and {temperature_k.shape}, expected two equal columns")
    mean_k = (temperature_k[1:] + temperature_k[:-1]) / 2.0
    thickness = GAS_CONSTANT_J_PER_KG_K * mean_k / STANDARD_MPS2 * np.log(pressure_pa[:-1] / pressure_pa[1:])
    return np.concatenate([[0.0], np.cumsum(thickness)])


@dataclass(frozen=True, slots=True)
class StandardAir:
    """The standard atmosphere at one geopotential height."""

    temperature_k: float
    pressure_pa: float
    density_kgpm3: float


def standard_air(geopotential_m: float) -> StandardAir:
    """The standard atmosphere up to 20 km.

    Args:
        geopotential_m: Geopotential height above mean sea level, -5000 to 20000 m.
    Raises:
        ValueError: The height lies outside, or is NaN.
    Source:
        U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), eq. 33a and 33b.
    """
    if not -5000.0 <= geopotential_m <= STANDARD_TOP_M:
        raise ValueError(f"found a height of {geopotential_m} m, expected -5000 to {STANDARD_TOP_M:.0f} m")
    in_troposphere = min(geopotential_m, TROPOPAUSE_M)
    sea_level = PadAir(SEA_LEVEL_PA, SEA_LEVEL_K)
    temperature_k = sea_level.temperature_at_k(in_troposphere)
    pressure_pa = sea_level.pressure_at_pa(in_troposphere)
    above = geopotential_m - in_troposphere
    pressure_pa *= math.exp(-STANDARD_MPS2 * above / (GAS_CONSTANT_J_PER_KG_K * temperature_k))
    return StandardAir(temperature_k, pressure_pa, density_kgpm3(pressure_pa, temperature_k))


def standard_height_m(pressure_pa: float) -> float:
    """Geopotential height at which the standard atmosphere has this pressure, below 11 km; NaN for no pressure.

    Source:
        U.S. Standard Atmosphere, 1976, eq. 33a solved for height.
    """
    return PadAir(SEA_LEVEL_PA, SEA_LEVEL_K).height_m(pressure_pa)


def geometric_m(geopotential_m: float) -> float:
    """Geometric height of a geopotential height above mean sea level.

    Source:
        U.S. Standard Atmosphere, 1976, eq. 19.
    """
    return EARTH_RADIUS_M * geopotential_m / (EARTH_RADIUS_M - geopotential_m)


def geopotential_m(geometric_height_m: float) -> float:
    """Geopotential height of a geometric height above mean sea level.

    Source:
        U.S. Standard Atmosphere, 1976, eq. 18.
    """
    return EARTH_RADIUS_M * geometric_height_m / (EARTH_RADIUS_M + geometric_height_m)


def sea_level_pressure_pa(station_pa: float, elevation_m: float) -> float:
    """The pressure at sea level that, in the standard atmosphere, goes with a station's pressure and elevation (QNH).

    Args:
        station_pa: Static pressure at the station, above zero.
        elevation_m: The station's height above mean sea level.
    Source:
        ICAO Doc 8896 definition of QNH with the 1976 standard atmosphere's constants, eq. 33a.
    """
    inverse = GAS_CONSTANT_J_PER_KG_K * LAPSE_K_PER_M / STANDARD_MPS2
    at_sea = station_pa**inverse + SEA_LEVEL_PA**inverse * LAPSE_K_PER_M * elevation_m / SEA_LEVEL_K
    return float(at_sea ** (1.0 / inverse))


def station_pressure_pa(sea_level_pa: float, elevation_m: float) -> float:
    """A station's pressure from the pressure reduced to sea level (QNH): the inverse of `sea_level_pressure_pa`."""
    inverse = GAS_CONSTANT_J_PER_KG_K * LAPSE_K_PER_M / STANDARD_MPS2
    at_station = sea_level_pa**inverse - SEA_LEVEL_PA**inverse * LAPSE_K_PER_M * elevation_m / SEA_LEVEL_K
    return float(at_station ** (1.0 / inverse))
