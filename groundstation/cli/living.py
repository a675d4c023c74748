"""A live session as `live` and `demo` run it: links, recording, pages, and the verdict's changes on the terminal."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from groundstation.cli.failure import FILE, LINK, USAGE, Failure
from groundstation.cli.known_proofs import known_proofs
from groundstation.cli.pages import Serving, check_free, ended_by_signals
from groundstation.cli.shown import local_clock
from groundstation.clock import SessionClock
from groundstation.config.station import Station
from groundstation.described import Described
from groundstation.links.link import Link
from groundstation.links.url import open_link
from groundstation.mqtt import parse_broker
from groundstation.readiness.finding import Assessment
from groundstation.station import VerdictFile, run_live

REASONS_SHOWN = 3


@dataclass(frozen=True, slots=True)
class Listening:
    """What a live session listens to, where it records, publishes and shows; `seconds` ends it by itself."""

    links: tuple[str, ...]
    folders: tuple[Path, ...]
    serving: Serving
    broker: str | None = None
    verdicts: Path | None = None
    seconds: float | None = None


def links_of(station: Station, chosen: Sequence[str]) -> tuple[str, ...]:
    """The links to listen to: those chosen, else the station file's.

    Raises:
        Failure: Neither names one.
    """
    links = tuple(chosen) or station.links
    if not links:
        raise Failure("found no link to listen to: give one with --link; groundstation ports lists them", USAGE)
    return links


def folders_of(station: Station, chosen: Path | None) -> tuple[Path, ...]:
    """Where to record: the folder chosen, else the station file's; then where that file says to go on."""
    second = station.recording.fallback_folder
    first = chosen or Path(station.recording.folder).expanduser()
    return (first,) if second is None else (first, Path(second).expanduser())


def opened(urls: Sequence[str], clock: SessionClock) -> list[Link]:
    """The links of some URLs, which stamp with the clock.

    Raises:
        Failure: One is given twice.
        LinkUrlError: One is none.
    """
    links = [open_link(url, clock) for url in urls]
    if len({link.name for link in links}) != len(links):
        raise Failure("a link is given twice: give each once", LINK)
    return links


def check_before_listening(listening: Listening) -> None:
    """Find in one go what would only fail once everything runs.

    Raises:
        Failure: A folder or the pages' port cannot be used.
        BrokerAddressError: The broker's address is not one.
    """
    if listening.broker is not None:
        parse_broker(listening.broker)
    first = listening.folders[0]
    if not first.is_dir():
        raise Failure(f"the recording folder {first} does not exist: make it, or name another with --record", FILE)
    check_free(listening.serving)


def listen(described: Described, listening: Listening) -> int:
    """Run a live session until Ctrl-C, and return the exit code."""
    check_before_listening(listening)
    clock = SessionClock()
    links = opened(listening.links, clock)
    told = _Told(listening.verdicts)
    known = known_proofs(described.vehicle, described.station, listening.folders[0])
    for look in known[-1:]:
        print(f"Bench proofs: {look.text}", flush=True)

    async def work() -> str:
        stop = asyncio.Event()
        if listening.seconds is not None:
            asyncio.get_running_loop().call_later(listening.seconds, stop.set)
        with ended_by_signals(stop):
            return await run_live(
                described,
                links,
                clock=clock,
                folders=listening.folders,
                program_version=version("groundstation"),
                broker=listening.broker,
                pages=listening.serving.pages,
                on_verdict=told,
                stop=stop,
                told_at_start=known,
            )

    try:
        # The MQTT client needs a selector loop, which is not what Windows takes by itself.
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            closing = runner.run(work())
    finally:
        told.close()
    print(f"Session ended; {closing}.", flush=True)
    return 0


class _Told:
    """Prints each change of the verdict, and writes it to a file where one is wanted."""

    def __init__(self, path: Path | None) -> None:
        try:
            self._file = None if path is None else VerdictFile(path)
        except OSError as error:
            raise Failure(f"cannot write {path}: {error.strerror}", FILE) from error

    def __call__(self, change: Assessment, started_ns: int) -> None:
        print(verdict_line(change), flush=True)
        if self._file is not None:
            self._file(change, started_ns)

    def close(self) -> None:
        if self._file is not None:
            self._file.close()


def verdict_line(change: Assessment) -> str:
    """One change of the verdict, with its first reasons."""
    said = [finding.text for finding in change.reasons[:REASONS_SHOWN]]
    more = len(change.reasons) - len(said)
    if more > 0:
        said.append(f"({more} more)")
    if change.waived:
        said.append(f"({len(change.waived)} waived)")
    return "  ".join([local_clock(change.at_ns), f"{change.verdict.value:<4}", *said]).rstrip()
