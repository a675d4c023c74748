"""What a link is: a source of bytes with a name, read in a thread of its own. Nothing is ever written to it."""

import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

MAX_READ = 65_536  # bytes taken at once, so that one delivery stays small
FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 1.0


@dataclass(frozen=True, slots=True)
class LinkReport:
    """What became of a link, in a plain sentence; `ok` while bytes can come in."""

    ok: bool
    text: str


Deliver = Callable[[bytes, int], None]  # the bytes, and when they were received [ns]
Report = Callable[[LinkReport], None]


class Link(Protocol):
    """A source of bytes. `name` tells it from the other links of the session."""

    @property
    def name(self) -> str:
        """Such as serial:/dev/ttyUSB0."""
        ...

    def run(self, deliver: Deliver, report: Report, stop: threading.Event) -> None:
        """Read until `stop` is set, in the calling thread; losses are reported and the source is opened again.

        Args:
            deliver: Called with bytes as soon as they are there, and their receive time.
            report: Called on each change of state.
            stop: Ends the run within a fraction of a second.
        """
        ...


class ChangesOnly:
    """Passes on a report only where it differs from the one before."""

    def __init__(self, report: Report) -> None:
        self._report = report
        self._last: LinkReport | None = None

    def __call__(self, ok: bool, text: str) -> None:
        """Report this state, unless it is the one reported last."""
        report = LinkReport(ok, text)
        if report != self._last:
            self._last = report
            self._report(report)


def waits_s() -> Iterator[float]:
    """How long to wait before each further try: longer each time, but never long, for the person is waiting too."""
    wait_s = FIRST_WAIT_S
    while True:
        yield wait_s
        wait_s = min(2 * wait_s, LONGEST_WAIT_S)


def duration(ns: int) -> str:
    """A length of time for a sentence, such as 2.5 s or 3 min 20 s."""
    seconds = ns / 1e9
    if seconds < 60:
        return f"{seconds:.1f} s"
    whole = round(seconds)
    return f"{whole // 60} min {whole % 60} s"
