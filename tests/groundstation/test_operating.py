"""A whole session with an operator: live and replayed, through the pipeline."""

import tomllib

import pytest

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.count import CountPhase, clock_text
from groundstation.count_limits import PointLimits
from groundstation.inputs import NS_PER_S, Chunk, EventKind, Item, StationEvent
from groundstation.operating import refusal
from groundstation.operator_actions import (
    Action,
    CountAction,
    CountOrder,
    Note,
    TakeBack,
    Waive,
    event_kind,
    event_text,
)
from groundstation.pipeline import Pipeline
from groundstation.readiness.finding import Status, Verdict
from groundstation.recording import Recorder, SessionHeader, open_recording
from groundstation.replay import run_through
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.timeline import Timeline

STARTED_NS = 1_780_000_000 * NS_PER_S
TILT = ("tilt", None)


def vehicle_with(count: dict[str, object]) -> Vehicle:
    return Vehicle.model_validate(tomllib.loads(EXAMPLE_VEHICLE.read_text()) | {"count": count})


def ns(seconds: float) -> int:
    return STARTED_NS + round(seconds * NS_PER_S)


def session(
    vehicle: Vehicle,
    seconds: float,
    acts: dict[float, Action],
    *,
    faults: tuple[str, ...] = (),
    launch_at_s: float | None = None,
) -> list[Item]:
    """What the station records: the simulated vehicle's frames and the operator's actions, in order of time."""
    site = load_station(EXAMPLE_STATION).site
    items: list[Item] = [StationEvent(STARTED_NS, EventKind.RECORDING, True, "running")]
    for frame in SimulatedVehicle(vehicle, site, seed=3, launch_at_s=launch_at_s, faults=faults):
        if frame.t_s > seconds:
            break
        items.append(Chunk.at(ns(frame.t_s), frame.data, link="radio"))
    items += [StationEvent(ns(t), event_kind(a), True, event_text(a)) for t, a in acts.items()]
    return sorted(items, key=lambda i: i.at_ns if isinstance(i, StationEvent) else i.stamps[0].received_ns)


def lived(vehicle: Vehicle, items: list[Item], seconds: float) -> Timeline:
    """Item after item with a tick in between, as live."""
    pipeline = Pipeline(vehicle, load_station(EXAMPLE_STATION).site, started_ns=STARTED_NS)
    for item in items:
        at_ns = item.at_ns if isinstance(item, StationEvent) else item.stamps[0].received_ns
        pipeline.advance(at_ns - 1)
        pipeline.feed(item)
    pipeline.advance(ns(seconds))
    return pipeline.timeline


def told(timeline: Timeline) -> list[str]:
    return [line.text for line in timeline.operator_log]


COUNT = {"start": "40 s", "window": "10 min", "holds": [{"at": "30 s", "text": "clear the pad"}]}
LEANING = ("tilt-excessive@50",)
ACTS: dict[float, Action] = {
    15.03: CountAction(CountOrder.START),
    30.0: CountAction(CountOrder.RESUME),
    32.4: Note("wind from the sea"),
    55.0: Waive(TILT, 25, "measured on the rod"),
    75.0: CountAction(CountOrder.RESUME),
    72.0: Waive(("packet_age", None), 60, "in a hurry"),
}


def test_waiver_turns_hold_to_go_and_its_end_turns_it_back_and_holds_the_count() -> None:
    vehicle = vehicle_with(COUNT)
    timeline = lived(vehicle, session(vehicle, 90, ACTS, faults=LEANING), 90)
    changes = [(round((a.at_ns - STARTED_NS) / NS_PER_S, 1), a.verdict) for a in timeline.verdict_changes]
    assert [v for _, v in changes] == [Verdict.HOLD, Verdict.GO, Verdict.HOLD, Verdict.GO, Verdict.HOLD]
    assert changes[3][0] == pytest.approx(65.0, abs=0.21)
    assert changes[4][0] == pytest.approx(80.0, abs=0.21)
    phases = [c.phase for c in timeline.counts]
    assert phases == [
        CountPhase.NOT_STARTED,
        CountPhase.RUNNING,
        CountPhase.HOLDING,  # planned, at T−30 s
        CountPhase.RUNNING,
        CountPhase.HOLDING,  # it leans
        CountPhase.RUNNING,
        CountPhase.HOLDING,  # the waiver is over
    ]
    assert "leans" in timeline.counts[-1].why
    assert "Not waived. The finding packet age cannot be waived" in " ".join(told(timeline))
    assert "The waiver of tilt has ended: its time is over." in told(timeline)
    assert "Noted: wind from the sea" in told(timeline)


