import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk
from groundstation.pipeline import Pipeline
from groundstation.state import Restart, RestartSign
from groundstation.timeline import Timeline

from .troubled import SITE, STARTED_NS, Session, Trouble, narrow_vehicle, session

S = NS_PER_S


def run(vehicle: Vehicle, made: Session) -> Timeline:
    pipeline = Pipeline(vehicle, SITE, started_ns=STARTED_NS)
    for item in made.items:
        pipeline.feed(item)
    pipeline.advance(STARTED_NS + round(made.seconds * S))
    return pipeline.timeline


def decoded_and_lost(timeline: Timeline) -> tuple[int, int]:
    return int(timeline.radio.column("decoded").sum()), int(timeline.radio.column("lost").sum())


@settings(max_examples=15, deadline=None)
@given(
    st.integers(0, 2**32),
    st.sampled_from(["u8", "u16", "u32"]),
    st.booleans(),
    st.integers(1, 2),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.2),
)
def test_every_packet_is_decoded_once_or_lost_whatever_happens_on_the_way(
    seed: int, counter: str, own_counters: bool, receivers: int, loss: float, repeated: float, late: float
) -> None:
    vehicle = narrow_vehicle(counter=counter, own_counters=own_counters)
    trouble = Trouble(receivers=receivers, loss=loss, repeated=repeated, late=late, runs=((25.0, 0.0),))
    made = session(vehicle, trouble, seed)
    timeline = run(vehicle, made)
    decoded, lost = decoded_and_lost(timeline)
    assert decoded == made.heard == sum(map(len, timeline.packets.values()))
    # Each kind's last packet may be among the lost of a counter of its own, which cannot tell.
    assert made.sent - made.heard - (5 if own_counters else 0) <= lost <= made.sent - made.heard
    assert not timeline.restarts
    chunks = sum(isinstance(i, Chunk) for i in made.items)
    assert len(timeline.arrivals) == chunks
    assert timeline.arrivals.column("repeated").sum() == chunks - made.heard
    assert not timeline.arrivals.column("at_least").any()


@settings(max_examples=15, deadline=None)
@given(
    st.integers(0, 2**32),
    st.sampled_from(["u8", "u16"]),
    st.sampled_from(["u32", "f64"]),
    st.lists(st.tuples(st.floats(6.0, 20.0), st.floats(0.5, 6.0)), min_size=2, max_size=4),
    st.integers(1, 2),
)
def test_every_start_anew_is_told_at_its_first_packet_and_none_besides(
    seed: int, counter: str, clock: str, runs: list[tuple[float, float]], receivers: int
) -> None:
    vehicle = narrow_vehicle(counter=counter, clock=clock)
    made = session(vehicle, Trouble(runs=tuple(runs), loss=0.05, receivers=receivers), seed)
    timeline = run(vehicle, made)
    assert sorted({r.boot for r in timeline.restarts}) == list(range(1, made.boots))
    begins_s, at_s = [], 0.0
    for on_s, off_s in runs[:-1]:
        at_s += on_s + off_s
        begins_s.append(at_s)
    seen: dict[int, float] = {}
    for restart in timeline.restarts:
        seen.setdefault(restart.boot, (restart.at_ns - STARTED_NS) / S)
    assert list(seen.values()) == pytest.approx([b + 0.05 for b in begins_s], abs=0.1)


def test_the_clock_and_the_counter_tell_of_one_start_together() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    made = session(vehicle, Trouble(runs=((20.0, 2.0), (10.0, 0.0))), 1)
    told = list(run(vehicle, made).restarts)
    assert [(r.boot, r.sign) for r in told] == [(1, RestartSign.COUNTER), (1, RestartSign.CLOCK)]


def test_a_start_anew_turns_go_to_hold_for_good_and_keeps_what_is_estimated() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    timeline = run(vehicle, session(vehicle, Trouble(runs=((20.0, 0.8), (40.0, 0.0))), 1))
    told = [(a.verdict.value, [r.check for r in a.reasons]) for a in timeline.verdict_changes]
    assert [verdict for verdict, _ in told] == ["HOLD", "GO", "HOLD"]
    last = timeline.assessment_at(timeline.now_ns - 3 * S)
    assert last is not None
    assert [r.check for r in last.reasons] == ["no_restart"]
    assert np.all(np.abs(timeline.states.column("height_m")[50:]) < 2.0)


