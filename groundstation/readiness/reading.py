"""Where a window reads: each measurement's place in its packet's table, and each table's newest row at a moment.

What follows from a session's layout alone is worked out once a timeline; what follows from a moment, once a window.
"""

import math
import sys
from collections.abc import Hashable
from dataclasses import dataclass, field
from weakref import WeakKeyDictionary

from groundstation.config.vehicle import Limits, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.measurements import measurement
from groundstation.table import Table
from groundstation.timeline import Timeline

# How old a value may be: so many periods of its packet, but no less than limits.packet_age_s and no more than
# limits.health_age_s, unless that is less than MISSED_PERIODS. With 3 packets in 10 lost, twelve in a row are lost
# once in two million packets. One packet a second against the 3 s that ship is less patient: at 10 % loss three in a
# row are lost once in a thousand, so whoever sends that seldom over a poor link should allow more.
PATIENT_PERIODS = 12.0
MISSED_PERIODS = 3.0
# Where the vehicle file does not set limits.packet_age, silence is allowed for the time of so many packets of any
# kind, if that is longer: at 10 % loss six in a row are lost once in a million packets.
SILENT_PACKETS = 6.0
# A field's largest raw value and the valid range's end come by different multiplications: room for their rounding.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Reading:
    """A measurement's packet, column and place in it, and its valid range, never infinite."""

    name: str
    packet: str
    column: str
    place: int
    least: float
    greatest: float


@dataclass(frozen=True, slots=True)
class SessionFacts:
    """What a session's layout says: readings by name; those judged for being possible, by packet; more by key.

    `silence_s` is how old the newest packet of any kind may be, `state_age_s` how old an estimate, and `age_s` how
    old the newest packet of each kind.
    """

    readings: dict[str, Reading]
    judged: dict[str, tuple[Reading, ...]]
    state_age_s: float
    silence_s: float
    age_s: dict[str, float]
    fixed: dict[Hashable, object] = field(default_factory=dict)


class Newest:
    """One table as it stood at a moment: its rows up to then, and the newest one's age.

    `fresh` says whether there is a row no older than allowed.
    """

    __slots__ = ("_starts", "age_s", "end", "fresh", "t_ns", "table")

    def __init__(self, table: Table, at_ns: int, most_age_s: float) -> None:
        self.table = table
        self.t_ns = t_ns = table.t_ns
        end = len(t_ns)
        newest_ns = int(t_ns[end - 1]) if end else at_ns
        if newest_ns > at_ns:
            end = int(t_ns.searchsorted(at_ns, side="right"))
            newest_ns = int(t_ns[end - 1]) if end else at_ns
        self.end = end
        self.age_s = age_s = (at_ns - newest_ns) / NS_PER_S
        self.fresh = end > 0 and 0.0 <= age_s <= most_age_s
        self._starts: dict[float, int] = {}

    def start(self, at_ns: int, seconds: float) -> int:
        """The first row received within the last `seconds`."""
        start = self._starts.get(seconds)
        if start is None:
            from_ns = at_ns - round(seconds * NS_PER_S)
            start = self._starts[seconds] = int(self.t_ns.searchsorted(from_ns, side="right"))
        return start


class NewestPacket(Newest):
    """A packet's table at a moment, with the values of its newest row; `row` is empty where there is none."""

    __slots__ = ("_before", "row")

    def __init__(self, table: Table, at_ns: int, most_age_s: float) -> None:
        super().__init__(table, at_ns, most_age_s)
        self.row = table.row(self.end - 1) if self.end else []
        self._before: list[float] | None = None

    @property
    def before(self) -> list[float]:
        """Values of the row before the newest; IndexError where there is none."""
        if self._before is None:
            self._before = self.table.row(self.end - 2)
        return self._before


def problem(value: float, reading: Reading) -> str | None:
    """What is wrong with a value, if anything."""
    if not math.isfinite(value):
        return "is not a number"
    if not reading.least <= value <= reading.greatest:
        return "is outside its valid range"
    return None


_FACTS: WeakKeyDictionary[Timeline, SessionFacts] = WeakKeyDictionary()


def facts_of(timeline: Timeline) -> SessionFacts:
    """The facts of a timeline, worked out when it is first asked for."""
    facts = _FACTS.get(timeline)
    if facts is None:
        facts = _FACTS[timeline] = _facts(timeline)
    return facts


def _facts(timeline: Timeline) -> SessionFacts:
    limits = timeline.vehicle.limits
    rates = {packet.name: packet.rate_hz for packet in timeline.vehicle.telemetry.packets}
    most = sys.float_info.max  # so that an infinite value lies outside the range of a field that states none
    readings = {
        name: Reading(
            name,
            source.table,
            source.column,
            timeline.packets[source.table].columns.index(source.column),
            max(source.least - ROUNDING * abs(source.least), -most),
            min(source.greatest + ROUNDING * abs(source.greatest), most),
        )
        for name, source in timeline.sources.items()
    }
    # Each column once, under its standard name where it has one; own fields only where the file gives a range.
    seen: dict[tuple[str, str], Reading] = {}
    for name, reading in readings.items():
        if measurement(name) or reading.least > -most or reading.greatest < most:
            seen.setdefault((reading.packet, reading.column), reading)
    judged = {packet: tuple(r for r in seen.values() if r.packet == packet) for packet in timeline.packets}
    age_s = {packet: _allowed_age_s(limits, rate_hz) for packet, rate_hz in rates.items()}
    motion = [age_s[readings[name].packet] for name in ("pressure", "accel_x") if name in readings]
    silence_s = allowed_silence_s(timeline.vehicle)
    return SessionFacts(
        readings,
        {p: r for p, r in judged.items() if r},
        max(motion, default=silence_s),
        silence_s,
        age_s,
    )


def allowed_silence_s(vehicle: Vehicle) -> float:
    """How old the newest packet of any kind may be: as the vehicle file sets it, else by how often packets come."""
    limits = vehicle.limits
    if "packet_age_s" in limits.model_fields_set:
        return limits.packet_age_s
    return max(limits.packet_age_s, SILENT_PACKETS / sum(packet.rate_hz for packet in vehicle.telemetry.packets))


def _allowed_age_s(limits: Limits, rate_hz: float) -> float:
    most_s = max(limits.health_age_s, MISSED_PERIODS / rate_hz)
    return min(max(limits.packet_age_s, PATIENT_PERIODS / rate_hz), most_s)
