"""From bytes and receive times to a timeline with verdicts: decoding, estimation and readiness in one object.

`Pipeline.feed` takes what the recording holds, in its order. There is no clock, no I/O and no randomness here: the
same items give the same timeline, live or replayed, however the bytes were cut. Readiness is assessed on a fixed
grid of ticks from the session's start; the tick at time g sees everything received up to and including g.
"""

from decoders.layout import Reason
from groundstation.arrivals import Arrivals, LinkDecoder
from groundstation.config.count_plan import CountPlan, plan_of_day
from groundstation.config.station import Site
from groundstation.config.telemetry import callsigns_of, columns_of, layout_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.count import Count, CountPhase
from groundstation.count_limits import PointLimits
from groundstation.counting import NEXT, Order
from groundstation.estimation.estimator import Estimator
from groundstation.inputs import Chunk, EventKind, Input, StationEvent, Tick
from groundstation.motion import MotionReader
from groundstation.operator_actions import CountAction, Note, action_of
from groundstation.packet_order import PacketOrder
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.waiving import Waivers
from groundstation.readiness.window import Window
from groundstation.state import NAN, FlightEventKind, MotionSample, State
from groundstation.taking import Taken, read
from groundstation.timeline import LogLine, RejectRecord, Timeline

TICK_NS = 200_000_000
_NOT_DAMAGED = (Reason.TORN_START, Reason.OTHER_VEHICLE, Reason.TEXT)  # rejects that say nothing against the link
# Packets in the timeline before the ticks among them are assessed. A table's complete half holds eight times as many,
# so that no row is thinned before the ticks that look at it have been.
TAKEN_AT_ONCE = 4096


