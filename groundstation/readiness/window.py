"""What a check may look at: the timeline up to one moment, by measurement name.

A check asks with `need`, `recent` and `mean`, which answer with usable numbers or raise `Unknown` with the reason as
a sentence: not in the layout, not come yet, too old, not a number, outside its valid range. So no check can mistake
missing data for a value.
"""

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import TypeVar, cast

import numpy as np

from groundstation.config.telemetry import callsigns_of
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, StationEvent
from groundstation.measurements import measurement
from groundstation.readiness.reading import Newest, NewestPacket, Reading, SessionFacts, facts_of, problem
from groundstation.readiness.words import seconds as in_seconds
from groundstation.readiness.words import spoken
from groundstation.state import Phase, Restart, State
from groundstation.table import FloatArray, IntArray
from groundstation.timeline import PHASES, Series, Timeline

# Fewest values a mean is taken over: where radio loss leaves fewer in the time asked for, older ones are taken in.
MEAN_AT_LEAST = 3
# How far back they may lie: this many times the age allowed.
REACH_BACK = 2.0
# How much of the past is searched for a change, in multiples of limits.stuck_time_s: more than any check asks for.
SEARCHED_UNCHANGED = 8.0
_SHORT = 16  # most sensors change within so many values, and a short list is searched faster than an array

T = TypeVar("T")


class Unknown(Exception):  # noqa: N818  (it is an answer, not an error)
    """A check cannot say, and why. `stale` where the reason is only that the data are old or have not come."""

    def __init__(self, text: str, *, stale: bool = False) -> None:
        super().__init__(text)
        self.text = text
        self.stale = stale


@dataclass(frozen=True, slots=True)
class Sample:
    """The newest value of a measurement, its age, and what is wrong with it (not a number, out of range)."""

    value: float
    age_s: float
    problem: str | None


