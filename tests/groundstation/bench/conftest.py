"""Simulated hands through a bench test, and the pipeline's timeline judged by what the person would have said."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from groundstation.bench.proof import Proof
from groundstation.bench.register import TESTS
from groundstation.bench.walk import Mark, Said, guide
from groundstation.config.bench_plan import ProofName
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, parse_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import Pipeline
from groundstation.simulator.hands import hands
from groundstation.simulator.radio import Radio
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.timeline import Timeline

REDSHANK = Path(__file__).parents[2] / "campaigns" / "redshank.toml"
STARTED_NS = 1_700_000_000 * NS_PER_S
STEP_S = 12.0
MARGIN_S = 0.5  # between the end of what the hands do and the person's word
BENCH = '\n[bench]\nendurance = "20 s"\nwalk = "400 m"\n'


_MADE: dict[tuple[object, ...], Timeline] = {}  # vehicles live as long as the tests, so that their ids tell them


@dataclass
class Bench:
    """A walk through a bench test of a simulated vehicle."""

    vehicle: Vehicle
    name: ProofName
    faults: Sequence[str] = ()
    step_s: float = STEP_S
    seed: int = 5
    said: tuple[tuple[int, str], ...] = ()  # what the person said at a step's end, by step from 0
    loss: float = 0.01
    told: Vehicle | None = None  # what the vehicle file says, where the simulated vehicle is another
    idle: bool = False  # the hands do nothing, though the person says that all is done

    @property
    def begins_s(self) -> float:
        return 2.0

    def timeline(self) -> Timeline:
        """What the station saw; a timeline that several tests ask for is made once."""
        told = None if self.told is None else id(self.told)
        key = (id(self.vehicle), told, self.name, *self.faults, self.step_s, self.seed, self.loss, self.idle)
        if key not in _MADE:
            _MADE[key] = self._timeline()
        return _MADE[key]

    def _timeline(self) -> Timeline:
        test = TESTS[self.name]
        told = self.told or self.vehicle
        done = hands(test, self.vehicle, begins_s=self.begins_s, step_s=self.step_s)
        site = load_station(EXAMPLE_STATION).site
        doings = () if self.idle else done.doings
        simulated = SimulatedVehicle(
            self.vehicle,
            site,
            seed=self.seed,
            faults=(*doings, *self.faults),
            plan=done.plan,
            radio=Radio(loss=self.loss),
        )
        pipeline = Pipeline(told, site, started_ns=STARTED_NS)
        pipeline.feed(StationEvent(STARTED_NS + 1, EventKind.LINK, True, "connected", "simulated"))
        for frame in simulated.frames(done.ends_s):
            at_ns = STARTED_NS + 2 + round(frame.t_s * NS_PER_S)
            pipeline.feed(Chunk.at(at_ns, frame.data, link="simulated"))
        pipeline.advance(max(STARTED_NS + round(done.ends_s * NS_PER_S), pipeline.timeline.now_ns))
        return pipeline.timeline

    def marks(self) -> list[Mark]:
        steps = TESTS[self.name].steps(self.vehicle)
        said = dict(self.said)
        begun = STARTED_NS + round(self.begins_s * NS_PER_S)
        return [
            Mark(begun, self.name, Said.BEGIN),
            *(
                Mark(
                    begun + round(((k + 1) * self.step_s - MARGIN_S) * NS_PER_S),
                    self.name,
                    Said.DONE,
                    said.get(k, ""),
                )
                for k in range(len(steps))
            ),
        ]

    def proof(self) -> Proof:
        marks = self.marks()
        proof = guide(TESTS[self.name], self.timeline(), marks, marks[-1].at_ns)
        assert isinstance(proof, Proof)
        assert all(math.isfinite(figure.value) for figure in proof.figures)
        return proof

    def but(self, **changes: object) -> "Bench":
        return replace(self, **changes)


def read_vehicle(path: Path) -> Vehicle:
    return parse_vehicle(path.read_text(encoding="utf-8") + BENCH, file_name=path.name)


@pytest.fixture(scope="session")
def vehicles() -> dict[str, Vehicle]:
    return {"curlew": read_vehicle(EXAMPLE_VEHICLE), "redshank": read_vehicle(REDSHANK)}


@pytest.fixture
def bench(vehicles: dict[str, Vehicle]) -> Callable[..., Bench]:
    def of(name: ProofName, vehicle: str = "redshank", **how: object) -> Bench:
        return Bench(vehicles[vehicle], name, **how)  # type: ignore[arg-type]

    return of
