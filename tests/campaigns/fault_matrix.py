"""Every fault of the simulated vehicle against the check that must notice: alone and in pairs, at both rates and with
three losses, each from GO.

    python -m tests.campaigns.fault_matrix [--seeds N] [--pairs N] [--workers N] [--only NAME …]

Prints a table (fault by rate by loss: seconds until noticed, and the check) and ends with 1 on any miss. A fault is
noticed when one of its checks fails, or is unknown for another reason than that data are old; only where a fault of
the pair takes the data away is old enough. The verdict must be HOLD from then on. Two faults of the same measurement
may hide each other: of those one is enough.
"""

import argparse
import multiprocessing
import os
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from groundstation.inputs import NS_PER_S
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Assessment, Finding, Status, Verdict
from groundstation.simulator.fault import TimedFault
from groundstation.simulator.faults import FAULTS, parse
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.simulate import SimulatedVehicle

from .watching import Scene, assessments, lossy, redshank, saltmarsh

RATES_HZ = (5, 20)
LOSSES = (0.0, 0.1, 0.3)
AT_S = 16.0
APART_S = 2.0  # the second of a pair begins up to so much later
AFTER_S = 3.0
TRIES = 40  # watches that are not GO when the fault is due are begun anew with another seed
RESTARTING_S = 2.0  # what a flight computer that starts anew adds to the time of another fault

# Checks that are not written yet, and the faults that wait for them; empty when all is done.
WAITING: dict[str, str] = {}

# Checks of what no simulated vehicle can show, and where they are tried instead.
_SITE = "its figure is in the station file or the vehicle file: tests/groundstation/readiness/test_launch_site.py"
_STATION = "said by the station, not sent by the vehicle: tests/groundstation/readiness/test_link.py"
NOT_SIMULATED = {
    "wind": _SITE,
    "rod_tilt": _SITE + "; a vehicle that leans with its rod is tilt-excessive",
    "people_distance": _SITE,
    "thrust_to_weight": _SITE,
    "recording_running": "said by the station, not sent by the vehicle: tests/groundstation/readiness/test_checks.py",
    "laptop_disk": _STATION,
    "laptop_power": _STATION,
    "laptop_clock": _STATION,
    "on_pad": "a flight, not a fault: tests/groundstation/readiness/test_checks.py",
    "gimbal_restoring": "asks for a lean by hand: tests/groundstation/readiness/test_gimbal.py",
    "gimbal_sweep": "asks for a sweep: tests/groundstation/readiness/test_gimbal.py",
    "bench_proofs": "proofs made before: tests/groundstation/readiness/test_bench_proofs.py",
    "vehicle_callsign": "text, and the simulator sends numbers: tests/groundstation/readiness/test_callsign.py",
    "required_measurements": "the layout's, not the vehicle's: tests/groundstation/readiness/test_never_go.py",
}

_SWITCHED_AFTER = PadPlan(camera_switches=((AT_S + 3.0, True),))
SCENES = {
    "battery-old": Scene(plan=_SWITCHED_AFTER),
    "camera-draws": Scene(plan=_SWITCHED_AFTER),
    "camera-dead": Scene(plan=_SWITCHED_AFTER),
    "camera-on": Scene((('on_pad = "either"', 'on_pad = "off"'),)),
    "camera-off": Scene((('on_pad = "either"', 'on_pad = "on"'),), PadPlan(camera_switches=((1.0, True),))),
}


@dataclass(frozen=True)
class Case:
    """One watch to be judged."""

    names: tuple[str, ...]
    motion_hz: int
    loss: float
    seed: int


@dataclass(frozen=True)
class Seen:
    """How one fault of a watch was noticed: after how long, by which check; None where it was not."""

    name: str
    after_s: float | None
    check: str
    miss: str = ""


def scene_of(names: Sequence[str]) -> Scene | None:
    """The scene that the faults ask for; None where they ask for different ones."""
    asked = {SCENES[name] for name in names if name in SCENES}
    return None if len(asked) > 1 else next(iter(asked), Scene())


