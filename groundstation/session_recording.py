"""Keeps a session recorded whatever happens to the disk, and says how it stands.

Items go to the recording in the first folder. Where that fails (full, removed, replaced, unplugged) they are held in
memory up to `MAX_HELD_BYTES`, tried again each second in the same file, then in a new file in the same folder, then
in the fallback folder; beyond the bound the oldest are dropped and counted. What a removed file held goes into the
new one where that is still possible. Each change is a `StationEvent` of kind
RECORDING, itself recorded as soon as that is possible. Nothing here raises on account of the disk, and time comes in
from outside.
"""

import contextlib
import shutil
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from groundstation.inputs import NS_PER_S, Chunk, EventKind, Item, StationEvent
from groundstation.recording import Recorder, RecordingError, SessionHeader
from groundstation.recording_place import new_recording_path

RETRY_NS = NS_PER_S
WATCH_NS = NS_PER_S
SPACE_NS = 5 * NS_PER_S
MAX_COMMIT_BYTES = 256 << 10  # more is committed in parts, so that a nearly full disk takes what it can
MAX_MOVED_BYTES = 100_000_000  # copying so much takes about a second, in which nothing is forwarded
MAX_HELD_BYTES = 64 << 20  # more than an hour of a 115,200 baud link
ITEM_OVERHEAD_BYTES = 256  # what an item costs in memory besides its bytes, about
LOW_SPACE_BYTES = 200_000_000
NO_SPACE_BYTES = 20_000_000
LARGE_LOG_BYTES = 64_000_000


@dataclass(frozen=True, slots=True)
class _Standing:
    """How the recording stands; `key` changes when it is worth telling."""

    key: tuple[str, ...]
    ok: bool
    text: str


@dataclass(frozen=True, slots=True)
class _Lost:
    """Chunks that reached no recording."""

    n_chunks: int = 0
    n_bytes: int = 0

    def and_bytes(self, n_bytes: int) -> "_Lost":
        return _Lost(self.n_chunks + 1, self.n_bytes + n_bytes)


