"""The session's clock: nanoseconds since 1970-01-01 UTC that never jump and never run backwards."""

import sys
import time
from collections.abc import Callable
from typing import Protocol


class Clock(Protocol):
    """Whoever can say what time it is in the session."""

    def now_ns(self) -> int:
        """The session's time now [ns]."""
        ...


def steady_ns() -> int:
    """Nanoseconds of a clock that only goes forwards; its zero means nothing."""
    if sys.platform == "linux":
        # Unlike CLOCK_MONOTONIC it goes on while the laptop sleeps, so that old data does not look fresh on waking.
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    return time.monotonic_ns()


class SessionClock:
    """Wall time read once, at the start, and carried on by a steady clock.

    Setting the laptop's clock, by hand or by a time server, changes nothing within a session. Any thread may ask.
    """

    def __init__(
        self, *, wall_ns: Callable[[], int] = time.time_ns, steady_ns: Callable[[], int] = steady_ns
    ) -> None:
        self._steady_ns = steady_ns
        self._steady_at_start_ns = steady_ns()
        self.started_ns = wall_ns()

    def now_ns(self) -> int:
        """The session's time now [ns]."""
        return self.started_ns + self._steady_ns() - self._steady_at_start_ns
