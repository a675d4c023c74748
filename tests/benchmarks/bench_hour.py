"""Processor time of one hour on the pad at 20 packets a second (72,000), from bytes to verdicts, and of live packets.

The example vehicle sends 16 motion and 4 health packets a second over its usual radio. The hour is replayed in
joined chunks, as a recording is; the live part feeds each packet as it comes and a tick each 0.1 s. Shares are taken
in a run of their own, which costs a little more than the whole. Run: python tests/benchmarks/bench_hour.py [SECONDS]
"""

import itertools
import sys
import time
from collections.abc import Callable
from functools import wraps
from typing import Any

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import Pipeline
from groundstation.replay import run_through
from groundstation.simulator.simulate import SimulatedVehicle

SITE = load_station(EXAMPLE_STATION).site
STARTED_NS = 1_790_000_000 * NS_PER_S
RATES_HZ = {"motion": 16.0, "health": 4.0}
HOUR_S = 3600.0
LIVE_S = 600.0
LIVE_TICK_NS = NS_PER_S // 10
ROUNDS = 3


def vehicle_at_20_hz() -> Vehicle:
    """The example vehicle at the bench's rates."""
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    telemetry = vehicle.telemetry
    packets = tuple(p.model_copy(update={"rate_hz": RATES_HZ[p.name]}) for p in telemetry.packets)
    return vehicle.model_copy(update={"telemetry": telemetry.model_copy(update={"packets": packets})})


def recorded(vehicle: Vehicle, seconds: float) -> list[Chunk | StationEvent]:
    """What a recording of so much time on the pad holds."""
    frames = itertools.takewhile(lambda f: f.t_s < seconds, SimulatedVehicle(vehicle, SITE, seed=1))
    return [
        StationEvent(STARTED_NS, EventKind.RECORDING, True, "running"),
        *(Chunk.at(STARTED_NS + round(frame.t_s * NS_PER_S), frame.data, link="radio") for frame in frames),
    ]


class Stopwatch:
    """Processor seconds spent in the calls it wraps."""

    def __init__(self) -> None:
        self.took_s: dict[str, float] = {}

    def wrap(self, part: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """The same call, timed under the part's name."""
        self.took_s.setdefault(part, 0.0)

        @wraps(call)
        def timed(*given: Any, **named: Any) -> Any:
            began = time.process_time()
            result = call(*given, **named)
            self.took_s[part] += time.process_time() - began
            return result

        return timed


def shares(vehicle: Vehicle, items: list[Chunk | StationEvent]) -> dict[str, float]:
    """Processor seconds by part."""
    from decoders.stream import StreamDecoder
    from groundstation.estimation.estimator import Estimator
    from groundstation.readiness.assessor import Assessor

    watch = Stopwatch()
    places = [
        (StreamDecoder, "feed", "decoding"),
        (Estimator, "step", "estimation"),
        (Assessor, "assess", "readiness"),
    ]
    before = [getattr(kind, name) for kind, name, _ in places]
    try:
        for kind, name, part in places:
            setattr(kind, name, watch.wrap(part, getattr(kind, name)))
        whole = watch.wrap("whole", run_through)
        whole(Pipeline(vehicle, SITE, started_ns=STARTED_NS), items, ended_ns=None)
    finally:
        for (kind, name, _), call in zip(places, before, strict=True):
            setattr(kind, name, call)
    took = watch.took_s
    took["rest"] = took.pop("whole") - sum(took[part] for _, _, part in places)
    return took


def whole_s(vehicle: Vehicle, items: list[Chunk | StationEvent]) -> float:
    """Processor seconds of a replay."""
    pipeline = Pipeline(vehicle, SITE, started_ns=STARTED_NS)
    began = time.process_time()
    run_through(pipeline, items, ended_ns=None)
    return time.process_time() - began


def live(vehicle: Vehicle, items: list[Chunk | StationEvent]) -> tuple[list[float], list[float]]:
    """Processor microseconds of each packet, and of each tick with an assessment, sorted."""
    pipeline = Pipeline(vehicle, SITE, started_ns=STARTED_NS)
    packets_us, ticks_us = [], []
    next_tick_ns = STARTED_NS + LIVE_TICK_NS
    for item in items:
        at_ns = item.stamps[0].received_ns if isinstance(item, Chunk) else item.at_ns
        while next_tick_ns < at_ns:
            began = time.process_time_ns()
            pipeline.advance(next_tick_ns)
            ticks_us.append((time.process_time_ns() - began) / 1000)
            next_tick_ns += LIVE_TICK_NS
        began = time.process_time_ns()
        pipeline.feed(item)
        packets_us.append((time.process_time_ns() - began) / 1000)
    return sorted(packets_us[1:]), sorted(ticks_us[1::2])


def main() -> None:
    """Print the figures."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else HOUR_S
    vehicle = vehicle_at_20_hz()
    items = recorded(vehicle, seconds)
    took_s = sorted(whole_s(vehicle, items) for _ in range(ROUNDS))
    print(f"{seconds:.0f} s at 20 packets a second, {len(items) - 1} received")
    print(f"whole      {took_s[0]:6.2f} s of processor time (best of {ROUNDS}, worst {took_s[-1]:.2f})")
    for part, part_s in shares(vehicle, items).items():
        print(f"  {part:10s}{part_s:5.2f} s   {part_s / (len(items) - 1) * 1e6:5.1f} µs a packet")
    until_ns = STARTED_NS + round(min(seconds, LIVE_S) * NS_PER_S)
    first = [i for i in items if isinstance(i, StationEvent) or i.stamps[0].received_ns < until_ns]
    for what, spent in zip(("a packet", "a tick"), live(vehicle, first), strict=True):
        median, high = spent[len(spent) // 2], spent[len(spent) * 99 // 100]
        print(f"live {what:9s}{median:5.0f} µs median, {high:.0f} µs at the 99th percentile of {len(spent)}")


if __name__ == "__main__":
    main()
