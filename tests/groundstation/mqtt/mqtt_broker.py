"""A Mosquitto of the test's own on a free loopback port."""

import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

import pytest

MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")


class LocalBroker:
    """A Mosquitto of the test's own on a free loopback port; nothing is kept on disk."""

    def __init__(self, folder: Path, *, extra: str = "", port: int | None = None) -> None:
        self.port = port or _free_port()
        self._config = folder / "mosquitto.conf"
        access = "" if "allow_anonymous" in extra else "allow_anonymous true\n"
        self._config.write_text(f"listener {self.port} 127.0.0.1\npersistence false\n{access}{extra}")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        assert MOSQUITTO is not None
        self._process = subprocess.Popen(
            [MOSQUITTO, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until = time.monotonic() + 10
        while time.monotonic() < until:
            with socket.socket() as probe:
                probe.settimeout(1)
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.01)
        raise AssertionError(f"the broker does not answer on port {self.port}")

    def kill(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.kill()
            self._process.wait()
            self._process = None

    def freeze(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    @property
    def url(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}/field"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def need_mosquitto() -> None:
    if MOSQUITTO is None:
        line = "Mosquitto is not on this machine; install it with: sudo apt-get install mosquitto"
        if os.environ.get("CI") == "true":
            pytest.fail(line)
        pytest.skip(line)