class Window:
    """The timeline as it stood at `at_ns`; nothing received later can be seen through it.

    Args:
        timeline: The session.
        at_ns: The moment.
        vehicle: The vehicle file as it holds at this point of the count; None for the timeline's.
    """

    __slots__ = ("_facts", "_newest", "_once", "_timeline", "at_ns", "limits", "site", "vehicle")

    def __init__(self, timeline: Timeline, at_ns: int, vehicle: Vehicle | None = None) -> None:
        self._timeline = timeline
        self._facts: SessionFacts = facts_of(timeline)
        self._newest: dict[str, NewestPacket] = {}
        self._once: dict[Hashable, object] = {}
        self.at_ns = at_ns
        self.vehicle = timeline.vehicle if vehicle is None else vehicle
        self.limits = self.vehicle.limits
        self.site = timeline.site

    @property
    def elapsed_s(self) -> float:
        """Seconds since the session's start."""
        return (self.at_ns - self._timeline.started_ns) / NS_PER_S

    def fixed(self, key: Hashable, make: Callable[["Window"], T]) -> T:
        """What `make` gives, worked out once a session: for what follows from the vehicle file and the site alone."""
        known = self._facts.fixed
        if key not in known:
            known[key] = make(self)
        return cast(T, known[key])

    def in_layout(self, name: str) -> bool:
        """Whether the vehicle sends that measurement at all."""
        return name in self._facts.readings

    def has_come(self, name: str) -> bool:
        """Whether any value of a measurement has come."""
        reading = self._facts.readings.get(name)
        return reading is not None and self._of(reading.packet).end > 0

    @property
    def all_have_come(self) -> bool:
        """Whether packets of every kind have come."""
        return all(self._of(packet).end for packet in self._timeline.packets)

    def allowed_age_s(self, name: str) -> float:
        """How old a measurement may be before it is stale; KeyError where the layout has none of that name."""
        return self._facts.age_s[self._facts.readings[name].packet]

    def greatest(self, name: str) -> float:
        """The greatest value a measurement can validly have; KeyError where the layout has none of that name."""
        return self._facts.readings[name].greatest

    def label(self, name: str, value: float) -> str | None:
        """What the vehicle file calls a value of a measurement; None where it has no name for it."""
        source = self._timeline.sources.get(name)
        return None if source is None else source.labels.of(value)

    def latest(self, name: str) -> Sample | None:
        """The newest value of a measurement; None where none has come, or the layout has none."""
        reading = self._facts.readings.get(name)
        if reading is None:
            return None
        newest = self._of(reading.packet)
        if newest.end == 0:
            return None
        value = newest.row[reading.place]
        return Sample(value, newest.age_s, problem(value, reading))

    def need(self, name: str) -> float:
        """The newest value of a measurement, fresh and valid [the measurement's SI unit].

        Raises:
            Unknown: The layout lacks it, none has come, it is too old, not a number or outside its valid range.
        """
        reading, newest = self._fresh(name)
        value = newest.row[reading.place]
        if not reading.least <= value <= reading.greatest:
            raise _impossible(reading, value)
        return value

    def recent(self, name: str, seconds: float, *, at_least: int = MEAN_AT_LEAST) -> list[float]:
        """The values of the last `seconds`, oldest first, all valid, the newest fresh; `at_least` so many.

        Raises:
            Unknown: As `need`, or too few values have come, or one among them is not valid.
        """
        reading, newest = self._fresh(name)
        start = newest.start(self.at_ns, seconds)
        if newest.end - start < at_least:
            start = max(0, newest.end - at_least)
            reach_ns = round(max(seconds, REACH_BACK * self._facts.age_s[reading.packet]) * NS_PER_S)
            if newest.end - start < at_least or newest.t_ns[start] < self.at_ns - reach_ns:
                raise Unknown(
                    f"Too few values of the {spoken(name)} have come lately to judge it. Look at the radio link.",
                    stale=True,
                )
        values: list[float] = newest.table.column(reading.column)[start : newest.end].tolist()
        # A NaN may hide from min and max, but not from the sum.
        if not (reading.least <= min(values) and max(values) <= reading.greatest and math.isfinite(sum(values))):
            raise _impossible(reading, next(v for v in values if problem(v, reading)))
        return values

    def together(self, names: tuple[str, ...], seconds: float) -> tuple[FloatArray, FloatArray]:
        """Several measurements over the last `seconds`, at the times of the first: the others' newest values then.

        Args:
            names: The measurements.
            seconds: How far back.
        Returns:
            (n,) times [s, at most 0, counted from this moment] and (names, n) values; moments at which a value is not
            valid, or had not come, are left out.
        Raises:
            Unknown: As `need`, of any of them.
        """
        return self.once(("together", names, seconds), lambda w: w._rows_together(names, seconds))

    def _rows_together(self, names: tuple[str, ...], seconds: float) -> tuple[FloatArray, FloatArray]:
        sources = [self._fresh(name) for name in names]
        for reading, newest in sources:
            value = newest.row[reading.place]
            if not reading.least <= value <= reading.greatest:
                raise _impossible(reading, value)
        first = sources[0][1]
        start = first.start(self.at_ns, seconds)
        t_ns = first.t_ns[start : first.end]
        t_s = (t_ns - self.at_ns) / NS_PER_S
        together = self.kept(("places", names), lambda: _Places([reading for reading, _ in sources]))
        if together.in_one_packet:
            rows = first.table.rows(start, first.end)[together.places]
        else:
            rows = np.array([_held(reading, newest, t_ns) for reading, newest in sources])
        good = (rows >= together.least) & (rows <= together.greatest)
        if good.all():
            return t_s, rows
        whole = good.all(axis=0)
        return t_s[whole], rows[:, whole]

    def once(self, key: Hashable, make: Callable[["Window"], T]) -> T:
        """What `make` gives, worked out once for this moment, for checks that ask the same of it."""
        if key not in self._once:
            self._once[key] = make(self)
        return cast(T, self._once[key])

    def newest(self, name: str) -> tuple[int, int, float]:
        """How many rows of a measurement's packet have come, when the newest did [ns], and the value in it.

        KeyError where the layout has no such measurement, IndexError where no row has come.
        """
        reading = self._facts.readings[name]
        newest = self._of(reading.packet)
        rows = newest.table.dropped_rows + newest.end
        return rows, int(newest.t_ns[newest.end - 1]), newest.row[reading.place]

    def rows_since(self, name: str, since_ns: int) -> tuple[IntArray, FloatArray]:
        """Receive times (n,) and values (n,) of a measurement that came after `since_ns`, valid or not.

        KeyError where the layout has no such measurement.
        """
        reading = self._facts.readings[name]
        newest = self._of(reading.packet)
        start = int(newest.t_ns[: newest.end].searchsorted(since_ns, side="right"))
        return newest.t_ns[start : newest.end], newest.table.column(reading.column)[start : newest.end]

    def mean(self, name: str, seconds: float) -> float:
        """The mean of a measurement over the last `seconds`, under the conditions of `recent`."""
        values = self.recent(name, seconds)
        return math.fsum(values) / len(values)

    def unchanged(self, name: str) -> tuple[float, int]:
        """For how long [s, up to this moment], and over how many values, a measurement has not changed by a bit.

        No more of the past is searched than `SEARCHED_UNCHANGED` says.

        Raises:
            Unknown: As `need`.
        """
        reading, newest = self._fresh(name)
        value = newest.row[reading.place]
        if not reading.least <= value <= reading.greatest:
            raise _impossible(reading, value)
        if newest.end > 1 and newest.before[reading.place] != value:
            return newest.age_s, 1
        values = newest.table.column(reading.column)
        count = 0
        for before in reversed(values[max(0, newest.end - _SHORT) : newest.end].tolist()):
            if before != value:
                break
            count += 1
        if count == _SHORT:
            low = newest.start(self.at_ns, SEARCHED_UNCHANGED * self.limits.stuck_time_s)
            differs = np.flatnonzero(values[low : newest.end] != value)
            count = newest.end - (low + int(differs[-1]) + 1 if differs.size else low)
        return (self.at_ns - int(newest.t_ns[newest.end - count])) / NS_PER_S, count

    def impossible(self) -> list[tuple[str, str]]:
        """Every measurement whose newest value is not a number or outside its valid range, and what is wrong.

        Fields without a standard meaning count under their own name.

        Raises:
            Unknown: A kind of packet that has come is too old now.
        """
        wrong = []
        for packet, readings in self._facts.judged.items():
            newest = self._of(packet)
            if newest.end == 0:
                continue
            if not newest.fresh:
                raise Unknown(
                    _too_old(f"newest {packet} packet", packet, newest.age_s, self._facts.age_s[packet]), stale=True
                )
            row = newest.row
            for reading in readings:
                value = row[reading.place]
                if not reading.least <= value <= reading.greatest:
                    wrong.append((reading.name, str(problem(value, reading))))
        return wrong

    def last(self, name: str, seconds: float) -> Series | None:
        """What came of a measurement over the last `seconds`; None where the layout has no such measurement."""
        series = self._timeline.series(name)
        if series is None:
            return None
        return series.before(self.at_ns).since(self.at_ns - round(seconds * NS_PER_S))

    def kept(self, key: Hashable, make: Callable[[], T]) -> T:
        """What `make` gives the first time; for what a check may remember of rows it need not look at twice."""
        known = self._facts.fixed
        if key not in known:
            known[key] = make()
        return cast(T, known[key])

    def radio(self, seconds: float) -> tuple[int, int, int]:
        """Packets decoded, frames damaged and packets lost over the last `seconds`."""
        newest = Newest(self._timeline.radio, self.at_ns, self._facts.silence_s)
        rows = newest.table.rows(newest.start(self.at_ns, seconds), newest.end)
        decoded, damaged, lost = map(sum, rows.tolist())
        return int(decoded), int(damaged), int(lost)

    @property
    def standing(self) -> Hashable:
        """Which packets are fresh now, and how much the station has said: what it takes to run a slow check anew."""
        fresh = [self._of(packet).fresh for packet in self._facts.judged]
        return (*fresh, len(self._timeline.station_events))

    @property
    def packet_age_s(self) -> float | None:
        """Age of the newest packet of any kind; None before the first."""
        ages = [newest.age_s for newest in map(self._of, self._facts.age_s) if newest.end]
        return min(ages) if ages else None

    @property
    def packet_age_most_s(self) -> float:
        """How old the newest packet of any kind may be."""
        return self._facts.silence_s

    @property
    def sent_age_s(self) -> float | None:
        """How long ago the newest of what has come lately was sent, by the vehicle's clock.

        None where nothing has come within the silence allowed, or `ClockLine` cannot tell of any of it.
        """
        arrivals = Newest(self._timeline.arrivals, self.at_ns, self._facts.silence_s)
        held_s, t_ns = arrivals.table.column("held_s"), arrivals.t_ns
        from_ns = self.at_ns - round(self._facts.silence_s * NS_PER_S)
        newest_s = -math.inf  # when the newest of them was sent, from now
        for row in range(arrivals.end - 1, -1, -1):
            came_ns = int(t_ns[row])
            came_s = (came_ns - self.at_ns) / NS_PER_S
            if came_ns <= from_ns or came_s <= newest_s:
                break  # none is sent after it came
            sent_s = came_s - float(held_s[row])
            if sent_s > newest_s:  # never where it is NaN: not known for how long the packet was held back
                newest_s = sent_s
        return None if newest_s == -math.inf else -newest_s

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
        newest = Newest(self._timeline.states, self.at_ns, self._facts.state_age_s)
        if newest.end == 0:
            raise Unknown(
                "The phase of the flight is not known: neither accelerometer nor pressure has come. "
                "Look at whether the flight computer sends their packet.",
                stale=True,
            )
        if not newest.fresh:
            raise Unknown(
                f"The phase of the flight was last estimated {in_seconds(newest.age_s)} ago, "
                f"{in_seconds(self._facts.state_age_s)} allowed. "
                "Look at the flight computer: packets with accelerometer or pressure no longer come.",
                stale=True,
            )
        return PHASES[int(newest.table.column("phase")[newest.end - 1])]

    def station_ok(self, kind: str) -> tuple[bool, str] | None:
        """The newest station event of a kind: whether it is well, and its text; None where there was none."""
        event = self.station_event(kind)
        return None if event is None else (event.ok, event.text)

    def station_event(self, kind: str) -> StationEvent | None:
        """The newest station event of a kind; None where there was none."""
        for event in reversed(self._timeline.station_events):
            if event.kind == kind and event.at_ns <= self.at_ns:
                return event
        return None

    def station_events(self, kind: str) -> list[StationEvent]:
        """Every station event of a kind up to this moment, the newest last."""
        return [event for event in self._timeline.station_events if event.kind == kind and event.at_ns <= self.at_ns]

    @property
    def restarts(self) -> list[Restart]:
        """The signs of new starts of the flight computer seen so far, the newest last."""
        return self._timeline.restarts_until(self.at_ns)

    def callsigns(self, seconds: float) -> list[str]:
        """The callsigns that came over the last `seconds`, the newest last; those before it where none came since.

        Raises:
            Unknown: None has come, or its packet is too old now.
        """
        packet = self.fixed("callsign's packet", lambda w: next(iter(callsigns_of(w.vehicle)), None))
        if packet is None:
            raise Unknown(
                "The vehicle does not send its callsign. Add a field of text that means it to the vehicle file and "
                "the firmware."
            )
        newest = self._of(packet)
        said = [s for s in self._timeline.callsigns if s.at_ns <= self.at_ns]
        if newest.end == 0 or not said:
            raise Unknown(
                f"The callsign has not come yet. Look at whether the flight computer sends its {packet} packet.",
                stale=True,
            )
        if not newest.fresh:
            raise Unknown(_too_old("callsign", packet, newest.age_s, self._facts.age_s[packet]), stale=True)
        from_ns = self.at_ns - round(seconds * NS_PER_S)
        held = [s for s in said if s.at_ns > from_ns]
        if len(held) < len(said):
            held.insert(0, said[-len(held) - 1])  # what still held when the time began
        return [s.text for s in held]

    def since_start_s(self, at_ns: int) -> float:
        """Seconds from the session's start to a time in it."""
        return (at_ns - self._timeline.started_ns) / NS_PER_S

    def _of(self, packet: str) -> NewestPacket:
        newest = self._newest.get(packet)
        if newest is None:
            table, most_age_s = self._timeline.packets[packet], self._facts.age_s[packet]
            newest = self._newest[packet] = NewestPacket(table, self.at_ns, most_age_s)
        return newest

    def _fresh(self, name: str) -> tuple[Reading, NewestPacket]:
        """Where a measurement is read; Unknown where the layout lacks it, none has come, or it is too old."""
        reading = self._facts.readings.get(name)
        if reading is not None:
            newest = self._newest.get(reading.packet) or self._of(reading.packet)
            if newest.fresh:
                return reading, newest
        if reading is None:
            meaning = measurement(name)
            what = f" ({meaning.text})" if meaning and not name.startswith("pyro_") else ""
            raise Unknown(
                f"The vehicle does not send {name}{what}. Add it to a packet in the vehicle file and the firmware."
            )
        if newest.end == 0:
            raise Unknown(
                f"The {spoken(name)} has not come yet. "
                f"Look at whether the flight computer sends its {reading.packet} packet.",
                stale=True,
            )
        allowed_s = self._facts.age_s[reading.packet]
        raise Unknown(_too_old(spoken(name), reading.packet, newest.age_s, allowed_s), stale=True)


