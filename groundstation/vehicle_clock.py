"""The vehicle's own clock made into one time that never runs backwards, for bytes that carry no times of their own.

A counter that wraps goes on; a flight computer that starts anew goes on from the last time; a packet that repeats or
comes late takes the time of the one before it; a single wild value is not believed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

# Packets that fly close together may swap places in a receiver by this much. Common practice, no source.
LATE_S = 1.0
# What one packet may lie after the one before it and still count as going on from it. Common practice, no source.
LONG_STEP_S = 60.0
# Across a wrap the outage before it must be short, or a flight computer that starts anew would pass for one.
# Common practice, no source.
OUTAGE_AT_WRAP_S = 10.0


@dataclass(frozen=True, slots=True)
class Reading:
    """A clock as one packet gives it [s], and after how many seconds it wraps (infinite for one that does not)."""

    clock_s: float
    period_s: float


@dataclass(frozen=True, slots=True)
class Unwrapped:
    """The time of each packet [s] from 0 at the first, never decreasing, and how often the clock started anew."""

    times_s: list[float]
    restarts: int
    wraps: int


def unwrapped(readings: Sequence[Reading]) -> Unwrapped:
    """One time for all packets, in the order they came.

    Args:
        readings: The clock in each packet; NaN takes the time of the packet before it.
    """
    times: list[float] = []
    time_s, last_s = 0.0, math.nan
    restarts = wraps = 0
    for k, reading in enumerate(readings):
        after = readings[k + 1] if k + 1 < len(readings) else None
        if math.isnan(last_s):
            if math.isfinite(reading.clock_s) and (after is None or _continues(reading, after)):
                last_s = reading.clock_s
        elif math.isfinite(reading.clock_s):
            step_s = reading.clock_s - last_s
            across_s = step_s + reading.period_s
            wrapped = step_s < -LATE_S and 0.0 <= across_s <= OUTAGE_AT_WRAP_S
            late = -LATE_S <= step_s <= 0.0 or step_s >= reading.period_s - LATE_S
            if not late and _believable(across_s if wrapped else step_s, reading, after):
                last_s = reading.clock_s
                time_s += max(0.0, across_s if wrapped else step_s)
                wraps += wrapped
                restarts += step_s < 0.0 and not wrapped
        times.append(time_s)
    return Unwrapped(times, restarts, wraps)


def _believable(step_s: float, reading: Reading, after: Reading | None) -> bool:
    """Short steps forwards are; any other must be gone on from by the next packet, if there is one."""
    if 0.0 <= step_s <= LATE_S:
        return True
    return 0.0 <= step_s <= LONG_STEP_S if after is None else _continues(reading, after)


def _continues(reading: Reading, after: Reading) -> bool:
    """Whether the next packet's clock goes on from this one's."""
    step_s = after.clock_s - reading.clock_s
    if step_s < -LATE_S:
        step_s += after.period_s
    return -LATE_S <= step_s <= LONG_STEP_S
