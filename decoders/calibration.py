"""Curves from a field's raw number to its value: polynomials, tables, and positions in degrees and minutes.

Arrays of raw numbers in, float64 out (NaN where the curve says nothing); and back, for one value, to the raw number
that comes nearest. A curve may rise and fall: of several raw numbers that fit, any may be given back.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.errors import LayoutError

FloatArray = NDArray[np.float64]

_REACHES = (1.0, 1e3, 1e6, 1e9)  # of raw floats, of which nothing says how large they are
_SMALL = 1e-15  # share of a polynomial's greatest term below which a highest term cannot be told from rounding
_SOUTH_WEST = (ord("S"), ord("W"))
_NORTH_EAST = (ord("N"), ord("E"))


@dataclass(frozen=True, slots=True)
class Polynomial:
    """value = c[0] + c[1] * raw + c[2] * raw^2 + …"""

    coefficients: tuple[float, ...]

    def __post_init__(self) -> None:
        if not self.coefficients or not all(map(math.isfinite, self.coefficients)):
            raise LayoutError(f"found {self.coefficients}, expected one or more finite numbers", where="polynomial")

    def values(self, raw: NDArray[Any]) -> FloatArray:
        """The values (n,) of raw numbers (n,)."""
        x = raw.astype(np.float64)
        result = np.full(x.shape, self.coefficients[-1])
        with np.errstate(over="ignore", invalid="ignore"):  # raw floats of the wire may be huge, or not numbers
            for coefficient in self.coefficients[-2::-1]:
                result *= x
                result += coefficient
        return result

    def candidates(self, value: float, reach: float) -> list[float]:
        """The raw numbers up to `reach` that may have this value, and those at which the curve turns."""
        with np.errstate(over="ignore"):
            scaled = np.array(self.coefficients) * reach ** np.arange(len(self.coefficients))
        turning = scaled[1:] * np.arange(1, len(scaled))
        scaled[0] -= value
        # a double root comes out as a pair with a small imaginary part; its real part is still the nearest there is
        return [float(root.real) * reach for some in (scaled, turning) for root in _roots(some)]


@dataclass(frozen=True, slots=True)
class Points:
    """Straight lines between the points (raw[k], value[k]), raw rising; NaN beyond the first and the last."""

    raw: tuple[float, ...]
    value: tuple[float, ...]

    def __post_init__(self) -> None:
        rising = all(a < b for a, b in zip(self.raw, self.raw[1:], strict=False))
        if len(self.raw) != len(self.value) or len(self.raw) < 2 or not rising:
            raise LayoutError(f"found the raw numbers {self.raw}, expected two or more, rising", where="table")
        if not all(map(math.isfinite, (*self.raw, *self.value))):
            raise LayoutError("found a point that is not finite, expected finite numbers", where="table")

    def values(self, raw: NDArray[Any]) -> FloatArray:
        """The values (n,) of raw numbers (n,)."""
        between: FloatArray = np.interp(raw.astype(np.float64), self.raw, self.value, left=np.nan, right=np.nan)
        return between

    def candidates(self, value: float, reach: float) -> list[float]:
        """The raw numbers that have this value, and those of the table's points."""
        found = list(self.raw)
        for k in range(len(self.raw) - 1):
            low, high = self.value[k], self.value[k + 1]
            if low != high and min(low, high) <= value <= max(low, high):
                found.append(self.raw[k] + (value - low) / (high - low) * (self.raw[k + 1] - self.raw[k]))
        return found


