"""Simulated flights as motion samples: the simulator's frames, decoded, with the truth beside them."""

import dataclasses
import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from groundstation.arrivals import LinkDecoder
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.station import Site
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.estimator import Estimator
from groundstation.inputs import Chunk
from groundstation.motion import MotionReader
from groundstation.packet_order import PacketOrder
from groundstation.simulator.radio import Radio
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.simulator.truth import Truth
from groundstation.state import NAN, FlightEvent, FlightEventKind, MotionSample, State
from groundstation.taking import read

LAUNCH_S = 8.0
TICK_NS = 200_000_000  # how often the estimator is told the time, as the pipeline does


@dataclass(frozen=True)
class Flown:
    """The estimates of one simulated flight, and its truth; times of states [s] on the simulation's clock."""

    states: list[State]
    events: dict[FlightEventKind, FlightEvent]
    event_list: list[FlightEvent]
    truth: Truth

    @property
    def t_s(self) -> np.ndarray:
        return np.array([s.at_ns for s in self.states]) / 1e9

    @property
    def heights_m(self) -> np.ndarray:
        return np.array([s.height_m for s in self.states])


@pytest.fixture(scope="session")
def curlew() -> Vehicle:
    return load_vehicle(EXAMPLE_VEHICLE)


@pytest.fixture(scope="session")
def saltmarsh() -> Site:
    return load_station(EXAMPLE_STATION).site


def at_rate(vehicle: Vehicle, rate_hz: float) -> Vehicle:
    """The vehicle with its motion packets at another rate."""
    packets = tuple(
        p.model_copy(update={"rate_hz": rate_hz}) if p.name == "motion" else p for p in vehicle.telemetry.packets
    )
    return vehicle.model_copy(update={"telemetry": vehicle.telemetry.model_copy(update={"packets": packets})})


def bursts(share: float) -> Radio:
    """A link that loses this share of its frames, in bursts of half a second."""
    if share == 0.0:
        return Radio(loss=0.0, burst_per_s=0.0, damage=0.0)
    burst_s, burst_loss = 0.5, 0.9
    part = share / burst_loss  # of the time spent in bursts
    return Radio(loss=0.0, burst_per_s=part / (burst_s * (1.0 - part)), burst_s=burst_s, burst_loss=burst_loss)


def samples_of(vehicle: Vehicle, simulated: SimulatedVehicle, seconds: float) -> Iterator[MotionSample]:
    """The motion samples in a simulated vehicle's frames."""
    link = LinkDecoder(layout_of(vehicle))
    readers = {p.name: MotionReader(vehicle, p.name) for p in layout_of(vehicle).packets}
    order = PacketOrder(vehicle, lambda _: None)
    for frame in simulated.frames(seconds):
        for block in link.feed(Chunk.at(round(frame.t_s * 1e9), frame.data, link="radio")).blocks:
            for packet, received_ns, signs, motion in read(block, order, readers):
                placed = order.place(packet, signs, received_ns)
                if motion is not None:
                    yield MotionSample(received_ns, placed.moment_ns, *motion, NAN, placed.boot)


@pytest.fixture(scope="session")
def fly(curlew: Vehicle, saltmarsh: Site) -> Callable[..., Flown]:
    recorded: dict[tuple[int, float, float, bool], tuple[list[MotionSample], Truth]] = {}

    def record(
        seed: int, rate_hz: float, loss: float, air: Site, ejects: bool, flying: Vehicle
    ) -> tuple[list[MotionSample], Truth]:
        launch_s = LAUNCH_S + seed * 0.6180339887 % 1.0  # at any place between two packets
        vehicle = at_rate(flying, rate_hz)
        scatter = Scatter.drawn(random.Random(f"{seed}/scatter"))
        if not ejects:
            scatter = dataclasses.replace(scatter, recognition_s=math.inf)
        simulated = SimulatedVehicle(
            vehicle, air, seed=seed, launch_at_s=launch_s, radio=bursts(loss), scatter=scatter
        )
        assert simulated.truth is not None
        samples = samples_of(vehicle, simulated, simulated.truth.times.landed_s + 15.0)
        return list(samples), simulated.truth

    def flown(
        seed: int = 3,
        *,
        rate_hz: float = 10.0,
        loss: float = 0.0,
        change: Callable[[Iterator[MotionSample], Truth], Iterator[MotionSample]] = lambda samples, _: samples,
        air: Site | None = None,
        ejects: bool = True,
        vehicle: Vehicle | None = None,
    ) -> Flown:
        flying = curlew if vehicle is None else vehicle
        if air is not None or vehicle is not None:
            samples, truth = record(seed, rate_hz, loss, saltmarsh if air is None else air, ejects, flying)
        else:
            if (seed, rate_hz, loss, ejects) not in recorded:
                recorded[seed, rate_hz, loss, ejects] = record(seed, rate_hz, loss, saltmarsh, ejects, curlew)
            samples, truth = recorded[seed, rate_hz, loss, ejects]
        estimator = Estimator(flying, saltmarsh)
        states: list[State] = []
        events: list[FlightEvent] = []
        tick_ns = 0
        for sample in change(iter(samples), truth):
            while tick_ns < sample.received_ns:
                silent = estimator.advance(tick_ns)
                if silent is not None:
                    states.append(silent[0])
                    events.extend(silent[1])
                tick_ns += TICK_NS
            state, new = estimator.step(sample)
            states.append(state)
            events.extend(new)
        return Flown(states, {e.kind: e for e in events}, events, truth)

    return flown
