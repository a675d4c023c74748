"""A receiver behind a TCP port: read only; the connection is made again whenever it ends.

A connection that died without a word cannot be told from a silent vehicle here; the age of the last packet tells.
"""

import errno
import socket
import threading

from groundstation.clock import Clock
from groundstation.links.link import MAX_READ, Deliver, Report
from groundstation.links.reopening import LinkLostError, read_for_ever

CONNECT_TIMEOUT_S = 2.0
READ_TIMEOUT_S = 0.1


class TcpLink:
    """Reads what a TCP server sends. See `groundstation.links.link.Link`."""

    def __init__(self, host: str, port: int, clock: Clock, *, name: str) -> None:
        self.name = name
        self._clock = clock
        self._source = _TcpSource(host, port)

    def run(self, deliver: Deliver, report: Report, stop: threading.Event) -> None:
        """Read until `stop` is set."""
        read_for_ever(self._source, self._clock, deliver, report, stop)


class _TcpSource:
    def __init__(self, host: str, port: int) -> None:
        self._host, self._port = host, port
        self._where = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
        self._socket: socket.socket | None = None

    @property
    def state(self) -> str:
        return f"connected to {self._where}"

    def open(self) -> None:
        try:
            self._socket = socket.create_connection((self._host, self._port), timeout=CONNECT_TIMEOUT_S)
            self._socket.settimeout(READ_TIMEOUT_S)
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        except OSError as error:
            raise LinkLostError(self._cannot_connect(error)) from error

    def read(self) -> bytes:
        if self._socket is None:
            raise LinkLostError(f"not connected to {self._where}")
        try:
            data = self._socket.recv(MAX_READ)
        except TimeoutError:
            return b""
        except OSError as error:
            raise LinkLostError(
                f"the connection to {self._where} broke ({error.strerror or error}); trying again"
            ) from error
        if not data:
            raise LinkLostError(f"{self._where} closed the connection; trying again")
        return data

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _cannot_connect(self, error: OSError) -> str:
        if isinstance(error, socket.gaierror):
            return f"no computer is known by the name {self._host}: check the link's address and the network"
        if isinstance(error, ConnectionRefusedError):
            return f"nothing listens at {self._where}: is the program there running? Trying again"
        if isinstance(error, TimeoutError):
            return f"{self._where} does not answer: check the address, the network and the firewall. Trying again"
        if error.errno in (errno.EHOSTUNREACH, errno.ENETUNREACH):
            return f"{self._where} cannot be reached: is the network connected? Trying again"
        return f"cannot connect to {self._where} ({error.strerror or error}); trying again"