@dataclass(frozen=True, slots=True)
class DegreesMinutes:
    """A position as ddmm.mmmm times `per_minute`: degrees and minutes in one number; the value is in degrees.

    4717.11399 with per_minute 100,000 is the whole number 471711399 and means 47 degrees and 17.11399 minutes. South
    and west are negative, or told by another field, named `letter`, that holds the letter N, S, E or W. NaN where
    there are 60 minutes or more, more than 180 degrees, or another letter.

    Source: NMEA 0183 (IEC 61162-1), the form of latitude and longitude in sentences such as GGA.
    """

    per_minute: int = 1
    letter: str = ""

    def __post_init__(self) -> None:
        if self.per_minute < 1:
            raise LayoutError(f"found {self.per_minute} a minute, expected 1 or more", where="degrees and minutes")

    def values(self, raw: NDArray[Any]) -> FloatArray:
        """The values (n,) [deg] of raw numbers (n,), whose signs count."""
        signed = raw.astype(np.float64)
        size = np.abs(signed)
        with np.errstate(invalid="ignore", over="ignore"):
            whole = np.floor(size / (100.0 * self.per_minute))
            minutes = (size - whole * (100.0 * self.per_minute)) / self.per_minute
            degrees = whole + minutes / 60.0
            degrees[~((minutes < 60.0) & (degrees <= 180.0))] = np.nan
        return np.copysign(degrees, signed)

    def directed(self, values: FloatArray, letters: NDArray[Any]) -> FloatArray:
        """The values with the signs that their letters say."""
        result = np.where(np.isin(letters, _SOUTH_WEST), -values, values)
        return np.where(np.isin(letters, _SOUTH_WEST + _NORTH_EAST), result, np.nan)

    def candidates(self, value: float, reach: float) -> list[float]:
        """The raw number that has this value."""
        whole, part = divmod(abs(value), 1.0)
        return [math.copysign((whole * 100.0 + part * 60.0) * self.per_minute, value)]

    def nearest_whole(self, value: float) -> int:
        """The whole raw number nearest to this value; 59.99… minutes may become the next degree."""
        degrees, rest = divmod(round(abs(value) * 60.0 * self.per_minute), 60 * self.per_minute)
        raw = degrees * 100 * self.per_minute + rest
        return -raw if value < 0 else raw


Calibration = Polynomial | Points | DegreesMinutes


def nearest_raw(curve: Calibration, value: float) -> float:
    """The raw number, of any kind, whose value comes nearest to `value`.

    Raises:
        LayoutError: There is none, such as for a polynomial that is a constant.
    """
    found = [raw for reach in _REACHES for raw in curve.candidates(value, reach) if math.isfinite(raw)]
    if not found:
        raise LayoutError(f"found {value!r}, which the curve gives for no raw number", where="curve")
    return min(found, key=lambda raw: _distance(curve, raw, value))


def nearest_whole_raw(curve: Calibration, value: float, least: int, greatest: int) -> int:
    """The whole raw number from `least` to `greatest` whose value comes nearest to `value`."""
    if isinstance(curve, DegreesMinutes):
        return max(least, min(greatest, curve.nearest_whole(value)))
    tried = {least, greatest}
    for raw in curve.candidates(value, float(max(-least, greatest))):
        if math.isfinite(raw):
            below = math.floor(raw)
            tried |= {max(least, min(greatest, number)) for number in (below - 1, below, below + 1, below + 2)}
    if isinstance(curve, Points):
        tried |= {math.ceil(curve.raw[0]), math.floor(curve.raw[-1])}
    allowed = [number for number in tried if least <= number <= greatest]
    return min(allowed, key=lambda raw: _distance(curve, raw, value))


def _roots(lowest_first: FloatArray) -> NDArray[Any]:
    """The roots of a polynomial in a variable of about 1."""
    size = np.abs(lowest_first)
    told = np.flatnonzero(size > _SMALL * size.max()) if size.size else size
    if told.size == 0 or not np.all(np.isfinite(lowest_first)):
        return np.empty(0)
    return np.roots(lowest_first[int(told[-1]) :: -1])


def _distance(curve: Calibration, raw: float, value: float) -> float:
    """How far the value of a raw number is from another; infinite where it has none."""
    distance = abs(float(curve.values(np.array([raw], np.float64))[0]) - value)
    return math.inf if math.isnan(distance) else distance
