import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.counting import Order, SequenceCounter

STEP_NS = 100_000_000  # 10 packets a second


def counted(counter: SequenceCounter, numbers: list[int], bits: int) -> list[Order]:
    """What the counter says of packets in the order of `numbers`, each in the wire's width, 0.1 s apart."""
    return [counter.step(n % (1 << bits), k * STEP_NS, n).order for k, n in enumerate(numbers)]


@given(st.lists(st.integers(1, 15), max_size=200), st.sampled_from([8, 16]), st.integers(0, 65535))
def test_every_missing_packet_is_counted_across_wraps(steps: list[int], bits: int, first: int) -> None:
    counter = SequenceCounter(bits=bits, rate_hz=10)
    value, time_ns = first, 0
    counter.step(value % (1 << bits), time_ns, value)
    for step in steps:
        value, time_ns = value + step, time_ns + step * STEP_NS
        found = counter.step(value % (1 << bits), time_ns, value)
        assert found == (Order.NEXT, step - 1, False)


def test_repeated_and_late_packets_cost_nothing_and_a_late_one_takes_its_loss_back() -> None:
    counter = SequenceCounter(bits=8, rate_hz=10)
    steps = [counter.step(n, k * STEP_NS, n) for k, n in enumerate([250, 251, 253, 253, 252, 252, 254])]
    orders = [s.order for s in steps]
    assert orders == [Order.NEXT, Order.NEXT, Order.NEXT, Order.REPEATED, Order.LATE, Order.REPEATED, Order.NEXT]
    assert [s.lost for s in steps] == [0, 0, 1, 0, -1, 0, 0]


@settings(max_examples=200)
@given(st.integers(0, 2**32), st.sampled_from([8, 16, 32]), st.floats(0.0, 0.4), st.floats(0.0, 0.3))
def test_lost_and_repeated_are_exact_whatever_is_lost_repeated_or_overtaken(
    seed: int, bits: int, loss: float, mixed: float
) -> None:
    draws = random.Random(seed)
    first = draws.randrange(1 << bits)
    sent = [n for n in range(first, first + 600) if n in (first, first + 599) or draws.random() > loss]
    heard: list[tuple[float, int]] = []
    for n in sent:
        at = n - first + (0.0 if n in (first, first + 599) else draws.choice([0.0, 0.0, 1.4, 3.2]) * (mixed > 0))
        heard.append((at, n))
        if draws.random() < mixed and n != first + 599:
            heard.append((at + draws.uniform(0.1, 10.0), n))
    heard = sorted(h for h in heard if h[0] <= 599.0)
    counter = SequenceCounter(bits=bits, rate_hz=10)
    steps = [counter.step(n % (1 << bits), round(at * STEP_NS), n) for at, n in heard]
    came = len({n for _, n in heard})
    assert sum(s.order in (Order.NEXT, Order.LATE) for s in steps) == came
    assert sum(s.order is Order.REPEATED for s in steps) == len(heard) - came
    assert sum(s.lost for s in steps) == 600 - came


@pytest.mark.parametrize("bits", [16, 32])
def test_counter_that_begins_anew_is_a_restart_not_a_loss(bits: int) -> None:
    counter = SequenceCounter(bits=bits, rate_hz=10)
    counter.step(40_000, 0, 0)
    assert counter.step(3, STEP_NS, 1) == (Order.RESTARTED, 0, False)
    assert counter.step(4, 2 * STEP_NS, 2) == (Order.NEXT, 0, False)


def test_counter_that_begins_anew_after_a_few_packets_is_told_by_what_the_packets_carry() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    assert counted(counter, [0, 1, 2, 3], 16) == [Order.NEXT] * 4
    assert counter.step(0, 5 * STEP_NS, "another clock").order is Order.RESTARTED


def test_long_silence_counts_what_the_counter_says() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    counter.step(100, 0, None)
    assert counter.step(700, 600 * STEP_NS, None) == (Order.NEXT, 599, False)


def test_after_half_a_lap_of_silence_the_loss_is_only_the_least() -> None:
    counter = SequenceCounter(bits=8, rate_hz=10)
    counter.step(100, 0, None)
    assert counter.step(110, 266 * STEP_NS, None) == (Order.NEXT, 9, True)  # 265 were lost


def test_a_backlog_of_another_receiver_is_known_again_or_stale_and_disturbs_nothing() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    for n in range(40_000, 41_000):
        if n != 40_502:
            counter.step(n, n * STEP_NS, n)
    backlog = [counter.step(n, 41_000 * STEP_NS, n).order for n in range(40_500, 40_505)]
    assert backlog == [Order.REPEATED, Order.REPEATED, Order.STALE, Order.REPEATED, Order.REPEATED]
    assert counter.step(41_000, 41_000 * STEP_NS, 41_000) == (Order.NEXT, 0, False)


def test_another_vehicles_packets_between_are_odd_and_cost_nothing() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    for n in range(40_000, 40_100):
        assert counter.step(n, n * STEP_NS, n) == (Order.NEXT, 0, False)
        if n > 40_000:
            assert counter.step(n - 20_000, n * STEP_NS, -n) == (Order.ODD, 0, False)
            assert counter.step(n - 30, n * STEP_NS, -n).order in (Order.ODD, Order.LATE)


def test_a_counter_that_goes_on_from_elsewhere_is_believed_in_the_end() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    orders = counted(counter, [40_000, 40_001, *range(20_000, 20_024)], 16)
    assert orders[2:22] == [Order.ODD] * 20  # two seconds
    assert orders[22:] == [Order.RESTARTED, Order.NEXT, Order.NEXT, Order.NEXT]


@given(
    st.lists(st.tuples(st.integers(0, 2**64 - 1), st.integers(-(10**9), 10**12)), max_size=80),
    st.sampled_from([8, 16, 24, 32, 64]),
    st.floats(0.1, 1000.0),
)
def test_any_numbers_at_any_times_are_taken_without_error(
    packets: list[tuple[int, int]], bits: int, rate_hz: float
) -> None:
    counter = SequenceCounter(bits=bits, rate_hz=rate_hz)
    for value, received_ns in packets:
        step = counter.step(value % (1 << bits), received_ns, None)
        assert -1 <= step.lost < 1 << bits
