"""The flight page at a cursor: where is it, is it well?"""

import math
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np

from dashboard import wording
from dashboard.ask import Ask
from dashboard.flight_words import compass, descent_words, motor_words, warning_words
from dashboard.pad_frame import received_share
from dashboard.plotframe import Mark, Plot, Plots, Span
from dashboard.plots import Axis, Line, column_ns, line, nice_axis
from groundstation.coming_down import ComingDown, coming_down
from groundstation.inputs import NS_PER_S
from groundstation.readiness.reading import allowed_silence_s
from groundstation.state import FlightEventKind, Phase
from groundstation.timeline import PHASES, Timeline

BEFORE_LIFTOFF_S = 5.0
AFTER_LANDING_S = 15.0
WINDOWS_S = (30, 60, 90, 120, 180, 240, 300, 450, 600, 900, 1800, 3600)
SIGMAS = 2.0  # the soft band: about 95 % for a normal error


@dataclass(frozen=True, slots=True)
class Number:
    """One of the four big numbers: label, value with its unit, and a smaller line under it."""

    key: str
    label: str
    value: str
    beside: str


@dataclass(frozen=True, slots=True)
class AxisView:
    """What the view along the axis shows, as rotations about body x (outer axis) and body y, in degrees.

    None where it is not known. `limit_deg` is the gimbal's stop.
    """

    limit_deg: float
    command_deg: tuple[float, float] | None
    angle_deg: tuple[float, float] | None
    tilt_deg: tuple[float, float] | None
    words: str


@dataclass(frozen=True, slots=True)
class FlightText:
    """All words and numbers of the flight page."""

    phase: str
    phase_since: str
    stale: bool
    numbers: tuple[Number, ...]
    apogee: str
    events: tuple[str, ...]
    axis: AxisView
    warning: str
    descent: tuple[str, ...]
    motor: tuple[str, ...]
    battery: str
    battery_beside: str
    link: str
    link_beside: str


def flight_text(timeline: Timeline, at_ns: int, zone: tzinfo | None) -> FlightText:
    """The flight page's words at `at_ns`."""
    state = timeline.state_at(at_ns)
    events = timeline.events_until(at_ns)
    liftoff_ns = _liftoff_ns(timeline, at_ns)
    newest = timeline.last_packet_ns(at_ns)
    stale = newest is None or at_ns - newest > allowed_silence_s(timeline.vehicle) * NS_PER_S
    phase = timeline.phase_at(at_ns)
    since = _phase_since_ns(timeline, at_ns)
    sigma = "" if state is None else _sigma(state.height_sigma_m, "m")
    speed_sigma = "" if state is None else _sigma(state.speed_sigma_mps, "m/s")
    elapsed = None if liftoff_ns is None else (at_ns - liftoff_ns) / NS_PER_S
    down = coming_down(timeline, at_ns)
    return FlightText(
        phase=phase.value,
        phase_since=_since_words(since, at_ns, down),
        stale=stale,
        numbers=(
            Number("height", "height", _rounded(None if state is None else state.height_m, "m"), sigma),
            Number(
                "speed",
                "vertical speed",
                wording.quantity(None if state is None else state.speed_mps, "m/s"),
                speed_sigma,
            ),
            Number(
                "tilt",
                "tilt from vertical",
                wording.quantity(None if state is None else state.tilt_rad, "rad"),
                _heading(state.tilt_heading_rad) if state is not None else "",
            ),
            Number("time", "since liftoff", wording.flight_time(elapsed), wording.clock(at_ns, zone)),
        ),
        apogee=_apogee(timeline, at_ns),
        events=tuple(_event(e.kind, e.at_ns, e.height_m, liftoff_ns) for e in events),
        axis=axis_view(timeline, at_ns),
        warning=warning_words(down, at_ns),
        descent=descent_words(timeline, down, at_ns),
        motor=motor_words(timeline, at_ns),
        battery=_latest(timeline, "battery_voltage", at_ns),
        battery_beside=_latest_age(timeline, "battery_voltage", at_ns),
        link=_link(timeline, at_ns),
        link_beside=_latest(timeline, "rssi", at_ns) if "rssi" in timeline.sources else "",
    )


