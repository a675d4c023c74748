"""What a check may look at: the timeline up to one moment, by measurement name.

A check asks with `need` and `recent`, which answer with usable numbers or raise `Unknown` with the reason as a
sentence: not in the layout, not come yet, too old, not a number, outside its valid range. So no check can mistake
missing data for a value.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from groundstation.config.station import Site
from groundstation.config.vehicle import Limits, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.measurements import measurement
from groundstation.readiness.words import seconds as in_seconds
from groundstation.readiness.words import spoken
from groundstation.state import Phase, State
from groundstation.table import Table
from groundstation.timeline import PHASES, RADIO_COLUMNS, STATE_COLUMNS, Series, Timeline

# A packet sent at least this often within limits.packet_age_s is held to it; one sent less often to
# limits.health_age_s, and never to less than MISSED_PERIODS of its own period. At 10 % loss six in a row are lost
# once in a million packets: a day of watching at 10 Hz.
FAST_PERIODS = 6.0
MISSED_PERIODS = 3.0

# Fewest values a mean is taken over: where radio loss leaves fewer in the time asked for, older ones are taken in.
MEAN_AT_LEAST = 3
# How far back they may lie: this many times the age allowed.
REACH_BACK = 2.0


class Unknown(Exception):  # noqa: N818  (it is an answer, not an error)
    """A check cannot say, and why. `stale` where the reason is only that the data are old or have not come."""

    def __init__(self, text: str, *, stale: bool = False) -> None:
        super().__init__(text)
        self.text = text
        self.stale = stale


@dataclass(frozen=True, slots=True)
class Sample:
    """The newest value of a measurement, its age, and what is wrong with it: not a number, outside its valid range."""

    value: float
    age_s: float
    problem: str | None


@dataclass(frozen=True, slots=True)
class _Reading:
    """Where a measurement is read: its table and place there, its valid range and the age allowed."""

    name: str
    packet: str
    column: str
    place: int
    least: float
    greatest: float
    age_s: float


class Window:
    """The timeline as it stood at `at_ns`; nothing received later can be seen through it."""

    def __init__(self, timeline: Timeline, at_ns: int) -> None:
        self._timeline = timeline
        self._readings = _readings_of(timeline)
        self._ends: dict[str, int] = {}
        self._rows: dict[str, list[float]] = {}
        self._starts: dict[tuple[str, float], int] = {}
        self.at_ns = at_ns
        self.vehicle: Vehicle = timeline.vehicle
        self.limits: Limits = timeline.vehicle.limits
        self.site: Site = timeline.site

    @property
    def elapsed_s(self) -> float:
        """Seconds since the session's start."""
        return (self.at_ns - self._timeline.started_ns) / NS_PER_S

    def in_layout(self, name: str) -> bool:
        """Whether the vehicle sends that measurement at all."""
        return name in self._timeline.sources

    def has_come(self, name: str) -> bool:
        """Whether any value of a measurement has come."""
        reading = self._readings.get(name)
        return reading is not None and self._end(reading.packet) > 0

    def allowed_age_s(self, name: str) -> float:
        """How old a measurement may be before it is stale; KeyError where the layout has none of that name."""
        return self._readings[name].age_s

    def greatest(self, name: str) -> float:
        """The greatest value a measurement can validly have; KeyError where the layout has none of that name."""
        return self._readings[name].greatest

    def latest(self, name: str) -> Sample | None:
        """The newest value of a measurement; None where none has come, or the layout has none."""
        reading = self._readings.get(name)
        if reading is None:
            return None
        end = self._end(reading.packet)
        if end == 0:
            return None
        value = self._row(reading.packet)[reading.place]
        return Sample(value, self._age_s(reading.packet), _problem(value, reading))

    def need(self, name: str) -> float:
        """The newest value of a measurement, fresh and valid [the measurement's SI unit].

        Raises:
            Unknown: The layout lacks it, none has come, it is too old, not a number or outside its valid range.
        """
        reading = self._fresh(name)
        value = self._row(reading.packet)[reading.place]
        problem = _problem(value, reading)
        if problem is not None:
            raise Unknown(f"The {spoken(name)} {problem}. Look at the sensor and its wiring.")
        return value

    def recent(self, name: str, seconds: float, *, at_least: int = MEAN_AT_LEAST) -> list[float]:
        """The values of the last `seconds`, oldest first, all valid, the newest fresh; `at_least` so many.

        Raises:
            Unknown: As `need`, or too few values have come, or one among them is not valid.
        """
        reading = self._fresh(name)
        end = self._end(reading.packet)
        start = self._start(reading.packet, seconds)
        if end - start < at_least:
            start = max(0, end - at_least)
            table = self._timeline.packets[reading.packet]
            reach_ns = round(max(seconds, REACH_BACK * reading.age_s) * NS_PER_S)
            if end - start < at_least or table.t_ns[start] < self.at_ns - reach_ns:
                raise Unknown(f"Too few values of the {spoken(name)} have come yet to judge it.", stale=True)
        values: list[float] = self._timeline.packets[reading.packet].column(reading.column)[start:end].tolist()
        least, greatest = reading.least, reading.greatest
        for value in values:
            if not least <= value <= greatest or not math.isfinite(value):
                raise Unknown(f"The {spoken(name)} {_problem(value, reading)}. Look at the sensor and its wiring.")
        return values

    def mean(self, name: str, seconds: float) -> float:
        """The mean of a measurement over the last `seconds`, under the conditions of `recent`."""
        values = self.recent(name, seconds)
        return math.fsum(values) / len(values)

    def unchanged(self, name: str) -> tuple[float, int]:
        """For how long [s, up to this moment], and over how many values, a measurement has not changed by a bit.

        Raises:
            Unknown: As `need`.
        """
        self.need(name)
        reading = self._readings[name]
        end = self._end(reading.packet)
        table = self._timeline.packets[reading.packet]
        values = table.column(reading.column)
        if end < 2 or values[end - 1] != values[end - 2]:
            return 0.0, 1
        # No more than is needed to be sure is looked at: a vehicle left on the bench is not searched from its start.
        low = self._start(reading.packet, _MOST_UNCHANGED * self.limits.stuck_time_s)
        differs = np.flatnonzero(values[low:end] != values[end - 1])
        start = low + int(differs[-1]) + 1 if differs.size else low
        if end - start < 2:
            return 0.0, 1
        return (self.at_ns - int(table.t_ns[start])) / NS_PER_S, end - start

    def impossible(self) -> Iterator[tuple[str, str]]:
        """Every measurement whose newest value is not a number or outside its valid range, and what is wrong.

        Fields without a standard meaning count under their own name.

        Raises:
            Unknown: A kind of packet that has come is too old now.
        """
        for name in _judged_of(self._timeline):
            reading = self._readings[name]
            if self._end(reading.packet) == 0:
                continue
            if not 0.0 <= self._age_s(reading.packet) <= reading.age_s:
                self._fresh(name)
            value = self._row(reading.packet)[reading.place]
            if not reading.least <= value <= reading.greatest or not math.isfinite(value):
                yield name, str(_problem(value, reading))

    def last(self, name: str, seconds: float) -> Series | None:
        """What came of a measurement over the last `seconds`; None where the layout has no such measurement."""
        series = self._timeline.series(name)
        if series is None:
            return None
        return series.before(self.at_ns).since(self.at_ns - round(seconds * NS_PER_S))

    def radio(self, seconds: float) -> tuple[int, int, int]:
        """Packets decoded, frames damaged and packets lost over the last `seconds`."""
        table = self._timeline.radio
        low = table.t_ns.searchsorted(self.at_ns - round(seconds * NS_PER_S), side="right")
        high = self._end(_RADIO)
        decoded, damaged, lost = (int(sum(table.column(c)[low:high].tolist())) for c in RADIO_COLUMNS)
        return decoded, damaged, lost

    @property
    def packet_age_s(self) -> float | None:
        """Age of the newest packet of any kind; None before the first."""
        ages = [self._age_s(packet) for packet in self._timeline.packets if self._end(packet)]
        return min(ages) if ages else None

    @property
    def phase(self) -> Phase:
        """The phase of the flight."""
        return self._timeline.phase_at(self.at_ns)

    @property
    def state(self) -> State | None:
        """The newest estimate."""
        return self._timeline.state_at(self.at_ns)

    def need_phase(self) -> Phase:
        """The phase of the newest estimate.

        Raises:
            Unknown: There is no estimate yet, or none has been made for too long.
        """
        if self._end(_STATES) == 0:
            raise Unknown("The phase of the flight has not been estimated yet.", stale=True)
        motion = [self._readings[n].age_s for n in ("pressure", "accel_x") if n in self._readings]
        most_s = max(motion, default=self.limits.packet_age_s)
        age_s = self._age_s(_STATES)
        if not 0.0 <= age_s <= most_s:
            raise Unknown(
                f"The phase of the flight was last estimated {in_seconds(age_s)} ago, {in_seconds(most_s)} allowed.",
                stale=True,
            )
        return PHASES[int(self._row(_STATES)[_PHASE])]

    def station_ok(self, kind: str) -> tuple[bool, str] | None:
        """The newest station event of a kind: whether it is well, and its text; None where there was none."""
        for event in reversed(self._timeline.station_events):
            if event.kind == kind and event.at_ns <= self.at_ns:
                return event.ok, event.text
        return None

    def _fresh(self, name: str) -> _Reading:
        reading = self._readings.get(name)
        if reading is None:
            meaning = measurement(name)
            what = f" ({meaning.text})" if meaning else ""
            raise Unknown(
                f"The vehicle does not send {name}{what}. Add it to a packet in the vehicle file and the firmware."
            )
        if self._end(reading.packet) == 0:
            raise Unknown(f"The {spoken(name)} has not come yet ({name}, packet {reading.packet}).", stale=True)
        age_s = self._age_s(reading.packet)
        if not 0.0 <= age_s <= reading.age_s:
            raise Unknown(
                f"The {spoken(name)} is {in_seconds(age_s)} old, {in_seconds(reading.age_s)} allowed. "
                f"Look for why the packet {reading.packet} no longer comes.",
                stale=True,
            )
        return reading

    def _table(self, table: str) -> Table:
        if table == _RADIO:
            return self._timeline.radio
        return self._timeline.states if table == _STATES else self._timeline.packets[table]

    def _end(self, name: str) -> int:
        """How many rows of a table had been received."""
        end = self._ends.get(name)
        if end is None:
            t_ns = self._table(name).t_ns
            end = len(t_ns)
            if end and t_ns[end - 1] > self.at_ns:
                end = int(t_ns.searchsorted(self.at_ns, side="right"))
            self._ends[name] = end
        return end

    def _start(self, packet: str, seconds: float) -> int:
        """The first row of a packet's table received within the last `seconds`."""
        key = (packet, seconds)
        start = self._starts.get(key)
        if start is None:
            from_ns = self.at_ns - round(seconds * NS_PER_S)
            start = self._starts[key] = int(self._timeline.packets[packet].t_ns.searchsorted(from_ns, side="right"))
        return start

    def _row(self, name: str) -> list[float]:
        row = self._rows.get(name)
        if row is None:
            row = self._rows[name] = self._table(name).row(self._end(name) - 1).tolist()
        return row

    def _age_s(self, name: str) -> float:
        return (self.at_ns - int(self._table(name).t_ns[self._end(name) - 1])) / NS_PER_S


