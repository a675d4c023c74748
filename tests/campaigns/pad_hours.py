"""Hours on a lively pad, each ended by a liftoff: is nothing taken for one before, and is that one told in time?

    python -m tests.campaigns.pad_hours [HOURS] [--workers N] [--first HOUR]

Every hour has its own seed, and with it its own weather, sun, wind, knocks and hands (see `lively_pad`), 5, 10 or 20
samples a second, and up to 30 % of them lost in bursts. They go through the estimator alone, where liftoff is
recognised, and a descent; the whole pipeline gives it the same samples at fifty times the cost. Every tenth hour the
vehicle sends nothing but its pressure. The liftoff at the end is the simulator's. Ends with 1 where it was told to
fly or to come down while it stood there, where a liftoff was missed, and, with an accelerometer, where it was off by
more than 0.3 s.
"""

import argparse
import math
import multiprocessing
import random
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.estimator import Estimator
from groundstation.simulator.pad import S_PER_HOUR
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.state import NAN, FlightEventKind, MotionSample, Phase

from .lively_pad import lively_hour, received

RATES_HZ = (5.0, 10.0, 20.0)
MOST_LOSS = 0.3
BARE_EVERY = 10
IGNITION_S = 1.0  # of the simulated flights
WATCHED_S = 6.0  # after ignition
FLIGHTS = 10  # at each rate
BAR_S = 0.3


@dataclass(frozen=True)
class Ignition:
    """The samples of a simulated liftoff, from ignition on, and when it left the pad; seconds since ignition."""

    samples: tuple[MotionSample, ...]
    pad_pa: float
    liftoff_s: float


@dataclass(frozen=True)
class Watched:
    """One hour: when it was told to fly or to come down before it did, and the true liftoff's error and delay [s]."""

    hour: int
    rate_hz: float
    bare: bool
    samples: int
    false_s: float | None
    off_s: float
    late_s: float


@cache
def files() -> tuple[Vehicle, Site]:
    """The example's vehicle and site."""
    return load_vehicle(EXAMPLE_VEHICLE), load_station(EXAMPLE_STATION).site


@cache
def ignition(rate_hz: float, seed: int) -> Ignition:
    """A simulated liftoff."""
    vehicle, site = files()
    packets = tuple(
        p.model_copy(update={"rate_hz": rate_hz}) if p.name == "motion" else p for p in vehicle.telemetry.packets
    )
    vehicle = vehicle.model_copy(update={"telemetry": vehicle.telemetry.model_copy(update={"packets": packets})})
    scatter = Scatter.drawn(random.Random(f"pad hours/{rate_hz}/{seed}"))
    launch_s = IGNITION_S + seed / FLIGHTS / rate_hz  # at any place between two packets
    simulated = SimulatedVehicle(vehicle, site, seed=seed, launch_at_s=launch_s, scatter=scatter)
    assert simulated.truth is not None
    samples, before_pa = [], []
    for moment in simulated.moments(launch_s + WATCHED_S):
        if moment.packet != "motion":
            continue
        v = moment.values
        if moment.t_s < launch_s:
            before_pa.append(v["pressure"])
            continue
        at_ns = round((moment.t_s - launch_s) * 1e9)
        samples.append(
            MotionSample(
                at_ns,
                at_ns,
                v["pressure"],
                (v["accel_x"], v["accel_y"], v["accel_z"]),
                (v["gyro_x"], v["gyro_y"], v["gyro_z"]),
                (v["attitude_w"], v["attitude_x"], v["attitude_y"], v["attitude_z"]),
            )
        )
    return Ignition(tuple(samples), float(np.mean(before_pa)), simulated.truth.times.liftoff_s - launch_s)


