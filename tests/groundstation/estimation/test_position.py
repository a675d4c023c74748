import dataclasses
import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from groundstation.estimation.position import Fix, FixProblem, Place, local, moved, problem


def place(latitude_deg: float, longitude_deg: float, height_m: float = 0.0) -> Place:
    return Place(math.radians(latitude_deg), math.radians(longitude_deg), height_m)


def test_local_coordinates_agree_with_the_guidance_note() -> None:
    # IOGP Guidance Note 7-2, example of method 9837: 53°48'33.820"N 2°07'46.380"E 73 m from 55°N 5°E 200 m.
    seen = local(place(55.0, 5.0, 200.0), place(53 + 48 / 60 + 33.820 / 3600, 2 + 7 / 60 + 46.380 / 3600, 73.0))
    assert (seen.east_m, seen.north_m, seen.up_m) == pytest.approx((-189013.869, -128642.040, -4220.171), abs=0.001)


def test_range_bearing_and_elevation_nearby() -> None:
    # Worked out with pymap3d: ENU 78.8516, 111.1410, 399.9985 m; 35.35470°, 71.18706°, 422.57394 m.
    seen = local(place(45.0, 10.0, 100.0), place(45.001, 10.001, 500.0))
    assert (seen.east_m, seen.north_m, seen.up_m) == pytest.approx((78.8516, 111.1410, 399.9985), abs=0.0001)
    assert math.degrees(seen.bearing_rad) == pytest.approx(35.35470, abs=0.00001)
    assert math.degrees(seen.elevation_rad) == pytest.approx(71.18706, abs=0.00001)
    assert seen.range_m == pytest.approx(422.57394, abs=0.00001)


@given(st.floats(-70, 70), st.floats(-180, 180), st.floats(-5000, 5000), st.floats(-5000, 5000))
def test_moving_over_ground_agrees_with_the_geodesic(lat: float, lon: float, east_m: float, north_m: float) -> None:
    there = moved(place(lat, lon), east_m, north_m)
    line = Geodesic.WGS84.Inverse(lat, lon, math.degrees(there.latitude_rad), math.degrees(there.longitude_rad))
    assert line["s12"] == pytest.approx(math.hypot(east_m, north_m), abs=1.0)
    assert -math.pi <= there.longitude_rad <= math.pi


GOOD = Fix(10.0, place(47.5, -15.25, 12.0), 1.0, 9.0, 0.9)


@pytest.mark.parametrize(
    ("fix", "expected"),
    [
        (GOOD, None),
        (Fix(10.0, GOOD.place, 3.0), None),
        (Fix(10.0, GOOD.place, 0.0, 9.0, 0.9), FixProblem.NO_FIX),
        (Fix(10.0, GOOD.place, math.nan, 9.0, 0.9), FixProblem.NO_FIX),
        (Fix(10.0, place(0.0, 0.0), 1.0, 9.0, 0.9), FixProblem.NOT_A_PLACE),
        (Fix(10.0, place(math.nan, 5.0), 1.0, 9.0, 0.9), FixProblem.NOT_A_PLACE),
        (Fix(10.0, place(91.0, 5.0), 1.0, 9.0, 0.9), FixProblem.NOT_A_PLACE),
        (Fix(10.0, GOOD.place, 1.0, 3.0, 0.9), FixProblem.DILUTION),
        (Fix(10.0, GOOD.place, 1.0, 9.0, 99.99), FixProblem.DILUTION),
        (Fix(10.0, GOOD.place, 1.0, 9.0, 0.0), FixProblem.DILUTION),
        (Fix(10.0, place(47.51, -15.25), 1.0, 9.0, 0.9), FixProblem.JUMP),
        (Fix(14.0, place(47.51, -15.25), 1.0, 9.0, 0.9), None),
        (Fix(8.0, place(47.51, -15.25), 1.0, 9.0, 0.9), FixProblem.JUMP),
    ],
)
def test_each_reason_not_to_believe_a_fix(fix: Fix, expected: FixProblem | None) -> None:
    last = Fix(9.0, place(47.5, -15.25, 12.0), 1.0, 9.0, 0.9)
    assert problem(fix, last) is expected


def test_the_first_fix_has_nothing_to_jump_from() -> None:
    assert problem(GOOD, None) is None
    assert GOOD.sigma_m == pytest.approx(1.8 / math.sqrt(2.0))


@pytest.mark.parametrize("satellites", [6, 8, 10, 13])
def test_a_fix_without_its_dilution_is_as_good_as_so_many_satellites_make_it(satellites: int) -> None:
    # Random skies above 10 degrees; dilution from the inverse of the normal equations of range and clock.
    draws = np.random.default_rng(satellites)
    up = draws.uniform(math.sin(math.radians(10.0)), 1.0, (1000, satellites))
    azimuth, flat = draws.uniform(0.0, math.tau, up.shape), np.sqrt(1.0 - up * up)
    rows = np.stack([flat * np.sin(azimuth), flat * np.cos(azimuth), up, np.ones_like(up)], axis=-1)
    spread = np.linalg.inv(np.swapaxes(rows, 1, 2) @ rows)
    middle = float(np.median(np.sqrt(spread[:, 0, 0] + spread[:, 1, 1])))
    unsaid = dataclasses.replace(GOOD, satellites=float(satellites), hdop=math.nan)
    said = dataclasses.replace(unsaid, hdop=middle)
    assert unsaid.sigma_m == pytest.approx(said.sigma_m, rel=0.12)
    assert dataclasses.replace(unsaid, satellites=math.nan).sigma_m == dataclasses.replace(GOOD, hdop=1.5).sigma_m
