"""The vehicle's clock on the station's time: for each packet when it was measured, by a line through the arrivals.

A packet arrives when it was sent, plus the shortest delay there is, plus whatever a receiver held it back: delays are
one-sided. So the line, offset and rate, lies under all arrivals of the last minutes (their lower envelope), and a
packet's measured time is the line at its clock. It holds the shortest delay, which nobody can know from here, and
never lies after the arrival. A counter that wraps is unwrapped by the arrival clock, over any gap; one that begins
again near zero is a flight computer that started anew; a single wild value moves nothing.

The line must move where all packets go on being held back, or none could be placed any more. By how much it did is
kept, so that `held_s` still says how old a packet is on arrival when a whole backlog trickles in.

Causal and deterministic: what is said of a packet depends on it and those before it.
"""

import math
from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise

from groundstation.inputs import NS_PER_S

# Crystals without compensation stay well within this, ageing and temperature included. Common practice, no source.
MOST_RATE = 200e-6
BLOCK_S = 5.0  # of each so much vehicle time the earliest arrival, relative to the clock, is kept
BLOCKS = 60  # the line lies under so many: five minutes, over which a crystal's rate hardly changes
# A clock runs ahead of the line only by what held back the packets so far. Common practice, no source.
AHEAD_S = 2.0
LATE_S = 1.0  # packets may overtake each other by this much. Common practice, no source.
HELD_BLOCK_S = 0.25  # a block whose earliest packet was held back by more than this says nothing of the line
HELD_S = 5.0  # and be held back by this much before another explanation is looked for. Common practice, no source.
SLOW_CLOCK_BLOCKS = 6  # of a clock too slow for the line only what was held back against the newest so many is told
STARTING_S = 2.0  # from a flight computer's start, which its clock counts from, to when it is first silent no more
CONFIRM_S = 2.0  # a clock that jumped is believed once it has kept pace with the arrivals for this long
PACE_S = 1.0  # within this
LEAST_TELLING_S = 600.0  # a clock that wraps sooner is near zero too often to tell a start by that alone
MOST_CLOCK_S = 1e10  # three centuries: more is no time since a start
FIRST_SPREAD_S = 0.1  # of the delays, before any is known. Common practice, no source.
MOST_COUNTED = 1000
RECENT = 64  # packets among which a late one finds its place


@dataclass(frozen=True, slots=True)
class _Jump:
    """A clock that is not where it should be: its reading, when it came, and whether it lies before the newest."""

    clock_s: float
    received_ns: int
    back: bool


