"""Between the links and the pipeline: the one place that puts everything received into one order, and records it.

Each link is read in a thread of its own, which only stamps and queues. The intake's thread drains the queue, gives
every item a time that never decreases and that is later than the last tick, commits the batch to the recording, and
only then forwards it. A replay of the recording therefore sees the same items with the same times in the same order.
What a kill can lose is what the thread has not taken yet: it takes whatever is there as soon as it is there.

Bounds: the queue holds `MAX_QUEUED_BYTES`; a reader that finds it full waits, and the bytes wait in the operating
system. Nothing is dropped on the way to the recording. On the way to the pipeline a `Handover` holds
`MAX_WAITING_BYTES`; what comes beyond is dropped there and counted, and is still in the recording.
"""

import asyncio
import threading
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from groundstation.clock import Clock
from groundstation.inputs import NS_PER_S, Chunk, EventKind, Input, Item, StationEvent, Tick
from groundstation.links.link import Link, LinkReport
from groundstation.session_recording import ITEM_OVERHEAD_BYTES, SessionRecording

TICK_NS = 100_000_000
SILENCE_NS = NS_PER_S
MAX_QUEUED_BYTES = 16 << 20
MAX_WAITING_BYTES = 16 << 20
JOIN_TIMEOUT_S = 3.0  # a link that is connecting looks at its stop flag only afterwards

Forward = Callable[[Sequence[Input]], None]


@dataclass(frozen=True, slots=True)
class _Arrival:
    """Something another thread saw, at its own time."""

    link: str
    at_ns: int
    what: bytes | LinkReport | StationEvent

    @property
    def cost(self) -> int:
        return ITEM_OVERHEAD_BYTES + (len(self.what) if isinstance(self.what, bytes) else 0)


class _Queue:
    """A queue bounded by bytes: who finds it full waits."""

    def __init__(self, max_bytes: int) -> None:
        self._max_bytes = max_bytes
        self._arrivals: list[_Arrival] = []
        self._bytes = 0
        self._changed = threading.Condition()

    def put(self, arrival: _Arrival, stop: threading.Event) -> None:
        with self._changed:
            while self._bytes > self._max_bytes and not stop.is_set():
                self._changed.wait(0.1)
            self._arrivals.append(arrival)
            self._bytes += arrival.cost
            self._changed.notify_all()

    def drain(self, timeout_s: float) -> list[_Arrival]:
        with self._changed:
            if not self._arrivals and timeout_s > 0:
                self._changed.wait(timeout_s)
            taken, self._arrivals, self._bytes = self._arrivals, [], 0
            self._changed.notify_all()
        return taken


class Intake:
    """Runs the links and the thread between them and the pipeline; see the module."""

    def __init__(
        self,
        links: Sequence[Link],
        recording: SessionRecording,
        clock: Clock,
        forward: Forward,
        *,
        max_queued_bytes: int = MAX_QUEUED_BYTES,
    ) -> None:
        """Nothing runs before `start`.

        Args:
            links: The session's links, each with a name of its own.
            recording: Where everything is recorded; closed at the end.
            clock: The session's clock, which the links stamp with.
            forward: Called in the intake's thread with items in order and ticks; should return at once.
            max_queued_bytes: How much may wait to be recorded.

        Raises:
            ValueError: Two links have the same name.
        """
        names = [link.name for link in links]
        if len(set(names)) != len(names):
            raise ValueError(f"each link is given once, found {', '.join(names)}")
        self._links = links
        self._recording = recording
        self._clock = clock
        self._forward = forward
        self._queue = _Queue(max_queued_bytes)
        self._stop_links = threading.Event()
        self._links_done = threading.Event()
        self._readers = [
            threading.Thread(target=self._read, args=(link,), name=f"link {link.name}", daemon=True) for link in links
        ]
        self._thread = threading.Thread(target=self._run, name="intake", daemon=True)
        self._last_ns = 0  # time of the newest item
        self._last_tick_ns = 0
        self._heard_ns: dict[str, int] = {}  # open links, and when each was last heard of
        self._fault = ""  # of our own, told once
        self.forward_failures = 0
        self.closing = ""  # how the recording was closed, in a sentence

    @property
    def recording(self) -> SessionRecording:
        """Where everything is recorded."""
        return self._recording

    def start(self) -> None:
        """Begin to record and read."""
        self._thread.start()
        for reader in self._readers:
            reader.start()

    def note(self, text: str) -> None:
        """Record and forward what the operator noted; from any thread."""
        self.tell(EventKind.OPERATOR, True, text)

    def tell(self, kind: EventKind, ok: bool, text: str) -> None:
        """Record and forward something that happened at the station; from any thread."""
        now_ns = self._clock.now_ns()
        self._queue.put(_Arrival("", now_ns, StationEvent(now_ns, kind, ok, text)), self._stop_links)

    def stop(self) -> None:
        """Stop reading, record and forward what was received, close the recording."""
        self._stop_links.set()
        for reader in self._readers:
            reader.join(JOIN_TIMEOUT_S)
        self._links_done.set()
        self._thread.join()

    def _read(self, link: Link) -> None:
        def deliver(data: bytes, received_ns: int) -> None:
            self._queue.put(_Arrival(link.name, received_ns, data), self._stop_links)

        def report(state: LinkReport) -> None:
            self._queue.put(_Arrival(link.name, self._clock.now_ns(), state), self._stop_links)

        try:
            link.run(deliver, report, self._stop_links)
        except Exception as error:  # a link promises not to raise; if one does, it must not look like silence
            report(LinkReport(False, f"the link's reader stopped ({type(error).__name__}: {error}); start again"))

    def _run(self) -> None:
        self._take([], self._clock.now_ns())
        while not self._links_done.is_set():
            wait_ns = self._last_tick_ns + TICK_NS - self._clock.now_ns()
            self._take(self._queue.drain(max(0.0, wait_ns / NS_PER_S)), self._clock.now_ns())
        self._take(self._queue.drain(0.0), self._clock.now_ns())
        ended_ns = self._in_order(self._clock.now_ns())
        self.closing = self._recording.close(ended_ns)
        self._pass_on([Tick(ended_ns)])

    def _take(self, arrivals: list[_Arrival], now_ns: int) -> None:
        """Order, record, forward; and a tick where one is due."""
        batch = [self._item(arrival) for arrival in arrivals]
        batch += self._silences(now_ns)
        said = self._record(batch, max(now_ns, self._last_ns, self._last_tick_ns + 1))
        if said:
            self._last_ns = said[-1].at_ns
        out: list[Input] = [*batch, *said]
        tick_ns = max(now_ns, self._last_ns)
        if tick_ns >= self._last_tick_ns + TICK_NS:
            self._last_tick_ns = tick_ns
            out.append(Tick(tick_ns))
        if out:
            self._pass_on(out)

    def _record(self, batch: list[Item], at_ns: int) -> list[StationEvent]:
        try:
            return self._recording.take(batch, at_ns)
        except Exception as error:  # it promises not to raise; if it does, the pipeline must hear and not starve
            text = f"a fault in this program ({type(error).__name__}: {error}); start again"
            if text == self._fault:
                return []
            self._fault = text
            return [StationEvent(at_ns, EventKind.RECORDING, False, text)]

    def _in_order(self, at_ns: int) -> int:
        self._last_ns = max(at_ns, self._last_ns, self._last_tick_ns + 1)
        return self._last_ns

    def _item(self, arrival: _Arrival) -> Item:
        at_ns = self._in_order(arrival.at_ns)
        if isinstance(arrival.what, bytes):
            if arrival.link in self._heard_ns:
                self._heard_ns[arrival.link] = at_ns
            return Chunk.at(at_ns, arrival.what, link=arrival.link)
        if isinstance(arrival.what, StationEvent):
            return StationEvent(at_ns, arrival.what.kind, arrival.what.ok, arrival.what.text, arrival.what.link)
        if arrival.what.ok:
            self._heard_ns[arrival.link] = at_ns
        else:
            self._heard_ns.pop(arrival.link, None)
        return StationEvent(at_ns, EventKind.LINK, arrival.what.ok, arrival.what.text, arrival.link)

    def _silences(self, now_ns: int) -> list[Chunk]:
        silent = [link for link, heard_ns in self._heard_ns.items() if now_ns - heard_ns >= SILENCE_NS]
        chunks = []
        for link in silent:
            at_ns = self._in_order(now_ns)
            self._heard_ns[link] = at_ns
            chunks.append(Chunk.at(at_ns, b"", link=link))
        return chunks

    def _pass_on(self, out: Sequence[Input]) -> None:
        try:
            self._forward(out)
        except Exception:  # such as a closed event loop: recording goes on
            self.forward_failures += 1


