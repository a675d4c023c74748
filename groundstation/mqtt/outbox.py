"""What is waiting to be published: the newest value of each measurement, the events, the present verdict.

`offer` looks at the timeline and keeps what is new; it costs the same whether or not anybody takes it away. Memory is
bounded: one slot a topic, in which the latest value wins, and a queue of events that forgets its oldest.
"""

from collections import deque
from dataclasses import dataclass, field

from groundstation.count import CountState, clock_text
from groundstation.inputs import NS_PER_S, EventKind, StationEvent
from groundstation.link_lines import arrived, starts
from groundstation.plain_json import Json, number, reason
from groundstation.readiness.finding import Assessment
from groundstation.state import FlightEvent
from groundstation.timeline import STATE_COLUMNS, Source, Timeline

MAX_EVENTS = 256  # a long outage with a link that comes and goes every few seconds; older ones are in the recording
# The verdict is refused once the assessment behind it is older than this: it must not outlive the station's ticks.
MAX_ASSESSMENT_AGE_NS = 3 * NS_PER_S
_NOT_IN_TOPICS = str.maketrans("/+#\0", "____")
_STATE_UNITS = {"m": "m", "mps": "m/s", "mps2": "m/s^2", "rad": "rad"}


@dataclass(frozen=True, slots=True)
class Draft:
    """A message before it has a session and a number; `topic` is the part below the prefix."""

    topic: str
    at_ns: int
    name: str
    value: Json
    unit: str = "1"
    more: dict[str, Json] = field(default_factory=dict)


def hold(at_ns: int, check: str, text: str) -> Draft:
    """A verdict of HOLD with one reason of the station's own."""
    why: Json = [{"check": check, "value": None, "unit": "", "limit": None, "text": text}]
    return Draft("verdict", at_ns, "verdict", "HOLD", more={"reasons": why})


