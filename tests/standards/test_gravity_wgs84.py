import math

import pytest

from groundstation.estimation.gravity import normal_gravity_mps2


def test_gravity_at_equator_and_pole_is_the_published_one() -> None:
    # NGA.STND.0036_1.0.0 (2014), derived constants: 9.7803253359 and 9.8321849379 m/s².
    assert normal_gravity_mps2(0.0, 0.0) == pytest.approx(9.7803253359, abs=1e-10)
    assert normal_gravity_mps2(math.pi / 2, 0.0) == pytest.approx(9.8321849379, abs=2e-9)
    assert normal_gravity_mps2(-math.pi / 2, 0.0) == normal_gravity_mps2(math.pi / 2, 0.0)


@pytest.mark.parametrize(
    ("latitude_deg", "height_m", "gravity"),
    [
        (30.0, 0.0, 9.7932472692),
        (45.0, 0.0, 9.8061977694),
        (60.0, 0.0, 9.8191769531),
        (45.0, 100.0, 9.8058892),
        (45.0, 1000.0, 9.8031129),
        (45.0, 3000.0, 9.7969476),
    ],
)
def test_gravity_follows_somigliana_and_the_height_series(
    latitude_deg: float, height_m: float, gravity: float
) -> None:
    # Worked out from the formulas and constants of NGA.STND.0036_1.0.0 (2014), chapter 4.
    assert normal_gravity_mps2(math.radians(latitude_deg), height_m) == pytest.approx(gravity, abs=5e-8)


def test_gravity_falls_by_the_textbook_gradient() -> None:
    # Free-air gradient 3.086e-6 s⁻² (textbook value, W. Torge, Geodesy; page from memory)
    gradient = (normal_gravity_mps2(0.8, 0.0) - normal_gravity_mps2(0.8, 1000.0)) / 1000.0
    assert gradient == pytest.approx(3.086e-6, abs=3e-9)


def test_gravity_of_an_unknown_place_is_unknown() -> None:
    assert math.isnan(normal_gravity_mps2(math.nan, 0.0))
    assert math.isnan(normal_gravity_mps2(0.8, math.nan))
