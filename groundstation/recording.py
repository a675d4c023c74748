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
import re
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Self

import psutil

from groundstation.inputs import NS_PER_S, Chunk, EventKind, Item, StationEvent

FORMAT_VERSION = 1
APPLICATION_ID = 0x47524543  # "GREC" in the SQLite header tells a recording from any other database
PAGE_ROWS = 512  # links deliver at most 64 KiB at once, so a page of rows is at most 32 MiB
BUSY_TIMEOUT_S = 1.0

# File systems shared over a network: the write-ahead log needs memory shared by all who open the file.
NETWORK_FILE_SYSTEMS = frozenset(
    {
        "nfs",
        "nfs4",
        "cifs",
        "smb",
        "smb2",
        "smb3",
        "smbfs",
        "afpfs",
        "webdav",
        "davfs",
        "davfs2",
        "ncpfs",
        "afs",
        "ceph",
        "glusterfs",
        "lustre",
        "9p",
        "fuse.sshfs",
        "fuse.rclone",
        "fuse.davfs2",
        "fuse.glusterfs",
        "vboxsf",
        "fuse.vmhgfs-fuse",
        "prl_fs",
    }
)

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


class RecordingError(Exception):
    """A recording cannot be written or read; `path` is the file (or folder) meant."""

    def __init__(self, message: str, *, path: Path) -> None:
        super().__init__(message)
        self.path = path


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


@dataclass(frozen=True, slots=True)
class FileIdentity:
    """Which file on which volume a path names."""

    device: int
    inode: int

    @classmethod
    def of(cls, path: Path) -> "FileIdentity | None":
        """The identity of what `path` names now; None where it names nothing."""
        try:
            found = os.stat(path)
        except OSError:
            return None
        return cls(found.st_dev, found.st_ino)


class Recorder:
    """Writes one recording. One thread at a time may use it.

    Every `append` is one transaction: when it returns, its rows survive the death of this program.
    """

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        """Use `Recorder.create`."""
        self.path = path
        self._db = db
        self._next_seq = 1
        self._files = {p: FileIdentity.of(p) for p in (path, _log_path(path))}

    @classmethod
    def create(cls, path: Path, header: SessionHeader) -> Self:
        """Start a new recording at `path`.

        Raises:
            RecordingError: The file exists already, its folder does not, the folder lies on a network file system,
                or the disk refuses.
        """
        if not path.parent.is_dir():
            raise RecordingError(f"the folder {path.parent} does not exist", path=path.parent)
        if network := network_file_system(path.parent):
            raise RecordingError(
                f"the folder {path.parent} lies on a network file system ({network}), where a recording can be "
                "damaged: record to a local disk and copy afterwards",
                path=path.parent,
            )
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
            db = sqlite3.connect(path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False)
            mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
            if mode != "wal":
                raise RecordingError(f"{path.parent} does not allow a write-ahead log (mode {mode})", path=path)
            db.execute("PRAGMA synchronous = NORMAL")
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
            if now is None:
                return f"{path} has been removed, or its volume is gone"
            if now != before:
                return f"another file has taken the place of {path}"
        return None

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
    """One recording, read only. Every reading opens its own connection, so any thread may read.

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
            f"{self.path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None
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
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_TIMEOUT_S)) as db:
            application_id = db.execute("PRAGMA application_id").fetchone()[0]
            version = db.execute("PRAGMA user_version").fetchone()[0]
            tables = [
                row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
            ]
            sessions = db.execute("SELECT count(*) FROM session").fetchone()[0] if "session" in tables else 0
    except sqlite3.OperationalError as error:
        raise RecordingError(
            f"cannot read {path}: {error}. A recording that was cut off needs a folder that can be written to: "
            "copy it there together with the files beside it of the same name and -wal",
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


def new_recording_path(folder: Path, started_ns: int, vehicle: str) -> Path:
    """A path not yet taken in `folder`, such as 20260816-143000-curlew.sqlite; the time is UTC."""
    when = datetime.fromtimestamp(started_ns // NS_PER_S, UTC).strftime("%Y%m%d-%H%M%S")
    name = re.sub(r"[^\w-]+", "-", vehicle).strip("-")[:60] or "vehicle"
    path = folder / f"{when}-{name}.sqlite"
    number = 2
    while path.exists():
        path = folder / f"{when}-{name}-{number}.sqlite"
        number += 1
    return path


def network_file_system(folder: Path) -> str | None:
    """The kind of network file system `folder` lies on; None on a local one, or where it cannot be told."""
    resolved = folder.resolve()
    if str(resolved).startswith("\\\\"):
        return "Windows share"
    holding = [p for p in psutil.disk_partitions(all=True) if resolved.is_relative_to(p.mountpoint)]
    if not holding:
        return None
    nearest = max(holding, key=lambda p: len(p.mountpoint))
    if "remote" in nearest.opts.split(","):
        return nearest.fstype or "network drive"
    return nearest.fstype if nearest.fstype.lower() in NETWORK_FILE_SYSTEMS else None


def _storable(text: str) -> str:
    # A path that is not UTF-8 carries lone surrogates, which SQLite refuses: it must not block the recording.
    return text.encode("utf-8", "backslashreplace").decode()


def _log_path(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def _remove(path: Path) -> None:
    for part in (path, _log_path(path), path.with_name(path.name + "-shm")):
        with contextlib.suppress(OSError):
            part.unlink()
