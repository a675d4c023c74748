import dataclasses
import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.clock_line import ClockLine
from groundstation.inputs import NS_PER_S

from .clock_pair import ClockPair, Heard

MS_16, US_32, MS_32 = 65.536, 2**32 / 1e6, 2**32 / 1e3
S = NS_PER_S
JITTERS = {
    "radio": lambda draws: draws.expovariate(1 / 0.004),
    "bursts of a port": lambda draws: draws.uniform(0.0, 0.1),
    "a network with stalls": lambda draws: (
        draws.expovariate(1 / 0.004) + (draws.random() < 0.02) * draws.uniform(0.0, 1.5)
    ),
}
# Bounds of the error once ten seconds have been heard, at 20 packets a second [ms]: the clock's tick (1 ms) and what
# the drift makes of a block (1 ms), and for wide jitter the chance of few packets on the quickest way.
BOUND_MS = {"radio": 4.0, "bursts of a port": 15.0, "a network with stalls": 4.0}


def follow(line: ClockLine, packets: list[Heard]) -> list[int]:
    return [line.take(p.clock_s, p.received_ns) for p in packets]


def held_back(packets: list[Heard], from_s: float, until_s: float) -> list[Heard]:
    """What came in between comes at its end, a millisecond apart; the receiver keeps the order."""
    out: list[Heard] = []
    last_ns = 0
    for p in packets:
        free_ns = round(until_s * S) if from_s < p.sent_s < until_s else 0
        last_ns = max(p.received_ns, free_ns, last_ns + 1_000_000)
        out.append(dataclasses.replace(p, received_ns=last_ns))
    return out


def errors_ms(packets: list[Heard], measured_ns: list[int]) -> list[float]:
    return [(m - p.true_ns) / 1e6 for p, m in zip(packets, measured_ns, strict=True)]


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32),
    st.floats(-200.0, 200.0),
    st.sampled_from([MS_16, US_32, math.inf]),
    st.sampled_from(sorted(JITTERS)),
    st.floats(0.0, 0.3),
    st.floats(1.0, 4000.0),
)
def test_measured_time_is_right_within_milliseconds_whatever_jitter_drift_and_wraps(
    seed: int, ppm: float, period_s: float, jitter: str, loss: float, up_s: float
) -> None:
    pair = ClockPair(ppm=ppm, period_s=period_s, jitter=JITTERS[jitter], loss=loss, up_s=up_s)
    packets = list(pair.heard(150.0, seed))
    line = ClockLine(period_s=period_s, tick_s=1e-3)
    measured_ns = follow(line, packets)
    assert line.restarts == 0
    assert measured_ns == sorted(measured_ns)
    assert all(m <= p.received_ns for m, p in zip(measured_ns, packets, strict=True))
    late = [e for p, e in zip(packets, errors_ms(packets, measured_ns), strict=True) if p.sent_s > 10.0]
    assert max(map(abs, late)) < BOUND_MS[jitter]


@pytest.mark.parametrize("jitter", sorted(JITTERS))
def test_stated_uncertainty_holds(jitter: str) -> None:
    within = total = 0
    for seed in range(12):
        packets = list(ClockPair(jitter=JITTERS[jitter], ppm=seed * 30.0 - 180.0).heard(60.0, seed))
        line = ClockLine(tick_s=1e-3)
        for p in packets:
            error_s = (line.take(p.clock_s, p.received_ns) - p.true_ns) / S
            within += abs(error_s) <= 2.0 * line.sigma_s
            total += 1
    assert within / total > 0.95


def test_rate_is_found_within_five_parts_in_a_million_after_five_minutes() -> None:
    for seed, ppm in enumerate([-150.0, -20.0, 0.0, 60.0, 190.0]):
        line = ClockLine(tick_s=1e-6)
        follow(line, list(ClockPair(ppm=ppm, tick_s=1e-6).heard(300.0, seed)))
        assert line.rate * 1e6 == pytest.approx(-ppm, abs=5.0)


@pytest.mark.parametrize("period_s", [MS_16, US_32])
@pytest.mark.parametrize("wraps", [0.4, 1.0, 2.6])
def test_a_gap_over_wraps_is_resolved_by_the_arrivals(period_s: float, wraps: float) -> None:
    gap = (30.0, 30.0 + wraps * period_s)
    pair = ClockPair(period_s=period_s, ppm=20.0, silent=(gap,), rate_hz=5.0)
    packets = list(pair.heard(gap[1] + 30.0, 1))
    line = ClockLine(period_s=period_s, tick_s=1e-3)
    late = errors_ms(packets, follow(line, packets))
    assert line.restarts == 0
    drifted_ms = 0.2 * (gap[1] - gap[0])  # 200 parts in a million of the gap
    assert max(abs(e) for p, e in zip(packets, late, strict=True) if p.sent_s > 20.0) < 5.0 + drifted_ms


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 2**32),
    st.sampled_from([US_32, MS_32, math.inf]),
    st.floats(5.0, 3000.0),
    st.lists(st.tuples(st.floats(4.0, 20.0), st.floats(0.5, 8.0)), min_size=1, max_size=4),
)
def test_every_start_anew_is_seen_at_its_first_packet(
    seed: int, period_s: float, up_s: float, runs: list[tuple[float, float]]
) -> None:
    at_s, off = 0.0, []
    for on_s, off_s in runs:
        off.append((at_s + on_s, at_s + on_s + off_s))
        at_s = off[-1][1]
    pair = ClockPair(period_s=period_s, up_s=up_s, off=tuple(off))
    packets = list(pair.heard(at_s + 10.0, seed))
    line = ClockLine(period_s=period_s, tick_s=1e-3)
    seen = []
    for p in packets:
        measured_ns = line.take(p.clock_s, p.received_ns)
        seen.append(line.restarts)
        assert measured_ns <= p.received_ns
    assert seen == [p.boot for p in packets]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.floats(0.0, 0.5), st.sampled_from([MS_16, US_32, math.inf]))
