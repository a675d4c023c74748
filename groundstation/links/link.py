"""What a link is: a source of bytes with a name, read in a thread of its own. Nothing is ever written to it."""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

MAX_READ = 65_536  # bytes taken at once, so that one delivery stays small


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
            stop: Ends the run, soon after it is set.
        """
        ...
