"""`groundstation assess`: each change of the verdict in a recording."""

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

from groundstation.cli.command import Command
from groundstation.cli.replaying import timeline_of
from groundstation.cli.shown import from_liftoff, local_clock, local_date, minutes, quantity
from groundstation.inputs import NS_PER_S
from groundstation.link_lines import session_lines
from groundstation.readiness.finding import Assessment
from groundstation.state import FlightEvent, FlightEventKind
from groundstation.timeline import Timeline
from groundstation.verdict_log import verdict_record


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("recording", metavar="RECORDING", type=Path, help="a recording, also one that was cut off")
    parser.add_argument("--json", action="store_true", help="one JSON object a line, for your own programs")


def _run(arguments: argparse.Namespace) -> int:
    timeline = timeline_of(arguments.recording)
    if arguments.json:
        for change in timeline.verdict_changes:
            print(json.dumps(verdict_record(change, timeline.started_ns), ensure_ascii=False))
        return 0
    for line in table_lines(timeline, title=arguments.recording.name):
        print(line)
    return 0


def table_lines(timeline: Timeline, *, title: str) -> Iterator[str]:
    """The readable table: every change of the verdict and every event of the flight, in order of time."""
    length_s = (timeline.now_ns - timeline.started_ns) / NS_PER_S
    yield f"{title}: {timeline.vehicle.name}, {local_date(timeline.started_ns)}, {minutes(length_s)} long"
    yield ""
    liftoff_ns = next((e.at_ns for e in timeline.events if e.kind is FlightEventKind.LIFTOFF), None)
    yield f"{'time':>9}  {'clock':<13}  what"
    rows: list[tuple[int, Assessment | FlightEvent]] = [(c.at_ns, c) for c in timeline.verdict_changes]
    rows += [(event.at_ns, event) for event in timeline.events]
    for at_ns, row in sorted(rows, key=lambda row: row[0]):
        if liftoff_ns is None:
            when = minutes((at_ns - timeline.started_ns) / NS_PER_S)
        else:
            when = from_liftoff(at_ns, liftoff_ns)
        head = f"{when:>9}  {local_clock(at_ns):<13}  "
        if isinstance(row, FlightEvent):
            yield f"{head}{row.kind.value} at {quantity(row.height_m, 1, 'm')} above the pad"
            continue
        yield f"{head}{row.verdict.value}"
        for finding in row.reasons:
            channel = "" if finding.channel is None else f" {finding.channel}"
            yield f"{' ' * len(head)}  {finding.check}{channel}: {finding.text}"
    if not rows:
        yield f"{'':>9}  {'':<13}  the recording is too short for a verdict"
    yield ""
    yield from session_lines(timeline)
    yield ""
    yield "Advice, not permission: the range safety officer decides, and continuity is not safety."


ASSESS = Command(
    name="assess",
    summary="each change of the verdict in a recording",
    paragraph="""\
Runs a recording through the same pipeline as the live station and prints the first
verdict and each change of it, with the reasons that stood against GO, and the flight's
events. The same recording always gives the same verdicts at the same times.

With --json, one object a line: t (seconds since the recording's start), verdict, and
reasons, each with check, channel (where there is one), value, unit, limit (a number when
one-sided, [least, greatest] for a band, else null) and text.""",
    examples=(
        ("groundstation assess session.sqlite", "a table to read"),
        ("groundstation assess session.sqlite --json", "lines for a program"),
    ),
    never="It does not change the recording, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
