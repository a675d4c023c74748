import itertools
import random
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.clock import SessionClock
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent, recut
from groundstation.pipeline import Pipeline
from groundstation.replay import run_through
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.state import FlightEventKind, Phase
from groundstation.timeline import Timeline
from groundstation.verdict_log import verdict_record

from .troubled import Trouble, narrow_vehicle
from .troubled import session as troubled_session

VEHICLE = load_vehicle(EXAMPLE_VEHICLE)
SITE = load_station(EXAMPLE_STATION).site
STARTED_NS = 1_790_000_000 * NS_PER_S


def session(seconds: float, *, seed: int = 1, **options: object) -> list[Chunk | StationEvent]:
    """A simulated session as a recording would hold it, each frame received when it was sent."""
    vehicle = SimulatedVehicle(VEHICLE, SITE, seed=seed, **options)  # type: ignore[arg-type]
    return received(vehicle, seconds)


def received(vehicle: SimulatedVehicle, seconds: float) -> list[Chunk | StationEvent]:
    frames = itertools.takewhile(lambda f: f.t_s < seconds, vehicle)
    return [
        StationEvent(STARTED_NS, EventKind.RECORDING, True, "recording"),
        *(Chunk.at(STARTED_NS + round(frame.t_s * NS_PER_S), frame.data, link="radio") for frame in frames),
    ]


def run(items: list[Chunk | StationEvent], *, seconds: float | None = None) -> Timeline:
    pipeline = Pipeline(VEHICLE, SITE, started_ns=STARTED_NS)
    ended_ns = None if seconds is None else STARTED_NS + round(seconds * NS_PER_S)
    return run_through(pipeline, items, ended_ns=ended_ns)


def told(timeline: Timeline) -> list[object]:
    return [verdict_record(change, STARTED_NS) for change in timeline.verdict_changes]


@pytest.fixture(scope="module")
def pad_with_fault() -> list[Chunk | StationEvent]:
    return session(30, faults=("igniter-open@20", "corrupted-frames@24"))


def test_verdict_is_hold_then_go_after_settling_then_hold_with_the_circuit_named(
    pad_with_fault: list[Chunk | StationEvent],
) -> None:
    changes = run(pad_with_fault).verdict_changes
    assert [c.verdict for c in changes] == ["HOLD", "GO", "HOLD"]
    settled_s = (changes[1].at_ns - STARTED_NS) / NS_PER_S
    assert VEHICLE.limits.settling_time_s <= settled_s <= VEHICLE.limits.settling_time_s + 5
    assert 20 < (changes[2].at_ns - STARTED_NS) / NS_PER_S < 21.5
    assert [(r.check, r.channel) for r in changes[2].reasons] == [("pyro_circuit", 1)]


def sizes_at_random(seed: int) -> Iterator[int]:
    rng = random.Random(seed)
    while True:
        yield rng.choice([1, 2, 5, 30, 60, 200, 1000])


def fed_as_they_come(items: list[Chunk | StationEvent], *, vehicle: Vehicle = VEHICLE) -> Timeline:
    """As live: with the time told between the items, ten times a second."""
    pipeline = Pipeline(vehicle, SITE, started_ns=STARTED_NS)
    next_ns = STARTED_NS
    for item in items:
        at_ns = item.at_ns if isinstance(item, StationEvent) else item.stamps[0].received_ns
        while next_ns < at_ns:
            pipeline.advance(next_ns)
            next_ns += NS_PER_S // 10
        pipeline.feed(item)
    pipeline.advance(max(next_ns, STARTED_NS + 30 * NS_PER_S))
    return pipeline.timeline


@pytest.mark.parametrize("size", [1, 7, 64, 4096])
def test_verdicts_and_figures_do_not_depend_on_how_the_bytes_were_cut(
    pad_with_fault: list[Chunk | StationEvent], size: int
) -> None:
    _same_however_cut(pad_with_fault, itertools.repeat(size))


@settings(max_examples=5, deadline=None)
@given(st.integers(0, 2**32))
def test_verdicts_and_figures_do_not_depend_on_random_cuts(seed: int) -> None:
    _same_however_cut(session(14, faults=("gyro-bias@12",)), sizes_at_random(seed))


