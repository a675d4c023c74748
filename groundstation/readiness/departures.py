"""When a measurement last lay outside a limit, looking at each of its values once."""

from collections import deque

from groundstation.inputs import NS_PER_S
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Window
from groundstation.readiness.words import within


class Departures:
    """Remembers the times [ns] at which a measurement lay outside a limit, as far back as `seconds`."""

    __slots__ = ("_limit", "_name", "_reach_ns", "_times", "_upto_ns")

    def __init__(self, name: str, limit: Limit, seconds: float) -> None:
        self._name = name
        self._limit = limit
        self._reach_ns = round(seconds * NS_PER_S)
        self._times: deque[int] = deque()
        self._upto_ns = 0

    def lately(self, window: Window) -> int:
        """How many values of the time before the window's moment lay outside; NaN does."""
        if window.at_ns < self._upto_ns:  # an earlier moment is looked at: begin anew
            self._times.clear()
            self._upto_ns = 0
        since_ns = window.at_ns - self._reach_ns
        t_ns, values = window.rows_since(self._name, max(self._upto_ns, since_ns))
        if len(t_ns):
            self._times.extend(
                at_ns
                for at_ns, value in zip(t_ns.tolist(), values.tolist(), strict=True)
                if not within(value, self._limit)
            )
            self._upto_ns = int(t_ns[-1])
        while self._times and self._times[0] <= since_ns:
            self._times.popleft()
        return len(self._times)


def departures(window: Window, name: str, limit: Limit) -> int:
    """How many values of a measurement lay outside a limit over the vehicle file's steady time."""
    seconds = window.limits.steady_time_s
    memory = window.kept(("departures", name, limit), lambda: Departures(name, limit, seconds))
    return memory.lately(window)
