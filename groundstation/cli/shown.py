"""Numbers, times and progress as the terminal shows them."""

import sys
import time
from datetime import datetime
from typing import TextIO

from groundstation.inputs import NS_PER_S
from groundstation.readiness.words import number

THIN_SPACE = "\u2009"
_PROGRESS_EVERY_S = 0.2


def quantity(value: float, decimals: int, unit: str) -> str:
    """Value, thin space, unit; a minus is a minus."""
    return f"{number(value, decimals)}{THIN_SPACE}{unit}" if unit else number(value, decimals)


def amount(n_bytes: int) -> str:
    """A number of bytes as a person says it."""
    for unit, size in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if n_bytes >= size:
            return quantity(n_bytes / size, 1, unit)
    return quantity(n_bytes, 0, "bytes")


def local_clock(at_ns: int) -> str:
    """The laptop's local time with its zone, such as 14:30:07 CEST."""
    return f"{datetime.fromtimestamp(at_ns / NS_PER_S).astimezone():%H:%M:%S %Z}"


def local_date(at_ns: int) -> str:
    """The laptop's local date and time with its zone."""
    return f"{datetime.fromtimestamp(at_ns / NS_PER_S).astimezone():%Y-%m-%d %H:%M:%S %Z}"


def from_liftoff(at_ns: int, liftoff_ns: int) -> str:
    """Time from liftoff, T−mm:ss before it and T+mm:ss from it on."""
    sign = "+" if at_ns >= liftoff_ns else "−"
    return f"T{sign}{minutes(abs(at_ns - liftoff_ns) / NS_PER_S)}"


def minutes(length_s: float) -> str:
    """A length of time as mm:ss."""
    whole = int(length_s)
    return f"{whole // 60:02d}:{whole % 60:02d}"


class Progress:
    """How far long work has come, on one line of a terminal; nothing where stderr is no terminal."""

    def __init__(self, what: str, total: int, *, to: TextIO | None = None) -> None:
        self._to = sys.stderr if to is None else to
        self._shown = self._to.isatty() and total > 0
        self._what = what
        self._total = max(total, 1)
        self._next_s = 0.0
        self._width = 0

    def __call__(self, done: int) -> None:
        """So much of the total is done."""
        now_s = time.monotonic()
        if self._shown and now_s >= self._next_s:
            self._next_s = now_s + _PROGRESS_EVERY_S
            self._write(f"{self._what}: {min(100, 100 * done // self._total)}{THIN_SPACE}%")

    def end(self) -> None:
        """Take the line away."""
        if self._width:
            self._write("")
            self._to.write("\r")
            self._to.flush()

    def _write(self, line: str) -> None:
        self._to.write(f"\r{line.ljust(self._width)}")
        self._to.flush()
        self._width = len(line)
