"""Each packet's place among the others: repeated, late, after how many lost, in which run of the flight computer, and
when it was measured.

All links together are one stream: a packet that one receiver missed and another heard is not lost. A packet counter
tells what is missing, the vehicle's clock when a packet was measured, and either, or the flight computer's own count
of starts, that it started anew. A kind of packet without a counter is put in order by its clock alone; without a
clock, its arrival stands for when it was measured.
"""

import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

from decoders.layout import Field, WireKind
from groundstation.clock_line import ClockLine
from groundstation.config.telemetry import Column, columns
from groundstation.config.vehicle import Vehicle
from groundstation.counting import NEXT, Order, SequenceCounter
from groundstation.inputs import NS_PER_S
from groundstation.restarts import RestartWatch
from groundstation.state import NAN, Restart, RestartSign
from groundstation.table import FloatArray

REMEMBERED = 256  # clocks of packets without a counter, to know one that comes twice

Signs = tuple[float, float, float, object]
"""What a packet carries of its order: its counter, its clock [s] and the flight computer's count of starts, each NaN
where there is none, and what two packets of one number share only if they are one packet, sent or heard twice."""


class Placed(NamedTuple):
    """What one packet is among the others.

    `lost` packets are missing before it, -1 where it was counted as lost itself; with `at_least`, there may be more.
    `moment_ns` is when it was measured, but later than any before it, for one that is newer.
    `held_s` is for how long it was held back on its way [s], NaN where that is not known.
    """

    order: Order
    lost: int
    at_least: bool
    moment_ns: int
    boot: int
    held_s: float


class PacketOrder:
    """See the module.

    Args:
        vehicle: The vehicle file.
        on_restart: Told of each sign of a new start.
    """

    def __init__(self, vehicle: Vehicle, on_restart: Callable[[Restart], None]) -> None:
        telemetry = vehicle.telemetry
        carried = {packet.name: _Carried(vehicle, packet.name) for packet in telemetry.packets}
        self._watch = RestartWatch(min(packet.rate_hz for packet in telemetry.packets))
        self._on_restart = on_restart
        self._newest_ns = 0
        self._resets: float | None = None
        self._lines: dict[tuple[float, float], ClockLine] = {}
        self._kinds: dict[str, _Kind] = {}
        counters: dict[str, SequenceCounter] = {}
        for packet in telemetry.packets:
            found = carried[packet.name]
            line = None
            if found.clock is not None:
                scale = _scale(found.clock.field)
                line = self._lines.setdefault(scale, ClockLine(period_s=scale[0], tick_s=scale[1]))
            counter, name = None, ""
            if found.counter is not None:
                shared = telemetry.shares_counter
                name = "" if shared else packet.name
                counted = [p for p in telemetry.packets if (shared or p is packet) and carried[p.name].counter]
                rate_hz = sum(p.rate_hz for p in counted)
                counter = counters.setdefault(name, SequenceCounter(bits=found.counter.field.bits, rate_hz=rate_hz))
            self._kinds[packet.name] = _Kind(found, line, counter, name)

    def signs(self, packet: str, values: FloatArray) -> Iterator[Signs]:
        """The signs of the order of some packets of one kind, from (columns, n) values."""
        return self._kinds[packet].signs(values)

    def place(self, packet: str, signs: Signs, received_ns: int) -> Placed:
        """Take in the next packet: its kind, the signs of its order, and when it was received."""
        kind = self._kinds[packet]
        number, clock_s, resets, _ = signs
        order, lost, at_least = self._counted(kind, signs, received_ns)
        line = kind.line
        moment_ns = received_ns
        starts_anew = late = False
        if order is not NEXT:
            if order is Order.REPEATED or order is Order.STALE or order is Order.ODD:
                return Placed(order, lost, at_least, moment_ns, self._watch.boot, NAN)
            starts_anew, late = order is Order.RESTARTED, order is Order.LATE
        if starts_anew:
            self._see(RestartSign.COUNTER, kind.counter_name, received_ns)
        if line is not None:
            before = line.restarts
            moment_ns = (line.begin_anew if starts_anew else line.take)(clock_s, received_ns)
            if line.restarts != before:
                self._see(RestartSign.CLOCK, kind.line_name, received_ns)
                if not starts_anew:
                    if kind.counter is not None and math.isfinite(number):
                        kind.counter.restart(int(number), received_ns, clock_s)
                    order, lost, late = Order.RESTARTED, 0, False
        if not late:
            if resets == resets:
                self._count_starts(resets, received_ns)
            if moment_ns <= self._newest_ns:
                moment_ns = min(self._newest_ns + 1, received_ns)
        if moment_ns > self._newest_ns:
            self._newest_ns = moment_ns
        return Placed(order, lost, at_least, moment_ns, self._watch.boot, NAN if line is None else line.held_s)

    def _counted(self, kind: "_Kind", signs: Signs, received_ns: int) -> tuple[Order, int, bool]:
        """What the packet's counter says; without one, what its clock says of repeats."""
        counted, clock_s, _, mark = signs
        counter = kind.counter
        if counter is None or not math.isfinite(counted):
            if kind.line is None or clock_s != clock_s:
                return Order.NEXT, 0, False
            if clock_s in kind.clocks:
                return (Order.NEXT if kind.line.may_start_anew(clock_s, received_ns) else Order.REPEATED), 0, False
            kind.clocks[clock_s] = None
            if len(kind.clocks) > REMEMBERED:
                del kind.clocks[next(iter(kind.clocks))]
            return Order.NEXT, 0, False
        number = int(counted)
        step = counter.step(number, received_ns, mark)
        if step.order is NEXT or kind.line is None:
            return step
        if step.order is Order.ODD:
            gone_s = kind.line.gone_on_s(clock_s, received_ns)
            skipped = None if gone_s is None else counter.skip(number, received_ns, mark, gone_s)
            if skipped is not None:
                return skipped
        if (step.order is Order.ODD and kind.line.starts_anew(clock_s, received_ns)) or (
            step.order is Order.REPEATED and kind.line.may_start_anew(clock_s, received_ns)
        ):
            counter.restart(number, received_ns, mark)
            return Order.RESTARTED, 0, False
        return step

    def _count_starts(self, resets: float, received_ns: int) -> None:
        if not math.isfinite(resets):
            return
        if self._resets is not None and resets != self._resets:
            self._see(RestartSign.RESET_COUNT, "", received_ns)
        self._resets = resets

    def _see(self, sign: RestartSign, where: str, received_ns: int) -> None:
        self._on_restart(self._watch.see(sign, where, received_ns))


