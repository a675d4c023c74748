"""Where simulated frames go: TCP clients or a file, and the truth; a pseudo-terminal has a module of its own.

Every writer takes whole frames and never blocks for ever: a client that does not keep up loses frames, which are
counted.
"""

import contextlib
import json
import math
import select
import socket
import time
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from groundstation.simulator.errors import WriterError
from groundstation.simulator.truth import PHASES, Truth

MOST_WAITING_BYTES = (
    1 << 16
)  # for one TCP client, about a minute of frames; a client behind by more loses whole frames


class Writer(Protocol):
    """Takes frames. `place` is how a reader finds them; `written` and `dropped` count frames."""

    place: str
    written: int
    dropped: int

    def wait_for_room(self, timeout_s: float) -> bool:
        """Wait until a frame would not be dropped; whether it is so."""
        ...

    def write(self, frame: bytes) -> None:
        """Send one frame, or drop it."""
        ...

    def close(self) -> None:
        """Let go of the file, terminal or port."""
        ...


class Closing:
    """Closes itself at the end of a `with`."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of what is held."""
        raise NotImplementedError


class FileWriter(Closing):
    """Frames one after the other in a new file.

    Raises:
        WriterError: The file cannot be made; one that is there already is left alone.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._file = path.open("xb", buffering=0)
        except FileExistsError as error:
            raise WriterError(f"{path} is there already; name a file that is not, or remove it first") from error
        except OSError as error:
            raise WriterError(f"{path} cannot be written: {error.strerror}") from error
        self.place = str(path)
        self.written = 0
        self.dropped = 0

    def wait_for_room(self, timeout_s: float) -> bool:
        """A file has room, or says so by an error."""
        return True

    def write(self, frame: bytes) -> None:
        """Append one frame.

        Raises:
            WriterError: The disk is full, or gone.
        """
        try:
            self._file.write(frame)
        except OSError as error:
            raise WriterError(f"{self.place} cannot be written: {error.strerror}") from error
        self.written += 1

    def close(self) -> None:
        """Flush and close."""
        self._file.close()


class TcpWriter(Closing):
    """Frames to every client of a listening port; frames before the first client are sent to nobody.

    Raises:
        WriterError: The address cannot be listened on.
    """

    def __init__(self, host: str, port: int) -> None:
        try:
            self._listener = socket.create_server((host, port))
        except OSError as error:
            raise WriterError(f"tcp://{host}:{port} cannot be listened on: {error.strerror or error}") from error
        self._listener.setblocking(False)
        self.port = int(self._listener.getsockname()[1])
        self.place = f"tcp://{host}:{self.port}"
        self.written = 0
        self.dropped = 0
        self._clients: dict[socket.socket, bytearray] = {}

    @property
    def clients(self) -> int:
        """How many clients are connected."""
        return len(self._clients)

    def wait_for_client(self, timeout_s: float) -> bool:
        """Wait for a first client; whether one is there."""
        if not self._clients:
            select.select([self._listener], [], [], timeout_s)
            self._accept()
        return bool(self._clients)

    def wait_for_room(self, timeout_s: float) -> bool:
        """Wait until the slowest client has room for a frame of any length."""
        until_s = time.monotonic() + timeout_s
        while True:
            self._accept()
            for client, waiting in list(self._clients.items()):
                self._push(client, waiting)
            slow = [client for client, waiting in self._clients.items() if len(waiting) > MOST_WAITING_BYTES // 2]
            if not slow:
                return True
            left_s = until_s - time.monotonic()
            if left_s <= 0.0 or not select.select([], slow, [], left_s)[1]:
                return False

    def write(self, frame: bytes) -> None:
        """Send one frame to every client; clients that went are forgotten."""
        self._accept()
        sent = False
        for client, waiting in list(self._clients.items()):
            if len(waiting) + len(frame) > MOST_WAITING_BYTES:
                self.dropped += 1
            else:
                waiting += frame
                sent = True
            self._push(client, waiting)
        self.written += sent

    def _accept(self) -> None:
        with contextlib.suppress(BlockingIOError, ConnectionError):
            while True:
                client, _ = self._listener.accept()
                client.setblocking(False)
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._clients[client] = bytearray()

    def _push(self, client: socket.socket, waiting: bytearray) -> None:
        try:
            while waiting:
                del waiting[: client.send(waiting)]
        except BlockingIOError:
            return
        except OSError:
            del self._clients[client]
            client.close()

    def close(self) -> None:
        """Hand over what is waiting, as far as it goes within a moment, and close."""
        for client, waiting in list(self._clients.items()):
            client.settimeout(0.5)
            with contextlib.suppress(OSError):
                client.sendall(waiting)
            client.close()
        self._clients.clear()
        self._listener.close()


TRUTH_COLUMNS = (
    "t_s",
    "east_m",
    "north_m",
    "height_m",
    "east_mps",
    "north_mps",
    "speed_mps",
    "tilt_rad",
    "thrust_n",
    "mass_kg",
    "gimbal_x_rad",
    "gimbal_y_rad",
    "wind_east_mps",
    "wind_north_mps",
)


def write_truth(truth: Truth | None, path: Path) -> None:
    """The truth as JSON lines: one line of moments and totals, then one line for every state.

    A vehicle that stays on the pad has a single line that says so. What did not happen is null.

    Raises:
        WriterError: The file cannot be written.
    """
    try:
        with path.open("w", encoding="utf-8") as file:
            if truth is None:
                file.write(json.dumps({"launched": False}) + "\n")
                return
            times = truth.times
            first = {
                "launched": True,
                "ignition_s": times.ignition_s,
                "liftoff_s": times.liftoff_s,
                "burnout_s": times.burnout_s,
                "apogee_s": times.apogee_s,
                "ejection_s": times.ejection_s,
                "landed_s": times.landed_s,
                "apogee_m": truth.apogee_m,
                "impulse_ns": truth.impulse_ns,
            }
            file.write(json.dumps({k: _or_null(v) for k, v in first.items()}, allow_nan=False) + "\n")
            columns = [getattr(truth, name).tolist() for name in TRUTH_COLUMNS]
            for phase, row in zip(truth.phase.tolist(), zip(*columns, strict=True), strict=True):
                line = {name: round(value, 6) for name, value in zip(TRUTH_COLUMNS, row, strict=True)}
                file.write(json.dumps(line | {"phase": PHASES[phase].value}, allow_nan=False) + "\n")
    except OSError as error:
        raise WriterError(f"{path} cannot be written: {error.strerror}") from error


def _or_null(value: float) -> float | None:
    return None if math.isnan(value) else value
