"""The loop every link runs: open the source, read it, and when it is lost say so, wait a little and open it again."""

import threading
from collections.abc import Iterator
from typing import Protocol

from groundstation.clock import Clock
from groundstation.errors import GroundstationError
from groundstation.links.link import Deliver, LinkReport, Report

FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 1.0


class LinkLostError(GroundstationError):
    """The source cannot be opened or read; the message is the sentence for the person at the station."""


class Source(Protocol):
    """Something to read bytes from, owned by one thread."""

    @property
    def state(self) -> str:
        """While it is open: what it is doing, in a plain sentence without a full stop."""
        ...

    def open(self) -> None:
        """Open it, or raise `LinkLostError`."""
        ...

    def read(self) -> bytes:
        """What is there, after waiting a fraction of a second for some; none is no loss. Raises `LinkLostError`."""
        ...

    def close(self) -> None:
        """Let go of it, open or not."""
        ...


def read_for_ever(source: Source, clock: Clock, deliver: Deliver, report: Report, stop: threading.Event) -> None:
    """Read `source` until `stop` is set; see `groundstation.links.link.Link.run`. Never gives up."""
    reporting = _Reporting(report)
    waits = _waits_s()
    lost_ns: int | None = None
    while not stop.is_set():
        try:
            source.open()
            outage = "" if lost_ns is None else f", again after {duration(clock.now_ns() - lost_ns)} without it"
            lost_ns = None
            reporting.tell(True, source.state + outage)
            opened_as = source.state
            while not stop.is_set():
                data = source.read()
                if data:
                    deliver(data, clock.now_ns())
                    waits = _waits_s()
                if source.state != opened_as:
                    opened_as = source.state
                    reporting.tell(True, source.state)
        except LinkLostError as why:
            reporting.tell(False, str(why))
        except Exception as error:  # a reader that dies in silence would look like a silent vehicle
            reporting.tell(False, f"unexpected {type(error).__name__}: {error}; opening again")
        finally:
            source.close()
        if not stop.is_set():
            lost_ns = clock.now_ns() if lost_ns is None else lost_ns
            stop.wait(next(waits))


def duration(ns: int) -> str:
    """A length of time for a sentence, such as 2.5 s or 3 min 20 s."""
    if ns < 60_000_000_000:
        return f"{ns / 1e9:.1f} s"
    seconds = round(ns / 1e9)
    return f"{seconds // 60} min {seconds % 60} s"


class _Reporting:
    """Passes on a state only where it differs from the one before."""

    def __init__(self, report: Report) -> None:
        self._report = report
        self._last: LinkReport | None = None

    def tell(self, ok: bool, text: str) -> None:
        report = LinkReport(ok, text)
        if report != self._last:
            self._last = report
            self._report(report)


def _waits_s() -> Iterator[float]:
    wait_s = FIRST_WAIT_S
    while True:
        yield wait_s
        wait_s = min(2 * wait_s, LONGEST_WAIT_S)