class _Carried:
    """Columns of one kind of packet that carry its order: counter, clock, count of starts; None for none."""

    __slots__ = ("clock", "counter", "places", "resets")

    def __init__(self, vehicle: Vehicle, packet: str) -> None:
        own = [column for column in columns(vehicle) if column.packet == packet]
        self.places = {column.name: place for place, column in enumerate(own)}
        meaning = {column.meaning: column for column in own if column.meaning is not None}
        self.counter: Column | None = meaning.get("sequence")
        self.clock: Column | None = meaning.get("vehicle_time")
        self.resets: Column | None = meaning.get("reset_count")

    def place(self, column: Column | None) -> int | None:
        """Which of the packet's columns it is."""
        return None if column is None else self.places[column.name]


class _Kind:
    """One kind of packet: where its order stands, and what follows it."""

    __slots__ = (
        "_clock_at",
        "_counter_at",
        "_resets_at",
        "clocks",
        "counter",
        "counter_name",
        "line",
        "line_name",
    )

    def __init__(
        self, carried: _Carried, line: ClockLine | None, counter: SequenceCounter | None, counter_name: str
    ) -> None:
        self._counter_at = carried.place(carried.counter)
        self._clock_at = carried.place(carried.clock)
        self._resets_at = carried.place(carried.resets)
        self.line = line
        self.line_name = "" if carried.clock is None else str(_scale(carried.clock.field))
        self.counter = counter
        self.counter_name = counter_name
        self.clocks: dict[float, None] = {}  # an ordered set, oldest first

    def signs(self, values: FloatArray) -> Iterator[Signs]:
        """The signs of the order of some packets, from (columns, n) values."""
        counters, clocks_s, resets = (
            [NAN] * values.shape[1] if at is None else values[at].tolist()
            for at in (self._counter_at, self._clock_at, self._resets_at)
        )
        # Two packets of one number are one packet if they carry one clock; without a clock, if all else is the same.
        marks = [c if c == c else values[:, k].tobytes() for k, c in enumerate(clocks_s)]
        return zip(counters, clocks_s, resets, marks, strict=True)


def _scale(clock: Field) -> tuple[float, float]:
    """After how many seconds a clock wraps, infinite for one that does not, and its resolution [s]."""
    tick_s = abs(clock.scale)
    if clock.kind in (WireKind.UNSIGNED, WireKind.SIGNED):
        return tick_s * 2.0**clock.bits, tick_s
    return math.inf, 1.0 / NS_PER_S