class Outbox:
    """See the module. `superseded` counts values replaced before their turn, `dropped` counts events forgotten."""

    def __init__(self) -> None:
        self.superseded = 0
        self.dropped = 0
        self._slots: dict[str, Draft] = {}
        self._events: deque[Draft] = deque()
        self._published: tuple[tuple[str, Source], ...] = ()
        self._rows_seen: dict[str, int] = {}
        self._states_seen = 0
        self._flight_events_seen = 0
        self._station_events_seen = 0
        self._assessment: Assessment | None = None
        self._newest: dict[tuple[EventKind, str], StationEvent] = {}
        self._packet_ns: int | None = None
        self._timeline: Timeline | None = None
        self._count: CountState | None = None

    def offer(self, timeline: Timeline) -> None:
        """Keep what the timeline has that it had not before."""
        self._offer_measurements(timeline)
        self._offer_state(timeline)
        self._offer_events(timeline)
        self._assessment = timeline.assessment_at(timeline.now_ns)
        self._timeline = timeline
        self._packet_ns = timeline.last_packet_ns(timeline.now_ns)
        counted = timeline.count_plan is not None or timeline.counts[-1:] != timeline.counts[:1]
        self._count = timeline.counts[-1] if timeline.counts and counted else None

    def take_measurements(self) -> list[Draft]:
        """The newest value of each measurement that has one waiting."""
        taken = list(self._slots.values())
        self._slots.clear()
        return taken

    def next_event(self) -> Draft | None:
        """The oldest waiting event; it stays until `event_sent`."""
        return self._events[0] if self._events else None

    def event_sent(self, event: Draft) -> None:
        """The broker has it."""
        if self._events and self._events[0] is event:
            self._events.popleft()

    def verdict_key(self, now_ns: int) -> tuple[object, ...]:
        """Differs whenever the verdict or the list of its reasons does (not with every figure in a text)."""
        if self._assessment is None or self._too_old(self._assessment, now_ns):
            return (self._assessment is None,)
        against = (*self._assessment.reasons, *self._assessment.waived)
        return (self._assessment.verdict, *((f.key, f.status) for f in against))

    def verdict(self, now_ns: int) -> Draft:
        """The present verdict; HOLD where there is no assessment, or only an old one."""
        assessment = self._assessment
        if assessment is None:
            return hold(now_ns, "station", "the station has not assessed the vehicle yet")
        if self._too_old(assessment, now_ns):
            age_s = (now_ns - assessment.at_ns) / NS_PER_S
            return hold(now_ns, "station", f"the station's last assessment is {age_s:.0f} s old")
        reasons: list[Json] = [reason(finding) for finding in assessment.reasons]
        more: dict[str, Json] = {"reasons": reasons, "since_ns": str(assessment.since_ns)}
        if assessment.waived:
            more["waived"] = [reason(finding) for finding in assessment.waived]
        if assessment.settled_in_s is not None:
            more["settled_in_s"] = number(assessment.settled_in_s)
        return Draft("verdict", assessment.at_ns, "verdict", str(assessment.verdict), more=more)

    def count_key(self) -> CountState | None:
        """Differs whenever the count turns: started, held, resumed, lifted off."""
        return self._count

    def count(self, now_ns: int) -> Draft | None:
        """The count: seconds after T−0 (negative before it), how it stands, and why; None where none is kept."""
        state = self._count
        if state is None:
            return None
        to_go_ns = state.to_go(now_ns)
        more: dict[str, Json] = {"phase": state.phase.value, "text": clock_text(to_go_ns), "why": state.why}
        return Draft("count", now_ns, "count", -to_go_ns / NS_PER_S + 0.0, "s", more)

    def station(self, now_ns: int) -> Draft:
        """How the station itself is: links, recording, how packets come, new starts, what was not published."""
        states: dict[EventKind, list[Json]] = {EventKind.LINK: [], EventKind.RECORDING: []}
        for (kind, link), event in self._newest.items():
            if kind in states:
                states[kind].append({"link": link, "ok": event.ok, "text": event.text})
        age_s = None if self._packet_ns is None else (now_ns - self._packet_ns) / NS_PER_S
        more: dict[str, Json] = {
            "links": states[EventKind.LINK],
            "recording": states[EventKind.RECORDING],
            "packet_age_s": age_s,
            "arrivals": self._arrivals(now_ns),
            "new_starts": 0 if self._timeline is None else starts(self._timeline, now_ns),
            "superseded": self.superseded,
            "dropped": self.dropped,
        }
        return Draft("station", now_ns, "station", "running", more=more)

    def _arrivals(self, now_ns: int) -> Json:
        """How the packets of the last minute came."""
        if self._timeline is None:
            return None
        seen = arrived(self._timeline, now_ns)
        counts: dict[str, Json] = {"heard": seen.heard, "repeated": seen.repeated, "late": seen.late, "odd": seen.odd}
        return counts | {"held_s": number(seen.held_s)}

    def _too_old(self, assessment: Assessment, now_ns: int) -> bool:
        return now_ns - assessment.at_ns > MAX_ASSESSMENT_AGE_NS

    def _offer_measurements(self, timeline: Timeline) -> None:
        rows = {name: len(table) + table.dropped_rows for name, table in timeline.packets.items()}
        changed = {name for name, count in rows.items() if count != self._rows_seen.get(name, 0)}
        if not changed:
            return
        self._rows_seen = rows
        if not self._published:
            self._published = _published(timeline.sources)
        for name, source in self._published:
            if source.table in changed:
                table = timeline.packets[source.table]
                value = float(table.column(source.column)[-1])
                valid = source.least <= value <= source.greatest  # also refuses NaN
                self._put(
                    Draft(
                        f"measurement/{name.translate(_NOT_IN_TOPICS)}",
                        int(table.t_ns[-1]),
                        name,
                        number(value),
                        source.unit,
                        {"valid": valid},
                    )
                )

    def _offer_state(self, timeline: Timeline) -> None:
        count = len(timeline.states) + timeline.states.dropped_rows
        if count == self._states_seen:
            return
        self._states_seen = count
        state = timeline.state_at(timeline.now_ns)
        if state is None:
            return
        self._put(Draft("estimate/phase", state.at_ns, "phase", str(state.phase)))
        for column in STATE_COLUMNS[1:]:
            unit = _STATE_UNITS[column.rsplit("_", 1)[-1]]
            self._put(Draft(f"estimate/{column}", state.at_ns, column, number(getattr(state, column)), unit))

    def _offer_events(self, timeline: Timeline) -> None:
        for flight in timeline.events[self._flight_events_seen :]:
            self._queue(_flight_event(flight))
        self._flight_events_seen = len(timeline.events)
        for event in timeline.station_events[self._station_events_seen :]:
            self._newest[event.kind, event.link] = event
            more: dict[str, Json] = {"ok": event.ok, "link": event.link}
            self._queue(Draft("event", event.at_ns, str(event.kind), event.text, "", more))
        self._station_events_seen = len(timeline.station_events)

    def _put(self, draft: Draft) -> None:
        if draft.topic in self._slots:
            self.superseded += 1
        self._slots[draft.topic] = draft

    def _queue(self, draft: Draft) -> None:
        if len(self._events) == MAX_EVENTS:
            self._events.popleft()
            self.dropped += 1
        self._events.append(draft)


def _flight_event(event: FlightEvent) -> Draft:
    more: dict[str, Json] = {
        "called_ns": str(event.called_ns),
        "height_sigma_m": number(event.height_sigma_m),
    }
    return Draft("event", event.at_ns, str(event.kind), number(event.height_m), "m", more)


def _published(sources: dict[str, Source]) -> tuple[tuple[str, Source], ...]:
    """Each column once: under its standard name where it has one, else as `packet.field`."""
    first: dict[tuple[str, str], str] = {}
    for name, source in sources.items():
        first.setdefault((source.table, source.column), name)
    return tuple((name, sources[name]) for name in first.values())
