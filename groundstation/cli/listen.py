"""`groundstation listen`: find out what a receiver that does not decode is sending."""

import argparse
import threading
import time
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode

from decoders.identify import MOST_BYTES, Identification, identify
from decoders.identifying.evidence import Kind
from groundstation.cli.command import Command, seconds_above_zero
from groundstation.cli.failure import FILE, LINK, OTHER, USAGE, Failure
from groundstation.cli.heard import Heard, report_lines
from groundstation.clock import SessionClock
from groundstation.links.link import LinkReport
from groundstation.links.url import open_link

USUAL_BAUDS = (57_600, 115_200, 9_600, 38_400, 19_200, 230_400, 460_800, 921_600, 4_800)  # common practice, no source
_SECONDS, _SECONDS_A_SPEED = 10.0, 4.0
_PATIENCE_S = 3.0  # for a link that cannot be opened at once
_FILE_QUIET_S = 0.5  # a file that gave nothing for so long has ended
_POLL_S = 0.05
_RECORDING = b"SQLite format 3\0"  # the first bytes of a database file: https://www.sqlite.org/fileformat.html


@dataclass(frozen=True, slots=True)
class _AtSpeed:
    baud: int
    heard: Heard
    found: Identification


def gather(url: str, seconds: float) -> Heard:
    """What comes from a link in that time; a file is read to its end.

    Raises:
        LinkUrlError: The URL is not one.
        Failure: The link cannot be opened.
    """
    link = open_link(url, SessionClock())
    ends_by_itself = url.lower().startswith("file:")
    kept = bytearray()
    count = 0
    last_s = time.monotonic()
    report: LinkReport | None = None
    opened = False

    def deliver(data: bytes, received_ns: int) -> None:
        nonlocal count, last_s
        kept.extend(data)
        count += len(data)
        last_s = time.monotonic()
        if len(kept) > 2 * MOST_BYTES:
            del kept[:-MOST_BYTES]

    def hear(said: LinkReport) -> None:
        nonlocal report, opened
        report = said
        opened = opened or said.ok

    stop = threading.Event()
    reader = threading.Thread(target=link.run, args=(deliver, hear, stop), daemon=True)
    started_s = last_s
    reader.start()
    try:
        while (waited_s := time.monotonic() - started_s) < seconds:
            time.sleep(_POLL_S)
            if not opened and waited_s > _PATIENCE_S:
                break
            if ends_by_itself and opened and time.monotonic() - last_s > _FILE_QUIET_S:
                break
    finally:
        stop.set()
        reader.join(timeout=5.0)
    if not opened:
        raise Failure("the link could not be opened" if report is None else report.text, LINK)
    return Heard(link.name, bytes(kept), count, None if ends_by_itself else waited_s)


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("link", metavar="LINK", help="serial:PORT?baud=N, tcp://HOST:PORT, or file:PATH of raw bytes")
    parser.add_argument(
        "--seconds",
        metavar="S",
        type=seconds_above_zero,
        help=f"how long to listen ({_SECONDS:.0f}; with --bauds {_SECONDS_A_SPEED:.0f} at each speed)",
    )
    parser.add_argument(
        "--bauds", action="store_true", help="try the usual speeds of a serial port one after another"
    )


def _run(arguments: argparse.Namespace) -> int:
    if arguments.bauds:
        return _every_speed(arguments.link, arguments.seconds or _SECONDS_A_SPEED)
    heard = gather(arguments.link, arguments.seconds or _SECONDS)
    if heard.data.startswith(_RECORDING):
        raise Failure(
            f"{heard.link} is a database, perhaps a recording: groundstation replay shows a recording", FILE
        )
    return _told(heard, identify(heard.data))


def _told(heard: Heard, found: Identification) -> int:
    for line in report_lines(heard, found):
        print(line)
    if heard.count == 0:
        return LINK
    return OTHER if found.proposed is None else 0


def _every_speed(url: str, seconds: float) -> int:
    place, _, query = url.partition("?")
    if not place.lower().startswith("serial:"):
        raise Failure(f"found {url!r} with --bauds, expected a link that begins with serial:", USAGE)
    open_link(url, SessionClock())  # a faulty URL is told before anything is opened
    settings = dict(parse_qsl(query))
    first = [int(settings["baud"])] if "baud" in settings else []
    tried: list[_AtSpeed] = []
    print(f"{'baud':>7} {'bytes':>8} {'printable':>9} {'entropy':>7}  framing")
    for baud in dict.fromkeys((*first, *USUAL_BAUDS)):
        heard = gather(f"{place}?{urlencode({**settings, 'baud': baud})}", seconds)
        found = identify(heard.data)
        tried.append(_AtSpeed(baud, heard, found))
        print(_row(tried[-1]), flush=True)
    telling = [one for one in tried if one.found.proposed is not None]
    print()
    if telling:
        best = max(telling, key=lambda one: _worth(one.found))
        print(f"A framing is seen at {len(telling)} of {len(tried)} speeds, best at {best.baud} baud. There:")
    else:
        best = max(tried, key=lambda one: one.heard.count)
        print(f"No framing is seen at any of {len(tried)} speeds. At {best.baud} baud, where the most bytes came:")
    print()
    return _told(best.heard, best.found)


def _row(one: _AtSpeed) -> str:
    figures = one.found.statistics
    printable = f"{figures.printable / figures.count:.0%}" if figures.count else "-"
    proposed = one.found.proposed
    framing = "cannot tell" if proposed is None else f"{proposed.kind.value} ({proposed.strength.name.lower()})"
    if not one.heard.count:
        framing = "nothing came"
    return f"{one.baud:>7} {one.heard.count:>8} {printable:>9} {figures.entropy_bits:>7.2f}  {framing}"


def _worth(found: Identification) -> float:
    best = found.proposed
    if best is None:
        return -1.0
    # lines read at a wrong speed still repeat at one distance
    repeats_only = best.kind is Kind.SYNC_FIXED and best.checksum is None
    return best.score - 0.5 if repeats_only else best.score


LISTEN = Command(
    name="listen",
    summary="what a receiver that does not decode is sending",
    paragraph="""\
Listens to a link for a while, or reads a file of raw bytes, and says what can be told about
the stream: byte rate, printable share, repeats, likely framing, the checksum found by trial,
counters, bytes that never change; each with its count of evidence. It ends with a telemetry
description to start from, or says plainly that it cannot tell, what was ruled out, and what
to try next. Nothing is recorded.""",
    examples=(
        ("groundstation listen serial:/dev/ttyUSB0?baud=57600", "ten seconds of a receiver"),
        ("groundstation listen serial:/dev/ttyUSB0 --bauds", "the same at each usual speed"),
        ("groundstation listen file:capture.bin", "bytes captured before"),
    ),
    notes="exit codes: 0 a framing is proposed, 5 it cannot tell, 3 nothing came or the link cannot be opened.",
    never="It listens, also at other speeds, and nothing is ever sent to the receiver or the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