@settings(max_examples=8, deadline=None)
@given(
    st.integers(0, 2**32),
    st.lists(st.tuples(st.floats(4.0, 9.0), st.floats(0.2, 3.0)), min_size=1, max_size=3),
    st.integers(1, 2),
    st.sampled_from(["u16", "u32"]),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.2),
    st.floats(0.0, 0.2),
)
def test_starts_anew_wraps_repeats_late_packets_and_two_receivers_are_the_same_however_cut_and_joined(
    seed: int,
    runs: list[tuple[float, float]],
    receivers: int,
    clock: str,
    loss: float,
    repeated: float,
    late: float,
) -> None:
    vehicle = narrow_vehicle(clock=clock)
    trouble = Trouble(tuple(runs), 60.0, receivers, loss, repeated, late)
    items = troubled_session(vehicle, trouble, seed).items
    event, *chunks = items
    sizes = sizes_at_random(seed)
    cut: list[Chunk | StationEvent] = [event]
    for _, of_one_link in itertools.groupby(chunks, key=lambda c: c.link):
        cut += recut(list(of_one_link), sizes)  # type: ignore[arg-type]
    whole = fed_as_they_come(items, vehicle=vehicle)
    _same(fed_as_they_come(cut, vehicle=vehicle), whole)
    replayed = run_through(Pipeline(vehicle, SITE, started_ns=STARTED_NS), items, ended_ns=whole.now_ns)
    _same(replayed, whole)


def test_a_flight_with_gaps_is_the_same_live_and_replayed() -> None:
    simulated = SimulatedVehicle(VEHICLE, SITE, seed=4, launch_at_s=6)
    assert simulated.truth is not None
    top_s = simulated.truth.times.apogee_s
    items: list[Chunk | StationEvent] = [
        Chunk.at(STARTED_NS + round(frame.t_s * NS_PER_S), frame.data, link="radio")
        for frame in simulated.frames(60)
        if not top_s - 1.5 < frame.t_s < top_s + 2.5
    ]
    live = fed_as_they_come(items)
    assert len(live.events) >= 3
    _same(run_through(Pipeline(VEHICLE, SITE, started_ns=STARTED_NS), items, ended_ns=live.now_ns), live)


def _same_however_cut(items: list[Chunk | StationEvent], sizes: Iterator[int]) -> None:
    event, *chunks = items
    assert isinstance(event, StationEvent)
    whole = fed_as_they_come(items)
    _same(fed_as_they_come([event, *recut([c for c in chunks if isinstance(c, Chunk)], sizes)]), whole)


def _same(one: Timeline, other: Timeline) -> None:
    """Everything that a page, a report or a publication could tell is the same."""
    assert told(one) == told(other)
    assert one.reject_counts == other.reject_counts
    assert [(r.at_ns, r.link, r.reject.reason) for r in one.rejects] == [
        (r.at_ns, r.link, r.reject.reason) for r in other.rejects
    ]
    assert one.events == other.events
    assert list(one.restarts) == list(other.restarts)
    assert one.now_ns == other.now_ns
    tables = [*((one.packets[name], other.packets[name]) for name in one.packets), (one.states, other.states)]
    for mine, yours in [*tables, (one.radio, other.radio), (one.arrivals, other.arrivals)]:
        assert np.array_equal(mine.t_ns, yours.t_ns)
        for column in mine.columns:
            assert np.array_equal(mine.column(column), yours.column(column), equal_nan=True)


@settings(max_examples=8, deadline=None)
@given(st.lists(st.integers(-(10**18), 10**18), min_size=1, max_size=5), st.integers(0, 2**32))
def test_setting_the_laptops_clock_while_packets_come_changes_nothing(jumps_ns: list[int], seed: int) -> None:
    draws = random.Random(seed)
    frames = list(SimulatedVehicle(VEHICLE, SITE, seed=seed).frames(4))
    wall_ns, steady_ns = STARTED_NS, 77

    def recorded(jumping: list[int]) -> list[Chunk | StationEvent]:
        """What the links' stamps are on a laptop whose clock is set again and again."""
        nonlocal wall_ns, steady_ns
        wall_ns, steady_ns = STARTED_NS, 77
        clock = SessionClock(wall_ns=lambda: wall_ns, steady_ns=lambda: steady_ns)
        items: list[Chunk | StationEvent] = []
        for frame in frames:
            gone_ns = round(frame.t_s * NS_PER_S) + 77 - steady_ns
            wall_ns, steady_ns = wall_ns + gone_ns, steady_ns + gone_ns
            if jumping and draws.random() < 0.2:
                wall_ns += draws.choice(jumping)
            items.append(Chunk.at(clock.now_ns(), frame.data, link="radio"))
        return items

    undisturbed, disturbed = recorded([]), recorded(jumps_ns)
    assert disturbed == undisturbed
    live = fed_as_they_come(undisturbed)
    _same(fed_as_they_come(disturbed), live)
    _same(run_through(Pipeline(VEHICLE, SITE, started_ns=STARTED_NS), disturbed, ended_ns=live.now_ns), live)


