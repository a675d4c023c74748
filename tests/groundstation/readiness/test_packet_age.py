"""How old what comes may be: by its arrival, by the vehicle's clock where it was held up, by how often it comes."""

import random
from collections.abc import Callable
from functools import cache

import pytest

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, parse_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import Pipeline
from groundstation.readiness.finding import Assessment, Finding, Status, Verdict
from groundstation.readiness.radio import loss_window_s
from groundstation.readiness.reading import allowed_silence_s
from groundstation.simulator.simulate import SimulatedVehicle, TimedFrame
from groundstation.timeline import Timeline

SITE = load_station(EXAMPLE_STATION).site
TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
Arrives = Callable[[float], float | None]  # when what is sent at a time comes, None where it is lost


@cache
def frames(seconds: float) -> tuple[TimedFrame, ...]:
    vehicle = parse_vehicle(TEXT, file_name="example")
    return tuple(SimulatedVehicle(vehicle, SITE, seed=3).frames(seconds))


def watched(seconds: float, arrives: Arrives) -> Timeline:
    vehicle = parse_vehicle(TEXT, file_name="example")
    pipeline = Pipeline(vehicle, SITE, started_ns=0)
    pipeline.feed(StationEvent(1, EventKind.RECORDING, True, "running"))
    last_ns = 1
    for frame in frames(seconds):
        at_s = arrives(frame.t_s)
        if at_s is not None and at_s < seconds:
            last_ns = max(last_ns, round(at_s * NS_PER_S))
            pipeline.feed(Chunk.at(last_ns, frame.data, link="held"))
    pipeline.advance(round(seconds * NS_PER_S))
    return pipeline.timeline


def seen(timeline: Timeline, at_s: float) -> Assessment:
    assessment = timeline.assessment_at(round(at_s * NS_PER_S))
    assert assessment is not None
    return assessment


def age_at(timeline: Timeline, at_s: float) -> Finding:
    return next(f for f in seen(timeline, at_s).findings if f.check == "packet_age")


def test_old_part_of_a_backlog_is_not_fresh_when_it_is_let_go_at_once() -> None:
    # The laptop sleeps from 30 s to 50 s; its port's buffer holds the first five seconds, the rest is lost. Nothing
    # else comes for a second more.
    def arrives(t_s: float) -> float | None:
        if t_s < 30.0:
            return t_s
        return 50.0 if t_s < 35.0 else None if t_s < 51.0 else t_s

    timeline = watched(80.0, arrives)
    assert seen(timeline, 29.8).verdict is Verdict.GO
    assert age_at(timeline, 49.8).text.startswith("No packet has come for 19 s")
    held = age_at(timeline, 50.4)
    assert held.status is Status.FAIL
    assert held.text.startswith("Packets come, but what they say is 15 s old by the flight computer's clock, 1.2 s")
    assert "laptop" in held.text
    assert held.value == pytest.approx(15.2, abs=0.3)
    assert age_at(timeline, 51.4).status is Status.PASS
    assert seen(timeline, 75.0).verdict is Verdict.GO
    # The counter has gone on by far more than one second's packets: those of the sixteen lost, and no new start.
    assert not timeline.restarts
    lost = timeline.radio.column("lost")
    assert float(lost.max()) == pytest.approx(16 * 14, abs=5)


@pytest.mark.parametrize("lag_s", [2.0, 4.0, 8.0, 30.0])
def test_a_link_that_lags_is_hold_for_as_long_as_it_does_and_no_longer(lag_s: float) -> None:
    # From 20 s on the link holds all back by the lag, for longer than the clock's line looks back; at 420 s it
    # lets all go.
    def arrives(t_s: float) -> float:
        return t_s if t_s < 20.0 else t_s + lag_s if t_s < 420.0 - lag_s else max(t_s, 420.0)

    timeline = watched(470.0, arrives)
    assert seen(timeline, 19.8).verdict is Verdict.GO
    for at_s in (20.0 + lag_s + 0.4, 60.0, 200.0, 400.0):
        found = age_at(timeline, at_s)
        assert (found.status, seen(timeline, at_s).verdict) == (Status.FAIL, Verdict.HOLD), at_s
        assert found.value == pytest.approx(lag_s, abs=0.4)
    assert age_at(timeline, 425.0).status is Status.PASS
    assert seen(timeline, 460.0).verdict is Verdict.GO


def test_a_queue_that_fills_slowly_is_hold_once_it_is_too_long() -> None:
    # From 20 s on the link takes in a tenth more than it gives out.
    timeline = watched(300.0, lambda t_s: t_s if t_s < 20.0 else 20.0 + 1.1 * (t_s - 20.0))
    assert age_at(timeline, 28.0).status is Status.PASS
    for at_s in (40.0, 100.0, 200.0, 299.0):
        lag_s = (at_s - 20.0) * (1.0 - 1.0 / 1.1)
        assert age_at(timeline, at_s).status is Status.FAIL, at_s
        assert age_at(timeline, at_s).value == pytest.approx(lag_s, abs=0.5)


@pytest.mark.parametrize("error", [0.001, 0.005, 0.01, -0.01])
def test_a_clock_without_a_crystal_is_no_held_up_link(error: float) -> None:
    # As if the vehicle's clock lost, or gained, so much: what is sent at its time t comes later, or sooner.
    timeline = watched(400.0, lambda t_s: t_s * (1.0 + error))
    assert {age_at(timeline, at_s).status for at_s in range(1, 390)} == {Status.PASS}


def test_jitter_and_short_stalls_do_not_make_packets_old() -> None:
    draws = random.Random(5)
    timeline = watched(120.0, lambda t_s: t_s + draws.expovariate(1 / 0.05) + (draws.random() < 0.02) * 0.5)
    assert {age_at(timeline, at_s / 5).status for at_s in range(5, 590)} == {Status.PASS}


def slowed(rate_hz: float, *, age: str = "") -> Vehicle:
    text = TEXT.replace("rate_hz = 10", f"rate_hz = {rate_hz}").replace("rate_hz = 4", f"rate_hz = {rate_hz}")
    lines = [line for line in text.splitlines() if not line.startswith("packet_age")]
    lines.insert(lines.index("[limits]") + 1, f'packet_age = "{age}"' if age else "")
    return parse_vehicle("\n".join(lines), file_name="example")


def test_silence_allowed_grows_where_packets_come_seldom_unless_the_file_sets_it() -> None:
    assert allowed_silence_s(slowed(10.0)) == pytest.approx(1.2, abs=1e-12)
    assert allowed_silence_s(slowed(1.0)) == pytest.approx(3.0, abs=1e-12)
    assert allowed_silence_s(slowed(0.25)) == pytest.approx(12.0, abs=1e-12)
    assert allowed_silence_s(slowed(1.0, age="2 s")) == pytest.approx(2.0, abs=1e-12)


def test_share_of_lost_packets_is_over_enough_of_them() -> None:
    assert loss_window_s(slowed(50.0)) == pytest.approx(5.0, abs=1e-12)
    assert loss_window_s(slowed(7.0)) == pytest.approx(100 / 14, abs=1e-12)
    assert loss_window_s(slowed(1.0)) == pytest.approx(10.0, abs=1e-12)
