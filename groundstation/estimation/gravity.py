"""Normal gravity of WGS 84: what an accelerometer at rest should read at a place."""

import math

# WGS 84 defining and derived constants. Source: NGA.STND.0036_1.0.0 (2014), tables 3.1, 3.5 and 3.6.
SEMI_MAJOR_AXIS_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
ECCENTRICITY_SQUARED = 6.69437999014e-3
EQUATOR_MPS2 = 9.7803253359
SOMIGLIANA_K = 1.931852652458e-3
GRAVITY_RATIO_M = 3.449786506841e-3  # ω²a²b/GM

STANDARD_MPS2 = 9.80665  # standard gravity, exact (NIST SP 811); also g0 of the standard atmosphere


def normal_gravity_mps2(latitude_rad: float, height_m: float) -> float:
    """Normal gravity at a height above the ellipsoid (mean sea level will do: 100 m change it by 0.0003 m/s²).

    Args:
        latitude_rad: Geodetic latitude [rad]; the sign does not matter. NaN gives NaN.
        height_m: Height [m]; the series holds for the lowest tens of kilometres. NaN gives NaN.
    Returns:
        Gravity, gravitation and the Earth's turning together [m/s²].
    Source:
        NGA.STND.0036_1.0.0 (2014), chapter 4: Somigliana's closed form and the height series (clause from memory).
    """
    sin2 = math.sin(latitude_rad) ** 2
    at_ellipsoid = EQUATOR_MPS2 * (1.0 + SOMIGLIANA_K * sin2) / math.sqrt(1.0 - ECCENTRICITY_SQUARED * sin2)
    ratio = height_m / SEMI_MAJOR_AXIS_M
    linear = 2.0 * (1.0 + FLATTENING + GRAVITY_RATIO_M - 2.0 * FLATTENING * sin2)
    return at_ellipsoid * (1.0 - linear * ratio + 3.0 * ratio * ratio)
