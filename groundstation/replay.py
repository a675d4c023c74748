"""A recording turned back into a timeline, through the same pipeline as the live station."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from groundstation.inputs import Chunk, Stamp, StationEvent
from groundstation.operator_actions import Action
from groundstation.pipeline import Pipeline
from groundstation.timeline import Timeline

JOINED_BYTES = 4 << 20  # consecutive chunks are joined up to this size: large blocks decode fastest


def joined(items: Iterable[Chunk | StationEvent]) -> Iterator[Chunk | StationEvent]:
    """The same items, with consecutive non-empty chunks of one link joined; every byte keeps its receive time."""
    link, data, stamps = "", bytearray(), list[Stamp]()
    for item in items:
        joins = isinstance(item, Chunk) and bool(item.data) and item.link == link and len(data) < JOINED_BYTES
        if data and not joins:
            yield Chunk(link, bytes(data), tuple(stamps))
            data, stamps = bytearray(), []
        if not isinstance(item, Chunk) or not item.data:
            yield item
            continue
        link = item.link
        before = len(data)
        stamps += [Stamp(before + start, received_ns) for start, received_ns in item.stamps]
        data += item.data
    if data:
        yield Chunk(link, bytes(data), tuple(stamps))


def run_through(
    pipeline: Pipeline,
    items: Iterable[Chunk | StationEvent],
    *,
    ended_ns: int | None,
    progress: Callable[[int], None] = lambda _bytes: None,
) -> Timeline:
    """Feed a session's items in their order and close the timeline at the session's end.

    Args:
        pipeline: A new pipeline, started at the session's start.
        items: The recording's items.
        ended_ns: When the session ended; None for one that was cut off, which then ends with its last item.
        progress: Called with the number of bytes fed so far.
    """
    fed, last_ns = 0, pipeline.timeline.started_ns
    for item in joined(items):
        pipeline.feed(item)
        if isinstance(item, Chunk):
            fed += len(item.data)
            last_ns = item.stamps[-1].received_ns
            progress(fed)
        else:
            last_ns = item.at_ns
    pipeline.advance(last_ns if ended_ns is None else max(ended_ns, last_ns))
    return pipeline.timeline


@dataclass(frozen=True, slots=True)
class ReplaySession:
    """A finished timeline as the pages see it; see `groundstation.session.Session`."""

    timeline: Timeline
    title: str
    live: bool = False

    def now_ns(self) -> int:
        """The end of the recording."""
        return self.timeline.now_ns

    async def changed(self, timeout_s: float) -> None:
        """Nothing changes any more; wait out the time."""
        import asyncio

        await asyncio.sleep(timeout_s)

    async def act(self, action: Action) -> str | None:
        """A recording is not changed."""
        return f"This is a replay of {self.title}: what was done then stays as it was."

    def status_lines(self) -> tuple[str, ...]:
        """What is replayed."""
        return (f"Replay of {self.title}",)