def axis_view(timeline: Timeline, at_ns: int) -> AxisView:
    """Gimbal and tilt about the body's two gimbal axes.

    The tilt is drawn as the rotation that leads from upright to the present attitude: its parts about body x and y.
    With up written in body axes as u = Rᵀ(0, 0, 1), the nose leans along −(u_x, u_y), which is the rotation vector
    (u_y, −u_x) turned to the length of the tilt angle.
    """
    gimbal = timeline.vehicle.gimbal
    limit_deg = 6.0 if gimbal is None else math.degrees(gimbal.limit_rad)
    quaternion = [_value(timeline, f"attitude_{part}", at_ns) for part in "wxyz"]
    tilt = None
    if all(part is not None for part in quaternion):
        w, x, y, z = (float(part) for part in quaternion if part is not None)
        norm = math.sqrt(w * w + x * x + y * y + z * z)
        if abs(norm - 1.0) < 0.1:
            up = (2 * (x * z - w * y) / norm**2, 2 * (y * z + w * x) / norm**2)
            up_z = 1 - 2 * (x * x + y * y) / norm**2
            sine = math.hypot(*up)
            angle = math.degrees(math.atan2(sine, up_z))
            tilt = (angle * up[1] / sine, -angle * up[0] / sine) if sine > 1e-9 else (0.0, 0.0)
    command = _pair_deg(timeline, "command", at_ns)
    angle_pair = _pair_deg(timeline, "angle", at_ns)
    words = []
    if gimbal is None:
        words.append("No gimbal in the vehicle file.")
    elif angle_pair is None:
        words.append("No gimbal angle received.")
    else:
        words.append(f"Gimbal at {wording.number(math.hypot(*angle_pair), 1)}°")
    words.append("attitude not known" if tilt is None else f"tilt {wording.number(math.hypot(*tilt), 1)}°")
    return AxisView(
        limit_deg=round(limit_deg, 2),
        command_deg=_round_pair(command),
        angle_deg=_round_pair(angle_pair),
        tilt_deg=_round_pair(tilt),
        words=", ".join(words) + ".",
    )


def flight_lines(timeline: Timeline, at_ns: int, ask: Ask) -> Plots:
    """The height plot up to `at_ns`, phases behind it, predicted apogee ahead; battery and link small beside it."""
    liftoff_ns = _liftoff_ns(timeline, at_ns)
    window = _window(timeline, at_ns, liftoff_ns)
    width_ns = column_ns((window[1] - window[0]) / NS_PER_S, ask.height_columns)
    signature = f"flight/{window[0] - timeline.started_ns}/{window[1] - window[0]}/{ask.height_columns}"
    have_ns = None
    if ask.have == signature and ask.have_s is not None:
        have_ns = timeline.started_ns + round(ask.have_s * NS_PER_S)
        have_ns = have_ns if window[0] <= have_ns <= at_ns else None
    upto_s = round((at_ns - timeline.started_ns) / NS_PER_S, 4)
    return Plots(
        signature,
        ask.have_s if have_ns is not None else None,
        upto_s,
        (_height_plot(timeline, at_ns, window, liftoff_ns, width_ns, have_ns),),
    )


def _height_plot(
    timeline: Timeline,
    at_ns: int,
    window: tuple[int, int],
    liftoff_ns: int | None,
    width_ns: int,
    have_ns: int | None,
) -> Plot:
    states = timeline.states
    height, sigma = states.column("height_m"), states.column("height_sigma_m")
    upto = (window[0], min(window[1], at_ns))

    def cut(values: np.ndarray) -> Line:
        return line(
            states.t_ns, values, origin_ns=timeline.started_ns, window_ns=upto, column_ns=width_ns, have_ns=have_ns
        )

    low, high = np.searchsorted(states.t_ns, upto, side="right")
    shown = height[low:high][np.isfinite(height[low:high])]
    marks = _apogee_mark(timeline, at_ns, window)
    tops = [float(shown.max())] if shown.size else [0.0]
    tops += [m.high for m in marks]
    bottom = float(shown.min()) if shown.size else 0.0
    # Noise about the pad is not a reason to show what lies below it.
    bottom = bottom if bottom < -0.05 * max(max(tops), 20.0) else 0.0
    origin_s = (window[0] - timeline.started_ns) / NS_PER_S
    end_s = (window[1] - timeline.started_ns) / NS_PER_S
    return Plot(
        key="height",
        line=cut(height),
        band=(cut(height - SIGMAS * sigma), cut(height + SIGMAS * sigma)),
        x=_flight_axis(
            origin_s, end_s, None if liftoff_ns is None else (liftoff_ns - timeline.started_ns) / NS_PER_S
        ),
        y=nice_axis(bottom, max(tops), least_span=20.0, unit="m", parts=4),
        spans=phase_spans(timeline, at_ns, window),
        marks=marks,
        nothing="" if shown.size else "No height yet.",
    )


