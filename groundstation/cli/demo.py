"""`groundstation demo`: simulator, station and pages in one command."""

import argparse
import contextlib
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from groundstation.cli.command import Command, port_number, seconds_above_zero
from groundstation.cli.failure import OTHER, Failure
from groundstation.cli.files import given
from groundstation.cli.living import Listening, check_before_listening, listen
from groundstation.cli.pages import Serving
from groundstation.cli.simulate import FAULT_NOTES, add_simulation_arguments
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.simulator.faults import parse

ENDING_S = 3.0  # the simulator is given this long to end by itself


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    add_simulation_arguments(parser)
    parser.add_argument("--port", metavar="P", type=port_number, default=8050, help="port of the pages (8050)")
    parser.add_argument("--mqtt", metavar="mqtt://HOST/PREFIX", help="publish to this broker too")
    parser.add_argument("--seconds", metavar="S", type=seconds_above_zero, help="how long; else until Ctrl-C")
    parser.add_argument("--open", action="store_true", help="open a browser on the pages")
    parser.add_argument("--record", metavar="FOLDER", type=Path, help="where to record; else a new temporary folder")
    parser.add_argument("--verdicts", metavar="FILE", type=Path, help="append each verdict to this file")


def _run(arguments: argparse.Namespace) -> int:
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    for fault in arguments.fault:
        parse(fault, vehicle)
    folder = arguments.record or Path(tempfile.mkdtemp(prefix="groundstation-demo-"))
    serving = Serving("127.0.0.1", arguments.port, opens=arguments.open)
    listening = Listening((), (folder,), serving, arguments.mqtt, arguments.verdicts, arguments.seconds)
    check_before_listening(listening)
    with _simulator(arguments) as link:
        return listen(given(EXAMPLE_VEHICLE, None), replace(listening, links=(link,)))


@contextlib.contextmanager
def _simulator(arguments: argparse.Namespace) -> Iterator[str]:
    """The simulator in a process of its own, for as long as the context lasts; its link."""
    # A system without pseudo-terminals (Windows) gets its frames over TCP instead.
    to = "pty" if hasattr(os, "openpty") else "tcp://127.0.0.1:0"
    line = [sys.executable, "-m", "groundstation.cli", "simulate", "--to", to, "--seed", str(arguments.seed)]
    line.append("--end-with-stdin")
    if arguments.launch_at is not None:
        line += ["--launch-at", str(arguments.launch_at)]
    for fault in arguments.fault:
        line += ["--fault", fault]
    # In a session of its own, so that Ctrl-C reaches the station alone, which then ends the simulator in its turn.
    process = subprocess.Popen(
        line,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=True,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        link = process.stdout.readline().strip()
        if not link:
            raise Failure("the simulator did not start: groundstation simulate --to pty --seconds 1 shows why", OTHER)
        print(f"The simulated vehicle is process {process.pid}, on {link}", flush=True)
        yield link
    finally:
        with contextlib.suppress(OSError):
            process.stdin.close()
        try:
            process.wait(ENDING_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()


DEMO = Command(
    name="demo",
    summary="simulator, station and pages in one command",
    paragraph="""\
Runs a simulated vehicle in a process of its own, behind a real pseudo-terminal (TCP where
the system has none), and the whole station on it: recording, verdict, pages. It holds
first, with its reasons, and goes GO when every check has passed without a break for the
settling time. Vehicle, site and figures are invented. Ctrl-C ends all of it.""",
    examples=(
        ("groundstation demo", "stay on the pad; open the address it prints"),
        ("groundstation demo --launch-at 30", "let it fly"),
        ("groundstation demo --fault igniter-open@30 --fault battery-low@45", "give it something to hold for"),
    ),
    never="It needs no hardware and opens no serial port but its own: nothing is ever sent to a vehicle.",
    add_arguments=_add_arguments,
    run=_run,
    notes=FAULT_NOTES,
)