def test_silence_of_the_link_turns_go_to_hold_though_no_byte_comes() -> None:
    items = session(16)
    timeline = run(items, seconds=20)
    last = timeline.verdict_changes[-1]
    assert last.verdict == "HOLD"
    assert last.reasons[0].check == "packet_age"
    assert 16.8 <= (last.at_ns - STARTED_NS) / NS_PER_S <= 17.6


def test_a_tick_sees_nothing_received_after_it() -> None:
    items = session(13, faults=("battery-low@12.05",))
    everything = run(items)
    until = run(
        [i for i in items if isinstance(i, StationEvent) or i.stamps[0].received_ns <= STARTED_NS + 12 * NS_PER_S]
    )
    cut_ns = until.now_ns
    assert [r for r in told(everything) if r["t"] <= 12] == [r for r in told(until) if r["t"] <= 12]  # type: ignore[index]
    assert everything.assessment_at(cut_ns) is not None


def test_a_frame_repeated_by_a_second_receiver_counts_once() -> None:
    items = session(5)
    doubled: list[Chunk | StationEvent] = []
    for item in items:
        doubled.append(item)
        if isinstance(item, Chunk):
            doubled.append(Chunk(link="second receiver", data=item.data, stamps=item.stamps))
    assert len(run(doubled).packets["motion"]) == len(run(items).packets["motion"])


def test_a_link_that_breaks_inside_a_frame_costs_that_frame_only() -> None:
    items = session(5)
    broken = list(items)
    at = next(k for k, item in enumerate(items) if k > 20 and isinstance(item, Chunk))
    whole = items[at]
    assert isinstance(whole, Chunk)
    time_ns = whole.stamps[0].received_ns
    broken[at] = Chunk.at(time_ns, whole.data[:10], link="radio")
    broken.insert(at + 1, StationEvent(time_ns, EventKind.LINK, False, "unplugged", "radio"))
    timeline, before = run(broken), run(items)
    count = sum(len(t) for t in timeline.packets.values())
    assert count == sum(len(t) for t in before.packets.values()) - 1
    assert timeline.reject_counts.total() == 1


def test_flight_is_followed_through_its_phases_and_the_apogee_found() -> None:
    simulated = SimulatedVehicle(VEHICLE, SITE, seed=3, launch_at_s=15)
    timeline = run(received(simulated, 200))
    assert [e.kind for e in timeline.events] == [k for k in FlightEventKind if k is not FlightEventKind.BALLISTIC]
    seen = [p for p, _ in itertools.groupby(int(k) for k in timeline.states.column("phase"))]
    assert [list(Phase)[k] for k in seen] == list(Phase)
    apogee = next(e for e in timeline.events if e.kind is FlightEventKind.APOGEE)
    assert simulated.truth is not None
    truth_m = simulated.truth.apogee_m
    assert abs(apogee.height_m - truth_m) <= 2 + 0.01 * truth_m


def test_memory_stays_bounded_on_a_long_watch() -> None:
    timeline = Pipeline(VEHICLE, SITE, started_ns=STARTED_NS).timeline
    table = timeline.packets["motion"]
    for hour in range(12):
        t = STARTED_NS + np.arange(hour * 36_000, (hour + 1) * 36_000, dtype=np.int64) * (NS_PER_S // 10)
        table.append(t, np.zeros((len(table.columns), t.shape[0])))
    assert len(table) <= 65_536
    assert table.t_ns[0] == STARTED_NS
