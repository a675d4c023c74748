import math

import pytest

from groundstation.readiness.finding import Limit
from groundstation.readiness.words import allowed, number, seconds, spoken, telling, within


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(-1.25, 1, "−1.2"), (-0.04, 1, "0.0"), (0.0, 0, "0"), (-0.0, 2, "0.00"), (655.35, 0, "655"), (-10.0, 0, "−10")],
)
def test_numbers_have_a_true_minus_and_no_minus_zero(value, decimals, text) -> None:
    assert number(value, decimals) == text


def test_limits_are_said_as_people_say_them() -> None:
    assert allowed(Limit(0.8, 3.0), 1, "ohm") == "0.8 to 3.0 ohm allowed"
    assert allowed(Limit(None, 8.0), 0, "deg") == "at most 8 deg allowed"
    assert allowed(Limit(9.0), 1, "V") == "at least 9.0 V allowed"
    assert allowed(Limit(-10.0, 60.0), 0, "°C") == "−10 to 60 °C allowed"
    assert allowed(Limit(0.0, 1.0), 0, "") == "0 to 1 allowed"


@pytest.mark.parametrize("value", [math.nan, math.inf, 3.01, 0.79])
def test_what_is_no_number_or_outside_is_not_within(value) -> None:
    assert not within(value, Limit(0.8, 3.0))


def test_nan_is_not_even_within_no_limit() -> None:
    assert not within(math.nan, Limit())
    assert within(1.0, Limit())


def test_rounding_never_hides_a_failure() -> None:
    assert telling(3.7461, Limit(3.75), 2) == (3.746, 3)
    assert telling(3.7499, Limit(3.75), 2) == (3.7499, 4)
    assert telling(3.74, Limit(3.75), 2) == (3.74, 2)
    assert telling(3.7561, Limit(3.75), 2) == (3.76, 2)


def test_ages_are_fine_below_ten_seconds_and_coarse_above() -> None:
    assert seconds(3.24) == "3.2 s"
    assert seconds(61.7) == "62 s"


def test_names_are_spoken() -> None:
    assert spoken("pyro_1_resistance") == "resistance of pyro circuit 1"
    assert spoken("accel_x") == "accelerometer's x axis"
    assert spoken("pressure") == "pressure"