class Pipeline:
    """See the module.

    Args:
        vehicle: The vehicle file.
        site: The pad's place and air.
        started_ns: The session's start; the first tick comes one tick later.
        count: The station file's plan of the count, instead of the vehicle file's; None for that.
    """

    def __init__(self, vehicle: Vehicle, site: Site, *, started_ns: int, count: CountPlan | None = None) -> None:
        self._layout = layout_of(vehicle)
        self._callsigns = callsigns_of(vehicle)
        self._links: dict[str, LinkDecoder] = {}
        self._motion = {packet.name: MotionReader(vehicle, packet.name) for packet in self._layout.packets}
        self._assessor = Assessor(vehicle)
        self._estimator = Estimator(vehicle, site)
        self._next_tick_ns = self._next_estimate_ns = started_ns + TICK_NS
        self.timeline = Timeline(
            vehicle, site, started_ns=started_ns, packets=columns_of(vehicle), sources=sources_of(vehicle)
        )
        self._order = PacketOrder(vehicle, self.timeline.restarts.append)
        self._waivers = Waivers(self._log)
        plan = self.timeline.count_plan = plan_of_day(vehicle.count, count)
        self._count = Count(plan, started_ns, self._log)
        self._points = PointLimits(vehicle, plan)
        self.timeline.counts.append(self._count.state)

    def take(self, item: Input) -> None:
        """Take in the next input: a tick as `advance` does, anything else as `feed`."""
        if isinstance(item, Tick):
            self.advance(item.now_ns)
        else:
            self.feed(item)

    def feed(self, item: Chunk | StationEvent) -> None:
        """Take in the next item; its times must not lie before any item's before it."""
        if isinstance(item, StationEvent):
            self._tick_before(item.at_ns)
            self.timeline.station_events.append(item)
            self._act(item)
            if item.kind is EventKind.LINK and not item.ok and item.link in self._links:
                self._take(item.link, self._links[item.link].restart(item.at_ns))
            return
        link = self._links.get(item.link)
        if link is None:
            link = self._links[item.link] = LinkDecoder(self._layout, self._callsigns)
        if item.data:
            self._take(item.link, link.feed(item))
        self._tick_before(item.stamps[-1].received_ns)

    def advance(self, now_ns: int) -> None:
        """Everything up to and including `now_ns` has been fed; what comes later is strictly later."""
        self._tick_before(now_ns + 1)
        self.timeline.now_ns = max(self.timeline.now_ns, now_ns)

    def stop_count(self, at_ns: int, why: str) -> None:
        """Hold the count because nothing is judged any more."""
        self._count.stop(at_ns, why)
        self._note_count()

    def _act(self, event: StationEvent) -> None:
        """Hand what the operator did to what it is about."""
        action = action_of(event)
        if isinstance(action, CountAction):
            self._count.take(action, event.at_ns)
            self._note_count()
        elif isinstance(action, Note):
            self._log(event.at_ns, f"Noted: {action.text}")
        elif action is not None:
            self._waivers.take(action, event.at_ns)
        elif event.kind in (EventKind.COUNT, EventKind.WAIVER):
            self._log(event.at_ns, f"Not understood, and nothing was done: {event.text}")

    def _log(self, at_ns: int, text: str) -> None:
        self.timeline.operator_log.append(LogLine(at_ns, text))

    def _note_count(self) -> None:
        if self._count.state is not self.timeline.counts[-1]:
            self.timeline.counts.append(self._count.state)

    def _assess(self, at_ns: int) -> None:
        timeline, state = self.timeline, self._count.state
        to_go_ns = None if state.phase is CountPhase.NOT_STARTED else state.to_go(at_ns)
        window = Window(timeline, at_ns, self._points.vehicle(to_go_ns))
        assessment = self._assessor.assess(window, self._waivers)
        timeline.append_assessment(assessment)
        called = timeline.events_until(at_ns) if timeline.events else ()
        self._count.tick(assessment, next((e.at_ns for e in called if e.kind is FlightEventKind.LIFTOFF), None))
        self._note_count()

    def _tick_before(self, time_ns: int) -> None:
        if self._next_estimate_ns < time_ns:
            states: list[State] = []
            self._estimate_before(time_ns, states)
            self.timeline.append_states(states)
        while self._next_tick_ns < time_ns:
            self.timeline.now_ns = self._next_tick_ns
            self._assess(self._next_tick_ns)
            self._next_tick_ns += TICK_NS

    def _estimate_before(self, time_ns: int, states: list[State]) -> None:
        """What silence makes known at the ticks before a time; they are those of the assessments."""
        while self._next_estimate_ns < time_ns:
            told = self._estimator.advance(self._next_estimate_ns)
            if told is not None:
                states.append(told[0])
                self.timeline.events.extend(told[1])
            self._next_estimate_ns += TICK_NS

    def _take(self, link: str, arrivals: Arrivals) -> None:
        """Append what one feed decoded, in its order, and assess the ticks before the last of it."""
        for part in arrivals.parts(TAKEN_AT_ONCE):
            last_ns = self._append(link, part)
            self._tick_before(last_ns)
            self.timeline.now_ns = max(self.timeline.now_ns, last_ns)

    def _append(self, link: str, arrivals: Arrivals) -> int:
        """Append some arrivals; returns when the last of them was received [ns]."""
        timeline, place, step = self.timeline, self._order.place, self._estimator.step
        taken, packets = Taken(arrivals), [read(block, self._order, self._motion) for block in arrivals.blocks]
        rejects, rejected = zip(arrivals.rejected_ns, arrivals.rejects, strict=True), len(packets)
        states: list[State] = []
        received_ns = 0
        for block in arrivals.order:
            if block == rejected:
                received_ns, reject = next(rejects)
                timeline.append_reject(RejectRecord(received_ns, link, reject))
                if reject.reason not in _NOT_DAMAGED:
                    taken.note_damage(received_ns)
                continue
            packet, received_ns, signs, motion = next(packets[block])
            placed = place(packet, signs, received_ns)
            taken.note(received_ns, placed)
            if motion is not None and (placed.order is NEXT or placed.order is Order.RESTARTED):
                if self._next_estimate_ns < received_ns:
                    self._estimate_before(received_ns, states)
                state, events = step(MotionSample(received_ns, placed.moment_ns, *motion, NAN, placed.boot))
                states.append(state)
                if events:
                    timeline.events.extend(events)
        taken.append_to(timeline)
        timeline.append_states(states)
        return received_ns
