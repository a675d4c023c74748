"""A raw capture in a file: read from its start, then followed while it grows. All bytes are received when read."""

import os
import stat
import threading
import time
from pathlib import Path
from typing import BinaryIO

from groundstation.clock import Clock
from groundstation.links.link import MAX_READ, Deliver, Report
from groundstation.links.reopening import LinkLostError, read_for_ever

POLL_S = 0.1


class FileLink:
    """Reads a file of raw bytes. See `groundstation.links.link.Link`."""

    def __init__(self, path: Path, clock: Clock, *, name: str) -> None:
        self.name = name
        self._clock = clock
        self._source = _FileSource(path)

    def run(self, deliver: Deliver, report: Report, stop: threading.Event) -> None:
        """Read until `stop` is set."""
        read_for_ever(self._source, self._clock, deliver, report, stop)


class _FileSource:
    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: BinaryIO | None = None
        self._read_bytes = 0
        self._at_end_once = False
        self.state = ""

    def open(self) -> None:
        try:
            if not stat.S_ISREG(os.stat(self._path).st_mode):
                raise LinkLostError(f"{self._path} is not an ordinary file; a port is opened as serial:{self._path}")
            self._file = self._path.open("rb", buffering=0)
        except FileNotFoundError:
            raise LinkLostError(f"there is no file {self._path}; waiting for it") from None
        except OSError as error:
            raise LinkLostError(f"cannot read the file {self._path}: {error.strerror or error}") from error
        self._read_bytes = 0
        self._at_end_once = False
        self.state = f"reading the file {self._path}"

    def read(self) -> bytes:
        if self._file is None:
            raise LinkLostError(f"the file {self._path} is not open")
        try:
            data = self._file.read(MAX_READ)
            if not data and os.fstat(self._file.fileno()).st_size < self._read_bytes:
                raise LinkLostError(f"the file {self._path} has become shorter; reading it from its start")
        except OSError as error:
            raise LinkLostError(f"cannot read the file {self._path}: {error.strerror or error}") from error
        if data:
            self._read_bytes += len(data)
        else:
            if not self._at_end_once:  # a file that grows reaches its end again and again
                self._at_end_once = True
                self.state = f"reached the end of {self._path} after {self._read_bytes} bytes; waiting for more"
            time.sleep(POLL_S)
        return data or b""

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
