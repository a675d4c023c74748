"""A session on the bench: links, recording and pipeline, driven by whoever walks a person through a bench test.

What the person says goes through the intake into the recording and comes back as an event, so that a walk is judged
by what is recorded, and a recording gives the same proof again.
"""

import queue
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from groundstation.bench.events import mark_text, walk_marks
from groundstation.bench.proof import Proof
from groundstation.bench.walk import BenchTest, Guidance, Mark, Said, guide
from groundstation.clock import SessionClock
from groundstation.described import Described
from groundstation.errors import GroundstationError
from groundstation.inputs import EventKind, Input
from groundstation.intake import Intake
from groundstation.links.link import Link
from groundstation.pipeline import Pipeline
from groundstation.timeline import Timeline

RETURN_S = 10.0  # a word that has not come back through the intake by then never does


class BenchSession:
    """See the module; a context that begins to listen and record, and ends with the recording closed."""

    def __init__(
        self,
        described: Described,
        links: Sequence[Link],
        *,
        clock: SessionClock,
        folders: Sequence[Path],
        program_version: str,
    ) -> None:
        """Nothing runs before the context begins.

        Args:
            described: The vehicle and the station.
            links: What to listen to; they must stamp with `clock`.
            clock: The session's clock.
            folders: Where to record, and where to go on if that fails.
            program_version: Goes into the recording.
        """
        recording = described.recording(folders, started_ns=clock.started_ns, program_version=program_version)
        self._clock = clock
        self._pipeline = Pipeline(described.vehicle, described.station.site, started_ns=clock.started_ns)
        self._arrived: queue.SimpleQueue[Sequence[Input]] = queue.SimpleQueue()
        self._intake = Intake(links, recording, clock, self._arrived.put)

    def __enter__(self) -> Self:
        self._intake.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._intake.stop()

    @property
    def timeline(self) -> Timeline:
        """What was received so far."""
        return self._pipeline.timeline

    @property
    def recording_name(self) -> str:
        """The recording's file name; empty where nothing could be recorded."""
        path = self._intake.recording.path
        return "" if path is None else path.name

    @property
    def closing(self) -> str:
        """How the recording was closed, in a sentence, once the context has ended."""
        return self._intake.closing

    def take(self, seconds: float) -> None:
        """Take in what has come; wait so long for something to come."""
        wait_s = seconds
        while True:
            try:
                items = self._arrived.get(timeout=wait_s) if wait_s > 0.0 else self._arrived.get_nowait()
            except queue.Empty:
                return
            for item in items:
                self._pipeline.take(item)
            wait_s = 0.0

    def say(self, test: BenchTest, said: Said, text: str = "") -> None:
        """Record what the person said, and wait until it is part of the timeline.

        Raises:
            GroundstationError: It did not come back: the intake has stopped.
        """
        mark = Mark(self._clock.now_ns(), test.name, said, text)
        before = self._steps_said()
        self._intake.tell(EventKind.BENCH_STEP, True, mark_text(mark))
        until_ns = mark.at_ns + round(RETURN_S * 1e9)
        while self._steps_said() == before:
            self.take(0.1)
            if self._clock.now_ns() > until_ns:
                raise GroundstationError("the station no longer records what is said on the bench: begin anew")

    def look(self, test: BenchTest) -> Guidance | Proof:
        """The next instruction of the walk that was begun last, or its proof."""
        timeline = self.timeline
        marks = walk_marks(timeline.station_events, test.name)
        return guide(test, timeline, marks, max(timeline.now_ns, marks[-1].at_ns))

    def _steps_said(self) -> int:
        return sum(event.kind is EventKind.BENCH_STEP for event in self.timeline.station_events)
