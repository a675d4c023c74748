import json
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from groundstation.config.load import EXAMPLE_VEHICLE

GROUNDSTATION = [sys.executable, "-m", "groundstation.cli"]
STATION = Path(EXAMPLE_VEHICLE).with_name("saltmarsh.toml")


@pytest.fixture
def hasty_vehicle(tmp_path: Path) -> Path:
    """The example vehicle with a settling time short enough for a test."""
    text = Path(EXAMPLE_VEHICLE).read_text(encoding="utf-8")
    path = tmp_path / "hasty.toml"
    path.write_text(
        text.replace("[telemetry]", '[limits]\nsettling_time = "2 s"\n\n[telemetry]', 1), encoding="utf-8"
    )
    return path


@contextmanager
def simulator(vehicle: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    line = [*GROUNDSTATION, "simulate", str(vehicle), "--to", "pty", "--seed", "4", *options]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        place = process.stdout.readline().strip()
        try:
            yield process, place
        finally:
            process.kill()


def live(vehicle: Path, link: str, folder: Path, *options: str) -> subprocess.Popen[str]:
    line = [*GROUNDSTATION, "live", str(vehicle), "--link", link, "--station", str(STATION), "--record", str(folder)]
    return subprocess.Popen(
        [*line, "--port", "0", *options], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )


def assessed(recording: Path) -> list[object]:
    done = subprocess.run(
        [*GROUNDSTATION, "assess", str(recording), "--json"], capture_output=True, text=True, check=True
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_recording_assessed_gives_the_verdicts_the_live_run_logged(hasty_vehicle: Path, tmp_path: Path) -> None:
    log = tmp_path / "verdicts.jsonl"
    with simulator(hasty_vehicle, "--seconds", "12", "--fault", "igniter-open@6", "--fault", "link-silent@8") as (
        _,
        link,
    ):
        station = live(hasty_vehicle, link, tmp_path, "--verdicts", str(log))
        time.sleep(11)
        station.send_signal(signal.SIGINT)
        output, _ = station.communicate(timeout=20)
    assert station.returncode == 0, output
    assert "Traceback" not in output
    logged = [json.loads(line) for line in log.read_text().splitlines()]
    assert [change["verdict"] for change in logged] == ["HOLD", "GO", "HOLD"]
    assert [reason["check"] for reason in logged[2]["reasons"]] == ["pyro_circuit"]
    (recording,) = tmp_path.glob("*.sqlite")
    assert assessed(recording) == logged


def test_ctrl_c_ends_the_demo_and_its_simulator_without_a_traceback(tmp_path: Path) -> None:
    line = [*GROUNDSTATION, "demo", "--port", "0", "--record", str(tmp_path)]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as demo:
        assert demo.stdout is not None
        lines: list[str] = []
        reading = threading.Thread(target=lambda: lines.extend(demo.stdout or []))
        reading.start()
        while not any("pages are at" in said for said in lines) and demo.poll() is None:
            time.sleep(0.1)
        demo.send_signal(signal.SIGINT)
        assert demo.wait(20) == 0
        reading.join(5)
    said = "".join(lines)
    assert "Traceback" not in said
    pid = int(said.split("is process ")[1].split(",")[0])
    assert not Path(f"/proc/{pid}").exists()
