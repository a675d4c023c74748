"""How the station's own laptop stands: its supply, its disk, its clock, told as station events and recorded as such.

What it is judged by is here, because a replay must say what the live session said, on whatever machine it runs.
"""

import asyncio
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import psutil

from groundstation.clock import Clock
from groundstation.inputs import NS_PER_S, EventKind

EVERY_S = 60.0
# Common practice, no source.
LEAST_BATTERY_PERCENT = 30.0
LEAST_FREE_BYTES = 1_000_000_000
MOST_CLOCK_STEP_S = 2.0
EARLIEST_NS = 1_735_689_600 * NS_PER_S  # 2025-01-01 UTC: this program is not older

Tell = Callable[[EventKind, bool, str], None]


@dataclass(frozen=True, slots=True)
class Look:
    """What one look at one thing found."""

    kind: EventKind
    ok: bool
    text: str


def power_look(percent: float | None, on_mains: bool | None) -> Look:
    """How the laptop is supplied.

    Args:
        percent: Charge of its battery; None for a computer without one.
        on_mains: Whether it is plugged in; None where that is not known.
    """
    if percent is None:
        return Look(EventKind.LAPTOP_POWER, True, "This computer runs on mains and has no battery")
    allowed = f"at least {LEAST_BATTERY_PERCENT:.0f} % allowed"
    where = "on mains" if on_mains else "not on mains"
    text = f"The laptop's battery has {percent:.0f} %, {where}, {allowed}"
    return Look(EventKind.LAPTOP_POWER, on_mains is True or percent >= LEAST_BATTERY_PERCENT, text)


def disk_look(free_bytes: int | None) -> Look:
    """Room on the disk that is recorded to; None where it cannot be asked."""
    allowed = f"at least {LEAST_FREE_BYTES / 1e9:.0f} GB allowed"
    if free_bytes is None:
        return Look(
            EventKind.LAPTOP_DISK, False, f"The recording's disk does not say how much room it has, {allowed}"
        )
    # Two figures: tenths of a gigabyte change seldom enough.
    text = f"The recording's disk has {free_bytes / 1e9:.1f} GB free, {allowed}"
    return Look(EventKind.LAPTOP_DISK, free_bytes >= LEAST_FREE_BYTES, text)


def clock_look(wall_ns: int, session_ns: int) -> Look:
    """Whether the laptop's clock still tells the session's time, once taken from it, and a year that can be."""
    step_s = (wall_ns - session_ns) / NS_PER_S
    if session_ns < EARLIEST_NS:
        return Look(EventKind.LAPTOP_CLOCK, False, "The laptop's clock is years behind, 2025 or later allowed")
    if abs(step_s) > MOST_CLOCK_STEP_S:
        way = "forwards" if step_s > 0 else "back"
        text = f"The laptop's clock was set {way} by {abs(step_s):.0f} s in this session, 2 s allowed"
        return Look(EventKind.LAPTOP_CLOCK, False, text)
    return Look(EventKind.LAPTOP_CLOCK, True, "The laptop's clock has not been set in this session, 2 s allowed")


def looks(folder: Path, clock: Clock) -> tuple[Look, Look, Look]:
    """One look at each, now; `folder` is what is recorded to."""
    # Not every system's psutil has this function, and a battery's driver may fail.
    try:
        battery = psutil.sensors_battery()
    except (AttributeError, OSError, RuntimeError):
        battery = None
    try:
        free: int | None = shutil.disk_usage(folder).free
    except OSError:
        free = None
    power = power_look(None, None) if battery is None else power_look(battery.percent, battery.power_plugged)
    return power, disk_look(free), clock_look(time.time_ns(), clock.now_ns())


async def watch(folder: Path, clock: Clock, tell: Tell) -> None:
    """Say that the laptop is watched; look now and then every minute, for ever, and tell what each look found."""
    tell(EventKind.LAPTOP_WATCH, True, f"power, disk and clock, every {EVERY_S:.0f} s")
    while True:
        for look in await asyncio.to_thread(looks, folder, clock):
            tell(look.kind, look.ok, look.text)
        await asyncio.sleep(EVERY_S)