def test_late_and_repeated_packets_get_times_in_the_order_they_were_sent(
    seed: int, mixed: float, period_s: float
) -> None:
    draws = random.Random(seed)
    packets = list(ClockPair(period_s=period_s, up_s=60.0).heard(20.0, seed))
    mixed_up = []
    for p in packets:
        behind_ns = round(draws.uniform(0.0, 0.8) * S) if draws.random() < mixed else 0
        mixed_up.append(dataclasses.replace(p, received_ns=p.received_ns + behind_ns))
        if draws.random() < mixed:
            mixed_up.append(dataclasses.replace(p, received_ns=p.received_ns + round(draws.uniform(0.0, 0.8) * S)))
    mixed_up.sort(key=lambda p: p.received_ns)
    line = ClockLine(period_s=period_s, tick_s=1e-3)
    measured_ns = follow(line, mixed_up)
    assert line.restarts == 0
    assert all(m <= p.received_ns for m, p in zip(measured_ns, mixed_up, strict=True))
    by_sending = sorted(zip(mixed_up, measured_ns, strict=True), key=lambda pair: (pair[0].sent_s, pair[1]))
    for (before, m0), (after, m1) in itertools.pairwise(by_sending):
        assert m0 == m1 if before.sent_s == after.sent_s else m0 <= m1


@pytest.mark.parametrize("wild_s", [1e9, 4000.0, -5.0, 40.0, math.nan, math.inf])
def test_a_single_wild_value_moves_nothing(wild_s: float) -> None:
    packets = list(ClockPair(up_s=100.0).heard(40.0, 1))
    plain = ClockLine()
    spoilt = ClockLine()
    for k, p in enumerate(packets):
        if k % 100 == 50:
            assert spoilt.take(wild_s, p.received_ns) <= p.received_ns
            plain.take(p.clock_s, p.received_ns)
        else:
            error_ns = spoilt.take(p.clock_s, p.received_ns) - plain.take(p.clock_s, p.received_ns)
            assert abs(error_ns) < 30_000_000
    assert spoilt.restarts == 0


@pytest.mark.parametrize("stall_s", [3.0, 20.0])
def test_a_receiver_that_holds_everything_back_and_lets_it_go_is_no_start_anew(stall_s: float) -> None:
    packets = held_back(list(ClockPair(up_s=100.0).heard(100.0, 1)), 40.0, 40.0 + stall_s)
    line = ClockLine(tick_s=1e-3)
    late = errors_ms(packets, follow(line, packets))
    assert line.restarts == 0
    assert max(abs(e) for p, e in zip(packets, late, strict=True) if p.sent_s > 10.0) < 5.0


def test_a_backlog_at_the_sessions_start_is_no_start_anew() -> None:
    packets = held_back(list(ClockPair(loss=0.0).heard(60.0, 1)), -1.0, 30.0)
    line = ClockLine(tick_s=1e-3)
    late = errors_ms(packets, follow(line, packets))
    assert line.restarts == 0
    assert max(abs(e) for p, e in zip(packets, late, strict=True) if p.sent_s > 40.0) < 5.0


def test_a_clock_that_stands_still_is_given_up_for_the_arrivals() -> None:
    packets = list(ClockPair(loss=0.0).heard(30.0, 1))
    line = ClockLine(tick_s=1e-3)
    measured_ns = [line.take(min(p.clock_s, 13.0), p.received_ns) for p in packets]
    stood = [p.received_ns - m for p, m in zip(packets, measured_ns, strict=True) if p.sent_s > 12.0]
    assert set(stood) == {0}
    assert line.restarts == 0


def test_a_clock_set_back_but_not_to_its_start_is_a_start_anew_once_it_keeps_pace() -> None:
    packets = list(ClockPair(up_s=1000.0, loss=0.0).heard(30.0, 1))
    line = ClockLine(tick_s=1e-3)
    for p in packets:
        line.take(p.clock_s - (500.0 if p.sent_s >= 10.0 else 0.0), p.received_ns)
        assert line.restarts == (p.sent_s >= 12.05) or 11.9 < p.sent_s < 12.2
    assert line.restarts == 1


@given(
    st.lists(st.tuples(st.floats(allow_nan=True, allow_infinity=True), st.integers(0, 10**11)), max_size=80),
    st.sampled_from([0.256, MS_16, US_32, math.inf]),
)
def test_any_clocks_give_times_no_later_than_their_arrival(packets: list[tuple[float, int]], period_s: float) -> None:
    line = ClockLine(period_s=period_s)
    received_ns = 0
    for clock_s, gone_ns in packets:
        received_ns += gone_ns
        assert line.take(clock_s, received_ns) <= received_ns
        assert line.sigma_s >= 0.0
