"""The way down and the motor in words, for the flight page's small column and its warning line."""

import math

from dashboard import wording
from groundstation.coming_down import ComingDown, heights_apart, place_at_rest
from groundstation.estimation.descent import DescentKind, Landing, Wind
from groundstation.estimation.propulsion import Burn
from groundstation.motor_result import motor_result
from groundstation.state import Phase
from groundstation.timeline import Timeline

_COMPASS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
SOON_S = 1.0  # a time to landing shorter than this is "now"


def compass(heading_rad: float) -> str:
    """The nearest of eight winds."""
    return _COMPASS[round(math.degrees(heading_rad) / 45) % 8]


def warning_words(down: ComingDown | None, at_ns: int) -> str:
    """The large line over a ballistic descent; empty for none."""
    if down is None or down.kind is not DescentKind.BALLISTIC:
        return ""
    if down.probably_landed:
        return f"BALLISTIC DESCENT: fell at {_rate(down.rate_mps)}, now silent and probably on the ground"
    words = (
        f"BALLISTIC DESCENT: falls at {_rate(down.rate_mps)}, {_rate(down.expected_mps)} expected under the canopy"
    )
    left_s = down.lands_in_s(at_ns)
    return f"{words}; hits in about {wording.duration(left_s)}" if left_s >= SOON_S else words


def descent_words(timeline: Timeline, down: ComingDown | None, at_ns: int) -> tuple[str, ...]:
    """Rate, wind, where and when it lands; once landed, where it lies by its last fixes."""
    if down is None:
        return _resting(timeline, at_ns)
    lines = []
    if down.kind in (DescentKind.OPENING, DescentKind.CANNOT_TELL):
        lines.append(down.kind.value)
    if math.isfinite(down.rate_mps):
        lines.append(f"{_rate(down.rate_mps)}, {_rate(down.expected_mps)} expected")
    if down.wind is not None:
        lines.append(f"drift wind {_wind(down.wind)}")
    if down.probably_landed:
        lines.append("probably landed: silent, and down by its rate; not heard to land")
    if down.landing is not None:
        lines += _landing(down, down.landing, at_ns)
    apart = heights_apart(timeline, at_ns)
    if apart is not None and not apart.agrees:
        side = "above" if apart.metres > 0.0 else "below"
        lines.append(f"GNSS height {_metres(abs(apart.metres))} {side} pressure height")
    return tuple(lines)


def motor_words(timeline: Timeline, at_ns: int) -> tuple[str, ...]:
    """The motor's result; empty before it is known."""
    burn: Burn | None = motor_result(timeline, at_ns)
    if burn is None:
        return ()
    sigma = wording.number(2.0 * burn.impulse_sigma_ns, 0 if burn.impulse_sigma_ns >= 5.0 else 1)
    return (
        f"{burn.designation}, {_with(burn.impulse_ns, 'N s')} ±{sigma}",
        f"burnt {_with(burn.time_s, 's', 1)}",
        f"{_with(burn.average_n, 'N')} on average, {_with(burn.peak_n, 'N')} at most",
        f"{wording.number(burn.thrust_to_weight, 1)} times its weight at liftoff",
    )


def _landing(down: ComingDown, landing: Landing, at_ns: int) -> list[str]:
    away_m = math.hypot(landing.east_m, landing.north_m)
    left_s = down.lands_in_s(at_ns)
    when = f"lands in about {wording.duration(left_s)}" if left_s >= SOON_S else "lands about now"
    if down.probably_landed:
        when = "landing predicted"
    side = compass(math.atan2(landing.east_m, landing.north_m))
    half, most = landing.ellipse(0.5), landing.ellipse(0.95)
    return [
        f"{when}, {_metres(away_m)} {side} of the pad",
        f"50{wording.THIN}% within {_across(half.long_m, half.short_m)}, "
        f"95{wording.THIN}% within {_across(most.long_m, most.short_m)}",
    ]


def _resting(timeline: Timeline, at_ns: int) -> tuple[str, ...]:
    if timeline.phase_at(at_ns) is not Phase.LANDED:
        return ()
    place = place_at_rest(timeline, at_ns)
    if place is None:
        return ("no fix after landing",)
    return (f"lies {_metres(place.ground_m)} {compass(place.bearing_rad)} of the pad by its last fixes",)


def _wind(wind: Wind) -> str:
    return f"{_rate(wind.speed_mps)} from {compass(wind.from_rad)}"


def _across(long_m: float, short_m: float) -> str:
    return f"±{wording.number(long_m, 0)} × {_with(short_m, 'm')}"


def _rate(value_mps: float) -> str:
    return _with(value_mps, "m/s", 0 if value_mps >= 20.0 else 1)


def _metres(value_m: float) -> str:
    return _with(value_m, "m")


def _with(value: float, unit: str, decimals: int = 0) -> str:
    return wording.with_unit(wording.number(value, decimals), unit)