def watch(hour: int, seconds: float = S_PER_HOUR) -> Watched:
    """One hour, by its number."""
    vehicle, site = files()
    rate_hz, bare = RATES_HZ[hour % len(RATES_HZ)], hour % BARE_EVERY == BARE_EVERY - 1
    draws = np.random.default_rng([hour, 4])
    loss = draws.uniform(0.0, MOST_LOSS)
    most_mps2 = vehicle.sensors.accel_range_mps2 or math.inf
    pad = lively_hour(draws, rate_hz, loss=loss, seconds=seconds, accel_range_mps2=most_mps2)
    lit = ignition(rate_hz, hour // len(RATES_HZ) % FLIGHTS)
    heard = received(draws, np.array([s.measured_ns / 1e9 for s in lit.samples]), loss)
    lit_ns = round(seconds * 1e9)
    other_pa = float(np.mean(pad.pressure_pa[-round(2.0 * rate_hz) :])) - lit.pad_pa
    flight = (
        s._replace(
            received_ns=s.received_ns + lit_ns + 20_000_000,
            measured_ns=s.measured_ns + lit_ns,
            pressure_pa=s.pressure_pa + other_pa,
        )
        for s, comes in zip(lit.samples, heard.tolist(), strict=True)
        if comes
    )
    estimator = Estimator(vehicle, site)
    result = Watched(hour, rate_hz, bare, pad.t_s.size, None, NAN, NAN)
    for samples in (pad.samples(), flight):
        for whole in samples:
            sample = MotionSample(whole.received_ns, whole.measured_ns, whole.pressure_pa) if bare else whole
            state, events = estimator.step(sample)
            if sample.measured_ns < lit_ns and state.phase is not Phase.PAD:
                return replace(result, false_s=sample.measured_ns / 1e9)
            told = next((e for e in events if e.kind is FlightEventKind.LIFTOFF), None)
            if told is None:
                continue
            true_ns = lit_ns + round(lit.liftoff_s * 1e9)
            off_s, late_s = (told.at_ns - true_ns) / 1e9, (told.called_ns - true_ns) / 1e9
            return replace(result, off_s=off_s, late_s=late_s)
    return result


def run(hours: Sequence[int], workers: int) -> Iterator[Watched]:
    """Hours, as they are done."""
    if workers <= 1:
        yield from map(watch, hours)
        return
    with multiprocessing.Pool(workers) as pool:
        yield from pool.imap_unordered(watch, hours)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="hours on a lively pad, each ended by a liftoff")
    parser.add_argument("hours", type=int, nargs="?", default=1000, help="how many (1000)")
    parser.add_argument("--workers", type=int, default=1, help="processes (1)")
    parser.add_argument("--first", type=int, default=0, help="the first hour's number (0)")
    asked = parser.parse_args(arguments)
    seen: list[Watched] = []
    began = time.monotonic()
    for found in run(range(asked.first, asked.first + asked.hours), asked.workers):
        seen.append(found)
        if found.false_s is not None or not abs(found.off_s) <= (math.inf if found.bare else BAR_S):
            print(f"against the bar: {found}", flush=True)
        if len(seen) % 50 == 0:
            print(f"{len(seen)} hours in {time.monotonic() - began:.0f} s", flush=True)
    false = sum(w.false_s is not None for w in seen)
    missed = sum(w.false_s is None and math.isnan(w.off_s) for w in seen)
    off = {kind: [abs(w.off_s) for w in seen if w.bare is kind and w.off_s == w.off_s] for kind in (False, True)}
    late = [w.late_s for w in seen if not w.bare and w.late_s == w.late_s]
    print(
        f"{len(seen)} pad hours, {sum(w.samples for w in seen)} samples: {false} false liftoffs; of the true ones "
        f"{missed} missed, {len(off[False])} told within {max(off[False], default=NAN):.2f} s, at most "
        f"{max(late, default=NAN):.2f} s after they happened; by pressure alone {len(off[True])} within "
        f"{max(off[True], default=NAN):.2f} s"
    )
    good = false == missed == 0 and max(off[False], default=0.0) <= BAR_S
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
