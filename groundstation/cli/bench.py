"""`groundstation bench`: a builder walked through the bench proofs, step by step, on the terminal."""

import argparse
import signal
import textwrap
import time
from collections.abc import Iterator, Sequence
from importlib.metadata import version
from pathlib import Path

from groundstation.bench.configuration import configuration
from groundstation.bench.kept import KeptProof
from groundstation.bench.register import TESTS, tests_for
from groundstation.bench.standing import DAY_S, standing
from groundstation.bench.store import ProofFile, read_proofs
from groundstation.bench.walk import BenchTest
from groundstation.bench_session import BenchSession
from groundstation.cli.command import Command
from groundstation.cli.failure import FILE, OTHER, USAGE, Failure
from groundstation.cli.files import given
from groundstation.cli.known_proofs import proofs_path
from groundstation.cli.living import folders_of, links_of, opened
from groundstation.cli.person import Person
from groundstation.cli.walking import Walked, Walking
from groundstation.clock import SessionClock
from groundstation.config.bench_faults import lacked_for
from groundstation.config.bench_plan import AskedProof, ProofName
from groundstation.config.vehicle import Vehicle
from groundstation.described import Described
from groundstation.inputs import NS_PER_S
from groundstation.readiness.words import number

_WIDTH = 100


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file")
    parser.add_argument(
        "proofs",
        metavar="PROOF",
        nargs="*",
        help=f"which to make, in this order: {', '.join(ProofName)}; else all that the vehicle has parts for",
    )
    parser.add_argument(
        "--link",
        metavar="URL",
        action="append",
        default=[],
        help="serial:PORT?baud=N or tcp://HOST:PORT; may be given again; else those of the station file",
    )
    parser.add_argument("--station", metavar="FILE", type=Path, help="the station file: links and folders")
    parser.add_argument(
        "--record", metavar="FOLDER", type=Path, help="where to record; else as the station file says"
    )
    parser.add_argument("--list", action="store_true", help="how each proof stands, and make none")


def _run(arguments: argparse.Namespace) -> int:
    files = given(arguments.vehicle, arguments.station)
    folders = folders_of(files.station, arguments.record)
    path = proofs_path(files.vehicle, files.station, folders[0])
    tests = _chosen(files.vehicle, arguments.proofs)
    if arguments.list:
        for line in listing(files.vehicle, read_proofs(path), tests, now_ns=time.time_ns()):
            print(line)
        return 0
    links = links_of(files.station, arguments.link)
    for needed, what in ((folders[0], "recording folder"), (path.parent, "folder of the bench proofs")):
        if not needed.is_dir():
            raise Failure(f"the {what} {needed} does not exist: make it, or name another", FILE)
    return _walked(files, links, folders, path, tests)


def _walked(
    described: Described, urls: Sequence[str], folders: Sequence[Path], path: Path, tests: Sequence[BenchTest]
) -> int:
    """Walk through the tests; the exit code."""
    # A shell that starts it in the background has it ignore Ctrl-C, and then nothing would close the recording.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    person = Person.at_stdin()
    clock = SessionClock()
    links = opened(urls, clock)
    for fault in read_proofs(path).faults:
        print(f"Not read, and left as it is: {fault}")
    session = BenchSession(described, links, clock=clock, folders=folders, program_version=version("groundstation"))
    walked: dict[ProofName, Walked] = {}
    try:
        with session:
            walking = Walking(session, person, path, version=version("groundstation"))
            for test in tests:
                walked[test.name] = walking.walk(test)
                if walked[test.name] is Walked.STOPPED:
                    break
    finally:
        print()
        for test in tests:
            print(f"{test.name:<22} {walked.get(test.name, Walked.NOT_REACHED).value}")
        print(f"Session ended; {session.closing}.", flush=True)
    return 0 if all(walked.get(test.name) is Walked.PASSED for test in tests) else OTHER


