import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from groundstation.cli import main
from groundstation.config.load import EXAMPLE_VEHICLE
from groundstation.recording import open_recording

CURLEW = str(EXAMPLE_VEHICLE)
Run = Callable[..., subprocess.CompletedProcess[str]]


def changes(text: str) -> list[dict[str, Any]]:
    return [json.loads(line) for line in text.splitlines()]


def test_simulated_flight_goes_through_a_file_and_import_to_verdicts(run: Run, tmp_path: Path) -> None:
    made = run("simulate", "--to", "f.bin", "--seed", "7", "--seconds", "100", "--launch-at", "30", "--fast",
               "--truth", "truth.jsonl")  # fmt: skip
    assert made.returncode == 0, made.stderr
    assert made.stdout == "file:f.bin\n"
    imported = run("import", CURLEW, "f.bin", "--out", "s.sqlite")
    assert imported.returncode == 0, imported.stderr
    assert "recorded in s.sqlite" in imported.stdout
    with open_recording(tmp_path / "s.sqlite") as recording:
        data = b"".join(item.data for item in recording.items() if hasattr(item, "data"))
    assert data == (tmp_path / "f.bin").read_bytes()

    assessed = run("assess", "s.sqlite", "--json")
    assert assessed.returncode == 0, assessed.stderr
    found = changes(assessed.stdout)
    assert [c["verdict"] for c in found] == ["HOLD", "GO", "HOLD"]
    assert all(list(c) == ["t", "verdict", "reasons"] for c in found)
    assert found[1]["reasons"] == []
    assert 30.0 <= found[2]["t"] <= 31.0
    for reason in (r for c in found for r in c["reasons"]):
        assert {"check", "value", "unit", "limit", "text"} <= reason.keys() <= {
            "check", "channel", "value", "unit", "limit", "text"
        }  # fmt: skip

    table = run("assess", "s.sqlite")
    assert table.returncode == 0
    truth = json.loads((tmp_path / "truth.jsonl").read_text().splitlines()[0])
    apogee = next(line for line in table.stdout.splitlines() if " apogee at " in line)
    height_m = float(apogee.split(" apogee at ")[1].split("\u2009")[0])
    assert abs(height_m - truth["apogee_m"]) <= 2.0 + 0.01 * truth["apogee_m"]
    assert apogee.strip().startswith("T+00:0")
    assert "Advice, not permission" in table.stdout


def test_a_fault_is_held_for_with_its_check_channel_and_limit(run: Run) -> None:
    made = run("simulate", "--to", "f.bin", "--seconds", "30", "--fast", "--fault", "igniter-open:2@20")
    assert made.returncode == 0, made.stderr
    assert run("import", CURLEW, "f.bin", "--out", "s.sqlite").returncode == 0
    found = changes(run("assess", "s.sqlite", "--json").stdout)
    assert [c["verdict"] for c in found] == ["HOLD", "GO", "HOLD"]
    assert 20.0 <= found[2]["t"] <= 22.0
    (reason,) = found[2]["reasons"]
    assert (reason["check"], reason["channel"], reason["unit"]) == ("pyro_circuit", 2, "ohm")
    assert reason["limit"] == [0.8, 3.0]
    assert reason["value"] > 3.0


def test_same_seed_writes_the_same_bytes_and_another_seed_others(tmp_path: Path) -> None:
    for name, seed in (("a", "3"), ("b", "3"), ("c", "4")):
        assert main(["simulate", "--to", str(tmp_path / name), "--seed", seed, "--seconds", "5", "--fast"]) == 0
    a, b, c = ((tmp_path / name).read_bytes() for name in "abc")
    assert a == b != c


def test_example_vehicle_is_where_the_command_says(run: Run) -> None:
    shown = run("vehicle", "--path")
    assert Path(shown.stdout.strip()) == EXAMPLE_VEHICLE.resolve()
    assert shown.stderr == ""


def test_vehicle_summary_says_what_to_hold_against_the_vehicle(run: Run) -> None:
    shown = run("vehicle", CURLEW)
    assert shown.returncode == 0
    for words in ("Curlew", "3 cells", "850\u2009mAh", "0.8 to 3.0\u2009ohm", "packet motion (id 1)", "66\u2009mm"):
        assert words in shown.stdout


def test_vehicle_lists_every_fault_with_its_line(run: Run, tmp_path: Path) -> None:
    text = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
    text = text.replace("cells = 3", "cels = 3").replace('diameter = "66 mm"', 'diameter = "66 s"')
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    shown = run("vehicle", "mine.toml")
    assert shown.returncode == 2
    assert shown.stdout == ""
    lines = shown.stderr.splitlines()
    at = [k for k, line in enumerate(text.splitlines(), start=1) if "cels" in line or '"66 s"' in line]
    assert all(any(line.startswith(f"mine.toml:{k}: ") for line in lines) for k in at)
    assert any("cells" in line and "cels" in line for line in lines)


def test_keys_name_every_key_and_the_source_of_each_limit(run: Run) -> None:
    shown = run("vehicle", "--keys").stdout
    assert "Pydantic" not in shown
    for words in ("[limits]", "cell_voltage_min", "[telemetry.packet]", "pyro_N_resistance", "common practice"):
        assert words in shown


def test_version_and_help_come_without_a_vehicle(run: Run) -> None:
    assert run("--version").stdout.startswith("groundstation ")
    assert run("--help").returncode == 0


def test_reader_that_stops_early_is_no_traceback() -> None:
    line = f"{sys.executable} -m groundstation.cli vehicle --keys | head -1"
    shown = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False, timeout=60)
    assert shown.stderr == ""
    assert shown.stdout.count("\n") == 1
