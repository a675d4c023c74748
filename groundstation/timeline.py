"""The one timeline: everything known of a session, in order of time, that every page, report and export reads.

The pipeline writes it; everyone else looks at it at a cursor. Times are the session's nanoseconds (see
`groundstation.inputs`). Memory is bounded: old pad rows are thinned, flights are kept whole (see
`groundstation.table`).
"""

from bisect import bisect_right
from collections import Counter, deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from decoders.layout import Reason, Reject
from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.count import CountState
from groundstation.inputs import NS_PER_S, StationEvent
from groundstation.labels import NO_LABELS, Labels
from groundstation.readiness.finding import Assessment
from groundstation.state import FlightEvent, FlightEventKind, Phase, Restart, State
from groundstation.table import BoolArray, FloatArray, IntArray, Table

STATE_COLUMNS = State._fields[1:]  # the phase as its number among `PHASES`
# Frames taken as packets of their own, frames damaged, and packets that never came, by their counter. A late packet
# that had been counted as lost has -1 there, so that sums over time come out right.
RADIO_COLUMNS = ("decoded", "damaged", "lost")
# How each packet came that was heard: 1 where it had come already; 1 where it came after a later one; 1 where it does
# not go on from those before; 1 where what `radio` says was lost before it is only the least; and for how long it was
# held back [s], beyond the shortest delay there is, NaN where that is not known.
ARRIVAL_COLUMNS = ("repeated", "late", "odd", "at_least", "held_s")
PHASES = tuple(Phase)
MAX_REJECTS = 1000  # the newest; the counts by reason go on for ever, and the recording has the bytes
MAX_RESTARTS = 1000  # the newest: a flight computer in a restart loop is told as well by these
MAX_CALLSIGNS = 1000  # the newest changes: no vehicle changes its callsign
MAX_ASSESSMENTS = 4096  # about 25 kB each with 25 findings that all changed: 100 MB at the very most
KEPT_AROUND_FLIGHT_NS = 30 * NS_PER_S


@dataclass(frozen=True, slots=True)
class Series:
    """One measurement over time: t_ns (n,), values (n,) in `unit`; valid values lie within least and greatest."""

    name: str
    unit: str
    t_ns: IntArray
    values: FloatArray
    least: float = -np.inf
    greatest: float = np.inf

    def before(self, at_ns: int) -> "Series":
        """The part received up to and including `at_ns`."""
        n = int(np.searchsorted(self.t_ns, at_ns, side="right"))
        return Series(self.name, self.unit, self.t_ns[:n], self.values[:n], self.least, self.greatest)

    def since(self, from_ns: int) -> "Series":
        """The part received after `from_ns`."""
        n = int(np.searchsorted(self.t_ns, from_ns, side="right"))
        return Series(self.name, self.unit, self.t_ns[n:], self.values[n:], self.least, self.greatest)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a series lives: the table and column it is read from, its unit, valid range and values' labels."""

    table: str
    column: str
    unit: str
    least: float
    greatest: float
    labels: Labels = NO_LABELS


@dataclass(frozen=True, slots=True)
class RejectRecord:
    """A reject and when its last byte was received."""

    at_ns: int
    link: str
    reject: Reject


@dataclass(frozen=True, slots=True)
class Said:
    """A text the vehicle sent, from when on."""

    at_ns: int
    text: str


@dataclass(frozen=True, slots=True)
class LogLine:
    """What became of something the operator did, and when, as a sentence."""

    at_ns: int
    text: str


