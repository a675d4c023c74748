import math

import pytest

from dashboard import wording
from groundstation.readiness.finding import Limit

T = "\N{THIN SPACE}"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (11.25, "V", f"11.25{T}V"),
        (math.radians(2.345), "rad", "2.3°"),
        (101325.0, "Pa", f"1013.2{T}hPa"),
        (263.15, "K", f"−10.0{T}°C"),
        (-3.21, "m/s", f"−3.2{T}m/s"),
        (-0.001, "m/s", f"0.0{T}m/s"),
        (math.nan, "V", "–"),
        (None, "V", "–"),
    ],
)
def test_quantities_are_shown_in_units_people_read(value, unit, text):
    assert wording.quantity(value, unit) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.04, f"0.0{T}s"),
        (9.94, f"9.9{T}s"),
        (9.96, f"10{T}s"),
        (59.4, f"59{T}s"),
        (192, f"3{T}min 12{T}s"),
        (7500, f"2{T}h 05{T}min"),
        (None, "–"),
    ],
)
def test_ages_have_a_decimal_under_ten_seconds(seconds, text):
    assert wording.age(seconds) == text


@pytest.mark.parametrize(
    ("seconds", "text"), [(6.44, "T+00:06.4"), (-72.0, "T−01:12.0"), (59.96, "T+01:00.0"), (None, "T –")]
)
def test_flight_time_counts_from_liftoff(seconds, text):
    assert wording.flight_time(seconds) == text


@pytest.mark.parametrize(
    ("limit", "text"),
    [
        (Limit(3.75, 4.25), f"3.75 to 4.25{T}V"),
        (Limit(9.0, None), f"at least 9.00{T}V"),
        (Limit(None, 1.2), f"at most 1.20{T}V"),
        (Limit(), ""),
    ],
)
def test_limits_are_words(limit, text):
    assert wording.finding_limit(limit, "V") == text


def test_clocks_name_their_zone():
    assert wording.clock(1_780_000_000_000_000_000, None) == "20:26:40 UTC"