def phase_spans(timeline: Timeline, at_ns: int, window: tuple[int, int]) -> tuple[Span, ...]:
    """The phases up to `at_ns` that lie in the window, as lettered bands."""
    states = timeline.states
    n = int(np.searchsorted(states.t_ns, at_ns, side="right"))
    if n == 0:
        return ()
    phases, times = states.column("phase")[:n], states.t_ns[:n]
    starts = np.flatnonzero(np.r_[True, phases[1:] != phases[:-1]])
    out = []
    for k, start in enumerate(starts.tolist()):
        end_ns = int(times[starts[k + 1]]) if k + 1 < len(starts) else at_ns
        from_ns, to_ns = max(int(times[start]), window[0]), min(end_ns, window[1])
        if to_ns > from_ns:
            out.append(
                Span(
                    round((from_ns - timeline.started_ns) / NS_PER_S, 3),
                    round((to_ns - timeline.started_ns) / NS_PER_S, 3),
                    PHASES[int(phases[start])].value,
                )
            )
    return tuple(out)


def _apogee_mark(timeline: Timeline, at_ns: int, window: tuple[int, int]) -> tuple[Mark, ...]:
    """Predicted apogee as an open mark, where the vehicle still climbs; where it would be reached is taken from the
    speed against gravity, which is enough to place a mark.
    """
    state = timeline.state_at(at_ns)
    if state is None or not math.isfinite(state.predicted_apogee_m):
        return ()
    sigma = state.predicted_apogee_sigma_m if math.isfinite(state.predicted_apogee_sigma_m) else 0.0
    ahead_s = max(0.0, 2 * (state.predicted_apogee_m - state.height_m) / max(state.speed_mps, 1.0))
    t_s = min((window[1] - timeline.started_ns) / NS_PER_S, (state.at_ns - timeline.started_ns) / NS_PER_S + ahead_s)
    top, off = state.predicted_apogee_m, SIGMAS * sigma
    return (
        Mark(round(t_s, 3), round(top, 2), round(top - off, 2), round(top + off, 2), f"apogee {_rounded(top, 'm')}"),
    )


def _window(timeline: Timeline, at_ns: int, liftoff_ns: int | None) -> tuple[int, int]:
    """From shortly before liftoff on, in a length that steps up as the flight goes on; the last minute before it."""
    if liftoff_ns is None:
        return at_ns - round(60 * NS_PER_S), at_ns
    start = liftoff_ns - round(BEFORE_LIFTOFF_S * NS_PER_S)
    landed = next((e.at_ns for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.LANDED), None)
    end = at_ns if landed is None else min(at_ns, landed + round(AFTER_LANDING_S * NS_PER_S))
    wanted_s = (end - start) / NS_PER_S
    length_s = next((w for w in WINDOWS_S if w >= wanted_s), WINDOWS_S[-1])
    return start, start + round(length_s * NS_PER_S)


def _flight_axis(low_s: float, high_s: float, liftoff_s: float | None) -> Axis:
    """Seconds since liftoff; before one, seconds before now."""
    zero = high_s if liftoff_s is None else liftoff_s
    span = high_s - low_s
    step = next((s for s in (5, 10, 20, 30, 60, 120, 300, 600) if span / s <= 10), 1200)
    first = math.ceil((low_s - zero) / step)
    last = math.floor((high_s - zero) / step)
    ticks = tuple(zero + k * step for k in range(first, last + 1))
    labels = tuple(_second_label(k * step, liftoff_s is not None) for k in range(first, last + 1))
    return Axis(low_s, high_s, ticks, labels)


def _second_label(seconds: int, flying: bool) -> str:
    if not flying:
        return "now" if seconds == 0 else f"−{-seconds}{wording.THIN}s"
    if seconds == 0:
        return "liftoff"
    sign = "+" if seconds > 0 else "−"
    return f"{sign}{abs(seconds)}{wording.THIN}s"


