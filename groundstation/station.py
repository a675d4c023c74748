"""The live station: links, intake, pipeline, publication and pages around one asyncio loop.

The shell holds no logic of its own: the intake orders and records, the pipeline judges, the pages and the publisher
read the timeline.
"""

import asyncio
import contextlib
import json
import logging
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from secrets import token_hex
from typing import Literal

from groundstation import laptop
from groundstation.clock import SessionClock
from groundstation.config.vehicle import Place
from groundstation.described import Described
from groundstation.inputs import EventKind, Input, StationEvent
from groundstation.intake import Handover, Intake
from groundstation.links.link import Link
from groundstation.mqtt.publisher import Publisher
from groundstation.operating import refusal
from groundstation.operator_actions import Action, event_kind, event_text
from groundstation.pipeline import Pipeline
from groundstation.readiness.finding import Assessment, Finding, Status, Verdict
from groundstation.timeline import Timeline
from groundstation.verdict_log import verdict_record

_log = logging.getLogger(__name__)


@dataclass(slots=True)
class LiveSession:
    """The live timeline as the pages see it; see `groundstation.session.Session`."""

    timeline: Timeline
    clock: SessionClock
    intake: Intake
    handover: Handover
    publisher: Publisher | None
    live: bool = True
    _grown: asyncio.Event = field(default_factory=asyncio.Event)

    @property
    def title(self) -> str:
        """The recording's file name."""
        path = self.intake.recording.path
        return "not recorded" if path is None else path.name

    def now_ns(self) -> int:
        """The session's time now."""
        return self.clock.now_ns()

    async def changed(self, timeout_s: float) -> None:
        """Return at the next tick, or after the time."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._grown.wait(), timeout_s)

    async def act(self, action: Action) -> str | None:
        """Record what the operator did; why not, in a sentence, where it is refused."""
        against = refusal(action, self.timeline)
        if against is None:
            # In a thread: the intake lets a sender wait while its queue is full.
            await asyncio.to_thread(self.intake.tell, event_kind(action), True, event_text(action))
        return against

    def tell_grown(self) -> None:
        """Wake whoever waits for the timeline to grow."""
        self._grown.set()
        self._grown = asyncio.Event()

    def status_lines(self) -> tuple[str, ...]:
        """How the links, the recording and the publication stand."""
        newest: dict[str, StationEvent] = {}
        for event in self.timeline.station_events:
            if event.kind is EventKind.LINK:
                newest[event.link] = event
            elif event.kind is EventKind.RECORDING:
                newest[""] = event
        lines = [
            f"Recording: {event.text}" if event.kind is EventKind.RECORDING else f"{event.link}: {event.text}"
            for event in newest.values()
        ]
        if self.handover.dropped_bytes:
            lines.append(f"This computer fell behind: {self.handover.dropped_bytes} bytes recorded but not shown.")
        if self.publisher is not None:
            lines.append(self.publisher.status())
        return tuple(lines)


Pages = Callable[[LiveSession], Awaitable[None]]  # serves the pages until cancelled
OnVerdict = Callable[[Assessment, int], None]  # each change of the verdict, and the session's start [ns]


async def run_live(
    described: Described,
    links: Sequence[Link],
    *,
    clock: SessionClock,
    folders: Sequence[Path],
    program_version: str,
    broker: str | None,
    pages: Pages | None,
    on_verdict: OnVerdict,
    stop: asyncio.Event,
    told_at_start: Sequence[laptop.Look] = (),
) -> str:
    """Listen, record, judge, publish and show until `stop` is set.

    Args:
        described: The vehicle and the station.
        links: What to listen to; they must stamp with `clock`.
        clock: The session's clock.
        folders: Where to record, and where to go on if that fails.
        program_version: Goes into the recording.
        broker: Address of an MQTT broker, or None.
        pages: Serves the pages, or None.
        on_verdict: Told of the first verdict and of each change.
        stop: Ends the session.
        told_at_start: What the station knows when it begins, such as the bench proofs; recorded as events.
    Returns:
        How the recording was closed, in a sentence.
    """
    recording = described.recording(folders, started_ns=clock.started_ns, program_version=program_version)
    station = described.station
    pipeline = Pipeline(described.vehicle, station.site, started_ns=clock.started_ns, count=station.count)
    publisher = None if broker is None else Publisher(broker, token_hex(8), clock.now_ns)
    told = 0
    broken = False

    def feed(items: Sequence[Input]) -> None:
        nonlocal told, broken
        try:
            for item in [] if broken else items:
                pipeline.take(item)
        except Exception:  # the edge: a fault of ours must turn to HOLD, and leave the recording running
            broken = True
            _log.exception("the pipeline stopped; the recording goes on")
            stopped = _stopped(clock.now_ns())
            pipeline.timeline.append_assessment(stopped)
            pipeline.stop_count(stopped.at_ns, stopped.findings[0].text)
        changes = pipeline.timeline.verdict_changes
        for change in changes[told:]:
            on_verdict(change, clock.started_ns)
        told = len(changes)
        if publisher is not None:
            publisher.offer(pipeline.timeline)
        session.tell_grown()

    handover = Handover(asyncio.get_running_loop(), feed)
    intake = Intake(links, recording, clock, handover)
    session = LiveSession(pipeline.timeline, clock, intake, handover, publisher)
    intake.start()
    for look in told_at_start:
        intake.tell(look.kind, look.ok, look.text)
    tasks = [asyncio.ensure_future(stop.wait())]
    tasks.append(asyncio.ensure_future(_for_ever(laptop.watch(folders[0], clock, intake.tell))))
    if publisher is not None:
        tasks.append(asyncio.ensure_future(_for_ever(publisher.run())))
    if pages is not None:
        tasks.append(asyncio.ensure_future(_for_ever(pages(session))))
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()  # a page server or publisher that ended by an exception ends the session with it
    finally:
        await asyncio.to_thread(intake.stop)
        await asyncio.sleep(0)  # lets what the intake handed over last reach the pipeline
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    return intake.closing


def _stopped(at_ns: int) -> Assessment:
    """HOLD because of a fault in this program."""
    text = (
        "The station can no longer judge: a fault in this program stopped it, and its log says where. "
        "The recording goes on. Start the station again."
    )
    finding = Finding("station_fault", Status.FAIL, text, Place.STATION, since_ns=at_ns)
    return Assessment(at_ns, Verdict.HOLD, (finding,), (finding,), at_ns)


async def _for_ever(work: Awaitable[None]) -> Literal[True]:
    await work
    return True


class VerdictFile:
    """Appends each change of the verdict to a file, one JSON object a line, as `assess --json` prints them."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("a", encoding="utf-8", buffering=1)

    def __call__(self, change: Assessment, started_ns: int) -> None:
        """Write one change."""
        self._file.write(json.dumps(verdict_record(change, started_ns)) + "\n")

    def close(self) -> None:
        """Close the file."""
        self._file.close()
