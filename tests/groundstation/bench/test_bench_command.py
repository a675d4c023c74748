"""The real command in a process of its own, over a real pseudo-terminal or socket, with simulated hands."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from groundstation.bench.configuration import configuration
from groundstation.bench.events import mark_of, walk_marks
from groundstation.bench.kept import KeptProof, line_of
from groundstation.bench.proof import ProofOutcome
from groundstation.bench.register import TESTS
from groundstation.bench.store import read_proofs
from groundstation.bench.walk import Said, guide
from groundstation.cli import build_parser, main
from groundstation.cli.replaying import timeline_of
from groundstation.config.bench_plan import ProofName
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.recording import open_recording

from .conftest import BENCH, REDSHANK

LIMIT_S = 60.0
COMMAND = [sys.executable, "-m", "groundstation.cli"]


class Running:
    """A command under way: what it has said, and words typed to it."""

    def __init__(self, *arguments: str, answers: bool = True) -> None:
        self.process = subprocess.Popen(
            [*COMMAND, *arguments],
            stdin=subprocess.PIPE if answers else subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            bufsize=1,
        )
        self._lines: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        self._lines.extend(self.process.stdout)

    @property
    def said(self) -> str:
        return "".join(self._lines)

    def wait_until_it_says(self, text: str) -> None:
        until_s = time.monotonic() + LIMIT_S
        while text not in self.said:
            assert time.monotonic() < until_s, f"{text!r} was not said: {self.said}"
            assert self.process.poll() is None or text in self.said, self.said
            time.sleep(0.05)

    def type(self, line: str) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def ended(self) -> int:
        code = self.process.wait(LIMIT_S)
        self._reader.join(LIMIT_S)
        return code


@contextmanager
def running(*arguments: str, answers: bool = True) -> Iterator[Running]:
    command = Running(*arguments, answers=answers)
    try:
        yield command
    finally:
        if command.process.poll() is None:
            command.process.kill()
        command.process.wait()
        for stream in (command.process.stdin, command.process.stdout):
            if stream is not None:
                stream.close()


def vehicle_file(folder: Path, source: Path, *, endurance: str = "3 s") -> Path:
    asked = '\n[[bench.proof]]\nname = "gimbal-sign"\nfresh = "14 days"\n'
    path = folder / source.name
    text = source.read_text(encoding="utf-8") + BENCH.replace("20 s", endurance) + asked
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="needs pseudo-terminals")
def test_builder_is_walked_through_a_proof_that_is_kept_listed_and_judged_alike_again(tmp_path: Path, capsys) -> None:
    vehicle = vehicle_file(tmp_path, EXAMPLE_VEHICLE)
    hands = ("--bench", "gimbal-sign@4", "--bench-step", "6")
    with running("simulate", str(vehicle), "--to", "pty", *hands, answers=False) as simulator:
        simulator.wait_until_it_says("serial:")
        link = simulator.said.split()[0]
        with running(
            "bench", str(vehicle), "--link", link, "--record", str(tmp_path), "gimbal-sign", "pin-order"
        ) as bench:
            bench.wait_until_it_says("gimbal-sign: shows that the gimbal deflects so as to right a lean")
            bench.type("nonsense")
            bench.wait_until_it_says('Not understood: "nonsense"')
            simulator.wait_until_it_says("hands: still")
            bench.type("")
            bench.wait_until_it_says("Step 1 of 3: Hold the vehicle upright")
            bench.type("")
            bench.wait_until_it_says("Not yet: ")
            for nth, axis in enumerate("xy", start=2):
                simulator.wait_until_it_says(f"hands: lean {axis}")
                bench.type("")
                bench.wait_until_it_says(f"Step {nth} of 3: Begin upright")
                bench.type("12 m")
                time.sleep(4.5)
            bench.type("done")
            bench.wait_until_it_says("gimbal-sign: PASSED")
            bench.wait_until_it_says("pin-order: shows")
            bench.type("skip")
            assert bench.ended() == 5
    assert bench.said.count("Not understood") == 3
    assert "The gimbal's outer axis rights a lean: 0.4" in bench.said
    assert "gimbal-sign            passed\n" in bench.said
    assert "pin-order              skipped\n" in bench.said
    assert "Traceback" not in bench.said

    path = tmp_path / "Curlew-bench.jsonl"
    (kept,) = read_proofs(path).kept
    assert kept.proof.outcome is ProofOutcome.PASSED
    assert main(["bench", str(vehicle), "--record", str(tmp_path), "--list"]) == 0
    listed = capsys.readouterr().out
    assert "gimbal-sign            fresh  " in listed
    assert "asked for, holds 14 days" in listed
    assert "pin-order              never made" in listed

    timeline = timeline_of(tmp_path / kept.recording)
    marks = walk_marks(timeline.station_events, ProofName.GIMBAL_SIGN)
    assert [mark.said for mark in marks] == [Said.BEGIN, Said.DONE, Said.DONE, Said.DONE]
    assert guide(TESTS[ProofName.GIMBAL_SIGN], timeline, marks, timeline.now_ns) == kept.proof


def test_endurance_needs_nobody_and_a_brown_out_fails_it(tmp_path: Path) -> None:
    vehicle = vehicle_file(tmp_path, REDSHANK, endurance="4 s")
    with running(
        "simulate", str(vehicle), "--to", "tcp://127.0.0.1:0", "--fault", "reset-loop@2", answers=False
    ) as simulator:
        simulator.wait_until_it_says("tcp://")
        link = simulator.said.split()[0]
        arguments = ("bench", str(vehicle), "--link", link, "--record", str(tmp_path), "endurance-camera-off")
        with running(*arguments, answers=False) as bench:
            assert bench.ended() == 5
    assert "endurance-camera-off: FAILED" in bench.said
    assert "Touch first: the pack, its plug and switch" in bench.said
    (kept,) = read_proofs(tmp_path / "Redshank-bench.jsonl").kept
    assert kept.proof.outcome is ProofOutcome.FAILED
    assert "started anew" in kept.proof.reasons[0]


def test_nobody_to_answer_is_a_clear_error_and_the_recording_is_closed(tmp_path: Path) -> None:
    vehicle = vehicle_file(tmp_path, EXAMPLE_VEHICLE)
    arguments = ("bench", str(vehicle), "--link", "tcp://127.0.0.1:1", "--record", str(tmp_path), "pin-order")
    with running(*arguments, answers=False) as bench:
        assert bench.ended() == 2
    assert "standard input ended before pin-order was begun: run bench in a terminal" in bench.said
    assert "Session ended; recorded in" in bench.said
    assert "Traceback" not in bench.said


def test_ctrl_c_ends_it_with_the_recording_closed_and_no_traceback(tmp_path: Path) -> None:
    vehicle = vehicle_file(tmp_path, EXAMPLE_VEHICLE)
    with running(
        "bench", str(vehicle), "--link", "tcp://127.0.0.1:1", "--record", str(tmp_path), "pin-order"
    ) as bench:
        bench.wait_until_it_says("no packet has come yet")
        bench.process.send_signal(signal.SIGINT)
        assert bench.ended() == 130
    assert "pin-order              not reached" in bench.said
    assert "Session ended; recorded in" in bench.said
    assert "Traceback" not in bench.said
    (recording,) = tmp_path.glob("*.sqlite")
    with open_recording(recording) as opened:
        assert opened.ended_ns is not None


def test_closed_standard_input_is_told_before_anything_is_opened(tmp_path: Path) -> None:
    vehicle = vehicle_file(tmp_path, EXAMPLE_VEHICLE)
    words = [*COMMAND, "bench", str(vehicle), "--link", "tcp://127.0.0.1:1", "--record", str(tmp_path)]
    done = subprocess.run(
        ["sh", "-c", '"$@" <&-', "sh", *words], capture_output=True, text=True, timeout=LIMIT_S, check=False
    )
    assert done.returncode == 2
    assert "found standard input closed, expected a terminal" in done.stderr
    assert not list(tmp_path.glob("*.sqlite"))


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (
            ["--link", "tcp://127.0.0.1:1", "gimbal-sigh"],
            2,
            'found the proof "gimbal-sigh", expected some of gimbal-sign',
        ),
        (["range-walk", "--link", "tcp://127.0.0.1:1"], 2, "cannot make range-walk: its file has no [radio]"),
        (["pin-order"], 2, "found no link to listen to"),
        (["--link", "nowhere", "pin-order"], 2, "it begins with none of serial:"),
        (["--link", "tcp://127.0.0.1:1", "--record", "/nowhere/at/all"], 4, "folder /nowhere/at/all does not exist"),
    ],
)
def test_wrong_usage_is_one_line_that_says_what_to_do(
    tmp_path: Path, capsys, monkeypatch, arguments: list[str], code: int, says: str
) -> None:
    monkeypatch.chdir(tmp_path)
    reading, writing = os.pipe()
    with os.fdopen(reading) as stdin, os.fdopen(writing, "w"):
        monkeypatch.setattr(sys, "stdin", stdin)
        assert main(["bench", str(vehicle_file(tmp_path, EXAMPLE_VEHICLE)), *arguments]) == code
    assert says in capsys.readouterr().err


def test_silence_with_nobody_there_ends_instead_of_waiting_for_ever(tmp_path: Path, capsys, monkeypatch) -> None:
    monkeypatch.setattr("groundstation.cli.walking.UNATTENDED_S", 0.5)
    with open(os.devnull, encoding="utf-8") as nobody:
        monkeypatch.setattr(sys, "stdin", nobody)
        words = ["bench", str(vehicle_file(tmp_path, EXAMPLE_VEHICLE)), "--link", "tcp://127.0.0.1:1"]
        assert main([*words, "--record", str(tmp_path), "endurance-camera-off"]) == 3
    shown = capsys.readouterr()
    assert "nobody is there to mend it: look at the link" in shown.err
    assert "Session ended; recorded in" in shown.out


def test_names_may_stand_before_and_after_options() -> None:
    told = build_parser().parse_args(["bench", "v.toml", "pin-order", "--link", "tcp://h:1", "gimbal-sign", "x"])
    assert told.proofs == ["pin-order", "gimbal-sign", "x"]
    assert build_parser().parse_args(["bench", "v.toml", "--list"]).proofs == []
    with pytest.raises(SystemExit):
        build_parser().parse_args(["bench", "v.toml", "--no-such-option", "x"])
    with pytest.raises(SystemExit):
        build_parser().parse_args(["checks", "v.toml", "w.toml"])


def test_listing_tells_damaged_lines_and_where_to_look(tmp_path: Path, capsys, bench) -> None:
    vehicle = vehicle_file(tmp_path, EXAMPLE_VEHICLE)
    failed = bench(ProofName.PIN_ORDER, "curlew", step_s=8.0, faults=["pin-reversed@0"]).proof()
    mark = configuration(load_vehicle(vehicle), TESTS[ProofName.PIN_ORDER])
    path = tmp_path / "Curlew-bench.jsonl"
    kept = KeptProof(failed, mark, "", "", "")
    other = KeptProof(failed, "another", "", "", "")
    path.write_text(f"{line_of(kept)}\n{{}}\n{line_of(other)}\n", encoding="utf-8")
    assert main(["bench", str(vehicle), "--record", str(tmp_path), "--list"]) == 0
    out = capsys.readouterr().out
    assert "pin-order              failed " in out
    assert "look first at: the contact: it is wired the wrong way round" in out
    assert "Lines that cannot be read, and are left as they are: 1" in out
    assert "Curlew-bench.jsonl:2: found no at, expected it among the keys" in out


def test_simulated_hands_that_there_are_not_are_refused(capsys) -> None:
    assert main(["simulate", "--to", "/dev/null/x", "--bench", "range-walk@3"]) == 2
    assert 'found --bench "range-walk@3", expected one of gimbal-sign, ' in capsys.readouterr().err


def test_event_that_is_no_mark_is_none(bench) -> None:
    walk = bench(ProofName.PIN_ORDER, "curlew", step_s=8.0)
    assert all(mark_of(event) is None for event in walk.timeline().station_events)