def judge(case: Case) -> list[Seen]:
    """How each fault of a case was noticed."""
    scene = scene_of(case.names)
    assert scene is not None
    vehicle = redshank(case.motion_hz, scene.changes)
    draws = random.Random(f"{case}")
    later = [0.0, *(round(draws.uniform(0.0, APART_S), 2) for _ in case.names[1:])]
    faults = [parse(f"{name}@{AT_S + s}", vehicle) for name, s in zip(case.names, later, strict=True)]
    seconds = max(f.at_s + _within_s(f, faults) for f in faults) + AFTER_S

    def watched(seed: int, having: Sequence[TimedFault]) -> list[Assessment]:
        radio = lossy(case.loss)
        simulated = SimulatedVehicle(vehicle, saltmarsh(), seed=seed, faults=having, radio=radio, plan=scene.plan)
        return assessments(simulated, vehicle, saltmarsh(), seconds)

    for seed in range(case.seed, case.seed + 1000 * TRIES, 1000):
        watch = watched(seed, faults)
        before = next(a for a in reversed(watch) if a.at_ns <= AT_S * NS_PER_S)
        if before.verdict is not Verdict.GO:
            continue
        found = [_seen(fault, faults, watch) for fault in faults if fault.fault.checks]
        if not found:
            harm = _harm(watch, watched(seed, []))
            return [Seen(name, 0.0, "borne", harm) for name in case.names]
        return found
    return [Seen(name, None, "", f"never GO before it: {_why(before)}") for name in case.names]


def _harm(watch: Sequence[Assessment], without: Sequence[Assessment]) -> str:
    """What a fault that is to be borne did all the same; empty for nothing."""
    for a, b in zip(watch, without, strict=True):
        if a.verdict is not b.verdict:
            return f"{a.verdict} at {a.at_ns / NS_PER_S:.1f} s, {b.verdict} without it: {_why(a)}"
    return ""


def _within_s(fault: TimedFault, faults: Sequence[TimedFault]) -> float:
    restarting = any(f is not fault and f.fault.on_running is not None for f in faults)
    return fault.fault.within_s + (RESTARTING_S if restarting else 0.0)


def _seen(fault: TimedFault, faults: Sequence[TimedFault], watch: Sequence[Assessment]) -> Seen:
    name = fault.fault.name
    since = [a for a in watch if a.at_ns > fault.at_s * NS_PER_S]
    gone = any(f.fault.silences for f in faults)
    for k, assessment in enumerate(since):
        check = next((f.check for f in assessment.findings if _notices(f, fault, gone)), None)
        if check is None:
            continue
        after_s = assessment.at_ns / NS_PER_S - fault.at_s
        later_go = [a for a in since[k:] if a.verdict is Verdict.GO]
        miss = ""
        if after_s > _within_s(fault, faults):
            miss = f"{check} noticed after {after_s:.1f} s"
        elif later_go:
            miss = f"GO again at {later_go[0].at_ns / NS_PER_S:.1f} s"
        return Seen(name, after_s, check, miss)
    said = sorted({f.check for a in since for f in a.findings if f.status is Status.FAIL})
    return Seen(name, None, "", f"not noticed by {' or '.join(fault.fault.checks)}; failed: {', '.join(said)}")


def _notices(finding: Finding, fault: TimedFault, gone: bool) -> bool:
    if finding.check not in fault.fault.checks or finding.status is Status.PASS:
        return False
    if fault.channel and finding.channel not in (None, fault.channel):
        return False
    return finding.status is not Status.UNKNOWN or not finding.stale or gone


def _why(assessment: Assessment) -> str:
    return "; ".join(f"{f.check}: {f.text}" for f in assessment.reasons[:2])


def missed(case: Case, seen: Sequence[Seen]) -> list[Seen]:
    """What of a case counts as a miss."""
    bad = [s for s in seen if s.miss]
    if len(case.names) == 2 and len(bad) == 1 and _hide_each_other(*case.names):
        return [s for s in bad if "not noticed" not in s.miss]
    return bad


def _hide_each_other(one: str, other: str) -> bool:
    a, b = FAULTS[one], FAULTS[other]
    return bool(a.changed(1) & b.changed(1)) or (a.load is not None and a.load is b.load)


def alone(seeds: int, names: Sequence[str]) -> list[Case]:
    """Each fault alone at each rate and loss."""
    return [
        Case((name,), rate, loss, 100 * k + 7)
        for name in names
        for rate in RATES_HZ
        for loss in LOSSES
        for k in range(seeds)
    ]