class Handover:
    """From the intake's thread into an event loop, with a bound on what may wait there.

    Give it to `Intake` as `forward`. Chunks that come while more than `max_waiting_bytes` wait are dropped and
    counted; afterwards an event says so. They are in the recording all the same.
    """

    def __init__(
        self,
        loop: asyncio.AbstractEventLoop,
        feed: Callable[[Sequence[Input]], None],
        *,
        max_waiting_bytes: int = MAX_WAITING_BYTES,
    ) -> None:
        self._loop = loop
        self._feed = feed
        self._max_waiting_bytes = max_waiting_bytes
        self._waiting: deque[list[Input]] = deque()
        self._waiting_bytes = 0
        self._unsaid: dict[str, int] = {}  # bytes dropped of each link, not yet told
        self._lock = threading.Lock()
        self.dropped_bytes = 0

    def __call__(self, items: Sequence[Input]) -> None:
        """Hand these over; from the intake's thread."""
        with self._lock:
            full = self._waiting_bytes > self._max_waiting_bytes
            kept: list[Input] = self._without_chunks(items) if full else [*self._told(items), *items]
            self._waiting.append(kept)
            self._waiting_bytes += sum(_cost(item) for item in kept)
        self._loop.call_soon_threadsafe(self._feed_next)

    def _feed_next(self) -> None:
        with self._lock:
            items = self._waiting.popleft()
            self._waiting_bytes -= sum(_cost(item) for item in items)
        if items:
            self._feed(items)

    def _without_chunks(self, items: Sequence[Input]) -> list[Input]:
        for item in items:
            if isinstance(item, Chunk):
                self._unsaid[item.link] = self._unsaid.get(item.link, 0) + len(item.data)
                self.dropped_bytes += len(item.data)
        return [item for item in items if isinstance(item, StationEvent)]

    def _told(self, items: Sequence[Input]) -> list[Input]:
        if not self._unsaid or not items:
            return []
        first = items[0]
        at_ns = first.now_ns if isinstance(first, Tick) else first.at_ns if isinstance(first, StationEvent) else 0
        if isinstance(first, Chunk):
            at_ns = first.stamps[0].received_ns
        told: list[Input] = []
        for link, n_bytes in self._unsaid.items():
            text = f"this computer fell behind: {n_bytes} bytes were recorded but not shown"
            told.append(StationEvent(at_ns, EventKind.LINK, False, text, link))
            told.append(StationEvent(at_ns, EventKind.LINK, True, "shown again", link))
        self._unsaid = {}
        return told


def _cost(item: Input) -> int:
    return ITEM_OVERHEAD_BYTES + (len(item.data) if isinstance(item, Chunk) else 0)
