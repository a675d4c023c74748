"""Numbers and names as a person reads them on the page: units, digits, signs, durations, clocks.

Inside, everything is SI; here it becomes degrees, hectopascals and degrees Celsius, with as many digits as a sensor
of a hobby vehicle earns, a thin space before the unit, and a real minus sign.
"""

import math
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from groundstation.inputs import NS_PER_S
from groundstation.measurements import measurement
from groundstation.readiness.finding import Limit

THIN = "\N{THIN SPACE}"
MISSING = "–"


@dataclass(frozen=True, slots=True)
class Shown:
    """How a unit inside the program is shown: value * scale + bias in `unit`, with `decimals`."""

    unit: str
    scale: float
    bias: float
    decimals: int


_SHOWN = {
    "V": Shown("V", 1, 0, 2),
    "A": Shown("A", 1, 0, 2),
    "ohm": Shown("Ω", 1, 0, 2),
    "K": Shown("°C", 1, -273.15, 1),
    "Pa": Shown("hPa", 0.01, 0, 1),
    "rad": Shown("°", 180 / math.pi, 0, 1),
    "rad/s": Shown("°/s", 180 / math.pi, 0, 1),
    "m/s^2": Shown("m/s²", 1, 0, 2),
    "m/s": Shown("m/s", 1, 0, 1),
    "m": Shown("m", 1, 0, 1),
    "s": Shown("s", 1, 0, 1),
    "dBm": Shown("dBm", 1, 0, 0),
    "dB": Shown("dB", 1, 0, 1),
    "byte": Shown("MB", 1e-6, 0, 1),
    "1": Shown("", 1, 0, 0),
}
# Units findings carry are already for people; only the spelling differs.
_SPELLING = {
    "ohm": "Ω",
    "deg": "°",
    "deg/s": "°/s",
    "degC": "°C",
    "m/s^2": "m/s²",
    "percent": "%",
    "1": "",
}
_DECIMALS = {"V": 2, "A": 2, "Ω": 2, "°": 1, "°C": 1, "hPa": 1, "Pa": 0, "m/s²": 2, "°/s": 1, "s": 1, "%": 0, "m": 1}


def shown(unit: str) -> Shown:
    """How values in an SI unit are shown; an unknown unit is shown as it is."""
    return _SHOWN.get(unit, Shown(unit, 1, 0, 2))


def number(value: float | None, decimals: int) -> str:
    """A number with a real minus; a dash where it is missing."""
    if value is None or not math.isfinite(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")


def with_unit(text: str, unit: str) -> str:
    """Number, thin space, unit; degrees stand close to their number."""
    if not unit or text == MISSING:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text}{THIN}{unit}"


def quantity(value: float | None, si_unit: str) -> str:
    """A value in an SI unit, as shown."""
    how = shown(si_unit)
    if value is None or not math.isfinite(value):
        return MISSING
    return with_unit(number(value * how.scale + how.bias, how.decimals), how.unit)


def finding_value(value: float | None, unit: str) -> str:
    """A finding's value in the finding's own unit."""
    spelt = _SPELLING.get(unit, unit)
    return with_unit(number(value, _decimals(value, spelt)), spelt)


def finding_limit(limit: Limit, unit: str) -> str:
    """A finding's limit in words: "at least 3.75 V", "0.8 to 3.0 Ω"; empty where there is none."""
    spelt = _SPELLING.get(unit, unit)
    low = None if limit.least is None else number(limit.least, _decimals(limit.least, spelt))
    high = None if limit.greatest is None else number(limit.greatest, _decimals(limit.greatest, spelt))
    if low is not None and high is not None:
        return with_unit(low, spelt) if low == high else with_unit(f"{low} to {high}", spelt)
    if low is not None:
        return f"at least {with_unit(low, spelt)}"
    if high is not None:
        return f"at most {with_unit(high, spelt)}"
    return ""


def _decimals(value: float | None, unit: str) -> int:
    if unit in _DECIMALS:
        return _DECIMALS[unit]
    return 0 if value is None or float(value).is_integer() else 2


def age(seconds: float | None) -> str:
    """An age: seconds to one decimal under 10 s, then whole seconds, minutes, hours."""
    if seconds is None or not math.isfinite(seconds):
        return MISSING
    if seconds < 9.95:
        return f"{max(0.0, seconds):.1f}{THIN}s"
    return duration(seconds)


def duration(seconds: float) -> str:
    """A duration in whole seconds, minutes or hours: "42 s", "3 min 12 s", "2 h 05 min"."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole}{THIN}s"
    if whole < 3600:
        return f"{whole // 60}{THIN}min {whole % 60:02d}{THIN}s"
    return f"{whole // 3600}{THIN}h {whole % 3600 // 60:02d}{THIN}min"


def flight_time(seconds: float | None) -> str:
    """Time since liftoff: T+00:12.3; before it, T−mm:ss."""
    if seconds is None or not math.isfinite(seconds):
        return f"T {MISSING}"
    sign = "+" if seconds >= 0 else "−"
    tenths = round(abs(seconds) * 10)
    return f"T{sign}{tenths // 600:02d}:{tenths % 600 // 10:02d}.{tenths % 10}"


def clock(at_ns: int, zone: tzinfo | None) -> str:
    """Time of day with its zone: "14:03:12 CEST"; UTC where the zone is not known."""
    moment = datetime.fromtimestamp(at_ns // NS_PER_S, UTC).astimezone(zone or UTC)
    return f"{moment:%H:%M:%S} {moment.tzname()}"


def date(at_ns: int, zone: tzinfo | None) -> str:
    """The day: "12 May 2026"."""
    moment = datetime.fromtimestamp(at_ns // NS_PER_S, UTC).astimezone(zone or UTC)
    return f"{moment.day} {_MONTHS[moment.month - 1]} {moment.year}"


_MONTHS = ("Jan", "Feb", "March", "April", "May", "June", "July", "Aug", "Sept", "Oct", "Nov", "Dec")


def check_name(check: str, channel: int | None) -> str:
    """A check's name as a label: "pyro continuity, channel 2"."""
    label = check.replace("_", " ").replace("-", " ").replace(".", ", ")
    return label if channel is None else f"{label}, channel {channel}"


def series_name(name: str) -> str:
    """A series' name as a label: a standard measurement in words, a field under its own name."""
    return name.replace("_", " ") if measurement(name) is not None else name
