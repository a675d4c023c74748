"""From bytes and receive times to a timeline with verdicts: decoding, estimation and readiness in one object.

`Pipeline.feed` takes what the recording holds, in its order. There is no clock, no I/O and no randomness here: the
same items give the same timeline, live or replayed, however the bytes were cut. Readiness is assessed on a fixed
grid of ticks from the session's start; the tick at time g sees everything received up to and including g.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from decoders.layout import Reason, Reject
from decoders.stream import Decoded, PacketTable, StreamDecoder
from groundstation.config.station import Site
from groundstation.config.telemetry import columns_of, layout_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.counting import SequenceCounter
from groundstation.estimation.estimator import Estimator
from groundstation.inputs import Chunk, EventKind, Stamp, StationEvent
from groundstation.motion import MotionReader
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.window import Window
from groundstation.table import FloatArray, IntArray
from groundstation.timeline import RejectRecord, Timeline

TICK_NS = 200_000_000
REMEMBERED_PACKETS = 256  # packets to recognise a repeat among: more than any relay or second receiver lags


class Pipeline:
    """See the module.

    Args:
        vehicle: The vehicle file.
        site: The pad's place and air.
        started_ns: The session's start; the first tick comes one tick later.
    """

    def __init__(self, vehicle: Vehicle, site: Site, *, started_ns: int) -> None:
        self._layout = layout_of(vehicle)
        self._links: dict[str, _LinkDecoder] = {}
        self._kinds = {
            packet.name: _Kind(
                columns_of(vehicle)[packet.name],
                _meaning(vehicle, packet.name, "sequence"),
                _meaning(vehicle, packet.name, "vehicle_time"),
                MotionReader(vehicle, packet.name),
            )
            for packet in self._layout.packets
        }
        self._vehicle = vehicle
        self._counters: dict[tuple[str, str], SequenceCounter] = {}
        self._repeats: dict[tuple[str, float, float], None] = {}  # an ordered set, oldest first
        self._assessor = Assessor(vehicle)
        self._estimator = Estimator(vehicle, site)
        self._next_tick_ns = started_ns + TICK_NS
        self.timeline = Timeline(
            vehicle, site, started_ns=started_ns, packets=columns_of(vehicle), sources=sources_of(vehicle)
        )

    def feed(self, item: Chunk | StationEvent) -> None:
        """Take in the next item; its times must not lie before any item's before it."""
        if isinstance(item, StationEvent):
            self._tick_before(item.at_ns)
            self.timeline.station_events.append(item)
            if item.kind is EventKind.LINK and not item.ok and item.link in self._links:
                decoded = self._links[item.link].decoder.restart()
                self._take(item.link, decoded, lambda ends: np.full(ends.shape, item.at_ns, np.int64))
            return
        link = self._links.setdefault(item.link, _LinkDecoder(StreamDecoder(self._layout)))
        if not item.data:
            self._tick_before(item.stamps[0].received_ns)
            return
        link.note_stamps(item)
        self._take(item.link, link.decoder.feed(item.data), link.received_ns)
        self._tick_before(item.stamps[-1].received_ns)

    def advance(self, now_ns: int) -> None:
        """Everything up to and including `now_ns` has been fed; what comes later is strictly later."""
        self._tick_before(now_ns + 1)
        self.timeline.now_ns = max(self.timeline.now_ns, now_ns)

    def _tick_before(self, time_ns: int) -> None:
        while self._next_tick_ns < time_ns:
            self.timeline.now_ns = self._next_tick_ns
            window = Window(self.timeline, self._next_tick_ns)
            self.timeline.append_assessment(self._assessor.assess(window))
            self._next_tick_ns += TICK_NS

    def _take(self, link_name: str, decoded: Decoded, received_ns: Callable[[IntArray], IntArray]) -> None:
        """Append what one feed decoded in its order of arrival, with the ticks in between at their times."""
        arrivals = _in_order(decoded, received_ns)
        at = 0
        while at < len(arrivals):
            self._tick_before(arrivals[at].received_ns)
            upto = at
            while upto < len(arrivals) and arrivals[upto].received_ns <= self._next_tick_ns:
                upto += 1
            self._append(link_name, arrivals[at:upto])
            at = upto

    def _append(self, link_name: str, arrivals: "list[_Arrival]") -> None:
        rows: dict[str, tuple[list[int], list[FloatArray]]] = {}
        radio: list[tuple[int, int, int, int]] = []
        for arrival in arrivals:
            if arrival.reject is not None:
                record = RejectRecord(arrival.received_ns, link_name, arrival.reject)
                self.timeline.append_reject(record)
                if arrival.reject.reason is not Reason.TORN_START:
                    radio.append((arrival.received_ns, 0, 1, 0))
                continue
            kind = self._kinds[arrival.packet]
            lost = self._lost(link_name, arrival, kind)
            if lost is None:
                continue
            times, values = rows.setdefault(arrival.packet, ([], []))
            times.append(arrival.received_ns)
            values.append(arrival.values)
            radio.append((arrival.received_ns, 1, 0, lost))
            sample = kind.motion.sample(arrival.received_ns, arrival.values)
            if sample is not None:
                state, events = self._estimator.step(sample)
                self.timeline.append_state(state)
                self.timeline.events.extend(events)
        for packet, (times, values) in rows.items():
            self.timeline.packets[packet].append(np.array(times, np.int64), np.array(values).T)
        if radio:
            table = np.array(radio, np.int64)
            self.timeline.radio.append(table[:, 0], table[:, 1:].T.astype(np.float64))
            self.timeline.now_ns = max(self.timeline.now_ns, int(table[-1, 0]))

    def _lost(self, link_name: str, arrival: "_Arrival", kind: "_Kind") -> int | None:
        """Packets missing before this one; None if it is a repeat of one that was counted already."""
        if kind.sequence is None:
            return 0
        sequence = float(arrival.values[kind.sequence])
        clock = float(arrival.values[kind.clock]) if kind.clock is not None else 0.0
        key = (arrival.packet, sequence, clock)
        if key in self._repeats:
            return None
        self._repeats[key] = None
        if len(self._repeats) > REMEMBERED_PACKETS:
            del self._repeats[next(iter(self._repeats))]
        telemetry = self._vehicle.telemetry
        shared = telemetry.sequence_counts == "all packets"
        counter_key = (link_name, "" if shared else arrival.packet)
        if counter_key not in self._counters:
            counted = [p for p in telemetry.packets if shared or p.name == arrival.packet]
            entry = next(f for p in counted for f in p.fields if f.meaning == "sequence")
            bits = int(entry.type[1:])
            self._counters[counter_key] = SequenceCounter(bits=bits, rate_hz=sum(p.rate_hz for p in counted))
        return self._counters[counter_key].step(int(sequence), arrival.received_ns).lost


