"""`groundstation simulate`: a simulated vehicle that writes real frames to a file, a terminal or TCP clients."""

import argparse
import os
import re
import sys
import threading
import time
from pathlib import Path

from groundstation.bench.register import tests_for
from groundstation.cli.command import Command, seconds_above_zero, seconds_from_zero
from groundstation.cli.failure import FILE, LINK, USAGE, Failure
from groundstation.cli.files import add_vehicle_argument, given
from groundstation.cli.shown import Progress, minutes
from groundstation.config.load import EXAMPLE_STATION, load_station
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import WriterError
from groundstation.simulator.faults import FAULTS
from groundstation.simulator.hands import STEP_S, Hands, hands
from groundstation.simulator.running import Pace, run_simulation, stopping_signals
from groundstation.simulator.running import Progress as Simulated
from groundstation.simulator.simulate import SimulatedVehicle


def add_simulation_arguments(parser: argparse.ArgumentParser) -> None:
    """The arguments that `demo` has too."""
    parser.add_argument("--seed", metavar="N", type=int, default=1, help="all that is random comes from it (1)")
    parser.add_argument(
        "--launch-at",
        metavar="T",
        type=seconds_from_zero,
        help="ignite so many seconds after the start; else it stays on the pad",
    )
    parser.add_argument(
        "--fault",
        metavar="NAME@T",
        action="append",
        default=[],
        help="something goes wrong T seconds after the start, and stays so, or until U with NAME@T-U; "
        "may be given again",
    )


_BENCH = re.compile(r"(?P<proof>[a-z-]+)@(?P<at>[0-9]+(\.[0-9]+)?)")
_WIDTH = max(map(len, FAULTS))
FAULT_NOTES = "\n".join(["faults:", *(f"  {fault.name:<{_WIDTH}} {fault.text}" for fault in FAULTS.values())])


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    add_vehicle_argument(parser)
    parser.add_argument(
        "--to",
        metavar="FILE|pty|tcp://HOST:PORT",
        required=True,
        help="a new file; a pseudo-terminal, read like a serial port; or a port it listens at (0: a free one)",
    )
    parser.add_argument("--seconds", metavar="S", type=seconds_above_zero, help="how long; else until Ctrl-C")
    add_simulation_arguments(parser)
    parser.add_argument(
        "--bench",
        metavar="PROOF@T",
        help="simulated hands go through the steps of a bench proof from T seconds after the start on, and say so",
    )
    parser.add_argument(
        "--bench-step",
        metavar="S",
        type=seconds_above_zero,
        default=STEP_S,
        help=f"how long the hands take for each step ({STEP_S:.0f})",
    )
    parser.add_argument("--fast", action="store_true", help="as fast as it goes, not in real time; wants --seconds")
    parser.add_argument("--truth", metavar="FILE", type=Path, help="write the flight's truth there, as JSON lines")
    # The demo holds the other end of stdin: when it goes, however it goes, the simulator goes too.
    parser.add_argument("--end-with-stdin", action="store_true", help=argparse.SUPPRESS)


def _run(arguments: argparse.Namespace) -> int:
    to, seconds = arguments.to, arguments.seconds
    if arguments.fast and seconds is None:
        raise Failure("--fast wants --seconds, or it would never end; such as --fast --seconds 60", USAGE)
    vehicle = given(arguments.vehicle, None).vehicle
    doing = None if arguments.bench is None else _hands(vehicle, arguments.bench, arguments.bench_step)
    simulated = SimulatedVehicle(
        vehicle,
        load_station(EXAMPLE_STATION).site,
        seed=arguments.seed,
        launch_at_s=arguments.launch_at,
        faults=[*(doing.doings if doing is not None else ()), *arguments.fault],
        plan=None if doing is None else doing.plan,
    )
    shown = Progress("simulating", round(1000 * (seconds or 0.0)))

    def progress(so_far: Simulated) -> None:
        shown(round(1000 * so_far.simulated_s))

    with stopping_signals() as stop:
        if arguments.end_with_stdin:
            threading.Thread(target=_stop_at_end_of_stdin, args=(stop,), daemon=True).start()
        if doing is not None and not arguments.fast:
            threading.Thread(target=_say, args=(doing, stop), daemon=True).start()
        try:
            outcome = run_simulation(
                simulated,
                to=to,
                seconds=seconds,
                pace=Pace.FAST if arguments.fast else Pace.REAL_TIME,
                truth_file=arguments.truth,
                opened=lambda place: print(_link(to, place), flush=True),
                progress=progress,
                stop=stop,
            )
        except WriterError as error:
            raise Failure(str(error), LINK if to == "pty" or to.startswith("tcp:") else FILE) from error
        finally:
            shown.end()
    dropped = f", {outcome.dropped} dropped because nobody read them" if outcome.dropped else ""
    print(f"simulated {minutes(outcome.simulated_s)}: {outcome.written} frames written{dropped}", file=sys.stderr)
    return 0


def _hands(vehicle: Vehicle, text: str, step_s: float) -> Hands:
    """The hands that `text` asks for, such as "pin-order@10"."""
    told = _BENCH.fullmatch(text)
    tests = {test.name.value: test for test in tests_for(vehicle)}
    if told is None or told["proof"] not in tests:
        raise Failure(f'found --bench "{text}", expected one of {", ".join(tests)}, such as gimbal-sign@10', USAGE)
    return hands(tests[told["proof"]], vehicle, begins_s=float(told["at"]), step_s=step_s)


def _say(doing: Hands, stop: threading.Event) -> None:
    """Say what the hands do when they do it; frames may be silent meanwhile."""
    began_s = time.monotonic()
    for at_s, step in (*doing.says, (doing.ends_s, "done")):
        if stop.wait(max(0.0, began_s + at_s - time.monotonic())):
            return
        print(f"hands: {step}", file=sys.stderr, flush=True)


def _link(to: str, place: str) -> str:
    """What to give to `live --link`."""
    if to == "pty":
        return f"serial:{place}"
    return place if to.startswith("tcp:") else f"file:{place}"


def _stop_at_end_of_stdin(stop: threading.Event) -> None:
    # Not sys.stdin.read: a daemon thread waiting inside it makes the interpreter die badly at its end.
    while os.read(sys.stdin.fileno(), 1024):
        continue
    stop.set()


SIMULATE = Command(
    name="simulate",
    summary="a simulated vehicle that writes real frames",
    paragraph="""\
Simulates a vehicle on the pad, and its flight if it is told to launch, and writes the
frames its radio would deliver: sensor noise, temperature drift, a pack that empties, lost
and damaged frames, all from one seed. The first line it prints is the link to give to
`groundstation live`. The vehicle, its motor and its figures are invented.""",
    examples=(
        ("groundstation simulate --to pty", "stay on the pad, behind a serial port of its own"),
        (
            "groundstation simulate --to flight.bin --seed 7 --seconds 120 --launch-at 30 --fast --truth truth.jsonl",
            "a whole flight into a file at once, with what was true beside it",
        ),
        (
            "groundstation simulate my-vehicle.toml --to tcp://127.0.0.1:7007 --fault igniter-open:2@30",
            "your own layout over TCP, with an igniter that fails",
        ),
        (
            "groundstation simulate --to tcp://127.0.0.1:7007 --bench pin-order@20",
            "simulated hands to practise groundstation bench on",
        ),
    ),
    never="It overwrites no file, and nothing is ever sent to a real vehicle: it opens no serial port but its own.",
    add_arguments=_add_arguments,
    run=_run,
    notes=FAULT_NOTES,
)
