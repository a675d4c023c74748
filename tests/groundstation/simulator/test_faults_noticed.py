import pytest

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import TICK_NS, Pipeline
from groundstation.readiness.finding import Assessment, Status, Verdict
from groundstation.simulator.faults import FAULTS
from groundstation.simulator.simulate import SimulatedVehicle

AT_S = 16
LONGEST_S = 1.6  # of the two seconds a page has, one tick and the way to the screen taken off


def assessed(vehicle: Vehicle, site: Site, faults: list[str], *, seconds: int) -> list[Assessment]:
    """The assessment at every tick of a simulated pad watch, as the pipeline makes it from the bytes."""
    pipeline = Pipeline(vehicle, site, started_ns=0)
    pipeline.feed(StationEvent(1, EventKind.RECORDING, True, "running"))
    for frame in SimulatedVehicle(vehicle, site, seed=21, faults=faults).frames(seconds):
        pipeline.feed(Chunk.at(round(frame.t_s * NS_PER_S) + 1, frame.data, link="simulated"))
    pipeline.advance(seconds * NS_PER_S)
    found = [pipeline.timeline.assessment_at(t) for t in range(TICK_NS, seconds * NS_PER_S + 1, TICK_NS)]
    return [assessment for assessment in found if assessment is not None]


# Those a person tries first, which a page has to show within two seconds; all of them are in the fault matrix.
AT_ONCE = (
    "battery-low", "igniter-open", "pin-reversed", "accel-stuck", "gyro-bias", "pressure-stuck", "tilt-excessive",
    "link-silent", "corrupted-frames",
)  # fmt: skip


@pytest.mark.parametrize("name", AT_ONCE)
def test_fault_turns_go_into_hold_with_the_right_check_named(vehicle: Vehicle, site: Site, name: str) -> None:
    watch = assessed(vehicle, site, [f"{name}@{AT_S}"], seconds=AT_S + 3)
    before = [a for a in watch if a.at_ns <= AT_S * NS_PER_S][-1]
    assert before.verdict is Verdict.GO
    after = next(a for a in watch if a.at_ns >= (AT_S + LONGEST_S) * NS_PER_S - 1)
    assert after.verdict is Verdict.HOLD
    (check,) = FAULTS[name].checks
    assert check in {f.check for f in after.findings if f.status is not Status.PASS}


def test_a_fault_that_ends_is_go_again_after_settling(vehicle: Vehicle, site: Site) -> None:
    watch = assessed(vehicle, site, [f"tilt-excessive@{AT_S}-{AT_S + 4}"], seconds=AT_S + 20)
    verdicts = {a.at_ns / NS_PER_S: a.verdict for a in watch}
    assert {v for t, v in verdicts.items() if AT_S + 1 < t < AT_S + 14} == {Verdict.HOLD}
    assert {v for t, v in verdicts.items() if t > AT_S + 16} == {Verdict.GO}


def test_nothing_wrong_is_go_after_settling_and_stays_so(vehicle: Vehicle, site: Site) -> None:
    watch = assessed(vehicle, site, [], seconds=45)
    assert {a.verdict for a in watch if a.at_ns > 12 * NS_PER_S} == {Verdict.GO}
