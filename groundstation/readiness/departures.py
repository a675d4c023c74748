"""When a measurement last lay outside a limit, looking at each of its values once."""

from collections import deque

from groundstation.inputs import NS_PER_S
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Window
from groundstation.readiness.words import within


class Departures:
    """Remembers the times [ns] at which a measurement lay outside a limit, as far back as `seconds`."""

    __slots__ = ("_limit", "_name", "_reach_ns", "_rows", "_times", "_upto_ns")

    def __init__(self, name: str, limit: Limit, seconds: float) -> None:
        self._name = name
        self._limit = limit
        self._reach_ns = round(seconds * NS_PER_S)
        self._times: deque[int] = deque()
        self._rows = 0  # how many rows had come in all
        self._upto_ns = 0

    def lately(self, window: Window) -> int:
        """How many values of the time before the window's moment lay outside; NaN does."""
        rows, newest_ns, value = window.newest(self._name)
        since_ns = window.at_ns - self._reach_ns
        if rows == self._rows + 1:
            if not within(value, self._limit):
                self._times.append(newest_ns)
        elif rows != self._rows:
            self._look_back(window, since_ns, again=rows < self._rows)
        self._rows, self._upto_ns = rows, newest_ns
        while self._times and self._times[0] <= since_ns:
            self._times.popleft()
        return len(self._times)

    def _look_back(self, window: Window, since_ns: int, *, again: bool) -> None:
        """Take in several rows; all of the reach again where an earlier moment is looked at."""
        if again:
            self._times.clear()
            self._upto_ns = 0
        t_ns, values = window.rows_since(self._name, max(self._upto_ns, since_ns))
        for at_ns, value in zip(t_ns.tolist(), values.tolist(), strict=True):
            if not within(value, self._limit):
                self._times.append(at_ns)


def departures(window: Window, name: str, limit: Limit) -> int:
    """How many values of a measurement, always held to the one limit, lay outside it over the steady time."""
    memory = window.kept(("departures", name), lambda: Departures(name, limit, window.limits.steady_time_s))
    return memory.lately(window)
