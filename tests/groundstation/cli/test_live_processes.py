import json
import os
import queue
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil
import pytest

from groundstation.cli import main
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE
from groundstation.recording import open_recording

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs pseudo-terminals")
LIMIT_S = 60.0


class Process:
    """A command under way, whose output is read line by line."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "groundstation.cli", *arguments],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            bufsize=1,
            start_new_session=True,
        )
        self.lines: list[str] = []
        self._arriving: queue.Queue[str] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self._arriving.put(line)

    def line_where(self, wanted: Callable[[str], bool]) -> str:
        """The next such line."""
        until_s = time.monotonic() + LIMIT_S
        while time.monotonic() < until_s and (self._reader.is_alive() or not self._arriving.empty()):
            with suppress(queue.Empty):
                self.lines.append(self._arriving.get(timeout=0.2))
                if wanted(self.lines[-1]):
                    return self.lines[-1]
        raise AssertionError(f"no such line in {self.lines}; exit code {self.process.poll()}")

    def address(self) -> str:
        return re.findall(r"http://\S+/", self.line_where(lambda line: "The pages are at" in line))[0]

    def interrupt(self) -> tuple[int, str, str]:
        self.process.send_signal(signal.SIGINT)
        code = self.process.wait(LIMIT_S)
        self._reader.join(LIMIT_S)
        while not self._arriving.empty():
            self.lines.append(self._arriving.get())
        return code, "".join(self.lines), self.errors()

    def errors(self) -> str:
        assert self.process.stderr is not None
        return self.process.stderr.read()

    def end(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self._reader.join(LIMIT_S)
        for stream in (self.process.stdout, self.process.stderr):
            assert stream is not None
            stream.close()


@contextmanager
def running(folder: Path, *arguments: str) -> Iterator[Process]:
    command = Process(folder, *arguments)
    try:
        yield command
    finally:
        command.end()


def gone(pid: int) -> bool:
    until_s = time.monotonic() + LIMIT_S
    while time.monotonic() < until_s:
        if not psutil.pid_exists(pid) or psutil.Process(pid).status() == psutil.STATUS_ZOMBIE:
            return True
        time.sleep(0.05)
    return False


def simulator_pid(demo: Process) -> int:
    return int(re.findall(r"process (\d+)", demo.line_where(lambda line: "simulated vehicle is process" in line))[0])


def test_demo_shows_pages_and_ends_with_ctrl_c_without_traceback_or_orphan(tmp_path: Path) -> None:
    with running(tmp_path, "demo", "--port", "0", "--record", ".", "--verdicts", "verdicts.jsonl") as demo:
        pid = simulator_pid(demo)
        health = json.load(urllib.request.urlopen(demo.address() + "health", timeout=LIMIT_S))
        assert health["live"] is True
        code, out, err = demo.interrupt()
    assert code == 0
    assert err == ""
    assert "HOLD" in out
    assert "Session ended; recorded in " in out
    assert gone(pid)
    (path,) = tmp_path.glob("*.sqlite")
    with open_recording(path) as recording:
        assert recording.ended_ns is not None
    first = json.loads((tmp_path / "verdicts.jsonl").read_text().splitlines()[0])
    assert first["verdict"] == "HOLD"


def test_simulator_ends_when_the_demo_is_killed(tmp_path: Path) -> None:
    with running(tmp_path, "demo", "--port", "0", "--record", ".") as demo:
        pid = simulator_pid(demo)
        demo.address()
        demo.process.kill()
        demo.process.wait()
        assert gone(pid)


def test_demo_outlives_its_simulator_and_assess_finds_the_verdicts_it_gave(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with running(tmp_path, "demo", "--port", "0", "--record", ".", "--verdicts", "v.jsonl") as demo:
        pid = simulator_pid(demo)
        demo.line_where(lambda line: " GO" in line)
        os.kill(pid, signal.SIGKILL)
        assert "packet" in demo.line_where(lambda line: "HOLD" in line)
        assert demo.process.poll() is None
        code, _, err = demo.interrupt()
    assert (code, err) == (0, "")
    (path,) = tmp_path.glob("*.sqlite")
    assert main(["assess", str(path), "--json"]) == 0
    assessed = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    logged = [json.loads(line) for line in (tmp_path / "v.jsonl").read_text(encoding="utf-8").splitlines()]
    assert [change["verdict"] for change in logged] == ["HOLD", "GO", "HOLD"]
    assert assessed == logged


def test_demo_ends_by_itself_after_its_seconds(tmp_path: Path) -> None:
    with running(tmp_path, "demo", "--port", "0", "--record", ".", "--seconds", "1") as demo:
        pid = simulator_pid(demo)
        assert demo.process.wait(LIMIT_S) == 0
        assert gone(pid)


def test_live_listens_to_a_simulator_over_tcp_and_replay_shows_its_recording(tmp_path: Path) -> None:
    with running(tmp_path, "simulate", "--to", "tcp://127.0.0.1:0") as simulator:
        link = simulator.line_where(lambda line: line.startswith("tcp://")).strip()
        text = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
        assert 'settling_time = "10 s"' in text
        (tmp_path / "hasty.toml").write_text(
            text.replace('settling_time = "10 s"', 'settling_time = "0.5 s"'), encoding="utf-8"
        )
        with running(tmp_path, "live", "hasty.toml", "--link", link, "--station", str(EXAMPLE_STATION),
                     "--record", ".", "--port", "0") as live:  # fmt: skip
            live.line_where(lambda line: " GO" in line)
            code, out, err = live.interrupt()
        assert (code, err) == (0, "")
        path = re.findall(r"recorded in (\S+)\.$", out, re.MULTILINE)[0]
        code, _, err = simulator.interrupt()
        assert code == 0
        assert "frames written" in err
    with running(tmp_path, "replay", path, "--port", "0") as replay:
        health = json.load(urllib.request.urlopen(replay.address() + "health", timeout=LIMIT_S))
        assert (health["live"], health["title"]) == (False, Path(path).name)
        code, _, err = replay.interrupt()
    assert (code, err) == (0, "")
