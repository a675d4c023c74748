"""A simulator and a live station as processes of their own, through the real commands."""

import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE

GROUNDSTATION = [sys.executable, "-m", "groundstation.cli"]


def hasty_vehicle(folder: Path) -> Path:
    """The example vehicle with a settling time short enough for a test."""
    text = Path(EXAMPLE_VEHICLE).read_text(encoding="utf-8")
    path = folder / "hasty.toml"
    assert 'settling_time = "10 s"' in text
    path.write_text(text.replace('settling_time = "10 s"', 'settling_time = "2 s"', 1), encoding="utf-8")
    return path


@contextmanager
def simulator(vehicle: Path, *options: str) -> Iterator[str]:
    """The link of a simulator that runs until the context ends."""
    line = [*GROUNDSTATION, "simulate", str(vehicle), "--to", "pty", "--seed", "4", *options]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            process.kill()


class Live:
    """A running `groundstation live` and what it has said; killed at the end of its context if it still runs."""

    def __init__(self, vehicle: Path, link: str, folder: Path, *options: str) -> None:
        line = [*GROUNDSTATION, "live", str(vehicle), "--link", link, "--station", str(EXAMPLE_STATION)]
        line += ["--record", str(folder), "--port", "0", *options]
        self.process = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        self._lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.end(signal.SIGKILL)

    @property
    def said(self) -> str:
        return "".join(self._lines)

    def wait_until_it_says(self, text: str, *, seconds: float = 30.0) -> None:
        end = time.monotonic() + seconds
        while text not in self.said:
            assert self.process.poll() is None, self.said
            assert time.monotonic() < end, f"{text!r} was not said: {self.said}"
            time.sleep(0.05)

    def end(self, signal_number: int) -> int:
        self.process.send_signal(signal_number)
        code = self.process.wait(20)
        self._reader.join(5)
        if self.process.stdout is not None:
            self.process.stdout.close()
        return code

    def _read(self) -> None:
        assert self.process.stdout is not None
        self._lines.extend(self.process.stdout)


def assessed(recording: Path) -> list[object]:
    done = subprocess.run(
        [*GROUNDSTATION, "assess", str(recording), "--json"], capture_output=True, text=True, check=True
    )
    return [json.loads(line) for line in done.stdout.splitlines()]
