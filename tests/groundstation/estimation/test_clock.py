import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.estimation.clock import MOST_LATE_IN_A_ROW, StepClock

S = 1_000_000_000


def test_packets_that_arrive_in_clumps_are_told_apart_by_the_vehicles_clock() -> None:
    clock = StepClock()
    steps = [
        clock.step_s(S + received, vehicle)
        for received, vehicle in [(0, 5.0), (250_000_000, 5.1), (251_000_000, 5.2)]
    ]
    assert steps == pytest.approx([0.0, 0.1, 0.1])


def test_repeated_and_late_samples_make_no_step() -> None:
    clock = StepClock()
    clock.step_s(0, 10.0)
    assert clock.step_s(S // 10, 10.1) == pytest.approx(0.1)
    assert clock.step_s(S // 10, 10.1) is None
    assert clock.step_s(S // 8, 10.05) is None
    assert clock.step_s(S // 5, 10.2) == pytest.approx(0.1)


@pytest.mark.parametrize("vehicle_s", [65.535 - 65.536, 0.0, math.nan, 4000.0])
def test_a_clock_that_wraps_restarts_vanishes_or_jumps_is_left_for_the_arrivals(vehicle_s: float) -> None:
    clock = StepClock()
    clock.step_s(0, 65.4)
    assert clock.step_s(S // 10, vehicle_s) == pytest.approx(0.1)
    assert clock.step_s(S // 5, vehicle_s + 0.11) == pytest.approx(0.11 if vehicle_s == vehicle_s else 0.1)
    assert clock.restarts == (1 if vehicle_s < 65.0 else 0)


def test_a_clock_that_stands_still_is_given_up() -> None:
    clock = StepClock()
    steps = [clock.step_s(k * S // 10, 7.0) for k in range(3 * (MOST_LATE_IN_A_ROW + 1) + 1)]
    assert sum(s for s in steps if s is not None) == pytest.approx(1.2)


@given(st.lists(st.tuples(st.integers(-S, 3 * S), st.floats(allow_nan=True, allow_infinity=True)), max_size=60))
def test_no_step_is_ever_negative_or_infinite(times: list[tuple[int, float]]) -> None:
    clock = StepClock()
    for received_ns, vehicle_s in times:
        step = clock.step_s(received_ns, vehicle_s)
        assert step is None or 0.0 <= step < 10.0