class _Places:
    """Where several measurements stand, and their valid ranges as columns."""

    __slots__ = ("greatest", "in_one_packet", "least", "places")

    def __init__(self, readings: list[Reading]) -> None:
        self.in_one_packet = len({reading.packet for reading in readings}) == 1
        self.places = [reading.place for reading in readings]
        self.least = np.array([[reading.least] for reading in readings])
        self.greatest = np.array([[reading.greatest] for reading in readings])


def _held(reading: Reading, newest: Newest, t_ns: IntArray) -> FloatArray:
    """(n,) values of a measurement at the times (n,): the newest that had come by then; NaN where none had."""
    at = np.searchsorted(newest.t_ns[: newest.end], t_ns, side="right") - 1
    values = newest.table.column(reading.column)[np.maximum(at, 0)]
    return np.where(at >= 0, values, np.nan)


def _impossible(reading: Reading, value: float) -> Unknown:
    return Unknown(f"The {spoken(reading.name)} {problem(value, reading)}. Look at what measures it and its wiring.")


def _too_old(what: str, packet: str, age_s: float, most_s: float) -> str:
    return (
        f"The {what} is {in_seconds(age_s)} old, {in_seconds(most_s)} allowed. "
        f"Look at the flight computer: its {packet} packet no longer comes."
    )