def _liftoff_ns(timeline: Timeline, at_ns: int) -> int | None:
    return next((e.at_ns for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.LIFTOFF), None)


def _phase_since_ns(timeline: Timeline, at_ns: int) -> int | None:
    phase = timeline.phase_at(at_ns)
    kinds = {
        Phase.BOOST: FlightEventKind.LIFTOFF,
        Phase.COAST: FlightEventKind.BURNOUT,
        Phase.DESCENT: FlightEventKind.APOGEE,
        Phase.LANDED: FlightEventKind.LANDED,
    }
    kind = kinds.get(phase)
    return next((e.at_ns for e in timeline.events_until(at_ns) if e.kind is kind), None)


def _since_words(since_ns: int | None, at_ns: int, down: ComingDown | None) -> str:
    """How long the phase has lasted, and whether it is probably over although nobody has heard so."""
    if since_ns is None:
        return ""
    words = f"for {wording.duration((at_ns - since_ns) / NS_PER_S)}"
    return f"{words}, probably landed" if down is not None and down.probably_landed else words


def _apogee(timeline: Timeline, at_ns: int) -> str:
    reached = next((e for e in timeline.events_until(at_ns) if e.kind is FlightEventKind.APOGEE), None)
    if reached is not None:
        return f"Apogee {_rounded(reached.height_m, 'm')} {_sigma(reached.height_sigma_m, 'm')}".strip()
    state = timeline.state_at(at_ns)
    if state is None or not math.isfinite(state.predicted_apogee_m):
        return ""
    height, sigma = _rounded(state.predicted_apogee_m, "m"), _sigma(state.predicted_apogee_sigma_m, "m")
    return f"Apogee predicted at {height} {sigma}".strip()


def _event(kind: FlightEventKind, at_ns: int, height_m: float, liftoff_ns: int | None) -> str:
    elapsed = None if liftoff_ns is None else (at_ns - liftoff_ns) / NS_PER_S
    where = "" if kind in (FlightEventKind.LIFTOFF, FlightEventKind.LANDED) else f" at {_rounded(height_m, 'm')}"
    return f"{wording.flight_time(elapsed)} {kind.value}{where}"


def _rounded(value: float | None, unit: str) -> str:
    """Heights to a metre once they are above 100 m, to a tenth below."""
    if value is None or not math.isfinite(value):
        return wording.MISSING
    return wording.with_unit(wording.number(value, 0 if abs(value) >= 100 else 1), unit)


def _sigma(value: float, unit: str) -> str:
    if not math.isfinite(value):
        return ""
    wide = SIGMAS * value
    return f"±{wording.with_unit(wording.number(wide, 0 if wide >= 10 else 1), unit)}"


def _heading(heading_rad: float) -> str:
    if not math.isfinite(heading_rad):
        return ""
    return f"towards {compass(heading_rad)}"


def _value(timeline: Timeline, name: str, at_ns: int) -> float | None:
    series = timeline.series(name)
    part = None if series is None else series.before(at_ns)
    if part is None or part.t_ns.shape[0] == 0:
        return None
    value = float(part.values[-1])
    return value if math.isfinite(value) and part.least <= value <= part.greatest else None


def _latest(timeline: Timeline, name: str, at_ns: int) -> str:
    series = timeline.series(name)
    return wording.MISSING if series is None else wording.quantity(_value(timeline, name, at_ns), series.unit)


def _latest_age(timeline: Timeline, name: str, at_ns: int) -> str:
    series = timeline.series(name)
    part = None if series is None else series.before(at_ns)
    if part is None or part.t_ns.shape[0] == 0:
        return "not received"
    return f"{wording.age((at_ns - int(part.t_ns[-1])) / NS_PER_S)} old"


def _link(timeline: Timeline, at_ns: int) -> str:
    _, share = received_share(timeline, (at_ns - round(10 * NS_PER_S), at_ns))
    return wording.MISSING if not share.size else f"{float(np.mean(share[-2:])):.0f}{wording.THIN}%"


def _pair_deg(timeline: Timeline, kind: str, at_ns: int) -> tuple[float, float] | None:
    x, y = (_value(timeline, f"gimbal_{axis}_{kind}", at_ns) for axis in "xy")
    return None if x is None or y is None else (math.degrees(x), math.degrees(y))


def _round_pair(pair: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if pair is None else (round(pair[0], 2), round(pair[1], 2))