class Timeline:
    """See the module. `sources` says which series there are: standard measurements, then `packet.field` names."""

    def __init__(
        self,
        vehicle: Vehicle,
        site: Site,
        *,
        started_ns: int,
        packets: dict[str, tuple[str, ...]],
        sources: dict[str, Source],
    ) -> None:
        self.vehicle = vehicle
        self.site = site
        self.started_ns = started_ns
        self.now_ns = started_ns
        self.sources = sources
        self.packets = {name: Table(columns, keep=self._in_flight) for name, columns in packets.items()}
        self.states = Table(STATE_COLUMNS, keep=self._in_flight)
        self.radio = Table(RADIO_COLUMNS, keep=self._in_flight)
        self.arrivals = Table(ARRIVAL_COLUMNS, keep=self._in_flight)
        self.restarts: deque[Restart] = deque(maxlen=MAX_RESTARTS)
        self.callsigns: deque[Said] = deque(maxlen=MAX_CALLSIGNS)
        self.events: list[FlightEvent] = []
        self.station_events: list[StationEvent] = []
        self.count_plan = vehicle.count
        self.counts: list[CountState] = []
        self.operator_log: list[LogLine] = []
        self.rejects: deque[RejectRecord] = deque(maxlen=MAX_REJECTS)
        self.reject_counts: Counter[Reason] = Counter()
        self.verdict_changes: list[Assessment] = []
        self._assessments: list[Assessment] = []

    def append_state(self, state: State) -> None:
        """Add one estimate."""
        self.append_states((state,))

    def append_states(self, states: Sequence[State]) -> None:
        """Add estimates, in order of time."""
        if states:
            times = np.array([s.at_ns for s in states], np.int64)
            self.states.append(times, np.array([(PHASES.index(s.phase), *s[2:]) for s in states], np.float64).T)

    def append_reject(self, record: RejectRecord) -> None:
        """Add one reject."""
        self.rejects.append(record)
        self.reject_counts[record.reject.reason] += 1

    def note_callsign(self, at_ns: int, text: str) -> None:
        """Take in the callsign of a packet; only changes are kept."""
        if not self.callsigns or self.callsigns[-1].text != text:
            self.callsigns.append(Said(at_ns, text))

    def append_assessment(self, assessment: Assessment) -> None:
        """Add one tick's assessment; only changes of a status, and one a second besides, are kept."""
        last = self._assessments[-1] if self._assessments else None
        if last is None or last.verdict is not assessment.verdict:
            self.verdict_changes.append(assessment)
        due = last is None or assessment.at_ns - last.at_ns >= NS_PER_S
        if due or _changed(last, assessment):
            self._assessments.append(assessment)
        if len(self._assessments) > MAX_ASSESSMENTS:
            half = MAX_ASSESSMENTS // 2
            older = self._assessments[:half]
            kept = [a for k, a in enumerate(older) if k % 2 == 0 or _changed(older[k - 1], a)]
            self._assessments = (kept if len(kept) < half * 7 // 8 else older[::2]) + self._assessments[half:]

    def series(self, name: str) -> Series | None:
        """The whole of one measurement (or of `packet.field`); None where the layout has no such thing."""
        source = self.sources.get(name)
        if source is None:
            return None
        table = self.packets[source.table]
        return Series(name, source.unit, table.t_ns, table.column(source.column), source.least, source.greatest)

    def state_series(self, column: str) -> Series:
        """One column of the estimates, such as "height_m"."""
        unit = {"m": "m", "mps": "m/s", "mps2": "m/s^2", "rad": "rad"}.get(column.rsplit("_", 1)[-1], "1")
        return Series(column, unit, self.states.t_ns, self.states.column(column))

    def state_at(self, at_ns: int) -> State | None:
        """The newest estimate up to `at_ns`."""
        n = int(np.searchsorted(self.states.t_ns, at_ns, side="right"))
        if n == 0:
            return None
        phase, *rest = (float(self.states.column(c)[n - 1]) for c in STATE_COLUMNS)
        return State(int(self.states.t_ns[n - 1]), PHASES[int(phase)], *rest)

    def phase_at(self, at_ns: int) -> Phase:
        """The phase at `at_ns`; on the pad until something says otherwise."""
        state = self.state_at(at_ns)
        return Phase.PAD if state is None else state.phase

    def assessment_at(self, at_ns: int) -> Assessment | None:
        """The newest kept assessment up to `at_ns`."""
        k = bisect_right(self._assessments, at_ns, key=lambda a: a.at_ns)
        return self._assessments[k - 1] if k else None

    def count_at(self, at_ns: int) -> CountState | None:
        """How the count stood at `at_ns`; None before the session's start."""
        k = bisect_right(self.counts, at_ns, key=lambda c: c.since_ns)
        return self.counts[k - 1] if k else None

    def log_until(self, at_ns: int) -> list[LogLine]:
        """What had become of the operator's actions by `at_ns`."""
        return [line for line in self.operator_log if line.at_ns <= at_ns]

    def events_until(self, at_ns: int) -> list[FlightEvent]:
        """The flight's events that had been called by `at_ns`."""
        return [e for e in self.events if e.called_ns <= at_ns]

    def restarts_until(self, at_ns: int) -> list[Restart]:
        """The signs of new starts of the flight computer that had been seen by `at_ns`, the newest of them."""
        return [r for r in self.restarts if r.at_ns <= at_ns]

    def last_packet_ns(self, at_ns: int) -> int | None:
        """When the newest packet up to `at_ns` was received."""
        newest = None
        for table in self.packets.values():
            n = int(np.searchsorted(table.t_ns, at_ns, side="right"))
            if n and (newest is None or table.t_ns[n - 1] > newest):
                newest = int(table.t_ns[n - 1])
        return newest

    def _in_flight(self, t_ns: IntArray) -> BoolArray:
        kept = np.zeros(t_ns.shape, np.bool_)
        from_ns = self._heard_aloft_ns()
        for event in self.events:
            if event.kind is FlightEventKind.LIFTOFF:
                from_ns = event.at_ns - KEPT_AROUND_FLIGHT_NS
            elif event.kind is FlightEventKind.LANDED and from_ns is not None:
                kept |= (t_ns >= from_ns) & (t_ns <= event.at_ns + KEPT_AROUND_FLIGHT_NS)
                from_ns = None
        if from_ns is not None:
            kept |= t_ns >= from_ns
        return kept

    def _heard_aloft_ns(self) -> int | None:
        """From when on a flight is kept whose liftoff nobody heard: it was first recognised in its descent."""
        if self.events and self.events[0].kind is FlightEventKind.LIFTOFF:
            return None
        descending = np.flatnonzero(self.states.column("phase") == PHASES.index(Phase.DESCENT))
        return int(self.states.t_ns[descending[0]]) - KEPT_AROUND_FLIGHT_NS if descending.size else None


def _changed(before: Assessment | None, after: Assessment) -> bool:
    """Whether the verdict, or any finding's status, is another; findings that have not changed are the very same."""
    if before is None or before.verdict is not after.verdict or len(before.findings) != len(after.findings):
        return True
    if before.findings is after.findings:
        return False
    for one, other in zip(before.findings, after.findings, strict=True):
        if one is not other and (one.status is not other.status or one.key != other.key):
            return True
    return False