def test_recording_gives_the_same_verdicts_findings_and_count(tmp_path) -> None:
    vehicle, site = vehicle_with(COUNT), load_station(EXAMPLE_STATION).site
    items = session(vehicle, 90, ACTS, faults=LEANING)
    live = lived(vehicle, items, 90)
    header = SessionHeader(STARTED_NS, "test", "v.toml", EXAMPLE_VEHICLE.read_text(), "", "")
    path = tmp_path / "session.gsr"
    recorder = Recorder.create(path, header)
    recorder.append(items)
    recorder.close(ns(90))
    with open_recording(path) as recording:
        pipeline = Pipeline(vehicle, site, started_ns=recording.started_ns)
        again = run_through(pipeline, recording.items(), ended_ns=recording.ended_ns)
    assert again.verdict_changes == live.verdict_changes
    assert again.counts == live.counts
    assert again.operator_log == live.operator_log
    for seconds in range(1, 90):
        assert again.assessment_at(ns(seconds)) == live.assessment_at(ns(seconds))


def test_waiver_sets_aside_its_own_finding_alone_and_only_while_it_fails() -> None:
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    faults = ("tilt-excessive@30", "battery-low@30")
    acts: dict[float, Action] = {20.0: Waive(TILT, 600, "it stands upright"), 35.0: Waive(TILT, 600, "seen")}
    timeline = lived(vehicle, session(vehicle, 60, acts, faults=faults), 60)
    assert told(timeline) == [
        "Not waived. The finding tilt passes: there is nothing to waive.",
        "Waived tilt for 10 min: seen.",
    ]
    newest = timeline.assessment_at(ns(60))
    assert newest is not None
    assert {f.check: f.status for f in newest.findings}["tilt"] is Status.WAIVED
    assert newest.verdict is Verdict.HOLD
    assert {f.check for f in newest.reasons} == {"battery_voltage", "battery_minutes"}


def test_camera_is_judged_by_the_point_of_the_count() -> None:
    count = COUNT | {"point": [{"from": "30 s", "camera": "on"}]}
    vehicle = vehicle_with(count)
    timeline = lived(vehicle, session(vehicle, 40, {15.0: CountAction(CountOrder.START)}), 40)
    before, after = timeline.assessment_at(ns(24.5)), timeline.assessment_at(ns(30))
    assert before is not None
    assert after is not None
    assert before.verdict is Verdict.GO
    assert [f.check for f in after.reasons] == ["camera_state"]
    assert timeline.counts[-1].phase is CountPhase.HOLDING
    assert clock_text(timeline.counts[-1].to_go_ns) == "T−00:30"


def test_points_of_the_count_add_up_and_hold_only_once_it_is_started() -> None:
    points = [
        {"from": "30 s", "camera": "on", "planned_hold": "1 min"},
        {"from": "10 s", "tilt": "5 deg", "packet_loss": 0.1, "cell_voltage_min": "3.9 V"},
    ]
    vehicle = vehicle_with(COUNT | {"point": points})
    at = PointLimits(vehicle, vehicle.count)
    assert at.vehicle(None) is vehicle
    assert at.vehicle(31 * NS_PER_S) is vehicle
    early, late = at.vehicle(30 * NS_PER_S), at.vehicle(5 * NS_PER_S)
    assert early.camera is not None
    assert late.camera is not None
    assert (early.camera.on_pad, early.pad.planned_hold_s, early.limits) == ("on", 60.0, vehicle.limits)
    assert (late.camera.on_pad, late.limits.packet_loss, late.limits.cell_voltage_min_v) == ("on", 0.1, 3.9)
    assert late.limits.tilt_rad == pytest.approx(0.0872665, abs=1e-6)


def test_liftoff_turns_the_count_to_time_since() -> None:
    vehicle = vehicle_with({"start": "16 s", "window": "10 min"})
    acts: dict[float, Action] = {15.0: CountAction(CountOrder.START)}
    timeline = lived(vehicle, session(vehicle, 45, acts, launch_at_s=31.0), 45)
    newest = timeline.counts[-1]
    assert newest.phase is CountPhase.FLOWN
    assert newest.to_go(ns(45)) / NS_PER_S == pytest.approx(-14.0, abs=0.3)


@pytest.mark.parametrize(
    ("action", "sentence"),
    [
        (CountAction(CountOrder.RESUME), "The count is not started: only one that holds is resumed."),
        (CountAction(CountOrder.START), None),
        (Note("   "), "The note is empty."),
        (Note("all well"), None),
        (TakeBack(TILT), "The finding tilt is not waived now."),
        (Waive(TILT, 600, ""), "A waiver needs a reason: say why the finding may be set aside."),
        (Waive(TILT, 600, "so"), "The finding tilt passes: there is nothing to waive."),
        (Waive(TILT, 10**6, "so"), "A waiver is for 1 s to 4 h, found 1000000 s."),
        (
            Waive(("pyro_energised", 1), 600, "so"),
            "The finding pyro energised, channel 1 cannot be waived: "
            "a pyro channel that is on may fire: switch it off and keep away.",
        ),
    ],
)
def test_operator_is_told_before_it_is_recorded_what_will_not_be_done(action, sentence) -> None:
    vehicle = vehicle_with(COUNT)
    timeline = lived(vehicle, session(vehicle, 20, {}), 20)
    assert refusal(action, timeline) == sentence
