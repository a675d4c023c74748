"""Frames for pages that ask: when the next one is due, for which moment, and shared among pages that ask alike.

All pages that follow the present wait for the same tick, a tenth of a second apart at the least and a second at the
most, so that they show the same moment and one computed frame serves them all. A page in the past moves its own
cursor; what it may not do is make the station work more than ten times a second.
"""

import asyncio
import uuid
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import tzinfo

from dashboard.ask import Ask
from dashboard.frame import PageFrame, as_json, frame
from groundstation.inputs import NS_PER_S
from groundstation.session import Session

TICK_S = 0.1  # plots at most 10 a second
TEXT_MS = 240  # numbers at most four a second: a little under 250 so that ticks of 100 ms do not halve the rate
HEARTBEAT_S = 1.0
SHARED_FRAMES = 32
LARGEST_STEP_S = 1.0  # a page that was asleep goes on from where it was; it does not jump


@dataclass(frozen=True, slots=True)
class _Key:
    """What makes two frames the same."""

    ask: Ask
    cursor_ns: int
    now_ns: int
    with_text: bool


class Stream:
    """Answers asks about one session.

    Args:
        session: Whose timeline is shown.
        clock_ns: The laptop's clock, which stamps frames and moves the cursors of replays.
        zone: Time zone of the clocks on the page.
    """

    def __init__(self, session: Session, *, clock_ns: Callable[[], int], zone: tzinfo | None) -> None:
        self.session = session
        self.session_id = uuid.uuid4().hex
        self.frames_computed = 0
        self._clock_ns = clock_ns
        self._zone = zone
        self._tick = 0
        self._tick_now_ns = session.now_ns()
        self._tick_clock_ns = clock_ns()
        self._next: asyncio.Future[None] | None = None
        self._frames: OrderedDict[_Key, object] = OrderedDict()

    async def next(self, ask: Ask) -> dict[str, object]:
        """The next frame for `ask`, once it is due."""
        if ask.at_s is None and self.session.live:
            while self._tick <= ask.tick:
                await self._wait_for_tick()
            return self._answer(ask, self._tick_now_ns, self._tick_now_ns, self._tick_clock_ns)
        if ask.served_ms is not None:
            rest_s = (TICK_S if ask.playing else HEARTBEAT_S) - (self._clock_ns() // 1_000_000 - ask.served_ms) / 1000
            await asyncio.sleep(min(HEARTBEAT_S, max(0.0, rest_s)))
        return self.at_once(ask)

    def at_once(self, ask: Ask) -> dict[str, object]:
        """The frame for `ask` as things stand, without waiting: for pages that poll."""
        now_ns, clock_ns = self.session.now_ns(), self._clock_ns()
        if ask.at_s is None and self.session.live:
            return self._answer(ask, now_ns, now_ns, clock_ns)
        return self._answer(*moved(ask, self.session, now_ns, clock_ns), now_ns, clock_ns)

    async def _wait_for_tick(self) -> None:
        """One wait shared by all pages; a page that gives up does not end it for the others."""
        if self._next is None:
            self._next = asyncio.ensure_future(self._take_tick())
        await asyncio.shield(self._next)

    async def _take_tick(self) -> None:
        try:
            rest_s = TICK_S - (self._clock_ns() - self._tick_clock_ns) / NS_PER_S
            if rest_s > 0:
                await asyncio.sleep(rest_s)
            await self.session.changed(HEARTBEAT_S)
            self._tick_now_ns = self.session.now_ns()
            self._tick_clock_ns = self._clock_ns()
            self._tick += 1
        finally:
            self._next = None

    def _answer(self, ask: Ask, cursor_ns: int, now_ns: int, clock_ns: int) -> dict[str, object]:
        clock_ms = clock_ns // 1_000_000
        cursor_ns = max(self.session.timeline.started_ns, min(cursor_ns, now_ns))
        with_text = (
            ask.text_ms is None or clock_ms - ask.text_ms >= TEXT_MS or self._verdict(cursor_ns) != ask.verdict
        )
        body = self._shared(ask, cursor_ns, now_ns, with_text=with_text)
        moving = ask.playing and not (not self.session.live and cursor_ns >= now_ns)
        return {
            "number": ask.number,
            "session": self.session_id,
            "live": self.session.live,
            "title": self.session.title,
            "served_ms": clock_ms,
            "tick": self._tick,
            "following": ask.at_s is None and self.session.live,
            "playing": moving,
            "speed": ask.speed,
            "frame": body,
        }

    def _verdict(self, cursor_ns: int) -> str:
        assessment = self.session.timeline.assessment_at(cursor_ns)
        return "HOLD" if assessment is None else assessment.verdict.value

    def _shared(self, ask: Ask, cursor_ns: int, now_ns: int, *, with_text: bool) -> object:
        """One frame for all pages that ask alike: whatever does not change it is taken out of the ask first."""
        alike = replace(
            ask,
            number=0,
            served_ms=None,
            tick=0,
            text_ms=None,
            verdict="",
            playing=False,
            speed=1.0,
            at_s=None if ask.at_s is None else 0.0,
        )
        key = _Key(alike, cursor_ns, now_ns, with_text)
        found = self._frames.get(key)
        if found is None:
            found = as_json(self._compute(alike, cursor_ns, now_ns, with_text=with_text))
            self._frames[key] = found
            while len(self._frames) > SHARED_FRAMES:
                self._frames.popitem(last=False)
        return found

    def _compute(self, ask: Ask, cursor_ns: int, now_ns: int, *, with_text: bool) -> PageFrame:
        self.frames_computed += 1
        return frame(
            self.session.timeline,
            cursor_ns,
            now_ns,
            live=self.session.live,
            ask=ask,
            with_text=with_text,
            zone=self._zone,
            status=self.session.status_lines() if with_text else (),
        )


def moved(ask: Ask, session: Session, now_ns: int, clock_ns: int) -> tuple[Ask, int]:
    """Where a page's own cursor stands now, and the ask that goes with it.

    A replay without a cursor yet begins at its start, paused. A cursor that plays itself up to the present of a live
    session follows it from there.
    """
    started_ns = session.timeline.started_ns
    if ask.at_s is None:
        return replace(ask, at_s=0.0, playing=False), started_ns
    step_s = 0.0
    if ask.playing and ask.served_ms is not None:
        step_s = min(LARGEST_STEP_S, max(0.0, clock_ns / 1e9 - ask.served_ms / 1e3)) * ask.speed
    cursor_ns = started_ns + round((ask.at_s + step_s) * NS_PER_S)
    if session.live and cursor_ns >= now_ns and ask.playing:
        return replace(ask, at_s=None), now_ns
    return ask, cursor_ns
