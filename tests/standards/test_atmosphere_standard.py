import math

import ambiance
import fluids
import numpy as np
import pytest

from groundstation.estimation.atmosphere import (
    PadAir,
    density_kgpm3,
    geometric_m,
    geopotential_m,
    sea_level_pressure_pa,
    speed_of_sound_mps,
    standard_air,
    standard_height_m,
    station_pressure_pa,
)

# U.S. Standard Atmosphere, 1976 (NOAA-S/T 76-1562), main tables: geopotential height [m], temperature [K], pressure
# [Pa], density [kg/m³]; pressures below 11 km agree with the printed six figures (898.746, 794.952 hPa ...).
TABLE = [
    (0.0, 288.150, 101325.0, 1.2250),
    (1000.0, 281.650, 89874.6, 1.1116),
    (2000.0, 275.150, 79495.2, 1.0065),
    (3000.0, 268.650, 70108.5, 0.90912),
    (5000.0, 255.650, 54019.9, 0.73612),
    (8000.0, 236.150, 35599.8, 0.52517),
    (11000.0, 216.650, 22632.1, 0.36392),
    (20000.0, 216.650, 5474.89, 0.08804),
]


@pytest.mark.parametrize(("height_m", "temperature_k", "pressure_pa", "density"), TABLE)
def test_standard_air_agrees_with_the_printed_tables(
    height_m: float, temperature_k: float, pressure_pa: float, density: float
) -> None:
    air = standard_air(height_m)
    assert air.temperature_k == pytest.approx(temperature_k, abs=0.0005)
    assert air.pressure_pa == pytest.approx(pressure_pa, abs=0.06)
    assert air.density_kgpm3 == pytest.approx(density, abs=0.00006)


@pytest.mark.parametrize("geometric", [0.0, 123.0, 1500.0, 4000.0, 10500.0, 15000.0, 19900.0])
def test_standard_air_agrees_with_two_reference_libraries(geometric: float) -> None:
    air = standard_air(geopotential_m(geometric))
    us76 = fluids.ATMOSPHERE_1976(Z=geometric)
    icao = ambiance.Atmosphere(geometric)
    assert air.pressure_pa == pytest.approx(us76.P, abs=0.05)
    assert air.temperature_k == pytest.approx(us76.T, abs=0.001)
    assert air.density_kgpm3 == pytest.approx(us76.rho, abs=1e-5)
    # ICAO Doc 7488 rounds the gas constant otherwise: 0.03 Pa at most below 20 km.
    assert air.pressure_pa == pytest.approx(icao.pressure[0], abs=0.05)


def test_heights_between_geometric_and_geopotential_agree_with_the_tables() -> None:
    # U.S. Standard Atmosphere, 1976, table I: 11,000 m' is 11,019 m, 20,000 m' is 20,063 m.
    assert geometric_m(11000.0) == pytest.approx(11019.07, abs=0.01)
    assert geometric_m(20000.0) == pytest.approx(20063.12, abs=0.01)
    assert geopotential_m(geometric_m(3210.0)) == pytest.approx(3210.0, abs=1e-9)


@pytest.mark.parametrize(
    ("pressure_pa", "height_m"),
    [(95000.0, 540.337), (90000.0, 988.501), (85000.0, 1457.300), (70000.0, 3012.183), (50000.0, 5574.437)],
)
def test_standard_height_inverts_the_1976_formula(pressure_pa: float, height_m: float) -> None:
    # Worked out by hand from eq. 33a; the rounded form of pressure sensors' data sheets gives 988.65 m at 90 kPa.
    assert standard_height_m(pressure_pa) == pytest.approx(height_m, abs=0.001)


def test_a_warm_day_at_the_pad_is_five_percent_taller_than_a_standard_one() -> None:
    # Worked out by hand from eq. 33a with 30 °C and 15 °C at a pad of 98000 Pa, 95000 Pa aloft.
    assert PadAir(98000.0, 303.15).height_m(95000.0) == pytest.approx(275.071, abs=0.001)
    assert PadAir(98000.0, 288.15).height_m(95000.0) == pytest.approx(261.460, abs=0.001)


def test_pressure_reduced_to_sea_level_gives_the_elevation_back() -> None:
    # Worked out by hand: 97000 Pa at 300 m is a QNH of 1005.2975 hPa.
    assert sea_level_pressure_pa(97000.0, 300.0) == pytest.approx(100529.75, abs=0.01)
    assert station_pressure_pa(100529.7533631, 300.0) == pytest.approx(97000.0, abs=1e-4)
    assert standard_height_m(97000.0) - standard_height_m(100529.7533631) == pytest.approx(300.0, abs=1e-5)


@pytest.mark.parametrize(("height_m", "speed"), [(0.0, 340.294), (1000.0, 336.434), (11000.0, 295.070)])
def test_speed_of_sound_agrees_with_the_tables(height_m: float, speed: float) -> None:
    # U.S. Standard Atmosphere, 1976, table III.
    assert speed_of_sound_mps(standard_air(height_m).temperature_k) == pytest.approx(speed, abs=0.001)


def test_pad_air_turns_heights_and_pressures_into_each_other() -> None:
    air = PadAir(97000.0, 296.0, gravity_mps2=9.79)
    heights = np.array([-50.0, 0.0, 0.5, 300.0, 3000.0])
    assert air.heights_m(air.pressures_at_pa(heights)) == pytest.approx(heights, abs=1e-8)
    for height in heights.tolist():
        assert air.height_m(air.pressure_at_pa(height)) == pytest.approx(height, abs=1e-8)
    below, above = air.height_m(95000.5), air.height_m(94999.5)
    assert air.metres_per_pascal(95000.0) == pytest.approx(above - below, abs=1e-8)
    assert air.density_at_kgpm3(300.0) == pytest.approx(density_kgpm3(air.pressure_at_pa(300.0), 296.0 - 1.95))


def test_what_is_no_pressure_has_no_height() -> None:
    air = PadAir(97000.0, 296.0)
    bad = [0.0, -1.0, math.nan]
    assert all(math.isnan(air.height_m(p)) for p in bad)
    assert np.isnan(air.heights_m(np.array(bad))).all()
    assert all(math.isnan(air.metres_per_pascal(p)) for p in bad)
    assert math.isnan(air.pressure_at_pa(296.0 / 0.0065 + 1.0))
    assert math.isnan(air.pressure_at_pa(math.nan))


@pytest.mark.parametrize(
    ("arguments", "text"),
    [((0.0, 288.0), "0.0 Pa"), ((101325.0, -5.0), "-5.0 K"), ((101325.0, 288.0, 0.0), "lapse of 0.0 K/m")],
)
def test_air_that_cannot_be_is_refused(arguments: tuple[float, ...], text: str) -> None:
    with pytest.raises(ValueError, match=text):
        PadAir(*arguments)


@pytest.mark.parametrize("height_m", [-5001.0, 20001.0, math.nan])
def test_standard_air_refuses_heights_outside_its_range(height_m: float) -> None:
    with pytest.raises(ValueError, match="expected -5000 to 20000 m"):
        standard_air(height_m)
