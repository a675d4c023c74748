"""The pad page at a cursor: may we fly, and if not, why?"""

import itertools
from dataclasses import dataclass, replace
from datetime import tzinfo

import numpy as np

from dashboard import wording
from dashboard.ask import Ask
from dashboard.operator_frame import OperatorText, operator_text, waived_text
from dashboard.plotframe import LimitLine, Plot, Plots
from dashboard.plots import Axis, Line, clock_ticks, column_ns, line, nice_axis, span_s
from groundstation.config.vehicle import Place
from groundstation.inputs import NS_PER_S
from groundstation.readiness.finding import Assessment, Finding, Status, Verdict
from groundstation.table import FloatArray, IntArray
from groundstation.timeline import Series, Timeline

MAX_REASONS = 3
TREND_S = 600.0
LINK_BIN_NS = 2_000_000_000
MAX_CHANGES = 6
# How gravely a status stands against GO: these come first within a place.
_GRAVITY = {Status.FAIL: 0, Status.UNKNOWN: 1, Status.WAIVED: 2, Status.PASS: 3}
# Where the limits of a trend come from, and the least range its axis has, in shown units. Common practice, no source.
_LEAST_SPAN = {"V": 0.4, "A": 0.5, "Ω": 0.5, "°C": 2.0, "hPa": 1.0, "°": 2.0, "°/s": 2.0, "m/s²": 0.5, "dBm": 10.0}
_PLACE_WORDS = {
    Place.PARACHUTE: "parachute bay",
    Place.VEHICLE: "whole vehicle",
    Place.RANGE: "range",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One finding."""

    key: str
    status: str
    label: str
    text: str
    advice: str
    value: str
    limit: str
    since: str


@dataclass(frozen=True, slots=True)
class Group:
    """The findings of one place, those against GO first; `folded` says how many pass."""

    place: str
    label: str
    worst: str
    rows: tuple[Row, ...]
    passing: int


@dataclass(frozen=True, slots=True)
class Band:
    """The verdict and its first reasons as sentences."""

    verdict: str
    since: str
    reasons: tuple[str, ...]
    more: int
    settling: bool


@dataclass(frozen=True, slots=True)
class Changes:
    """What is no longer as it was when the verdict was last GO."""

    heading: str
    rows: tuple[Row, ...]
    more: int


@dataclass(frozen=True, slots=True)
class Heading:
    """A trend's title: what, its newest value, its age where that is stale, and what else is to be said."""

    key: str
    label: str
    value: str
    stale: str
    beside: str = ""


@dataclass(frozen=True, slots=True)
class PadText:
    """All words of the pad page."""

    band: Band
    groups: tuple[Group, ...]
    changes: Changes
    headings: tuple[Heading, ...]
    operator: OperatorText


def pad_text(timeline: Timeline, at_ns: int, sensor: str, zone: tzinfo | None) -> PadText:
    """The pad page's words at `at_ns`."""
    assessment = timeline.assessment_at(at_ns)
    return PadText(
        band=band(assessment, at_ns),
        groups=() if assessment is None else groups(assessment.findings, at_ns, zone),
        changes=changes_since_go(timeline, assessment, at_ns, zone),
        headings=(
            replace(_series_heading(timeline, "battery", "battery_voltage", at_ns), beside=_minutes_left(assessment)),
            _link_heading(timeline, at_ns),
            _series_heading(timeline, "sensor", sensor_series(timeline, sensor), at_ns),
        ),
        operator=operator_text(timeline, assessment, at_ns, zone),
    )


def band(assessment: Assessment | None, at_ns: int) -> Band:
    """The band: HOLD with its reason when nothing has been assessed yet."""
    if assessment is None:
        return Band(Verdict.HOLD.value, "", ("Nothing has been received yet.",), 0, settling=False)
    told = assessment.reasons[:MAX_REASONS]
    # One reason is told with what to do about it; of several, what to do stands with the finding below.
    reasons = tuple(_sentence(told[0]) if len(told) == 1 else _first_sentence(reason) for reason in told)
    waived = len(assessment.waived)
    if assessment.verdict is Verdict.GO:
        reasons = (f"All {len(assessment.findings)} checks pass.",)
        if waived:
            reasons = (f"{len(assessment.findings) - waived} checks pass, {waived} waived.",)
    since = f"for {wording.duration((at_ns - assessment.since_ns) / NS_PER_S)}" if assessment.since_ns else ""
    return Band(
        verdict=assessment.verdict.value,
        since=f"{since}, {waived} waived" if waived else since,
        reasons=reasons,
        more=max(0, len(assessment.reasons) - MAX_REASONS) if assessment.verdict is Verdict.HOLD else 0,
        settling=assessment.settled_in_s is not None,
    )


def groups(findings: tuple[Finding, ...], at_ns: int, zone: tzinfo | None) -> tuple[Group, ...]:
    """Findings by place, nose to tail and then the ground."""
    out = []
    for place in Place:
        here = sorted((f for f in findings if f.place is place), key=lambda f: _GRAVITY[f.status])
        if here:
            out.append(
                Group(
                    place=place.value,
                    label=_PLACE_WORDS.get(place, place.value),
                    worst=here[0].status.value,
                    rows=tuple(row(f, at_ns, zone) for f in here),
                    passing=sum(f.status is Status.PASS for f in here),
                )
            )
    return tuple(out)


def row(finding: Finding, at_ns: int, zone: tzinfo | None) -> Row:
    """One finding in words."""
    return Row(
        key=finding.check if finding.channel is None else f"{finding.check}-{finding.channel}",
        status=finding.status.value,
        label=wording.check_name(finding.check, finding.channel),
        text=_first_sentence(finding),
        advice=waived_text(finding, at_ns, zone) or _advice(finding),
        value=wording.finding_value(finding.value, finding.unit) if finding.value is not None else "",
        limit=wording.finding_limit(finding.limit, finding.unit),
        since=wording.duration((at_ns - finding.since_ns) / NS_PER_S) if finding.since_ns else "",
    )


def changes_since_go(timeline: Timeline, assessment: Assessment | None, at_ns: int, zone: tzinfo | None) -> Changes:
    """Which findings are no longer as they were when the verdict was last GO."""
    if assessment is None:
        return Changes("No verdict yet in this session.", (), 0)
    if assessment.verdict is Verdict.GO:
        since, waived = wording.clock(assessment.since_ns, zone), assessment.waived
        if waived:
            rows = tuple(row(f, at_ns, zone) for f in waived[:MAX_CHANGES])
            return Changes(f"GO since {since}, with these waived:", rows, len(waived) - len(rows))
        return Changes(f"GO since {since}. Nothing has changed.", (), 0)
    ended = None
    past = [a for a in timeline.verdict_changes if a.at_ns <= at_ns]
    for earlier, later in itertools.pairwise(past):
        if earlier.verdict is Verdict.GO and later.verdict is Verdict.HOLD:
            ended = later
    if ended is None:
        return Changes("Not yet GO in this session.", (), 0)
    before = timeline.assessment_at(ended.at_ns - 1)
    was = {} if before is None else {f.key: f.status for f in before.findings}
    changed = [f for f in assessment.findings if was.get(f.key, f.status) is not f.status]
    changed.sort(key=lambda f: _GRAVITY[f.status])
    ago = wording.duration((at_ns - ended.at_ns) / NS_PER_S)
    heading = f"GO until {wording.clock(ended.at_ns, zone)}, {ago} ago. Changed since:"
    if not changed:
        heading = f"GO until {wording.clock(ended.at_ns, zone)}, {ago} ago. All checks are as they were then."
    return Changes(
        heading, tuple(row(f, at_ns, zone) for f in changed[:MAX_CHANGES]), max(0, len(changed) - MAX_CHANGES)
    )


def sensor_choices(timeline: Timeline) -> tuple[str, ...]:
    """Series a viewer may follow as the third trend: standard measurements first, bare counters left out."""
    left_out = {"sequence", "vehicle_time", "battery_voltage", "layout_fingerprint", "vehicle_address"}
    return tuple(name for name in timeline.sources if name not in left_out)


def sensor_series(timeline: Timeline, wanted: str) -> str:
    """The series wanted; without a valid wish the pressure, or the first there is."""
    choices = sensor_choices(timeline)
    if wanted in choices:
        return wanted
    return "pressure" if "pressure" in choices or not choices else choices[0]


def pad_lines(timeline: Timeline, at_ns: int, ask: Ask) -> Plots:
    """The three trends up to `at_ns`: battery, link and one series of the viewer's choice."""
    age_s = (at_ns - timeline.started_ns) / NS_PER_S
    window_s = min(TREND_S, span_s(max(1.0, age_s)))
    width_ns = column_ns(window_s, ask.trend_columns)
    window = (at_ns - round(window_s * NS_PER_S), at_ns)
    sensor = sensor_series(timeline, ask.sensor)
    signature = f"pad/{sensor}/{window_s:g}/{ask.trend_columns}"
    upto_s = round((at_ns - timeline.started_ns) / NS_PER_S, 4)
    have_ns = _have_ns(timeline, ask, signature, window)
    part = _Part(window, width_ns, have_ns, "now" if ask.at_s is None else "then")
    plots = (
        _series_plot(timeline, "battery", "battery_voltage", part),
        _link_plot(timeline, part),
        _series_plot(timeline, "sensor", sensor, part),
    )
    return Plots(signature, ask.have_s if have_ns is not None else None, upto_s, plots)


@dataclass(frozen=True, slots=True)
class _Part:
    """What part of the trends to draw: the window, a pixel column's width, how far the page has them, and what the
    window's end is called.
    """

    window: tuple[int, int]
    width_ns: int
    have_ns: int | None
    end: str

    def line(self, timeline: Timeline, t_ns: IntArray, values: FloatArray) -> Line:
        return line(
            t_ns,
            values,
            origin_ns=timeline.started_ns,
            window_ns=self.window,
            column_ns=self.width_ns,
            have_ns=self.have_ns,
        )

    def axis(self, timeline: Timeline) -> Axis:
        low_s, high_s = ((t - timeline.started_ns) / NS_PER_S for t in self.window)
        return clock_ticks(low_s, high_s, end=self.end)


def _empty(timeline: Timeline, key: str, part: _Part, why: str) -> Plot:
    """A plot without a line says why, and has no values on its axis that nothing was measured against."""
    return Plot(key, Line(None, (), ()), part.axis(timeline), Axis(0.0, 1.0, (), ()), nothing=why)


def _have_ns(timeline: Timeline, ask: Ask, signature: str, window: tuple[int, int]) -> int | None:
    """How far the page has these plots; None when it must get them whole."""
    if ask.have != signature or ask.have_s is None:
        return None
    have_ns = timeline.started_ns + round(ask.have_s * NS_PER_S)
    return have_ns if window[0] <= have_ns <= window[1] else None


def _series_plot(timeline: Timeline, key: str, name: str, part: _Part) -> Plot:
    series = timeline.series(name)
    if series is None:
        return _empty(timeline, key, part, "The vehicle does not send this.")
    how = wording.shown(series.unit)
    visible = _visible(series, part.window)
    values = visible.values * how.scale + how.bias
    inside = values[np.isfinite(values)]
    if not inside.size:
        return _empty(timeline, key, part, "Nothing received in this time.")
    limits = _limits(timeline, name)
    bounds = [float(inside.min()), float(inside.max())]
    shown = bounds + [limit.value for limit in limits if _near(limit.value, bounds)]
    return Plot(
        key=key,
        line=part.line(timeline, visible.t_ns, values),
        x=part.axis(timeline),
        y=nice_axis(min(shown), max(shown), least_span=_LEAST_SPAN.get(how.unit, 1.0), unit=how.unit),
        limits=limits,
    )


def _near(limit: float, bounds: list[float]) -> bool:
    """Whether showing a limit keeps the line readable: it must not squeeze the line below a tenth of the plot."""
    span = max(bounds) - min(bounds)
    return min(abs(limit - b) for b in bounds) <= max(9 * span, 0.15 * abs(limit))


def _visible(series: Series, window: tuple[int, int]) -> Series:
    """The part in the window, with invalid values made NaN."""
    part = series.before(window[1]).since(window[0] - 1)
    valid = (part.values >= part.least) & (part.values <= part.greatest)
    return Series(part.name, part.unit, part.t_ns, np.where(valid, part.values, np.nan))


def _limits(timeline: Timeline, name: str) -> tuple[LimitLine, ...]:
    """Limits of a series in shown units, where a check has one."""
    limits, site = timeline.vehicle.limits, timeline.site
    if name == "battery_voltage":
        least = limits.cell_voltage_min_v * timeline.vehicle.battery.cells
        return (LimitLine(round(least, 3), f"least {wording.quantity(least, 'V')}"),)
    if name == "temperature":
        pair = (limits.temperature_min_k, limits.temperature_max_k)
        return tuple(
            LimitLine(round(value - 273.15, 3), f"{word} {wording.quantity(value, 'K')}")
            for word, value in zip(("least", "most"), pair, strict=True)
        )
    if name == "pressure" and site.pressure_pa is not None:
        pair = (site.pressure_pa - limits.pressure_error_pa, site.pressure_pa + limits.pressure_error_pa)
        return tuple(
            LimitLine(round(value / 100, 3), f"{word} {wording.quantity(value, 'Pa')}")
            for word, value in zip(("least", "most"), pair, strict=True)
        )
    return ()


def received_share(timeline: Timeline, window: tuple[int, int]) -> tuple[IntArray, FloatArray]:
    """Share of the packets sent that arrived whole, in percent, by whole bins of `LINK_BIN_NS`.

    Returns:
        (n,) ends of the bins that lie in the window, and (n,) shares; 0 where nothing at all was counted. A bin is
        counted only once it has ended.
    """
    first = window[0] // LINK_BIN_NS
    last = window[1] // LINK_BIN_NS
    first = max(first, timeline.started_ns // LINK_BIN_NS)
    edges = np.arange(first, last + 1, dtype=np.int64) * LINK_BIN_NS
    if edges.shape[0] < 2:
        return np.empty(0, np.int64), np.empty(0)
    table = timeline.radio
    places = np.searchsorted(table.t_ns, edges, side="left")
    sums = {}
    for name in table.columns:
        running = np.r_[0.0, np.cumsum(table.column(name))]
        sums[name] = np.diff(running[places])
    sent = sums["decoded"] + sums["damaged"] + sums["lost"]
    share = 100 * sums["decoded"] / np.maximum(sent, 1)
    return edges[1:], share


def _link_plot(timeline: Timeline, part: _Part) -> Plot:
    t_ns, share = received_share(timeline, part.window)
    if not share.size:
        return _empty(timeline, "link", part, "Counting the first packets.")
    least = 100 * (1 - timeline.vehicle.limits.packet_loss)
    return Plot(
        key="link",
        line=part.line(timeline, t_ns, share),
        x=part.axis(timeline),
        y=nice_axis(0, 100, least_span=100, unit="%", parts=2),
        limits=(LimitLine(least, f"least {least:.0f}{wording.THIN}%"),),
    )


def _series_heading(timeline: Timeline, key: str, name: str, at_ns: int) -> Heading:
    label = "battery" if key == "battery" else wording.series_name(name)
    series = timeline.series(name)
    part = None if series is None else series.before(at_ns)
    if series is None or part is None or part.t_ns.shape[0] == 0:
        return Heading(key, label, wording.MISSING, "")
    value = float(part.values[-1])
    age_s = (at_ns - int(part.t_ns[-1])) / NS_PER_S
    valid = series.least <= value <= series.greatest
    stale = wording.age(age_s) if age_s > timeline.vehicle.limits.health_age_s else "" if valid else "not valid"
    named = timeline.sources[name].labels.of(value)
    return Heading(key, label, named or wording.quantity(value, series.unit), stale)


def _minutes_left(assessment: Assessment | None) -> str:
    """How long the pack lasts with the interval, where a check estimates it: the first clause of its sentence."""
    findings = () if assessment is None else assessment.findings
    told = next((f for f in findings if f.check == "battery_minutes" and f.value is not None), None)
    return "" if told is None else _sentence(told).partition(",")[0].removesuffix(".")


def _link_heading(timeline: Timeline, at_ns: int) -> Heading:
    _, share = received_share(timeline, (at_ns - 5 * LINK_BIN_NS, at_ns))
    value = "" if not share.size else f"{float(np.mean(share[-2:])):.0f}{wording.THIN}% of packets"
    return Heading("link", "link", value or wording.MISSING, "")


def _sentence(finding: Finding) -> str:
    """A finding's text as a sentence of its own."""
    text = finding.text.strip()
    if not text:
        return wording.check_name(finding.check, finding.channel)
    text = text[0].upper() + text[1:]
    return text if text[-1] in ".!?" else f"{text}."


def _first_sentence(finding: Finding) -> str:
    """What is found, without what to do about it."""
    return _sentence(finding).split(". ", 1)[0].removesuffix(".") + "."


def _advice(finding: Finding) -> str:
    """What to do about it: whatever follows the first sentence."""
    return _sentence(finding).partition(". ")[2]
