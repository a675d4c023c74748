"""Each packet's place among the others: repeated, late, after how many lost, in which run of the flight computer, and
when it was measured.

All links together are one stream: a packet that one receiver missed and another heard is not lost. A packet counter
tells what is missing, the vehicle's clock when a packet was measured, and either, or the flight computer's own count
of starts, that it started anew. A kind of packet without a counter is put in order by its clock alone; without a
clock, its arrival stands for when it was measured.
"""

import math
from array import array
from collections.abc import Callable, Sequence
from typing import NamedTuple

from decoders.layout import Field, WireKind
from groundstation.clock_line import ClockLine
from groundstation.config.telemetry import Column, columns
from groundstation.config.vehicle import Vehicle
from groundstation.counting import Order, SequenceCounter
from groundstation.inputs import NS_PER_S
from groundstation.restarts import RestartWatch
from groundstation.state import Restart, RestartSign

REMEMBERED = 256  # clocks of packets without a counter, to know one that comes twice


class Placed(NamedTuple):
    """What one packet is among the others.

    `lost` packets are missing before it, -1 where it was counted as lost itself; with `at_least`, there may be more.
    `measured_ns` is when it was measured; `moment_ns` the same but later than any before it, for one that is newer.
    `held_s` is for how long it was held back on its way [s], NaN where that is not known.
    """

    order: Order
    lost: int
    at_least: bool
    measured_ns: int
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

    def place(self, packet: str, row: Sequence[float], received_ns: int) -> Placed:
        """Take in the next packet: its kind, its values by column, and when it was received."""
        kind = self._kinds[packet]
        clock_s = row[kind.clock_at] if kind.clock_at is not None else math.nan
        order, lost, at_least = self._counted(kind, row, clock_s, received_ns)
        line = kind.line
        measured_ns = received_ns
        if order is Order.REPEATED or order is Order.STALE or order is Order.ODD:
            return Placed(order, lost, at_least, measured_ns, measured_ns, self._watch.boot, math.nan)
        if order is Order.RESTARTED:
            self._see(RestartSign.COUNTER, kind.counter_name, received_ns)
        if line is not None:
            before = line.restarts
            take = line.begin_anew if order is Order.RESTARTED else line.take
            measured_ns = take(clock_s, received_ns)
            if line.restarts != before:
                self._see(RestartSign.CLOCK, kind.line_name, received_ns)
                if order is not Order.RESTARTED:
                    if (
                        kind.counter is not None
                        and kind.counter_at is not None
                        and math.isfinite(row[kind.counter_at])
                    ):
                        kind.counter.restart(int(row[kind.counter_at]), received_ns, clock_s)
                    order, lost = Order.RESTARTED, 0
        if order is not Order.LATE and kind.resets_at is not None:
            self._count_starts(row[kind.resets_at], received_ns)
        moment_ns = measured_ns
        if order is not Order.LATE and moment_ns <= self._newest_ns:
            moment_ns = min(self._newest_ns + 1, received_ns)
        self._newest_ns = max(self._newest_ns, moment_ns)
        held_s = math.nan if line is None else line.held_s
        return Placed(order, lost, at_least, measured_ns, moment_ns, self._watch.boot, held_s)

    def _counted(
        self, kind: "_Kind", row: Sequence[float], clock_s: float, received_ns: int
    ) -> tuple[Order, int, bool]:
        """What the packet's counter says; without one, what its clock says of repeats."""
        counter = kind.counter if kind.counter_at is not None and math.isfinite(row[kind.counter_at]) else None
        if counter is None or kind.counter_at is None:
            if kind.line is None or clock_s != clock_s:
                return Order.NEXT, 0, False
            if clock_s in kind.clocks:
                return (Order.NEXT if kind.line.may_start_anew(clock_s, received_ns) else Order.REPEATED), 0, False
            kind.clocks[clock_s] = None
            if len(kind.clocks) > REMEMBERED:
                del kind.clocks[next(iter(kind.clocks))]
            return Order.NEXT, 0, False
        # Two packets of one number are one packet if they carry one clock; without a clock, if all else is the same.
        mark = clock_s if clock_s == clock_s else array("d", row).tobytes()
        number = int(row[kind.counter_at])
        step = counter.step(number, received_ns, mark)
        if step.order is Order.ODD and kind.line is not None:
            gone_s = kind.line.gone_on_s(clock_s, received_ns)
            skipped = None if gone_s is None else counter.skip(number, received_ns, mark, gone_s)
            if skipped is not None:
                return skipped
        if kind.line is not None and (
            (step.order is Order.ODD and kind.line.starts_anew(clock_s, received_ns))
            or (step.order is Order.REPEATED and kind.line.may_start_anew(clock_s, received_ns))
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
        "clock_at",
        "clocks",
        "counter",
        "counter_at",
        "counter_name",
        "line",
        "line_name",
        "resets_at",
    )

    def __init__(
        self, carried: _Carried, line: ClockLine | None, counter: SequenceCounter | None, counter_name: str
    ) -> None:
        self.clock_at = carried.place(carried.clock)
        self.counter_at = carried.place(carried.counter)
        self.resets_at = carried.place(carried.resets)
        self.line = line
        self.line_name = "" if carried.clock is None else str(_scale(carried.clock.field))
        self.counter = counter
        self.counter_name = counter_name
        self.clocks: dict[float, None] = {}  # an ordered set, oldest first


def _scale(clock: Field) -> tuple[float, float]:
    """After how many seconds a clock wraps, infinite for one that does not, and its resolution [s]."""
    tick_s = abs(clock.scale)
    if clock.kind in (WireKind.UNSIGNED, WireKind.SIGNED):
        return tick_s * 2.0**clock.bits, tick_s
    return math.inf, 1.0 / NS_PER_S
