from hypothesis import given
from hypothesis import strategies as st

from groundstation.counting import SequenceCounter

STEP_NS = 100_000_000  # 10 packets a second


@given(st.lists(st.integers(1, 15), max_size=200), st.sampled_from([8, 16]), st.integers(0, 65535))
def test_every_missing_packet_is_counted_across_wraps(steps: list[int], bits: int, first: int) -> None:
    counter = SequenceCounter(bits=bits, rate_hz=10)
    value, time_ns = first, 0
    counter.step(value % (1 << bits), time_ns)
    for step in steps:
        value, time_ns = value + step, time_ns + step * STEP_NS
        assert counter.step(value % (1 << bits), time_ns).lost == step - 1


def test_repeat_and_late_packet_are_old_and_cost_nothing() -> None:
    counter = SequenceCounter(bits=8, rate_hz=10)
    for k, value in enumerate([250, 251, 253]):
        counter.step(value, k * STEP_NS)
    assert counter.step(253, 3 * STEP_NS).old
    assert counter.step(252, 4 * STEP_NS).old
    assert counter.step(254, 5 * STEP_NS).lost == 0


def test_counter_that_begins_anew_is_a_restart_not_a_loss() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    counter.step(40_000, 0)
    step = counter.step(3, STEP_NS)
    assert step.restarted
    assert step.lost == 0


def test_long_silence_counts_what_the_counter_says() -> None:
    counter = SequenceCounter(bits=16, rate_hz=10)
    counter.step(100, 0)
    assert counter.step(700, 600 * STEP_NS).lost == 599