class SessionRecording:
    """Writes one session's items; see the module. One thread at a time may use it."""

    def __init__(
        self,
        folders: Sequence[Path],
        header: SessionHeader,
        *,
        vehicle: str,
        create: Callable[[Path, SessionHeader], Recorder] = Recorder.create,
        free_bytes: Callable[[Path], int] = lambda folder: shutil.disk_usage(folder).free,
        max_held_bytes: int = MAX_HELD_BYTES,
    ) -> None:
        """Nothing is opened before the first `take`.

        Args:
            folders: Where to record, and where to go on if that fails.
            header: What the recording says about the session; in a file begun later, its start is that file's.
            vehicle: The vehicle's name, for the file's name.
            create: Starts a recording.
            free_bytes: Free space of a folder's disk.
            max_held_bytes: How much is held in memory while nothing can be written.
        """
        self._folders = list(folders)
        self._header = header
        self._vehicle = vehicle
        self._create = create
        self._free_bytes = free_bytes
        self._max_held_bytes = max_held_bytes
        self._recorder: Recorder | None = None
        self._held: deque[Item] = deque()
        self._held_bytes = 0
        self._failed_ns: int | None = None
        self._troubles: list[str] = []
        self._lost = _Lost()
        self._lost_in_outage = _Lost()
        self._next_try_ns = header.started_ns
        self._next_watch_ns = header.started_ns
        self._next_space_ns = header.started_ns
        self._free: int | None = None
        self._log_bytes = 0
        self._outages = 0
        self._news = ""  # how the recording began or went on, until it is told
        self._told: tuple[str, ...] = ()

    @property
    def path(self) -> Path | None:
        """The file written to now, or last; None where none could be begun."""
        return None if self._recorder is None else self._recorder.path

    @property
    def running(self) -> bool:
        """Whether everything taken so far is committed."""
        return self._recorder is not None and self._failed_ns is None and not self._held

    @property
    def lost_bytes(self) -> int:
        """Bytes of links that reached no recording, because memory was full while the disk failed."""
        return self._lost.n_bytes

    def take(self, items: Sequence[Item], at_ns: int) -> list[StationEvent]:
        """Commit the items, or hold them while nothing can be written.

        Args:
            items: In order, none later than `at_ns`.
            at_ns: The session's time now; never decreases.
        Returns:
            What is to be said about the recording, in order and after `items`; recorded like these.
        """
        for item in items:
            self._hold(item)
        if self._recorder is None or self._failed_ns is not None:
            if at_ns >= self._next_try_ns:
                self._try_again(at_ns)
        else:
            trouble = self._watch(self._recorder, at_ns) or self._commit(self._recorder)
            if trouble is not None:
                self._fail([trouble], at_ns)
        standing = self._standing()
        if standing.key == self._told:
            return []
        self._told, self._news = standing.key, ""
        event = StationEvent(at_ns, EventKind.RECORDING, standing.ok, standing.text)
        self._hold(event)
        if self._recorder is not None and self._failed_ns is None and (trouble := self._commit(self._recorder)):
            self._fail([trouble], at_ns)  # told with the next take
        return [event]

    def close(self, ended_ns: int) -> str:
        """Commit what is held, note the session's end and close the file; how it went, in a sentence."""
        if self._recorder is not None and (trouble := self._recorder.misplaced()):
            self._fail([trouble], ended_ns)
        if self._held or self._recorder is None or self._failed_ns is not None:
            self._try_again(ended_ns)
        recorder = self._recorder
        if recorder is None or self._failed_ns is not None:
            if recorder is not None:
                recorder.abandon()
            for item in self._held:
                self._count_lost(item)
            return f"not recorded to the end: {'; '.join(self._troubles)}; {_amount(self._lost.n_bytes)} are lost"
        try:
            recorder.close(ended_ns)
        except Exception as error:
            return f"recorded in {recorder.path}, but {error}"
        return f"recorded in {recorder.path}"

    def _hold(self, item: Item) -> None:
        self._held.append(item)
        self._held_bytes += _cost(item)
        while self._held_bytes > self._max_held_bytes and len(self._held) > 1:
            dropped = self._held.popleft()
            self._held_bytes -= _cost(dropped)
            self._count_lost(dropped)

    def _count_lost(self, item: Item) -> None:
        if isinstance(item, Chunk):
            self._lost = self._lost.and_bytes(len(item.data))
            self._lost_in_outage = self._lost_in_outage.and_bytes(len(item.data))

    def _commit(self, recorder: Recorder) -> str | None:
        """Write what is held, as far as it goes; what went wrong, if anything."""
        while self._held:
            part = self._first_part()
            try:
                recorder.append(part)
            except Exception as error:  # whatever it is, receiving goes on
                return str(error)
            for item in part:
                self._held.popleft()
                self._held_bytes -= _cost(item)
        return None

    def _first_part(self) -> list[Item]:
        part: list[Item] = []
        n_bytes = 0
        for item in self._held:
            n_bytes += _cost(item)
            if part and n_bytes > MAX_COMMIT_BYTES:
                break
            part.append(item)
        return part

    def _fail(self, troubles: list[str], at_ns: int) -> None:
        self._troubles = troubles
        if self._failed_ns is None:
            self._failed_ns = at_ns
        self._next_try_ns = at_ns + RETRY_NS

    def _watch(self, recorder: Recorder, at_ns: int) -> str | None:
        """Once a second: is the file still there, and is there room; what is wrong with it, if anything."""
        if at_ns < self._next_watch_ns:
            return None
        self._next_watch_ns = at_ns + WATCH_NS
        self._log_bytes = recorder.log_bytes()
        if at_ns >= self._next_space_ns:
            self._next_space_ns = at_ns + SPACE_NS
            try:
                self._free = self._free_bytes(recorder.path.parent)
            except OSError:
                self._free = None
        return recorder.misplaced()

    def _try_again(self, at_ns: int) -> None:
        old = self._recorder
        troubles = []
        if old is not None:
            trouble = old.misplaced() or self._commit(old)
            if trouble is None:
                self._went_on(f"recording again to {old.path}", at_ns)
                return
            troubles.append(trouble)
        for folder in self._folders:
            try:
                new = self._begin(folder, at_ns)
            except Exception as error:
                troubles.append(str(error))
                continue
            n_held = len(self._held)
            trouble = self._commit(new)
            if trouble is not None and len(self._held) == n_held:
                new.discard()
                troubles.append(trouble)
                continue
            if old is not None:
                old.abandon()
            self._recorder = new
            self._next_watch_ns = self._next_space_ns = at_ns
            if trouble is not None:
                troubles.append(trouble)
                break
            self._went_on(f"recording to {new.path}" if old is None else f"recording goes on in {new.path}", at_ns)
            return
        self._fail(troubles, at_ns)

    def _begin(self, folder: Path, at_ns: int) -> Recorder:
        old, header = self._recorder, self._header
        if old is None:
            return self._create(new_recording_path(folder, header.started_ns, self._vehicle), header)
        if old.misplaced() is not None and 0 < old.size() <= MAX_MOVED_BYTES:
            # A deleted file can still be read by who has it open: the whole session goes into the new one.
            with contextlib.suppress(RecordingError):
                return old.moved_to(new_recording_path(folder, header.started_ns, self._vehicle))
        first_ns = _time(self._held[0]) if self._held else at_ns
        header = replace(header, started_ns=first_ns, continues=str(old.path))
        return self._create(new_recording_path(folder, header.started_ns, self._vehicle), header)

    def _went_on(self, text: str, at_ns: int) -> None:
        if self._failed_ns is not None:
            text += f", after {(at_ns - self._failed_ns) / NS_PER_S:.1f} s without"
            self._outages += 1
        if self._lost_in_outage.n_chunks:
            lost = self._lost_in_outage
            text += f"; {_amount(lost.n_bytes)} in {lost.n_chunks} pieces were lost meanwhile"
        self._failed_ns = None
        self._troubles = []
        self._lost_in_outage = _Lost()
        self._news = text

    def _standing(self) -> _Standing:
        recorder = self._recorder
        if recorder is None or self._failed_ns is not None:
            memory = (
                "memory is full and the oldest data are dropped"
                if self._lost_in_outage.n_chunks
                else "data are held in memory"
            )
            return _Standing(
                ("failed", *self._troubles[:1], memory),
                False,
                f"{'; '.join(self._troubles)}. Meanwhile {memory}; tried again each second",
            )
        if self._free is not None and self._free < NO_SPACE_BYTES:
            return _Standing(
                ("no space",), False, f"the disk is nearly full: {_amount(self._free)} left for {recorder.path}"
            )
        if self._free is not None and self._free < LOW_SPACE_BYTES:
            return _Standing(("low space",), True, f"running, but the disk has only {_amount(self._free)} left")
        if self._log_bytes > LARGE_LOG_BYTES:
            return _Standing(
                ("large log",),
                True,
                f"running, but its log has grown to {_amount(self._log_bytes)}: another program keeps the file open",
            )
        return _Standing(
            ("running", str(recorder.path), str(self._outages)), True, self._news or f"recording to {recorder.path}"
        )


def _cost(item: Item) -> int:
    return ITEM_OVERHEAD_BYTES + len(item.data if isinstance(item, Chunk) else item.text)


def _time(item: Item) -> int:
    return item.stamps[0].received_ns if isinstance(item, Chunk) else item.at_ns


def _amount(n_bytes: int) -> str:
    return f"{n_bytes / 1e6:.0f} MB" if n_bytes >= 1_000_000 else f"{n_bytes:,} bytes"
