"""What a page asks for: its cursor, what it has already, and how wide it is. Read from JSON nobody vouches for."""

import math
from dataclasses import dataclass
from enum import StrEnum

LEAST_SPEED, GREATEST_SPEED = 0.25, 10.0
LEAST_COLUMNS, GREATEST_COLUMNS = 80, 2400


class PageChoice(StrEnum):
    """Which page the viewer chose; `AUTO` leaves it to the phase of the flight."""

    AUTO = "auto"
    PAD = "pad"
    FLIGHT = "flight"


@dataclass(frozen=True, slots=True)
class Ask:
    """One page's request for its next frame.

    Attributes:
        number: Counts the page's requests; an answer carries it back, so that answers to older ones are dropped.
        page: The page chosen.
        at_s: The cursor, seconds since the session's start; None follows the present (or, in a replay that has just
            been opened, the start).
        playing: Whether the cursor moves.
        speed: Seconds of the session a second.
        served_ms: The `served_ms` of the frame before, for how far a moving cursor has come; None for the first.
        tick: The tick of the frame before; the answer waits for a later one.
        have: What the page's plots hold ("signature@seconds"), empty for nothing.
        text_ms: `served_ms` of the last frame that carried text; None for none.
        verdict: The verdict the page shows.
        sensor: The series of the third trend.
        columns: Pixel columns of one trend, and of the height plot.
    """

    number: int = 0
    page: PageChoice = PageChoice.AUTO
    at_s: float | None = None
    playing: bool = False
    speed: float = 1.0
    served_ms: int | None = None
    tick: int = -1
    have: str = ""
    have_s: float | None = None
    text_ms: int | None = None
    verdict: str = ""
    sensor: str = ""
    trend_columns: int = 600
    height_columns: int = 1200


def read_ask(data: object) -> Ask:
    """The request in a page's JSON; anything missing or odd takes its default, nothing is refused."""
    if not isinstance(data, dict):
        return Ask()
    choice = data.get("page")
    return Ask(
        number=_whole(data.get("number")) or 0,
        page=PageChoice(choice) if choice in list(PageChoice) else PageChoice.AUTO,
        at_s=_real(data.get("at_s")),
        playing=data.get("playing") is True,
        speed=min(GREATEST_SPEED, max(LEAST_SPEED, _real(data.get("speed")) or 1.0)),
        served_ms=_whole(data.get("served_ms")),
        tick=-1 if (tick := _whole(data.get("tick"))) is None else tick,
        have=_text(data.get("have")),
        have_s=_real(data.get("have_s")),
        text_ms=_whole(data.get("text_ms")),
        verdict=_text(data.get("verdict")),
        sensor=_text(data.get("sensor")),
        trend_columns=_columns(data.get("trend_columns"), 600),
        height_columns=_columns(data.get("height_columns"), 1200),
    )


def _real(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return float(value) if math.isfinite(value) and abs(value) < 1e9 else None


def _whole(value: object) -> int | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return int(value) if abs(value) < 2**53 else None


def _text(value: object) -> str:
    return value[:200] if isinstance(value, str) else ""


def _columns(value: object, default: int) -> int:
    """Steps of 20, so that pages of nearly the same width share their frames."""
    wide = _real(value)
    if wide is None:
        return default
    return int(min(GREATEST_COLUMNS, max(LEAST_COLUMNS, wide)) // 20 * 20)