@dataclass(frozen=True, slots=True)
class _Kind:
    """Where in one kind of packet the columns of interest stand."""

    columns: tuple[str, ...]
    sequence: int | None
    clock: int | None
    motion: MotionReader


@dataclass(frozen=True, slots=True)
class _Arrival:
    """One packet or reject with its receive time; values (columns,) in the packet's column order."""

    received_ns: int
    end: int
    packet: str
    values: FloatArray
    reject: Reject | None


class _LinkDecoder:
    """One link's decoder, and when which of its bytes came."""

    def __init__(self, decoder: StreamDecoder) -> None:
        self.decoder = decoder
        self._fed = 0
        self._offsets: IntArray = np.empty(0, np.int64)
        self._times: IntArray = np.empty(0, np.int64)

    def note_stamps(self, chunk: Chunk) -> None:
        """Remember the stamps of a chunk about to be decoded, and the one before it for a frame it continues."""
        self._offsets = np.append(self._offsets[-1:], _column(chunk.stamps, "start") + self._fed)
        self._times = np.append(self._times[-1:], _column(chunk.stamps, "received_ns"))
        self._fed += len(chunk.data)

    def received_ns(self, ends: IntArray) -> IntArray:
        """When the last byte of each frame came, given the offsets after it."""
        at = np.searchsorted(self._offsets, ends - 1, side="right") - 1
        return self._times[np.maximum(at, 0)]


def _column(stamps: tuple[Stamp, ...], name: str) -> IntArray:
    return np.fromiter((getattr(s, name) for s in stamps), np.int64, len(stamps))


def _in_order(decoded: Decoded, received_ns: Callable[[IntArray], IntArray]) -> list[_Arrival]:
    """Packets and rejects of one feed, in the order of their last byte, timed by the offsets after it."""
    arrivals: list[_Arrival] = []
    for table in decoded.tables:
        times = received_ns(table.end)
        matrix = _matrix(table)
        arrivals.extend(
            _Arrival(t, end, table.packet.name, row, None)
            for t, end, row in zip(times.tolist(), table.end.tolist(), matrix, strict=True)
        )
    if decoded.rejects:
        times = received_ns(np.array([r.end for r in decoded.rejects], np.int64))
        empty = np.empty(0)
        arrivals.extend(
            _Arrival(t, reject.end, "", empty, reject)
            for t, reject in zip(times.tolist(), decoded.rejects, strict=True)
        )
    arrivals.sort(key=lambda a: a.end)
    return arrivals


def _matrix(table: PacketTable) -> FloatArray:
    """(n, columns) float64 values of a packet table."""
    out = np.empty((len(table), len(table.columns)), np.float64)
    for k, values in enumerate(table.columns.values()):
        out[:, k] = values
    return out


def _meaning(vehicle: Vehicle, packet: str, meaning: str) -> int | None:
    """Which column of a packet has a meaning; None where none has."""
    entry = next(p for p in vehicle.telemetry.packets if p.name == packet)
    named = {f.name: f.meaning for f in entry.fields} | {b.name: b.meaning for f in entry.fields for b in f.bits}
    for k, column in enumerate(columns_of(vehicle)[packet]):
        if named[column] == meaning:
            return k
    return None
