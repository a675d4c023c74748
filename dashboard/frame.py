"""The timeline at a cursor, as a page shows it: pure functions from (timeline, cursor) to frozen words and lines.

Nothing received or called after the cursor is looked at. Missing values are None, never NaN. All text is made here,
so that the page's scripts only put it in its place.
"""

import dataclasses
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import tzinfo
from enum import StrEnum

from dashboard import wording
from dashboard.ask import Ask, PageChoice
from dashboard.flight_frame import FlightText, flight_lines, flight_text
from dashboard.pad_frame import PadText, pad_lines, pad_text
from dashboard.plotframe import Plots
from groundstation.inputs import NS_PER_S
from groundstation.link_lines import link_lines
from groundstation.readiness.finding import Verdict
from groundstation.readiness.reading import allowed_silence_s
from groundstation.state import FlightEventKind, Phase
from groundstation.timeline import Timeline

MAX_VERDICT_MARKS = 60  # on the ruler; more than that is a smear


class When(StrEnum):
    """What the shown moment is; the word on the page."""

    LIVE = "LIVE"
    PAST = "PAST"
    REPLAY = "REPLAY"


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on the ruler: where, what kind ("event", "GO", "HOLD") and its word."""

    at_s: float
    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class Ruler:
    """The whole timeline's ruler and where the cursor stands on it."""

    end_s: float
    cursor_s: float
    word: When
    beside: str
    clock: str
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class PageFrame:
    """One frame. `text` parts are None in frames that bring lines only.

    Attributes:
        page: The page to show.
        turned: Why the page is not the one first opened, or empty.
        cursor_s: The moment shown, seconds since the session's start.
        when: Whether that is the present.
        started_ms: The session's start, milliseconds since 1970.
        verdict: The verdict at the cursor, which the page hands back when it asks.
        packet_age_s: Age of the newest packet at the cursor; None before the first.
        packet_age_limit_s: From when on it is stale.
    """

    page: str
    turned: str
    cursor_s: float
    when: When
    started_ms: int
    verdict: str
    packet_age_s: float | None
    packet_age_limit_s: float
    ruler: Ruler | None
    pad: PadText | None
    flight: FlightText | None
    plots: Plots
    status: tuple[str, ...]


def frame(
    timeline: Timeline,
    cursor_ns: int,
    now_ns: int,
    *,
    live: bool,
    ask: Ask,
    with_text: bool,
    zone: tzinfo | None,
    status: tuple[str, ...] = (),
) -> PageFrame:
    """The page at `cursor_ns`.

    Args:
        timeline: The session's timeline.
        cursor_ns: The moment to show; everything later is left out.
        now_ns: The session's present, which ends the ruler.
        live: Whether the session is a live one.
        ask: The page asked for, what its plots hold already and how wide they are.
        with_text: Whether to bring words and numbers besides the lines.
        zone: Time zone of the clock shown.
        status: The session's sentences for the status corner; those on the link at the cursor are put behind them.
    """
    following = ask.at_s is None and live
    when = When.REPLAY if not live else When.LIVE if following else When.PAST
    phase = timeline.phase_at(cursor_ns)
    page = page_for(ask.page, phase)
    newest = timeline.last_packet_ns(cursor_ns)
    assessment = timeline.assessment_at(cursor_ns)
    verdict = Verdict.HOLD if assessment is None else assessment.verdict
    lines = pad_lines if page is PageChoice.PAD else flight_lines
    return PageFrame(
        page=page.value,
        turned=_turned(timeline, cursor_ns, ask.page, page, zone),
        cursor_s=_since_start(timeline, cursor_ns),
        when=when,
        started_ms=timeline.started_ns // 1_000_000,
        verdict=verdict.value,
        packet_age_s=None if newest is None else (cursor_ns - newest) / NS_PER_S,
        packet_age_limit_s=allowed_silence_s(timeline.vehicle),
        ruler=_ruler(timeline, cursor_ns, now_ns, when, zone) if with_text else None,
        pad=pad_text(timeline, cursor_ns, ask.sensor, zone) if with_text and page is PageChoice.PAD else None,
        flight=flight_text(timeline, cursor_ns, zone) if with_text and page is PageChoice.FLIGHT else None,
        plots=lines(timeline, cursor_ns, ask),
        status=(*status, *link_lines(timeline, cursor_ns)) if with_text else (),
    )


def page_for(choice: PageChoice, phase: Phase) -> PageChoice:
    """The viewer's choice; without one, the pad until liftoff and the flight from then on."""
    if choice is not PageChoice.AUTO:
        return choice
    return PageChoice.PAD if phase is Phase.PAD else PageChoice.FLIGHT


def as_json(value: object) -> object:
    """A frame as what JSON can say: objects, lists, text, finite numbers, None.

    Raises:
        ValueError: A number is NaN or infinite: what is missing must be None by now.
        TypeError: Something else than the above is in it.
    """
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"found {value} in a frame, expected None for what is missing")
        return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): as_json(item) for key, item in value.items()}
    if isinstance(value, Iterable):
        return [as_json(item) for item in value]
    raise TypeError(f"found {type(value).__name__} in a frame, expected what JSON can say")


def _ruler(timeline: Timeline, cursor_ns: int, now_ns: int, when: When, zone: tzinfo | None) -> Ruler:
    """The ruler shows the whole session even when the cursor is in its past: it is how one finds the way in it."""
    ticks = [
        Tick(_since_start(timeline, e.at_ns), "event", "apogee" if e.kind is FlightEventKind.APOGEE else e.kind.value)
        for e in timeline.events
        if e.called_ns <= now_ns
    ]
    changes = [a for a in timeline.verdict_changes if a.at_ns <= now_ns][-MAX_VERDICT_MARKS:]
    ticks += [Tick(_since_start(timeline, a.at_ns), a.verdict.value, a.verdict.value) for a in changes]
    behind_s = (now_ns - cursor_ns) / NS_PER_S
    beside = {
        When.LIVE: "",
        When.PAST: f"{wording.age(behind_s)} ago",
        When.REPLAY: f"recorded {wording.date(cursor_ns, zone)}",
    }[when]
    return Ruler(
        end_s=_since_start(timeline, now_ns),
        cursor_s=_since_start(timeline, cursor_ns),
        word=when,
        beside=beside,
        clock=wording.clock(cursor_ns, zone),
        ticks=tuple(ticks),
    )


def _turned(timeline: Timeline, cursor_ns: int, choice: PageChoice, page: PageChoice, zone: tzinfo | None) -> str:
    if choice is not PageChoice.AUTO or page is not PageChoice.FLIGHT:
        return ""
    liftoff = next((e for e in timeline.events_until(cursor_ns) if e.kind is FlightEventKind.LIFTOFF), None)
    heard = "In flight, no liftoff heard" if liftoff is None else f"Liftoff at {wording.clock(liftoff.at_ns, zone)}"
    return f"{heard}: this page turned to the flight by itself."


def _since_start(timeline: Timeline, at_ns: int) -> float:
    return round((at_ns - timeline.started_ns) / NS_PER_S, 3)