def pairs(count: int, seed: int, names: Sequence[str]) -> list[Case]:
    """So many random pairs, each at each rate and loss."""
    draws = random.Random(seed)
    drawn: list[tuple[str, ...]] = []
    while len(drawn) < count:
        pair = tuple(draws.sample(sorted(names), 2))
        if scene_of(pair) is not None and pair not in drawn:
            drawn.append(pair)
    return [Case(pair, rate, loss, 5) for pair in drawn for rate in RATES_HZ for loss in LOSSES]


def judged_names() -> list[str]:
    """The faults whose checks there are."""
    return [name for name in FAULTS if name not in WAITING]


def missing_checks() -> dict[str, str]:
    """Faults of which no check is registered, and the checks they name."""
    there = {check.name for check in CHECKS}
    return {n: " or ".join(f.checks) for n, f in FAULTS.items() if f.checks and not there.intersection(f.checks)}


def run(cases: Sequence[Case], workers: int) -> Iterator[tuple[Case, list[Seen]]]:
    """Judge cases, in their order."""
    if workers <= 1:
        yield from ((case, judge(case)) for case in cases)
        return
    with multiprocessing.Pool(workers) as pool:
        yield from zip(cases, pool.imap(judge, cases, chunksize=4), strict=True)


def print_table(judged: Sequence[tuple[Case, Sequence[Seen]]], say: Callable[[str], None]) -> None:
    """The slowest time to notice of each fault alone, by rate and loss, and the check."""
    heads = "".join(f"{f'{rate} Hz {loss:.0%}':>12}" for rate in RATES_HZ for loss in LOSSES)
    say(f"{'fault alone':<20}{'within':>8}{heads}  check")
    for name in dict.fromkeys(case.names[0] for case, _ in judged):
        cells, checks = "", set()
        for rate in RATES_HZ:
            for loss in LOSSES:
                found = [s[0] for c, s in judged if c.names == (name,) and (c.motion_hz, c.loss) == (rate, loss)]
                checks |= {s.check for s in found if s.check}
                bad = any(s.miss for s in found)
                times = [s.after_s for s in found if s.after_s is not None]
                text = f"{max(times):.1f} s" if len(times) == len(found) and times else "missed"
                cells += f"{text + ('!' if bad else ''):>12}"
        say(f"{name:<20}{FAULTS[name].within_s:>6.0f} s{cells}  {', '.join(sorted(checks))}")


def main(arguments: Sequence[str] | None = None) -> int:
    """The command."""
    parser = argparse.ArgumentParser(description="every fault against the check that must notice it")
    parser.add_argument("--seeds", type=int, default=3, help="watches of each fault alone at each rate and loss (3)")
    parser.add_argument("--pairs", type=int, default=200, help="random pairs, each at every rate and loss (200)")
    parser.add_argument("--workers", type=int, default=2, help="processes (2)")
    parser.add_argument("--only", nargs="*", default=[], metavar="NAME", help="these faults alone, without pairs")
    asked = parser.parse_args(arguments)
    os.nice(max(0, 10 - os.nice(0)))  # no nicer than it was started, if that was nice
    names = asked.only or judged_names()
    for name, check in WAITING.items():
        print(f"waiting: {name} for {check}")
    judged = list(run(alone(asked.seeds, names), asked.workers))
    print_table(judged, print)
    for check, why in NOT_SIMULATED.items():
        print(f"{'no fault':<20}{check}: {why}")
    both = [] if asked.only else list(run(pairs(asked.pairs, 1, names), asked.workers))
    misses = [(case, seen) for case, all_seen in (*judged, *both) for seen in missed(case, all_seen)]
    for case, seen in misses:
        print(f"MISS {' + '.join(case.names)} at {case.motion_hz} Hz, {case.loss:.0%} lost: {seen.name}: {seen.miss}")
    print(
        f"{len(names)} faults alone in {len(judged)} watches, {len({c.names for c, _ in both})} pairs in {len(both)} "
        f"watches: {len(misses)} misses; {len(WAITING)} faults wait for a check"
    )
    return 1 if misses or WAITING else 0


if __name__ == "__main__":
    sys.exit(main())
