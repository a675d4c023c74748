"""A live session with a vehicle file that asks for a proof: what it says, what it records, and its replay."""

import signal
import time
from pathlib import Path

import pytest

from groundstation.bench.configuration import configuration
from groundstation.bench.events import kept_in
from groundstation.bench.kept import KeptProof
from groundstation.bench.proof import Proof, ProofOutcome
from groundstation.bench.register import TESTS
from groundstation.bench.store import keep_proof, proof_file_path
from groundstation.cli.known_proofs import known_proofs, proofs_path
from groundstation.config.bench_plan import ProofName
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle, parse_station
from groundstation.config.station import Station
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import EventKind
from groundstation.pipeline import Pipeline
from groundstation.readiness.finding import Status, Verdict
from groundstation.recording import open_recording
from groundstation.replay import run_through

from ..live_run import Live, assessed, hasty_vehicle, simulator

PIN = ProofName.PIN_ORDER


def asking_vehicle(folder: Path) -> Path:
    path = hasty_vehicle(folder)
    with path.open("a", encoding="utf-8") as file:
        file.write(f'\n[[bench.proof]]\nname = "{PIN}"\n')
    return path


def proven(folder: Path, vehicle: Vehicle) -> Path:
    """The file of proofs, with the pin's order proven a minute ago, and a line that is damaged."""
    path = proof_file_path(folder, "Curlew")
    path.write_text("damaged\n", encoding="utf-8")
    proof = Proof(PIN, time.time_ns() - 60 * 10**9, ProofOutcome.PASSED, (), ("So it was.",))
    keep_proof(path, KeptProof(proof, configuration(vehicle, TESTS[PIN]), "", "0.1.0", "a.sqlite"))
    return path


@pytest.mark.skipif(not Path("/dev/ptmx").exists(), reason="needs pseudo-terminals")
def test_live_session_goes_by_the_proofs_known_at_its_start_and_so_does_its_replay(tmp_path: Path) -> None:
    path = asking_vehicle(tmp_path)
    vehicle = load_vehicle(path)
    proven(tmp_path, vehicle)
    with simulator(path) as link, Live(path, link, tmp_path, "--verdicts", str(tmp_path / "v.jsonl")) as live:
        live.wait_until_it_says("  GO")
        assert live.end(signal.SIGINT) == 0
    assert "Bench proofs: Curlew-bench.jsonl holds 1 bench proof, and 1 line that cannot be read: " in live.said
    assert "Curlew-bench.jsonl:1: found no JSON" in live.said
    (recording_path,) = tmp_path.glob("*.sqlite")
    told = [line for line in (tmp_path / "v.jsonl").read_text(encoding="utf-8").splitlines() if line]
    assert len(assessed(recording_path)) == len(told)

    with open_recording(recording_path) as recording:
        items = list(recording.items())
        started_ns, ended_ns = recording.started_ns, recording.ended_ns
    assert len(kept_in(e for e in items if getattr(e, "kind", None) is EventKind.BENCH_PROOF)) == 1

    def verdict(without: EventKind) -> tuple[Verdict, Status]:
        site = load_station(EXAMPLE_STATION).site
        pipeline = Pipeline(vehicle, site, started_ns=started_ns)
        kept = [item for item in items if getattr(item, "kind", None) is not without]
        last = run_through(pipeline, kept, ended_ns=ended_ns).assessment_at(ended_ns or 0)
        assert last is not None
        return last.verdict, next(f.status for f in last.findings if f.check == "bench_proofs")

    assert verdict(EventKind.BENCH_STEP) == (Verdict.GO, Status.PASS)
    assert verdict(EventKind.BENCH_PROOF) == (Verdict.HOLD, Status.FAIL)
    assert verdict(EventKind.BENCH_FILE) == (Verdict.HOLD, Status.UNKNOWN)


def test_vehicle_that_asks_for_no_proof_is_told_nothing(tmp_path: Path) -> None:
    assert known_proofs(load_vehicle(EXAMPLE_VEHICLE), Station(), tmp_path) == ()


def test_file_of_proofs_that_cannot_be_read_is_told_and_no_proof_is_known(tmp_path: Path) -> None:
    vehicle = load_vehicle(asking_vehicle(tmp_path))
    proof_file_path(tmp_path, "Curlew").mkdir()
    (look,) = known_proofs(vehicle, Station(), tmp_path)
    assert (look.kind, look.ok) == (EventKind.BENCH_FILE, False)
    assert "cannot read" in look.text


def test_proofs_lie_beside_the_recordings_or_where_the_station_file_says(tmp_path: Path) -> None:
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    assert proofs_path(vehicle, Station(), tmp_path) == tmp_path / "Curlew-bench.jsonl"
    station = parse_station('[recording]\nproofs_folder = "/home/proofs"\n', file_name="s.toml")
    assert proofs_path(vehicle, station, tmp_path) == Path("/home/proofs/Curlew-bench.jsonl")
