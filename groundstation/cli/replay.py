"""`groundstation replay`: a recording on the same pages as a live session."""

import argparse
import asyncio
from pathlib import Path

from groundstation.cli.command import Command, port_number
from groundstation.cli.pages import Serving, check_free, until_ended
from groundstation.cli.replaying import timeline_of
from groundstation.replay import ReplaySession


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", type=Path, help="a recording, also one that was cut off")
    parser.add_argument("--port", metavar="P", type=port_number, default=8050, help="port of the pages (8050)")


def _run(arguments: argparse.Namespace) -> int:
    serving = Serving("127.0.0.1", arguments.port)
    check_free(serving)
    session = ReplaySession(timeline_of(arguments.recording), arguments.recording.name)

    async def work() -> None:
        stop = asyncio.Event()
        await until_ended(serving.pages(session), stop)

    asyncio.run(work())
    return 0


REPLAY = Command(
    name="replay",
    summary="a recording on the same pages",
    paragraph="""\
Shows a recording on the pages of the live station, with play, pause, speed and jump. The
past never looks like the present: the page says PAST, and how long ago.""",
    examples=(
        ("groundstation replay session.sqlite", "then open the address it prints"),
        ("groundstation replay session.sqlite --port 8060", "beside a live station that has port 8050"),
    ),
    never="It does not change the recording, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
