"""A recording: one SQLite file holding everything a session received, in the order the pipeline saw it.

`Recorder` writes one, `open_recording` reads one, also while it is being written and after its writer was killed.
Chunks and events are numbered by one common sequence, so reading gives back exactly the order of writing. What was
committed survives the death of the program; power loss may take the last commits but does not damage the file
(write-ahead log, synchronous = NORMAL). Keeping a session recorded through a full or vanished disk is left to
`groundstation.session_recording`.

Source: SQLite documentation, "Write-Ahead Logging" and "PRAGMA synchronous".
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

from groundstation.inputs import Chunk, EventKind, Item, StationEvent
from groundstation.recording_place import FileIdentity, RecordingError, check_folder

__all__ = ["Recorder", "Recording", "RecordingError", "SessionHeader", "one_stamp_each", "open_recording"]

FORMAT_VERSION = 1
APPLICATION_ID = 0x47524543  # "GREC" in the SQLite header tells a recording from any other database
PAGE_ROWS = 512  # links deliver at most 64 KiB at once, so a page of rows is at most 32 MiB
READ_TIMEOUT_S = 1.0
WRITE_TIMEOUT_S = 0.2  # short, since receiving waits; only another program that writes to the file can cause it

_SCHEMA = """
CREATE TABLE session (
  format_version  INTEGER NOT NULL,
  program_version TEXT    NOT NULL,
  started_ns      INTEGER NOT NULL,  -- since 1970-01-01 UTC, as all times here
  ended_ns        INTEGER,           -- NULL while it is being written, and for ever where the writer was killed
  vehicle_name    TEXT    NOT NULL,  -- of the file
  vehicle_text    TEXT    NOT NULL,
  station_name    TEXT    NOT NULL,
  station_text    TEXT    NOT NULL,
  continues       TEXT    NOT NULL   -- the recording this one goes on from, after a failure; else empty
);
CREATE TABLE chunks (
  seq         INTEGER PRIMARY KEY,   -- one sequence over chunks and events
  link        TEXT    NOT NULL,
  received_ns INTEGER NOT NULL,
  data        BLOB    NOT NULL       -- empty: the link was open and silent
);
CREATE TABLE events (
  seq   INTEGER PRIMARY KEY,
  at_ns INTEGER NOT NULL,
  kind  TEXT    NOT NULL,
  ok    INTEGER NOT NULL,
  text  TEXT    NOT NULL,
  link  TEXT    NOT NULL
);
"""

_PAGE = """
SELECT seq, 'chunk', link, received_ns, data, 0, '' FROM chunks WHERE seq > :after
UNION ALL
SELECT seq, kind, link, at_ns, NULL, ok, text FROM events WHERE seq > :after
ORDER BY seq LIMIT :rows
"""


@dataclass(frozen=True, slots=True)
class SessionHeader:
    """What a recording says about its session."""

    started_ns: int
    program_version: str
    vehicle_name: str
    vehicle_text: str
    station_name: str = ""
    station_text: str = ""
    continues: str = ""


class Recorder:
    """Writes one recording. One thread at a time may use it.

    Every `append` is one transaction: when it returns, its rows survive the death of this program.
    """

    def __init__(self, path: Path, db: sqlite3.Connection, *, next_seq: int = 1) -> None:
        """Use `Recorder.create`."""
        self.path = path
        self._db = db
        self._next_seq = next_seq
        self._files = {p: FileIdentity.of(p) for p in (path, _log_path(path))}

    @classmethod
    def create(cls, path: Path, header: SessionHeader) -> Self:
        """Start a new recording at `path`.

        Raises:
            RecordingError: The file exists already, its folder does not, the folder lies on a network file system,
                or the disk refuses.
        """
        check_folder(path.parent)
        try:
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644))
        except FileExistsError:
            raise RecordingError(f"{path} exists already and is not overwritten", path=path) from None
        except OSError as error:
            raise RecordingError(f"cannot create {path}: {error.strerror}", path=path) from error
        texts = [
            _storable(text)
            for text in (
                header.program_version,
                header.vehicle_name,
                header.vehicle_text,
                header.station_name,
                header.station_text,
                header.continues,
            )
        ]
        db: sqlite3.Connection | None = None
        try:
            db = _connect_to_write(path)
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute(f"PRAGMA user_version = {FORMAT_VERSION}")
            db.executescript("BEGIN IMMEDIATE;" + _SCHEMA + "COMMIT;")
            db.execute(
                "INSERT INTO session VALUES (?, ?, ?, NULL, ?, ?, ?, ?, ?)",
                (FORMAT_VERSION, texts[0], header.started_ns, *texts[1:]),
            )
            return cls(path, db)
        except BaseException as error:
            if db is not None:
                db.close()
            _remove(path)
            if isinstance(error, sqlite3.Error):
                raise RecordingError(f"cannot create {path}: {error}", path=path) from error
            raise

    def append(self, items: Sequence[Item]) -> None:
        """Commit these items after all earlier ones, in one transaction: all of them or, on an error, none.

        Raises:
            RecordingError: The disk refuses, for example because it is full. The recorder can be tried again.
        """
        seq = self._next_seq
        chunks: list[tuple[int, str, int, bytes]] = []
        events: list[tuple[int, int, str, bool, str, str]] = []
        for item in items:
            if isinstance(item, StationEvent):
                text, link = _storable(item.text), _storable(item.link)
                events.append((seq, item.at_ns, item.kind.value, item.ok, text, link))
                seq += 1
                continue
            for piece in one_stamp_each(item):
                chunks.append((seq, _storable(piece.link), piece.stamps[0].received_ns, piece.data))
                seq += 1
        try:
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany("INSERT INTO chunks VALUES (?, ?, ?, ?)", chunks)
            self._db.executemany("INSERT INTO events VALUES (?, ?, ?, ?, ?, ?)", events)
            self._db.execute("COMMIT")
        except Exception as error:
            # On a full disk SQLite has rolled back already, and a ROLLBACK would be an error of its own.
            if self._db.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    self._db.execute("ROLLBACK")
            raise RecordingError(f"cannot write to {self.path}: {error}", path=self.path) from error
        self._next_seq = seq

    def misplaced(self) -> str | None:
        """Why the file written to is no longer the one its path names; None while all is well.

        SQLite goes on writing to a deleted file without an error, so this has to be asked.
        """
        for path, before in self._files.items():
            now = FileIdentity.of(path)
            if before is None:  # the log comes into being with the first write
                self._files[path] = now
                continue
            if now is None:
                return f"{path} has been removed, or its volume is gone"
            if now != before:
                return f"another file has taken the place of {path}"
        return None

    def size(self) -> int:
        """Bytes of everything written so far, wherever the file is now; 0 where that cannot be read any more."""
        try:
            pages: int = self._db.execute("PRAGMA page_count").fetchone()[0]
            page_bytes: int = self._db.execute("PRAGMA page_size").fetchone()[0]
        except sqlite3.Error:
            return 0
        return pages * page_bytes

    def moved_to(self, path: Path) -> "Recorder":
        """A recorder that goes on in a complete copy at `path`, for a file that was removed while it was open.

        Raises:
            RecordingError: The old file cannot be read any more, or the new one not be written.
        """
        check_folder(path.parent)
        db: sqlite3.Connection | None = None
        try:
            self._db.execute("VACUUM INTO ?", (str(path),))
            db = _connect_to_write(path)
            return Recorder(path, db, next_seq=self._next_seq)
        except sqlite3.Error as error:
            if db is not None:
                db.close()
            _remove(path)
            raise RecordingError(f"cannot move {self.path} to {path}: {error}", path=path) from error

    def log_bytes(self) -> int:
        """Size of the write-ahead log; it grows without end while another program holds a read transaction open."""
        try:
            return _log_path(self.path).stat().st_size
        except OSError:
            return 0

    def close(self, ended_ns: int) -> None:
        """Note the session's end, bring everything to the disk for good and into one single file.

        Raises:
            RecordingError: The disk refuses; what was committed before stays readable.
        """
        try:
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute("UPDATE session SET ended_ns = ?", (ended_ns,))
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
            # Without a log the file can be read from a read-only disk too; a reader at this moment prevents it.
            with contextlib.suppress(sqlite3.OperationalError):
                self._db.execute("PRAGMA journal_mode = DELETE").fetchall()
        except sqlite3.Error as error:
            raise RecordingError(f"cannot close {self.path} properly: {error}", path=self.path) from error
        finally:
            self._db.close()

    def abandon(self) -> None:
        """Let go of a file that can no longer be written, without noting an end."""
        with contextlib.suppress(sqlite3.Error):
            self._db.close()

    def discard(self) -> None:
        """Let go of a file that never held anything, and remove it."""
        self.abandon()
        _remove(self.path)


class Recording:
    """One recording, read only. Every reading opens its own connection and closes it, so any thread may read.

    No read lasts longer than a page of rows, so that a live recording's log can be tidied up meanwhile.
    """

    def __init__(self, path: Path) -> None:
        """Use `open_recording`."""
        self.path = path
        with closing(self._connect()) as db:
            row = db.execute(
                "SELECT program_version, started_ns, vehicle_name, vehicle_text, station_name, station_text,"
                " continues FROM session"
            ).fetchone()
        self.program_version: str = row[0]
        self.started_ns: int = row[1]
        self.vehicle_name: str = row[2]
        self.vehicle_text: str = row[3]
        self.station_name: str = row[4]
        self.station_text: str = row[5]
        self.continues: str = row[6]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        return None

    @property
    def ended_ns(self) -> int | None:
        """When the session was closed; None where it was cut off, or is still being written."""
        with closing(self._connect()) as db:
            ended_ns: int | None = db.execute("SELECT ended_ns FROM session").fetchone()[0]
        return ended_ns

    @property
    def last_ns(self) -> int:
        """The end: when the session was closed, else the time of the last row, else the start."""
        with closing(self._connect()) as db:
            last_ns: int = db.execute(
                "SELECT coalesce((SELECT ended_ns FROM session), max("
                " coalesce((SELECT received_ns FROM chunks ORDER BY seq DESC LIMIT 1), 0),"
                " coalesce((SELECT at_ns FROM events ORDER BY seq DESC LIMIT 1), 0),"
                " (SELECT started_ns FROM session)))"
            ).fetchone()[0]
        return last_ns

    @property
    def size(self) -> int:
        """Bytes it takes on the disk, its log included."""
        return sum(p.stat().st_size for p in (self.path, _log_path(self.path)) if p.exists())

    def items(self) -> Iterator[Item]:
        """Everything recorded so far, in the order the pipeline saw it.

        Raises:
            RecordingError: The file is damaged.
        """
        after = 0
        with closing(self._connect()) as db:
            while True:
                try:
                    page = db.execute(_PAGE, {"after": after, "rows": PAGE_ROWS}).fetchall()
                except sqlite3.Error as error:
                    raise RecordingError(
                        f"{self.path} is damaged after row {after}: {error}", path=self.path
                    ) from error
                for _, kind, link, at_ns, data, ok, text in page:
                    if kind == "chunk":
                        yield Chunk.at(at_ns, data, link=link)
                    else:
                        yield StationEvent(at_ns, EventKind(kind), bool(ok), text, link)
                if len(page) < PAGE_ROWS:
                    return
                after = page[-1][0]

    def copy_to(self, path: Path) -> None:
        """Write a complete copy, one single file, also of a recording that is being written.

        Raises:
            RecordingError: The target exists already, or the disk refuses.
        """
        if path.exists():
            raise RecordingError(f"{path} exists already and is not overwritten", path=path)
        try:
            with closing(self._connect()) as db:
                db.execute("VACUUM INTO ?", (str(path),))
        except sqlite3.Error as error:
            path.unlink(missing_ok=True)
            raise RecordingError(f"cannot copy {self.path} to {path}: {error}", path=path) from error

    def _connect(self) -> sqlite3.Connection:
        return sqlite3.connect(
            f"{self.path.resolve().as_uri()}?mode=ro", uri=True, timeout=READ_TIMEOUT_S, isolation_level=None
        )


def open_recording(path: Path) -> Recording:
    """A recording to read, also one that is being written or whose writer was killed.

    Raises:
        RecordingError: There is no such file, or it is no recording (the message says what it is), or it was
            written by a newer version.
    """
    _check_is_recording(path)
    try:
        return Recording(path)
    except sqlite3.Error as error:
        raise RecordingError(f"cannot read {path}: {error}", path=path) from error


def _check_is_recording(path: Path) -> None:
    def refuse(what: str) -> RecordingError:
        return RecordingError(f"{path} is no recording: {what}", path=path)

    if path.is_dir():
        raise refuse("it is a folder")
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        raise RecordingError(f"there is no file {path}", path=path) from None
    except OSError as error:
        raise RecordingError(f"cannot read {path}: {error.strerror}", path=path) from error
    if not head:
        raise refuse("it is empty")
    if not head.startswith(b"SQLite format 3\0"):
        what = (
            "a text file" if head.isascii() and b"\0" not in head else "some other data, such as raw bytes of a link"
        )
        raise refuse(f"it is {what} (a recording is an SQLite database)")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=READ_TIMEOUT_S)) as db:
            application_id = db.execute("PRAGMA application_id").fetchone()[0]
            version = db.execute("PRAGMA user_version").fetchone()[0]
            tables = [
                row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            ]
            sessions = db.execute("SELECT count(*) FROM session").fetchone()[0] if "session" in tables else 0
    except sqlite3.OperationalError as error:
        raise RecordingError(
            f"cannot read {path}: {error}. A recording that was cut off needs a folder that can be written to: "
            f"copy it into one together with {_log_path(path).name}",
            path=path,
        ) from error
    except sqlite3.DatabaseError as error:
        raise refuse(f"it is a damaged SQLite database ({error})") from error
    if application_id != APPLICATION_ID:
        raise refuse(f"it is an SQLite database of another kind, with the tables {', '.join(tables) or '(none)'}")
    if version > FORMAT_VERSION:
        raise RecordingError(
            f"{path} was written by a newer version of this program: format {version}, known up to {FORMAT_VERSION}",
            path=path,
        )
    if not sessions:
        raise refuse("its writer was cut off before the session began")


def one_stamp_each(chunk: Chunk) -> Iterator[Chunk]:
    """The same bytes as chunks with one receive time each."""
    ends = [stamp.start for stamp in chunk.stamps[1:]] + [len(chunk.data)]
    for stamp, end in zip(chunk.stamps, ends, strict=True):
        yield Chunk.at(stamp.received_ns, chunk.data[stamp.start : end], link=chunk.link)


def _connect_to_write(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=WRITE_TIMEOUT_S, isolation_level=None, check_same_thread=False)
    try:
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise RecordingError(f"{path.parent} does not allow a write-ahead log (mode {mode})", path=path)
        db.execute("PRAGMA synchronous = NORMAL")
    except BaseException:
        db.close()
        raise
    return db


def _storable(text: str) -> str:
    # A path that is not UTF-8 carries lone surrogates, which SQLite refuses: it must not block the recording.
    return text.encode("utf-8", "backslashreplace").decode()


def _log_path(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def _remove(path: Path) -> None:
    for part in (path, _log_path(path), path.with_name(path.name + "-shm")):
        with contextlib.suppress(OSError):
            part.unlink()
