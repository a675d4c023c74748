import itertools
import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.vehicle_clock import Reading, unwrapped

NEVER = math.inf


def readings(clocks: list[float], period_s: float = NEVER) -> list[Reading]:
    return [Reading(c, period_s) for c in clocks]


def close(found: list[float], expected: list[float]) -> bool:
    return len(found) == len(expected) and all(abs(a - b) < 1e-6 for a, b in zip(found, expected, strict=True))


def test_clock_that_runs_on_gives_time_from_the_first_packet() -> None:
    found = unwrapped(readings([42.0, 42.1, 42.1, 43.0]))
    assert close(found.times_s, [0.0, 0.1, 0.1, 1.0])
    assert (found.restarts, found.wraps) == (0, 0)


def test_sixteen_bit_milliseconds_wrap_without_a_gap() -> None:
    clocks = [(65.0 + 0.1 * k) % 65.536 for k in range(20)]
    found = unwrapped(readings(clocks, 65.536))
    assert close(found.times_s, [0.1 * k for k in range(20)])
    assert (found.restarts, found.wraps) == (0, 1)


def test_thirty_two_bit_wrap_across_an_outage_of_seconds_keeps_its_length() -> None:
    period_s = 2**32 / 1000
    found = unwrapped(readings([period_s - 2.0, period_s - 1.0, 5.0, 6.0], period_s))
    assert close(found.times_s, [0.0, 1.0, 7.0, 8.0])
    assert (found.restarts, found.wraps) == (0, 1)


def test_flight_computer_that_starts_anew_goes_on_from_the_last_time() -> None:
    period_s = 2**32 / 1000
    found = unwrapped(readings([100.0, 100.1, 100.2, 0.3, 0.4, 0.5], period_s))
    assert close(found.times_s, [0.0, 0.1, 0.2, 0.2, 0.3, 0.4])
    assert (found.restarts, found.wraps) == (1, 0)


def test_late_and_repeated_packets_take_the_time_before_them() -> None:
    found = unwrapped(readings([10.0, 10.2, 10.1, 10.2, 10.3]))
    assert close(found.times_s, [0.0, 0.2, 0.2, 0.2, 0.3])
    assert found.restarts == 0


def test_late_packet_just_after_a_wrap_is_no_second_wrap() -> None:
    found = unwrapped(readings([65.4, 65.5, 0.064, 65.53, 0.164], 65.536))
    assert close(found.times_s, [0.0, 0.1, 0.2, 0.2, 0.3])
    assert found.restarts == 0


@pytest.mark.parametrize("wild", [4e6, -9e5, math.nan, 30.0])
@pytest.mark.parametrize("place", range(5))
def test_single_wild_value_is_not_believed(place: int, wild: float) -> None:
    good = [5.0, 5.1, 5.2, 5.3]
    found = unwrapped(readings([*good[:place], wild, *good[place:]]))
    expected_s = 0.3
    if place == 1 and wild != 30.0:
        expected_s = 0.2  # right after the first packet nothing tells yet which of the two is wild
    if place == 4 and wild == 30.0:
        expected_s = 25.0  # the last packet, and an outage that may well be
    assert found.restarts == 0
    assert abs(found.times_s[-1] - expected_s) < 1e-6


def test_long_outage_is_believed_when_the_next_packet_goes_on_from_it() -> None:
    found = unwrapped(readings([1.0, 1.1, 3601.0, 3601.1]))
    assert close(found.times_s, [0.0, 0.1, 3600.0, 3600.1])


def test_no_packets_give_no_times() -> None:
    assert unwrapped([]).times_s == []


@given(st.lists(st.floats(), max_size=50), st.sampled_from([65.536, 4294967.296, NEVER]))
def test_time_never_runs_backwards_whatever_the_clock_says(clocks: list[float], period_s: float) -> None:
    times = unwrapped(readings(clocks, period_s)).times_s
    assert len(times) == len(clocks)
    assert all(a <= b for a, b in itertools.pairwise(times))
    assert all(math.isfinite(t) and t >= 0.0 for t in times)


@given(st.integers(0, 2**32 - 1), st.lists(st.integers(1, 9000), min_size=1, max_size=60), st.sampled_from([16, 32]))
def test_any_start_and_any_short_gaps_are_recovered_through_wraps(start: int, gaps: list[int], bits: int) -> None:
    ticks = [start]
    for gap in gaps:
        ticks.append(ticks[-1] + gap)
    modulus = 1 << bits
    found = unwrapped(readings([(t % modulus) / 1000 for t in ticks], modulus / 1000))
    assert close(found.times_s, [(t - start) / 1000 for t in ticks])
    assert found.restarts == 0


def test_a_morning_of_packets_with_restarts_keeps_its_length() -> None:
    draws = random.Random(5)
    clocks, total_s = [], 0.0
    for _ in range(5):
        clock_s = draws.uniform(0.2, 2.0)
        clocks.append(clock_s)
        for _ in range(2000):
            step_s = draws.uniform(0.05, 0.2)
            clock_s += step_s
            total_s += step_s
            clocks.append(clock_s)
    found = unwrapped(readings(clocks, 2**32 / 1000))
    assert found.restarts == 4
    assert abs(found.times_s[-1] - total_s) < 1e-6
