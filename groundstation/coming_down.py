"""The way down at a cursor: how fast, in what wind, to where, and whether it is on the ground by now.

Pure functions of a timeline and a time. What is looked at is bounded: the fixes and estimates of the last minute.
Places are east, north and up of the pad as the station file gives it, or of the last good fix before liftoff.
"""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.estimation.atmosphere import SEA_LEVEL_K, SEA_LEVEL_PA, density_kgpm3
from groundstation.estimation.descent import (
    CANOPY_SIGMA,
    OPENED_BY_S,
    DescentKind,
    Landing,
    Wind,
    canopy_rate_mps,
    descent_kind,
    predict_fall,
    predict_landing,
    rate_below_mps,
    rate_sigma_mps,
    wind_from_drift,
    wind_of_site,
)
from groundstation.estimation.gravity import STANDARD_MPS2, normal_gravity_mps2
from groundstation.estimation.position import (
    Fix,
    HeightDifference,
    LocalPlace,
    Place,
    height_difference,
    local,
    moved,
    problem,
)
from groundstation.inputs import NS_PER_S
from groundstation.state import FlightEventKind, Phase
from groundstation.table import FloatArray, IntArray
from groundstation.timeline import PHASES, Timeline

LOOK_BACK_S = 60.0
RATE_OVER_S = 30.0  # air that rises and sinks is not evened out in less
LEAST_RATE_OVER_S = 2.0
DRIFTING_S = 2.0  # after the ejection until it goes with the wind
FALL_OVER_S = 5.0
SILENT_S = 3.0
SURE_SIGMAS = 2.0
PAD_FIXES_S = 60.0
UNKNOWN_DRIFT_MPS = 15.0  # sideways, of a vehicle past its apogee (common practice, no source)


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate of descent, positive, NaN where not known, at a mean height; over a time, 0 for the newest alone."""

    mps: float
    height_m: float
    over_s: float


NO_RATE = Rate(math.nan, math.nan, 0.0)


@dataclass(frozen=True, slots=True)
class ComingDown:
    """One moment of the way down; NaN or None where it is not known.

    Attributes:
        kind: How it comes down, by the newest estimate.
        since_apogee_s: Time since apogee; NaN for a descent that was under way when it was first heard.
        rate_mps: Rate of descent, positive; the mean of the last seconds under the canopy, else the newest.
        expected_mps: The vehicle file's rate under its canopy.
        wind: The wind from its drift, at the mean height of it; None where there is none yet.
        landing: The predicted landing, its time counted from `from_ns`.
        from_ns: When the last place and height were received that the landing is predicted from.
        silent_s: Age of the newest estimate.
        probably_landed: Nothing was heard for some time and by its rate it is down; nobody has seen it land.
    """

    kind: DescentKind
    since_apogee_s: float
    rate_mps: float
    expected_mps: float
    wind: Wind | None
    landing: Landing | None
    from_ns: int
    silent_s: float
    probably_landed: bool

    def lands_in_s(self, at_ns: int) -> float:
        """Time until the predicted landing, NaN without one; below zero once it has passed."""
        return math.nan if self.landing is None else self.landing.time_s - (at_ns - self.from_ns) / NS_PER_S


def coming_down(timeline: Timeline, at_ns: int) -> ComingDown | None:
    """The way down at `at_ns`; None outside the descent."""
    state = timeline.state_at(at_ns)
    if state is None or state.phase is not Phase.DESCENT:
        return None
    events = {e.kind: e for e in timeline.events_until(at_ns)}
    apogee, ejection = events.get(FlightEventKind.APOGEE), events.get(FlightEventKind.EJECTION)
    since_s = math.inf if apogee is None else (state.at_ns - apogee.at_ns) / NS_PER_S
    gravity_mps2, expected_mps = _expected(timeline)
    kind = descent_kind(
        state.speed_mps,
        state.speed_sigma_mps,
        since_apogee_s=since_s,
        expected_mps=expected_mps,
        height_m=state.height_m,
    )
    if ejection is not None:
        opened_ns = ejection.at_ns + round(DRIFTING_S * NS_PER_S)
    elif apogee is not None:
        opened_ns = apogee.at_ns + round(OPENED_BY_S * NS_PER_S)
    else:
        opened_ns = _first_descending_ns(timeline)
    falling = kind is DescentKind.BALLISTIC or (FlightEventKind.BALLISTIC in events and ejection is None)
    rate = NO_RATE if falling else _mean_rate(timeline, opened_ns, at_ns)
    if not rate.mps > 0.0:
        newest_mps = -state.speed_mps if falling or kind is DescentKind.CANOPY else math.nan
        rate = Rate(newest_mps, state.height_m, 0.0)
    rate_mps = rate.mps
    # once silent, what was heard last says the same for ever
    fixes = _Fixes.of(timeline, min(at_ns, state.at_ns + NS_PER_S))
    wind, landing, from_ns = None, None, state.at_ns
    if fixes is not None:
        from_ns = int(fixes.t_ns[-1])
        if not falling:
            wind = fixes.wind_since(opened_ns)
        landing = _landing(
            timeline,
            fixes,
            falling=falling,
            rate=rate,
            expected_mps=expected_mps,
            wind=wind,
            gravity=gravity_mps2,
        )
    silent_s = (at_ns - state.at_ns) / NS_PER_S
    down = silent_s > SILENT_S and _is_down(
        state.height_m - silent_s * (rate_mps if rate_mps > 0.0 else expected_mps),
        math.hypot(state.height_sigma_m, CANOPY_SIGMA * silent_s * expected_mps),
    )
    since_now_s = math.nan if apogee is None else (at_ns - apogee.at_ns) / NS_PER_S
    return ComingDown(kind, since_now_s, rate_mps, expected_mps, wind, landing, from_ns, silent_s, down)


def heights_apart(timeline: Timeline, at_ns: int) -> HeightDifference | None:
    """The receiver's height against the pressure's over the last seconds of flight up to `at_ns`."""
    liftoff = next((e for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.LIFTOFF), None)
    state = timeline.state_at(at_ns)
    series = timeline.series("gnss_height")
    if liftoff is None or state is None or series is None:
        return None
    pad = series.before(liftoff.at_ns).since(liftoff.at_ns - round(PAD_FIXES_S * NS_PER_S))
    since_ns = max(liftoff.called_ns, state.at_ns - round(RATE_OVER_S * NS_PER_S))
    flight = series.before(at_ns).since(since_ns)
    on_pad, aloft = _believed(timeline, pad.t_ns), _believed(timeline, flight.t_ns)
    pressure_m = np.interp(flight.t_ns, timeline.states.t_ns, timeline.states.column("height_m"))
    return height_difference(flight.values[aloft], pad.values[on_pad], pressure_m[aloft], state.height_sigma_m)


def origin_of(timeline: Timeline, at_ns: int) -> Place | None:
    """The pad's place: the station file's, or the last good fix before liftoff (before `at_ns` without one)."""
    site = timeline.site
    if site.latitude_rad is not None and site.longitude_rad is not None:
        return Place(site.latitude_rad, site.longitude_rad, site.elevation_m or 0.0)
    liftoff = next((e for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.LIFTOFF), None)
    until_ns = at_ns if liftoff is None else liftoff.at_ns
    fixes = _good_fixes(timeline, until_ns - round(PAD_FIXES_S * NS_PER_S), until_ns)
    return None if not fixes else fixes[-1][1].place


def place_at_rest(timeline: Timeline, at_ns: int) -> LocalPlace | None:
    """Where it lies by the middle of its good fixes since it landed, seen from the pad; None without one."""
    landed = next((e for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.LANDED), None)
    origin = origin_of(timeline, at_ns)
    if landed is None or origin is None:
        return None
    until_ns = min(at_ns, landed.called_ns + round(LOOK_BACK_S * NS_PER_S))
    places = [local(origin, fix.place) for _, fix in _good_fixes(timeline, landed.at_ns, until_ns)]
    if not places:
        return None
    east_m, north_m = np.median([p.east_m for p in places]), np.median([p.north_m for p in places])
    return LocalPlace(float(east_m), float(north_m), 0.0)


def landing_place(timeline: Timeline, at_ns: int, landing: Landing) -> Place | None:
    """Where on the globe the predicted landing is."""
    origin = origin_of(timeline, at_ns)
    return None if origin is None else moved(origin, landing.east_m, landing.north_m)


@dataclass(frozen=True, slots=True)
class _Fixes:
    """Good fixes of the last minute: (n,) times, places and heights; the standard deviation of the newest."""

    t_ns: IntArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    height_sigma_m: float
    sigma_m: float

    @classmethod
    def of(cls, timeline: Timeline, at_ns: int) -> "_Fixes | None":
        origin = origin_of(timeline, at_ns)
        if origin is None:
            return None
        good = _good_fixes(timeline, at_ns - round(LOOK_BACK_S * NS_PER_S), at_ns)
        if not good:
            return None
        places: list[LocalPlace] = [local(origin, fix.place) for _, fix in good]
        t_ns = np.array([t for t, _ in good], np.int64)
        states = timeline.states
        known = slice(0, int(np.searchsorted(states.t_ns, at_ns, side="right")))
        height_m = np.interp(t_ns, states.t_ns[known], states.column("height_m")[known])
        sigma_m = np.interp(t_ns[-1:], states.t_ns[known], states.column("height_sigma_m")[known])
        return cls(
            t_ns,
            np.array([p.east_m for p in places]),
            np.array([p.north_m for p in places]),
            np.asarray(height_m),
            float(sigma_m[0]),
            good[-1][1].sigma_m,
        )

    def wind_since(self, from_ns: int) -> Wind | None:
        """The wind from the drift after a time."""
        use = self.t_ns >= from_ns
        seconds = (self.t_ns[use] - from_ns) / NS_PER_S
        places = self.east_m[use], self.north_m[use], self.height_m[use]
        return wind_from_drift(seconds, *places, fix_sigma_m=self.sigma_m)


def _first_descending_ns(timeline: Timeline) -> int:
    """When a descent that nothing was heard to lead to was first recognised; there is one."""
    phases = timeline.states.column("phase")
    return int(timeline.states.t_ns[int(np.argmax(phases == PHASES.index(Phase.DESCENT)))])


def _landing(
    timeline: Timeline,
    fixes: _Fixes,
    *,
    falling: bool,
    rate: Rate,
    expected_mps: float,
    wind: Wind | None,
    gravity: float,
) -> Landing | None:
    east_m, north_m, height_m = float(fixes.east_m[-1]), float(fixes.north_m[-1]), float(fixes.height_m[-1])
    if not math.isfinite(height_m):
        return None
    if falling:
        newest = fixes.wind_since(int(fixes.t_ns[-1]) - round(FALL_OVER_S * NS_PER_S))
        drift = newest or Wind(0.0, 0.0, UNKNOWN_DRIFT_MPS, height_m)
        return predict_fall(
            east_m,
            north_m,
            height_m,
            place_sigma_m=fixes.sigma_m,
            drift=drift,
            fall_mps=max(rate.mps, expected_mps),
            gravity_mps2=gravity,
        )
    site = timeline.site
    if wind is None and site.wind_mps is not None and site.wind_from_rad is not None:
        wind = wind_of_site(site.wind_mps, site.wind_from_rad)
    if wind is None:
        return None
    seen = rate.mps > 0.0
    rate_mps, rate_m = (rate.mps, rate.height_m) if seen else (expected_mps, 0.0)
    return predict_landing(
        east_m,
        north_m,
        height_m,
        place_sigma_m=fixes.sigma_m,
        height_sigma_m=fixes.height_sigma_m,
        wind=wind,
        rate_mps=rate_below_mps(rate_mps, rate_m, height_m),
        rate_sigma_mps=rate_sigma_mps(rate.mps, wind, rate.over_s) if seen else CANOPY_SIGMA * expected_mps,
    )


def _mean_rate(timeline: Timeline, opened_ns: int, at_ns: int) -> Rate:
    """The rate of descent over the last seconds since the canopy stood; NaN before it has been seen to."""
    states = timeline.states
    high = int(np.searchsorted(states.t_ns, at_ns, side="right"))
    if high == 0:
        return NO_RATE
    since_ns = max(opened_ns, int(states.t_ns[high - 1]) - round(RATE_OVER_S * NS_PER_S))
    low = int(np.searchsorted(states.t_ns, since_ns))
    if high - low < 2:
        return NO_RATE
    height_m = states.column("height_m")
    span_s = float(states.t_ns[high - 1] - states.t_ns[low]) / NS_PER_S
    if span_s < LEAST_RATE_OVER_S:
        return NO_RATE
    first_m, last_m = float(height_m[low]), float(height_m[high - 1])
    return Rate((first_m - last_m) / span_s, (first_m + last_m) / 2.0, span_s)


def _is_down(height_m: float, sigma_m: float) -> bool:
    return height_m + SURE_SIGMAS * sigma_m < 0.0


def _expected(timeline: Timeline) -> tuple[float, float]:
    """Gravity at the pad, and the rate of descent under the canopy there."""
    site = timeline.site
    gravity_mps2 = STANDARD_MPS2
    if site.latitude_rad is not None:
        gravity_mps2 = normal_gravity_mps2(site.latitude_rad, site.elevation_m or 0.0)
    density = density_kgpm3(site.pressure_pa or SEA_LEVEL_PA, site.temperature_k or SEA_LEVEL_K)
    return gravity_mps2, canopy_rate_mps(timeline.vehicle, density, gravity_mps2)


def _good_fixes(timeline: Timeline, from_ns: int, until_ns: int) -> list[tuple[int, Fix]]:
    """The believed fixes after one time up to another, with when they were received."""
    latitude, longitude = timeline.series("gnss_latitude"), timeline.series("gnss_longitude")
    if latitude is None or longitude is None:
        return []
    latitude = latitude.before(until_ns).since(from_ns)
    longitude = longitude.before(until_ns).since(from_ns)
    t_ns = latitude.t_ns
    others = {name: _beside(timeline, name, t_ns) for name in ("gnss_fix", "gnss_satellites", "gnss_hdop")}
    east = longitude.values if longitude.t_ns.shape == t_ns.shape else _beside(timeline, "gnss_longitude", t_ns)
    good: list[tuple[int, Fix]] = []
    last: Fix | None = None
    for k, at_ns in enumerate(t_ns.tolist()):
        fixed = others["gnss_fix"][k] if "gnss_fix" in timeline.sources else 1.0
        place = Place(float(latitude.values[k]), float(east[k]), timeline.site.elevation_m or 0.0)
        fix = Fix(
            at_ns / NS_PER_S,
            place,
            float(fixed),
            float(others["gnss_satellites"][k]),
            float(others["gnss_hdop"][k]),
        )
        if problem(fix, last) is None:
            good.append((at_ns, fix))
            last = fix
    return good


def _believed(timeline: Timeline, t_ns: IntArray) -> IntArray:
    """Places among (n,) times at which the receiver had a fix."""
    if "gnss_fix" not in timeline.sources:
        return np.arange(t_ns.shape[0])
    return np.flatnonzero(_beside(timeline, "gnss_fix", t_ns) >= 1.0)


def _beside(timeline: Timeline, name: str, t_ns: IntArray) -> FloatArray:
    """(n,) newest values of a series at (n,) times; NaN before its first, or where there is no such series."""
    series = timeline.series(name)
    if series is None or not series.t_ns.size:
        return np.full(t_ns.shape, np.nan)
    place = np.searchsorted(series.t_ns, t_ns, side="right") - 1
    return np.where(place >= 0, series.values[np.maximum(place, 0)], np.nan)