def test_a_start_anew_that_a_narrow_clock_hides_is_told_by_the_counter() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u16")
    # Started anew so that the wrapped clock goes on as if nothing had happened.
    made = session(vehicle, Trouble(runs=((5.2, 0.8), (10.0, 0.0)), first_uptime_s=65.536 - 6.0), 1)
    assert {r.sign for r in run(vehicle, made).restarts} == {RestartSign.COUNTER}


@pytest.mark.parametrize("period", [9.0, 70.0])
def test_a_silence_over_wraps_of_counter_and_clock_is_no_start_anew_and_its_loss_the_least(period: float) -> None:
    vehicle = narrow_vehicle()
    made = session(vehicle, Trouble(runs=((20.0 + period + 20.0, 0.0),)), 1)
    silent = (STARTED_NS + 20 * S, STARTED_NS + round((20 + period) * S))
    kept = [i for i in made.items if not isinstance(i, Chunk) or not silent[0] < i.stamps[0].received_ns < silent[1]]
    gone = len(made.items) - len(kept)
    timeline = run(vehicle, Session(kept, made.sent, made.sent - gone, 1, made.seconds))
    _, lost = decoded_and_lost(timeline)
    assert not timeline.restarts
    least = bool(timeline.arrivals.column("at_least").any())
    assert least == (period * 14 >= 128)
    assert lost == gone % 256 if least else lost == gone


def test_one_receivers_backlog_neither_repeats_nor_disturbs_what_the_other_heard() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    made = session(vehicle, Trouble(receivers=2, runs=((40.0, 0.0),)), 1)
    held_ns = STARTED_NS + 30 * S
    moved: list[tuple[int, Chunk]] = []
    for item in made.items[1:]:
        assert isinstance(item, Chunk)
        at_ns = item.stamps[0].received_ns
        if item.link == "receiver 1" and STARTED_NS + 10 * S < at_ns < held_ns:
            at_ns = held_ns
        moved.append((at_ns, Chunk.at(at_ns, item.data, link=item.link)))
    moved.sort(key=lambda m: m[0])
    timeline = run(vehicle, Session([made.items[0], *(c for _, c in moved)], 0, 0, 1, made.seconds))
    assert decoded_and_lost(timeline) == (made.sent, 0)
    assert not timeline.restarts
    assert timeline.arrivals.column("repeated").sum() == made.sent


def test_another_vehicles_packets_are_odd_and_seen_and_move_no_estimate() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    made = session(vehicle, Trouble(), 1)
    stranger = session(vehicle, Trouble(first_uptime_s=1900.0), 2)
    both = sorted([*made.items[1:], *stranger.items[100:]], key=lambda c: c.stamps[0].received_ns)
    timeline = run(vehicle, Session([made.items[0], *both], 0, 0, 1, made.seconds))
    alone = run(vehicle, made)
    assert timeline.arrivals.column("odd").sum() == len(stranger.items) - 100
    assert decoded_and_lost(timeline) == (len(both), 0)
    assert not timeline.restarts
    assert np.array_equal(timeline.states.column("height_m"), alone.states.column("height_m"), equal_nan=True)


def test_how_long_packets_are_held_back_is_told() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    made = session(vehicle, Trouble(late=0.1), 1)
    held_s = run(vehicle, made).arrivals.column("held_s")
    assert np.all(held_s >= 0.0)
    assert float(np.median(held_s)) == pytest.approx(math.log(2) * 0.004, abs=0.003)
    assert 0.2 < float(held_s.max()) < 0.55


def test_restarts_are_listed_up_to_a_moment() -> None:
    vehicle = narrow_vehicle(counter="u16", clock="u32")
    made = session(vehicle, Trouble(runs=((10.0, 1.0), (10.0, 1.0), (5.0, 0.0))), 1)
    timeline = run(vehicle, made)
    first: list[Restart] = timeline.restarts_until(STARTED_NS + 15 * S)
    assert {r.boot for r in first} == {1}
    assert timeline.restarts_until(STARTED_NS + 10 * S) == []
