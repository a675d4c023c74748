"""Nominal watches on the pad: how much of the time the verdict is GO, and what broke it each time it was not.

Each loss of GO is printed with its time, check and sentence, and with its cause by what the simulator knows to be
true (see `causes`); those without a cause are counted at the end.

    python -m tests.campaigns.pad_watches [WATCHES] [--seconds S] [--workers N] [--first SEED]

Each watch is the example vehicle on the example's site for twenty minutes, with the sensors' noise, the sun on bay
and pack, gusts, a tenth of the frames lost besides the link's own bursts, and the camera switched on and off. Every
watch has its own seed, and with it its own biases, weather and lean. Ends with 1 below 99.5 % of the time after
settling, or where a loss of GO has no cause.
"""

import argparse
import multiprocessing
import os
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.pipeline import TICK_NS
from groundstation.readiness.finding import Assessment, Verdict
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.timeline import Timeline

from .causes import Flicker, Truth, cause
from .watching import lossy, saltmarsh, watched

SECONDS = 1200.0
SETTLED_S = 15.0  # ten of settling, and until every check has seen enough
LOSS = 0.1
SHARE = 0.995


@dataclass(frozen=True)
class Watched:
    """One watch: seconds of GO of those after settling, and each loss of it."""

    go_s: float
    of_s: float
    flickers: tuple[Flicker, ...]


def camera_cycled(seed: int, seconds: float) -> PadPlan:
    """The camera off for one to four minutes, then on for one to six, again and again."""
    draws = random.Random(f"{seed}/camera")
    switches, t_s = [], 0.0
    while t_s < seconds:
        on_s = t_s + draws.uniform(60.0, 240.0)
        t_s = on_s + draws.uniform(60.0, 360.0)
        switches += [(on_s, True), (t_s, False)]
    return PadPlan(camera_switches=tuple(switches))


def watch(seed: int, seconds: float = SECONDS) -> Watched:
    """One nominal watch."""
    return watch_of(load_vehicle(EXAMPLE_VEHICLE), seed, seconds, LOSS)


def watch_of(vehicle: Vehicle, seed: int, seconds: float, loss: float) -> Watched:
    """One watch of a vehicle over a link that loses such a share of the frames."""
    site, plan = saltmarsh(), camera_cycled(seed, seconds)
    simulated = SimulatedVehicle(vehicle, site, seed=seed, radio=lossy(loss), plan=plan)
    timeline = watched(simulated, vehicle, site, seconds)
    changes = timeline.verdict_changes
    ends_s = [*(change.at_ns / NS_PER_S for change in changes[1:]), seconds]
    go_s, flickers = 0.0, []
    for change, end_s in zip(changes, ends_s, strict=True):
        at_s = change.at_ns / NS_PER_S
        if change.verdict is Verdict.GO:
            go_s += max(0.0, end_s - max(at_s, SETTLED_S))
        elif at_s > SETTLED_S or end_s > SETTLED_S:
            flickers.append(_flicker(timeline, seed, change, end_s))
    if flickers:
        truth = Truth(vehicle, plan, tuple(simulated.fates(seconds)))
        flickers = [replace(flicker, cause=cause(flicker, truth)) for flicker in flickers]
    return Watched(go_s, seconds - SETTLED_S, tuple(flickers))


def _flicker(timeline: Timeline, seed: int, change: Assessment, end_s: float) -> Flicker:
    """A loss of GO by its first reason; a start that took too long to settle by the last one in its way."""
    at_ns = change.at_ns
    if at_ns <= SETTLED_S * NS_PER_S:
        at_ns = round(end_s * NS_PER_S) - TICK_NS
        while (found := timeline.assessment_at(at_ns)) is not None and found.settled_in_s is not None:
            at_ns -= TICK_NS
        change = change if found is None else found
    first = change.reasons[0]
    return Flicker(seed, at_ns / NS_PER_S, first.check, first.text, first.stale)


def run(seeds: Sequence[int], seconds: float, workers: int) -> Iterator[Watched]:
    """Watches, as they are done."""
    if workers <= 1:
        yield from (watch(seed, seconds) for seed in seeds)
        return
    with multiprocessing.Pool(workers) as pool:
        yield from pool.imap_unordered(_Watching(seconds), seeds)


@dataclass(frozen=True)
class _Watching:
    seconds: float

    def __call__(self, seed: int) -> Watched:
        return watch(seed, self.seconds)


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="how much of nominal watches on the pad is GO")
    parser.add_argument("watches", type=int, nargs="?", default=500, help="how many (500)")
    parser.add_argument("--seconds", type=float, default=SECONDS, help="how long each (1200)")
    parser.add_argument("--workers", type=int, default=1, help="processes (1)")
    parser.add_argument("--first", type=int, default=1, help="the first seed (1)")
    asked = parser.parse_args(arguments)
    os.nice(max(0, 10 - os.nice(0)))  # no nicer than it was started, if that was nice
    go_s = of_s = 0.0
    by_check: Counter[str] = Counter()
    unexplained = 0
    done, began = 0, time.monotonic()
    for found in run(range(asked.first, asked.first + asked.watches), asked.seconds, asked.workers):
        done, go_s, of_s = done + 1, go_s + found.go_s, of_s + found.of_s
        for flicker in found.flickers:
            by_check[flicker.check] += 1
            unexplained += not flicker.cause
            print(f"seed {flicker.seed} at {flicker.at_s:.1f} s: {flicker.check}: {flicker.text}")
            print(f"    cause: {flicker.cause or 'not explained'}", flush=True)
        if done % 10 == 0:
            print(f"{done} watches in {time.monotonic() - began:.0f} s, GO {go_s / of_s:.4%}", flush=True)
    causes = ", ".join(f"{check} {count}" for check, count in by_check.most_common()) or "none"
    share = f"{done} watches of {asked.seconds:.0f} s: GO {go_s / of_s:.4%} of the time after settling"
    print(f"{share}; lost by: {causes}; {unexplained} of {by_check.total()} flickers not explained")
    return 0 if go_s >= SHARE * of_s and not unexplained else 1


if __name__ == "__main__":
    sys.exit(main())