def _chosen(vehicle: Vehicle, names: Sequence[str]) -> tuple[BenchTest, ...]:
    """The tests by name; all that the vehicle has parts for where none is named.

    Raises:
        Failure: There is no such proof, or the vehicle cannot make it.
    """
    if not names:
        return tests_for(vehicle)
    chosen = []
    for name in dict.fromkeys(names):
        if name not in list(ProofName):
            raise Failure(f'found the proof "{name}", expected some of {", ".join(ProofName)}', USAGE)
        if table := lacked_for(vehicle, ProofName(name)):
            raise Failure(f"{vehicle.name} cannot make {name}: its file has no {table}", USAGE)
        chosen.append(TESTS[ProofName(name)])
    return tuple(chosen)


def listing(vehicle: Vehicle, known: ProofFile, tests: Sequence[BenchTest], *, now_ns: int) -> Iterator[str]:
    """How each proof of a vehicle stands, and the lines of its file that cannot be read."""
    asked = {proof.name: proof for proof in (vehicle.bench.proofs if vehicle.bench is not None else ())}
    yield f"Bench proofs of {vehicle.name}"
    for test in tests:
        wanted = asked.get(test.name) or AskedProof.model_validate({"name": test.name})
        mark = configuration(vehicle, test)
        stands = standing(known.kept, test.name, configuration=mark, fresh_s=wanted.fresh_s, now_ns=now_ns)
        of_go = "asked for" if test.name in asked else "not asked for"
        when = "" if stands.kept is None else _made(stands.kept, now_ns)
        days = number(wanted.fresh_s / DAY_S, 0 if wanted.fresh_s >= DAY_S else 2)
        yield f"  {test.name:<22} {stands.holds:<27} {when:<30} {of_go}, holds {days} days"
        if stands.kept is not None and stands.kept.proof.look_first:
            yield from _wrapped(f"look first at: {stands.kept.proof.look_first}")
    if known.faults:
        yield f"Lines that cannot be read, and are left as they are: {len(known.faults)}"
        for fault in known.faults:
            yield f"  {fault}"


def _made(kept: KeptProof, now_ns: int) -> str:
    made_s = kept.proof.at_ns / NS_PER_S
    days = (now_ns / NS_PER_S - made_s) / DAY_S
    return f"{time.strftime('%Y-%m-%d', time.gmtime(made_s))}, {number(days, 1)} days ago"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)


BENCH = Command(
    name="bench",
    summary="walk through proofs of the vehicle on the bench",
    paragraph="""\
Walks you through proofs of the vehicle on the bench: it says what to do, looks at what the
vehicle sends meanwhile, and ends with passed, failed or cannot tell, the figures, and what to
touch first. Each proof is kept with its date, the part of the vehicle file it depends on, and
the recording it was made from. A vehicle file that asks for proofs under [[bench.proof]] is
HOLD until they are made, passed, fresh and of this configuration.

At each step press Enter when it is done, or type skip (leave this proof), stop (end here),
or what the step asks for, such as a distance in metres.

Bench means: no motor in the mount, no charge fitted, the pyro supply off where the vehicle
allows it, and a dummy in place of every igniter. Local codes and licensed practice decide.
What it says of a circuit is continuity as the vehicle measures it, and no more.""",
    examples=(
        (
            "groundstation bench my-vehicle.toml --link serial:/dev/ttyUSB0?baud=57600",
            "all of them, one after another",
        ),
        ("groundstation bench my-vehicle.toml --link tcp://127.0.0.1:7007 gimbal-sign pin-order", "these two"),
        (
            "groundstation bench my-vehicle.toml --list",
            "which are fresh, old, of another configuration or never made",
        ),
    ),
    notes="""\
to practise, in two terminals:
  groundstation simulate my-vehicle.toml --to tcp://127.0.0.1:7007 --bench pin-order@20
  groundstation bench my-vehicle.toml --link tcp://127.0.0.1:7007 --record /tmp pin-order

exit codes: 0 every proof passed, 5 one failed, could not be told or was left, 2 wrong usage or
nobody to answer, 3 a link, 4 a file.""",
    never="It only listens: the vehicle is moved, switched and swept by you; nothing is ever sent to it.",
    add_arguments=_add_arguments,
    run=_run,
)
