"""The command line: one file a command. This file finds the command, and turns failures into one line."""

import argparse
import contextlib
import os
import sys
from collections.abc import Sequence
from importlib.metadata import version

from groundstation.cli.assess import ASSESS
from groundstation.cli.bench import BENCH
from groundstation.cli.checks import CHECKS
from groundstation.cli.command import Command, Parser
from groundstation.cli.demo import DEMO
from groundstation.cli.failure import EXPECTED, INTERRUPTED, failure_of
from groundstation.cli.importing import IMPORT
from groundstation.cli.layout import LAYOUT
from groundstation.cli.listen import LISTEN
from groundstation.cli.live import LIVE
from groundstation.cli.ports import PORTS
from groundstation.cli.replay import REPLAY
from groundstation.cli.simulate import SIMULATE
from groundstation.cli.vehicle import VEHICLE

COMMANDS: tuple[Command, ...] = (
    DEMO,
    LIVE,
    SIMULATE,
    REPLAY,
    ASSESS,
    IMPORT,
    PORTS,
    LISTEN,
    VEHICLE,
    CHECKS,
    LAYOUT,
    BENCH,
)

_ABOUT = """\
A ground station for one builder of one actively steered model rocket. It listens to a
receiver, decodes the vehicle's packets, and says GO or HOLD with the reasons; it follows
the flight and replays it from a recording that holds every byte received.

It only listens: nothing is ever sent to the vehicle; it arms, fires and commands nothing.
Its verdict is advice. The range safety officer decides, and continuity is not safety."""

_END = """\
first steps:
  groundstation demo
      see it work, with a simulated vehicle
  groundstation vehicle --path
      where the example vehicle file lies, to copy and change
  groundstation COMMAND --help
      what a command does, with examples

exit codes: 0 done, 2 wrong usage or a faulty vehicle or station file, 3 a link or port,
4 a file or recording, 5 anything else expected, 130 ended with Ctrl-C. A traceback is a
bug of this program."""


def build_parser() -> argparse.ArgumentParser:
    """The whole command line."""
    parser = argparse.ArgumentParser(
        prog="groundstation",
        description=_ABOUT,
        epilog=_END,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"groundstation {version('groundstation')}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=Parser)
    for command in COMMANDS:
        own = commands.add_parser(
            command.name,
            help=command.summary,
            description=command.paragraph,
            epilog=command.epilog,
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        command.add_arguments(own)
        own.set_defaults(run=command.run)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal without, say, a thin space shows a question mark rather than a traceback.
        with contextlib.suppress(AttributeError, ValueError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    chosen = build_parser().parse_args(arguments)
    try:
        code: int = chosen.run(chosen)
        sys.stdout.flush()
    except EXPECTED as error:
        failure = failure_of(error)
        line = " ".join(failure.line.split("\n"))
        print(f"groundstation: {line}", file=sys.stderr)
        return failure.exit_code
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone, as `head` does; what is left in the buffer has no reader either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return code
