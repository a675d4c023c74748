"""What a check may look at: the timeline up to one moment, by measurement name."""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.config.station import Site
from groundstation.config.vehicle import Limits, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.state import Phase, State
from groundstation.table import Table
from groundstation.timeline import Series, Timeline


@dataclass(frozen=True, slots=True)
class Sample:
    """The newest value of a measurement, its age, and what is wrong with it (not a number, out of its valid range)."""

    value: float
    age_s: float
    problem: str | None


class Window:
    """The timeline as it stood at `at_ns`; nothing received later can be seen through it."""

    def __init__(self, timeline: Timeline, at_ns: int) -> None:
        self._timeline = timeline
        self.at_ns = at_ns

    @property
    def vehicle(self) -> Vehicle:
        """The vehicle file."""
        return self._timeline.vehicle

    @property
    def limits(self) -> Limits:
        """The vehicle file's limits."""
        return self._timeline.vehicle.limits

    @property
    def site(self) -> Site:
        """The site's place and air."""
        return self._timeline.site

    @property
    def elapsed_s(self) -> float:
        """Seconds since the session's start."""
        return (self.at_ns - self._timeline.started_ns) / NS_PER_S

    def in_layout(self, name: str) -> bool:
        """Whether the vehicle sends that measurement at all."""
        return name in self._timeline.sources

    def latest(self, name: str) -> Sample | None:
        """The newest value of a measurement; None where none has come, or the layout has none."""
        series = self._timeline.series(name)
        if series is None:
            return None
        n = int(np.searchsorted(series.t_ns, self.at_ns, side="right"))
        if n == 0:
            return None
        value = float(series.values[n - 1])
        problem = None
        if not math.isfinite(value):
            problem = "is not a number"
        elif not series.least <= value <= series.greatest:
            problem = "is outside what the sensor can say"
        return Sample(value, (self.at_ns - int(series.t_ns[n - 1])) / NS_PER_S, problem)

    def last(self, name: str, seconds: float) -> Series | None:
        """What came of a measurement over the last `seconds`; None where the layout has no such measurement."""
        series = self._timeline.series(name)
        if series is None:
            return None
        return series.before(self.at_ns).since(self.at_ns - round(seconds * NS_PER_S))

    def radio(self, seconds: float) -> tuple[int, int, int]:
        """Packets decoded, frames damaged and packets lost over the last `seconds`."""
        table: Table = self._timeline.radio
        low, high = np.searchsorted(table.t_ns, [self.at_ns - round(seconds * NS_PER_S), self.at_ns], side="right")
        decoded, damaged, lost = (int(table.column(c)[low:high].sum()) for c in ("decoded", "damaged", "lost"))
        return decoded, damaged, lost

    @property
    def packet_age_s(self) -> float | None:
        """Age of the newest packet of any kind; None before the first."""
        newest = self._timeline.last_packet_ns(self.at_ns)
        return None if newest is None else (self.at_ns - newest) / NS_PER_S

    @property
    def phase(self) -> Phase:
        """The phase of the flight."""
        return self._timeline.phase_at(self.at_ns)

    @property
    def state(self) -> State | None:
        """The newest estimate."""
        return self._timeline.state_at(self.at_ns)

    def station_ok(self, kind: str) -> tuple[bool, str] | None:
        """The newest station event of a kind: whether it is well, and its text; None where there was none."""
        for event in reversed(self._timeline.station_events):
            if event.kind == kind and event.at_ns <= self.at_ns:
                return event.ok, event.text
        return None