class ClockLine:
    """One clock of a vehicle; see the module.

    Args:
        period_s: After how much the clock wraps to zero; infinite for one that does not.
        tick_s: The clock's resolution.
    """

    __slots__ = (
        "_behind_s",
        "_block",
        "_count",
        "_jump",
        "_lowest",
        "_newest_clock_s",
        "_newest_measured_ns",
        "_newest_ns",
        "_newest_s",
        "_offset_s",
        "_period_s",
        "_rate",
        "_recent_ns",
        "_recent_s",
        "_spread_s",
        "_start_ns",
        "_tick_s",
        "held_s",
        "restarts",
    )

    def __init__(self, *, period_s: float = math.inf, tick_s: float = 0.0) -> None:
        self._period_s = period_s
        self._tick_s = tick_s
        self._spread_s = FIRST_SPREAD_S
        self._newest_measured_ns = 0
        self._start_ns: int | None = None
        self._behind_s = 0.0  # what the line moved by because all packets were held back
        self.held_s = 0.0
        """By how much the newest packet was held back [s], beyond the shortest delay there is."""
        self.restarts = 0

    @property
    def sigma_s(self) -> float:
        """Standard deviation of the newest measured time; the shortest delay is not in it."""
        if self._start_ns is None:
            return FIRST_SPREAD_S
        return math.hypot(self._spread_s / math.sqrt(self._count), self._tick_s)

    @property
    def rate(self) -> float:
        """How much the station's clock gains on the vehicle's, per second: 1e-6 is one part in a million."""
        return 0.0 if self._start_ns is None else self._rate

    def take(self, clock_s: float, received_ns: int) -> int:
        """When the next packet was measured [ns, the station's time].

        Args:
            clock_s: The vehicle's clock in it; where that is no time at all, it counts as measured on arrival.
            received_ns: When it was received, not before the packet before it.
        """
        if not -MOST_CLOCK_S < clock_s < MOST_CLOCK_S:
            self.held_s = self._behind_s
            return received_ns
        if self._start_ns is None:
            return self._begin(clock_s, received_ns)
        gone_ns = received_ns - self._newest_ns
        gone_s = gone_ns / NS_PER_S if gone_ns > 0 else 0.0
        step_s = self._step_s(clock_s, gone_s)
        ahead_s = self._ahead_s(step_s, received_ns)
        if step_s > 0.0:
            if -HELD_S <= ahead_s <= AHEAD_S:
                return self._go_on(clock_s, self._newest_s + step_s, received_ns)
        elif step_s > -LATE_S and gone_s <= LATE_S:
            return self._place(self._newest_s + step_s, received_ns)
        if self._near_start(clock_s, gone_s):
            return self._restart(clock_s, received_ns)
        return self._doubt(clock_s, step_s, ahead_s, received_ns)

    def starts_anew(self, clock_s: float, received_ns: int) -> bool:
        """Whether a packet with that clock would be one of a flight computer that started anew."""
        if self._start_ns is None or not -MOST_CLOCK_S < clock_s < MOST_CLOCK_S:
            return False
        gone_s = max(0, received_ns - self._newest_ns) / NS_PER_S
        step_s = self._step_s(clock_s, gone_s)
        if step_s > 0.0 and -HELD_S <= self._ahead_s(step_s, received_ns) <= AHEAD_S:
            return False
        late = -LATE_S < step_s <= 0.0 and gone_s <= LATE_S
        return not late and self._near_start(clock_s, gone_s)

    def gone_on_s(self, clock_s: float, received_ns: int) -> float | None:
        """How long after the newest packet one was sent whose clock goes on as the line says; None for any other."""
        if self._start_ns is None or not -MOST_CLOCK_S < clock_s < MOST_CLOCK_S:
            return None
        step_s = self._step_s(clock_s, max(0, received_ns - self._newest_ns) / NS_PER_S)
        on_line = step_s > 0.0 and -HELD_S <= self._ahead_s(step_s, received_ns) <= AHEAD_S
        return step_s if on_line else None

    def may_start_anew(self, clock_s: float, received_ns: int) -> bool:
        """Whether the flight computer can have started since the newest packet, by a clock that came already.

        A start that takes the same time each time gives the same clocks again. It cannot have been longer ago than
        the newest packet, while the clock of one that merely comes twice mostly says so. A narrow clock, which is
        near zero after each wrap too, cannot tell.
        """
        if self._period_s < LEAST_TELLING_S or not self.starts_anew(clock_s, received_ns):
            return False
        gone_s = (received_ns - self._newest_ns) / NS_PER_S
        return clock_s <= gone_s + self._spread_s

    def begin_anew(self, clock_s: float, received_ns: int) -> int:
        """The flight computer is known to have started anew: the packet with that clock is the first after it.

        Nothing changes where the clock goes on all the same.
        """
        before = self.restarts
        measured_ns = self.take(clock_s, received_ns)
        if self.restarts == before and self._start_ns is not None and self._jump is not None:
            return self._restart(clock_s, received_ns)
        return measured_ns

    def _step_s(self, clock_s: float, gone_s: float) -> float:
        """From the newest packet's clock to this one's, wraps taken out by the time gone between their arrivals."""
        step_s = clock_s - self._newest_clock_s
        if self._period_s < math.inf:
            step_s += self._period_s * round((gone_s - step_s) / self._period_s)
        return step_s

    def _ahead_s(self, step_s: float, received_ns: int) -> float:
        """By how much the line at this clock lies after the arrival; negative by what held the packet back."""
        assert self._start_ns is not None
        at_s = self._newest_s + step_s
        return at_s + self._offset_s + self._rate * at_s - (received_ns - self._start_ns) / NS_PER_S

    def _near_start(self, clock_s: float, gone_s: float) -> bool:
        """Whether a clock that began at zero since the newest packet could read this."""
        up_s = clock_s % self._period_s if self._period_s < math.inf else clock_s
        return -self._tick_s <= up_s <= gone_s + STARTING_S and clock_s != self._newest_clock_s

    def _begin(self, clock_s: float, received_ns: int) -> int:
        self._start_ns = received_ns
        self._newest_ns = received_ns
        self._newest_clock_s = clock_s
        self._newest_s = 0.0
        self._offset_s = 0.0
        self._rate = 0.0
        self._count = 1
        self._block = 0
        self._lowest: list[tuple[float, float]] = [(0.0, 0.0)]  # (clock, arrival - clock) of each block's earliest
        self._jump: _Jump | None = None
        self._recent_s = [0.0]
        self._recent_ns = [received_ns]
        self._newest_measured_ns = max(self._newest_measured_ns, received_ns)
        self.held_s = self._behind_s
        return received_ns

    def _restart(self, clock_s: float, received_ns: int) -> int:
        self.restarts += 1
        self._behind_s = 0.0
        self._newest_measured_ns = 0
        return self._begin(clock_s, received_ns)

    def _go_on(self, clock_s: float, at_s: float, received_ns: int) -> int:
        """A packet newer than all before it."""
        assert self._start_ns is not None
        above_s = (received_ns - self._start_ns) / NS_PER_S - at_s
        held_s = above_s - self._offset_s - self._rate * at_s
        if held_s < 0.0:
            self._offset_s += held_s
            self._behind_s = max(0.0, self._behind_s + held_s)
            held_s = 0.0
        if self._count < MOST_COUNTED:
            self._count += 1
        self._spread_s += (held_s - self._spread_s) / self._count
        block = int(at_s / BLOCK_S)
        if block != self._block:
            self._block = block
            self._refit(at_s)
            self._lowest.append((at_s, above_s))
            if len(self._lowest) > BLOCKS:
                del self._lowest[0]
            self._offset_s = min(self._offset_s, above_s - self._rate * at_s)
        elif above_s < self._lowest[-1][1]:
            self._lowest[-1] = (at_s, above_s)
        self._newest_s, self._newest_clock_s, self._newest_ns = at_s, clock_s, received_ns
        self._jump = None
        offset_s, drift_s = self._offset_s, self._rate * at_s
        held_s = above_s - offset_s - drift_s
        if held_s < 0.0:
            held_s = 0.0
        self.held_s = self._behind_s + (held_s if self._rate < MOST_RATE else self._held_lately_s(held_s))
        measured_ns = self._start_ns + round((at_s + offset_s + drift_s) * NS_PER_S)
        if measured_ns < self._newest_measured_ns:
            measured_ns = self._newest_measured_ns
        if measured_ns > received_ns:
            measured_ns = received_ns
        self._newest_measured_ns = measured_ns
        self._recent_s.append(at_s)
        self._recent_ns.append(measured_ns)
        if len(self._recent_s) > 2 * RECENT:
            del self._recent_s[:RECENT], self._recent_ns[:RECENT]
        return measured_ns

    def _place(self, at_s: float, received_ns: int) -> int:
        """A packet not newer than all before it: between its neighbours."""
        assert self._start_ns is not None
        line_ns = self._start_ns + round((at_s + self._offset_s + self._rate * at_s) * NS_PER_S)
        self.held_s = self._behind_s + max(0, received_ns - line_ns) / NS_PER_S
        place = bisect_left(self._recent_s, at_s)
        if place < len(self._recent_s) and self._recent_s[place] == at_s:
            return min(self._recent_ns[place], received_ns)
        if place > 0:
            line_ns = max(line_ns, self._recent_ns[place - 1])
        if place < len(self._recent_ns):
            line_ns = min(line_ns, self._recent_ns[place])
        measured_ns = min(line_ns, received_ns)
        self._recent_s.insert(place, at_s)
        self._recent_ns.insert(place, measured_ns)
        return measured_ns

    def _doubt(self, clock_s: float, step_s: float, ahead_s: float, received_ns: int) -> int:
        """A clock that is neither going on nor starting anew: believed once it keeps pace with the arrivals."""
        jump = self._jump
        if jump is not None:
            gone_s = (received_ns - jump.received_ns) / NS_PER_S
            advance_s = clock_s - jump.clock_s
            if self._period_s < math.inf:
                advance_s += self._period_s * round((gone_s - advance_s) / self._period_s)
            if advance_s <= 0.0 or abs(advance_s - gone_s) > PACE_S:
                jump = None
            elif gone_s >= CONFIRM_S:
                if jump.back:
                    return self._restart(clock_s, received_ns)
                self._behind_s = max(0.0, self._behind_s - ahead_s)
                return self._begin(clock_s, received_ns)
        if jump is None:
            self._jump = _Jump(clock_s, received_ns, step_s <= -LATE_S)
        self.held_s = self._behind_s + max(0.0, -ahead_s)
        if step_s > 0.0 and ahead_s < 0.0:
            # Held back for long, by all that is known so far.
            assert self._start_ns is not None
            at_s = self._newest_s + step_s
            line_ns = self._start_ns + round((at_s + self._offset_s + self._rate * at_s) * NS_PER_S)
            return min(max(line_ns, self._newest_measured_ns), received_ns)
        self._newest_measured_ns = max(self._newest_measured_ns, received_ns)
        return received_ns

    def _refit(self, at_s: float) -> None:
        """The line anew; where it rises by more than drift explains, what it lay under last was held back."""
        before_s = self._offset_s + self._rate * at_s
        self._fit()
        rise_s = self._offset_s + self._rate * at_s - before_s
        if rise_s > HELD_BLOCK_S:
            self._behind_s += rise_s

    def _held_lately_s(self, held_s: float) -> float:
        """Of what lies above the line of a clock too slow for it, what the newest blocks' earliest do not."""
        lately = self._lowest[-SLOW_CLOCK_BLOCKS:]
        return max(0.0, held_s - min(y - self._offset_s - self._rate * x for x, y in lately))

    def _fit(self) -> None:
        """The line under the earliest arrivals of all blocks: the edge of their lower convex hull over their mean.

        It is the line below all points that lies closest to them. Blocks in which every packet was held back, as no
        drift explains how far above a neighbour they lie, have no say.

        Source:
            Moon, Skelly and Towsley, Estimation and removal of clock skew from network delay measurements, INFOCOM
            1999, the linear programme of section IV; solved by the hull as in Zhang, Liu and Xia, Clock
            synchronization algorithms for network measurements, INFOCOM 2002. Both from memory.
        """
        points = _unheld(self._lowest)
        hull: list[tuple[float, float]] = []
        for x, y in points:
            while len(hull) > 1:
                (ax, ay), (bx, by) = hull[-2], hull[-1]
                if (by - ay) * (x - ax) < (y - ay) * (bx - ax):
                    break
                hull.pop()
            hull.append((x, y))
        mean_s = math.fsum(x for x, _ in points) / len(points)
        rate = self._rate
        for (ax, ay), (bx, by) in pairwise(hull):
            if bx >= mean_s:
                rate = (by - ay) / (bx - ax)
                break
        self._rate = rate = max(-MOST_RATE, min(MOST_RATE, rate))
        self._offset_s = min(y - rate * x for x, y in points)


def _unheld(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The points that lie above no other by more than the greatest rate, and `HELD_BLOCK_S`, between them."""
    allowed = []
    for one_way in (points, points[::-1]):
        bound_s, last = math.inf, one_way[0][0]
        bounds = []
        for x, y in one_way:
            bound_s = min(bound_s + MOST_RATE * abs(x - last), y)
            last = x
            bounds.append(bound_s + HELD_BLOCK_S)
        allowed.append(bounds)
    both = zip(points, allowed[0], reversed(allowed[1]), strict=True)
    return [point for point, before, after in both if point[1] <= min(before, after)]
