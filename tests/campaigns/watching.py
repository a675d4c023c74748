"""Watches on the pad as the pipeline sees them: simulated frames, as fast as they go, and each tick's verdict."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import groupby
from pathlib import Path

from groundstation.config.load import EXAMPLE_STATION, load_station, parse_vehicle
from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, Stamp, StationEvent
from groundstation.pipeline import TICK_NS, Pipeline
from groundstation.readiness.finding import Assessment
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.radio import Radio
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.timeline import Timeline

REDSHANK = Path(__file__).with_name("redshank.toml")
CHUNK_S = 100.0


@dataclass(frozen=True)
class Scene:
    """The vehicle and what is done with it: lines of the file to be others, and the camera's switchings."""

    changes: tuple[tuple[str, str], ...] = ()
    plan: PadPlan = field(default_factory=PadPlan)


@cache
def redshank(motion_hz: int, changes: tuple[tuple[str, str], ...] = ()) -> Vehicle:
    """The matrix's vehicle, its motion packets sent at this rate, with some of the file's text replaced."""
    text = REDSHANK.read_text(encoding="utf-8")
    for old, new in (("rate_hz = 10", f"rate_hz = {motion_hz}"), *changes):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return parse_vehicle(text, file_name=REDSHANK.name)


@cache
def saltmarsh() -> Site:
    """The example's site."""
    return load_station(EXAMPLE_STATION).site


def watched(
    simulated: SimulatedVehicle,
    vehicle: Vehicle,
    site: Site,
    seconds: float,
    look: Callable[[Timeline, int], None] = lambda _timeline, _until_ns: None,
) -> Timeline:
    """The timeline of a watch; `look` is shown it now and then, and at its end, with the time it is whole up to."""
    pipeline = Pipeline(vehicle, site, started_ns=0)
    pipeline.feed(StationEvent(1, EventKind.RECORDING, True, "running"))
    for _, frames in groupby(simulated.frames(seconds), lambda frame: int(frame.t_s // CHUNK_S)):
        chunk = _chunk([(frame.t_s, frame.data) for frame in frames])
        pipeline.feed(chunk)
        look(pipeline.timeline, chunk.stamps[-1].received_ns - 1)
    pipeline.advance(round(seconds * NS_PER_S))
    look(pipeline.timeline, round(seconds * NS_PER_S))
    return pipeline.timeline


def assessments(simulated: SimulatedVehicle, vehicle: Vehicle, site: Site, seconds: float) -> list[Assessment]:
    """The assessment at every tick of a watch."""
    seen: list[Assessment] = []
    next_ns = TICK_NS

    def look(timeline: Timeline, until_ns: int) -> None:
        nonlocal next_ns
        while next_ns <= until_ns:
            found = timeline.assessment_at(next_ns)
            assert found is not None
            # one that changes nothing is not kept: the one before holds at this tick too
            seen.append(replace(found, at_ns=next_ns))
            next_ns += TICK_NS

    watched(simulated, vehicle, site, seconds, look)
    return seen


def _chunk(frames: Sequence[tuple[float, bytes]]) -> Chunk:
    data, stamps = bytearray(), []
    for t_s, frame in frames:
        stamps.append(Stamp(len(data), round(t_s * NS_PER_S) + 1))
        data += frame
    return Chunk("simulated", bytes(data), tuple(stamps))


def lossy(share: float) -> Radio:
    """A link that loses this share of the frames, one independently of the other, beside its own bursts."""
    return Radio(loss=share)