_RADIO = "radio table"  # with a space, which no packet's name has
_STATES = "state table"
_PHASE = STATE_COLUMNS.index("phase")
_MOST_UNCHANGED = 8.0
_INDEX: WeakKeyDictionary[Timeline, dict[str, _Reading]] = WeakKeyDictionary()
_JUDGED: WeakKeyDictionary[Timeline, tuple[str, ...]] = WeakKeyDictionary()


def _problem(value: float, reading: _Reading) -> str | None:
    if not math.isfinite(value):
        return "is not a number"
    if not reading.least <= value <= reading.greatest:
        return "is outside its valid range"
    return None


def _readings_of(timeline: Timeline) -> dict[str, _Reading]:
    """Where each of a timeline's measurements is read; worked out once a timeline, because its layout is fixed."""
    index = _INDEX.get(timeline)
    if index is None:
        limits = timeline.vehicle.limits
        rates = {packet.name: packet.rate_hz for packet in timeline.vehicle.telemetry.packets}
        index = _INDEX[timeline] = {
            name: _Reading(
                name,
                source.table,
                source.column,
                timeline.packets[source.table].columns.index(source.column),
                source.least,
                source.greatest,
                _allowed_age_s(limits, rates[source.table]),
            )
            for name, source in timeline.sources.items()
        }
    return index


def _allowed_age_s(limits: Limits, rate_hz: float) -> float:
    if rate_hz * limits.packet_age_s >= FAST_PERIODS:
        return limits.packet_age_s
    return max(limits.health_age_s, MISSED_PERIODS / rate_hz)


def _judged_of(timeline: Timeline) -> tuple[str, ...]:
    """Each column once, under its standard name where it has one; own fields only where they have a valid range."""
    judged = _JUDGED.get(timeline)
    if judged is None:
        seen: dict[tuple[str, str], str] = {}
        for name, source in timeline.sources.items():
            if measurement(name) or source.least > -math.inf or source.greatest < math.inf:
                seen.setdefault((source.table, source.column), name)
        judged = _JUDGED[timeline] = tuple(seen.values())
    return judged
