import json
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from live_run import GROUNDSTATION, Live, assessed, hasty_vehicle, simulator

from groundstation.config.load import EXAMPLE_VEHICLE
from groundstation.inputs import Chunk
from groundstation.recording import open_recording

EXPOSURE_S = 0.2


def test_recording_assessed_gives_the_verdicts_the_live_run_logged(tmp_path: Path) -> None:
    vehicle, log = hasty_vehicle(tmp_path), tmp_path / "verdicts.jsonl"
    faults = ("--fault", "igniter-open@15", "--fault", "link-silent@16.5")
    with (
        simulator(vehicle, "--seconds", "30", *faults) as link,
        Live(vehicle, link, tmp_path, "--verdicts", str(log)) as station,
    ):
        station.wait_until_it_says("Igniter circuit 1")
        time.sleep(3)
        code = station.end(signal.SIGINT)
    assert code == 0, station.said
    assert "Traceback" not in station.said
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


def bytes_due_and_recorded(folder: Path, seed: int) -> tuple[bytes, bytes]:
    """What had been sent to the station 200 ms before it was killed, and what its recording holds."""
    draws = random.Random(seed)
    sent: list[tuple[float, int]] = []
    payload = draws.randbytes(200_000)
    with socket.create_server(("127.0.0.1", 0)) as server:
        link = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        with Live(Path(EXAMPLE_VEHICLE), link, folder) as station:
            receiver, _ = server.accept()
            killing = time.monotonic() + draws.uniform(1.0, 2.5)
            at = 0
            while time.monotonic() < killing:
                size = draws.choice([1, 20, 60, 200])
                receiver.sendall(payload[at : at + size])
                at += size
                sent.append((time.monotonic(), at))
                time.sleep(0.01)
            killed_s = time.monotonic()
            station.end(signal.SIGKILL)
            receiver.close()
    due = max(end for at_s, end in sent if at_s <= killed_s - EXPOSURE_S)
    (path,) = folder.glob("*.sqlite")
    items = open_recording(path).items()
    return payload[:due], b"".join(item.data for item in items if isinstance(item, Chunk))


def test_killed_station_has_recorded_what_was_sent_200_ms_before(tmp_path: Path) -> None:
    due, recorded = bytes_due_and_recorded(tmp_path, seed=0)
    assert recorded[: len(due)] == due


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(1, 21))
def test_station_killed_twenty_times_has_recorded_what_was_sent_200_ms_before(tmp_path: Path, seed: int) -> None:
    due, recorded = bytes_due_and_recorded(tmp_path, seed)
    assert len(due) > 0
    assert recorded[: len(due)] == due


def test_pages_port_in_use_is_said_in_one_line_before_anything_starts(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = subprocess.run(
            [*GROUNDSTATION, "demo", "--port", port, "--record", str(tmp_path)],
            capture_output=True,
            text=True,
            timeout=30,
        )
    assert done.returncode != 0
    assert port in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not list(tmp_path.glob("*.sqlite"))
