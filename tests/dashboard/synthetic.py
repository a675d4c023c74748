"""Sessions for the pages' tests: a simulated vehicle's frames through the real pipeline, at once or as time goes."""

import asyncio
import dataclasses
import itertools
import math
import random
import time
from collections.abc import Iterator, Sequence
from functools import cache

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.operating import refusal
from groundstation.operator_actions import Action, event_kind, event_text
from groundstation.pipeline import Pipeline
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.simulate import SimulatedVehicle, TimedFrame
from groundstation.timeline import Timeline

STARTED_NS = 1_780_000_000 * NS_PER_S


@cache
def example_vehicle() -> Vehicle:
    return load_vehicle(EXAMPLE_VEHICLE)


@cache
def example_site() -> Site:
    return load_station(EXAMPLE_STATION).site


def simulated(
    *, seed: int = 7, launch_at_s: float | None = None, faults: Sequence[str] = (), ejects: bool = True
) -> SimulatedVehicle:
    """The example vehicle; without an ejection it falls all the way."""
    scatter = Scatter.drawn(random.Random(f"{seed}/scatter"))
    if not ejects:
        scatter = dataclasses.replace(scatter, recognition_s=math.inf)
    return SimulatedVehicle(
        example_vehicle(), example_site(), seed=seed, launch_at_s=launch_at_s, faults=faults, scatter=scatter
    )


class StagedSession:
    """A session whose timeline is filled up to any time wanted.

    `advance_to` fills it at once; `run` goes on from there in real time, as a live station would.
    """

    def __init__(self, vehicle: SimulatedVehicle, *, live: bool = True, started_ns: int = STARTED_NS) -> None:
        self._pipeline = Pipeline(example_vehicle(), example_site(), started_ns=started_ns)
        self._frames: Iterator[TimedFrame] = iter(vehicle)
        self._ahead: TimedFrame | None = None
        self._grown = asyncio.Event()
        self._now_ns = started_ns
        self.timeline: Timeline = self._pipeline.timeline
        self.live = live
        self.title = "session-2026-05-28.gsr"
        self.heard_from_s = 0.0
        self.silent_from_s: float | None = None
        self.leap_to_s: float | None = None
        self._pipeline.feed(StationEvent(started_ns, EventKind.RECORDING, True, "running"))

    def advance_to(self, seconds: float) -> "StagedSession":
        """Everything received up to `seconds` after the start."""
        while True:
            frame = self._ahead or next(self._frames)
            if frame.t_s > seconds:
                self._ahead = frame
                break
            self._ahead = None
            if self.heard_from_s <= frame.t_s < (self.silent_from_s or math.inf):
                at_ns = self.timeline.started_ns + round(frame.t_s * NS_PER_S)
                self._pipeline.feed(Chunk.at(at_ns, frame.data, link="test"))
        self._now_ns = self.timeline.started_ns + round(seconds * NS_PER_S)
        self._pipeline.advance(self._now_ns)
        return self

    async def run(self, *, rate: float = 1.0, step_s: float = 0.02) -> None:
        """Go on in real time, `rate` seconds of the session a second, for ever."""
        begun = time.monotonic()
        from_s = (self._now_ns - self.timeline.started_ns) / NS_PER_S
        for _ in itertools.count():
            await asyncio.sleep(step_s)
            self.advance_to(from_s + (time.monotonic() - begun) * rate)
            self._grown.set()
            self._grown = asyncio.Event()

    async def stand(self) -> None:
        """Wake the pages ten times a second while time stands still, but for the leaps that `leap_to_s` asks for."""
        while True:
            await asyncio.sleep(0.1)
            if self.leap_to_s is not None:
                self.advance_to(self.leap_to_s)
                self.leap_to_s = None
            self._grown.set()
            self._grown = asyncio.Event()

    def now_ns(self) -> int:
        return self._now_ns

    async def changed(self, timeout_s: float) -> None:
        try:
            await asyncio.wait_for(self._grown.wait(), timeout_s)
        except TimeoutError:
            return

    async def act(self, action: Action) -> str | None:
        """As the live station does it, and on to the next ticks at once."""
        against = refusal(action, self.timeline)
        if against is None:
            self._pipeline.feed(StationEvent(self._now_ns + 1, event_kind(action), True, event_text(action)))
            self.advance_to((self._now_ns - self.timeline.started_ns) / NS_PER_S + 0.4)
        return against

    def status_lines(self) -> tuple[str, ...]:
        return (
            "Recording: running, session-2026-05-28.gsr, 1.2 MB.",
            "serial:/dev/ttyUSB0: open, 14 packets a second.",
            "MQTT: not used.",
        )
