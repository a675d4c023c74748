import socket
import sqlite3
from pathlib import Path

import pytest

from groundstation.cli import main
from groundstation.config.load import EXAMPLE_VEHICLE

CURLEW = str(EXAMPLE_VEHICLE)


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """The one line on stderr."""
    captured = capsys.readouterr()
    assert captured.out == ""
    lines = captured.err.splitlines()
    assert len(lines) == 1, captured.err
    return lines[0]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["assess", "no.sqlite"], 4, "there is no file no.sqlite"),
        (["assess", "text.txt"], 4, "text.txt is no recording: it is a text file"),
        (["assess", "other.sqlite"], 4, "an SQLite database of another kind"),
        (["replay", "no.sqlite", "--port", "0"], 4, "there is no file no.sqlite"),
        (["import", CURLEW, "no.bin", "--out", "new.sqlite"], 4, "cannot read no.bin: No such file"),
        (["import", CURLEW, "empty.bin", "--out", "new.sqlite"], 4, "empty.bin is empty"),
        (["import", CURLEW, "text.txt", "--out", "new.sqlite"], 4, "found no packet in 5 bytes"),
        (["import", CURLEW, "text.txt", "--out", "text.txt"], 4, "text.txt exists already and is not overwritten"),
        (["import", "no.toml", "text.txt", "--out", "new.sqlite"], 2, "no.toml"),
        (["import", "clockless.toml", "text.txt", "--out", "new.sqlite"], 4, 'meaning = "vehicle_time"'),
        (["simulate", "--to", "text.txt", "--seconds", "1", "--fast"], 4, "text.txt is there already"),
        (["simulate", "--to", "no-folder/x.bin", "--seconds", "1", "--fast"], 4, "cannot be written"),
        (["simulate", "--to", "tcp://127.0.0.1", "--seconds", "1"], 3, "expected tcp://HOST:PORT"),
        (["simulate", "--to", "x.bin", "--fast"], 2, "--fast wants --seconds"),
        (["simulate", "--to", "x.bin", "--fault", "igniter-opne@3"], 2, "the nearest is igniter-open"),
        (["simulate", "--to", "x.bin", "--fault", "battery-low"], 2, "expected NAME@SECONDS"),
        (["simulate", "broken.toml", "--to", "x.bin"], 2, "broken.toml"),
        (["live", CURLEW], 2, "groundstation ports lists them"),
        (["live", CURLEW, "--link", "usb0", "--port", "0"], 2, "Links are written as serial:"),
        (["live", CURLEW, "--link", "tcp://h:1", "--port", "0", "--mqtt", "http://h/p"], 2, "mqtt://"),
        (["live", CURLEW, "--link", "tcp://h:1", "--port", "0", "--record", "no-folder"], 4, "make it"),
        (["live", CURLEW, "--link", "tcp://h:1", "--port", "0", "--station", "broken.toml"], 2, "broken.toml"),
        (["demo", "--port", "0", "--fault", "nothing@1"], 2, 'found the fault "nothing"'),
        (["demo", "--port", "0", "--mqtt", "mqtt://host"], 2, "no topic prefix"),
    ],
)
def test_expected_failure_is_one_line_with_its_own_exit_code(
    arguments: list[str],
    code: int,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("text.txt").write_text("hello")
    Path("empty.bin").touch()
    Path("broken.toml").write_text("name = 'x'\nnmae = 'y'\n")
    Path("clockless.toml").write_text(
        EXAMPLE_VEHICLE.read_text(encoding="utf-8").replace(', meaning = "vehicle_time"', "")
    )
    other = sqlite3.connect("other.sqlite")
    other.execute("CREATE TABLE birds (name TEXT)")
    other.close()
    before = sorted(p.name for p in tmp_path.iterdir())
    assert main(arguments) == code
    line = said(capsys)
    assert line.startswith("groundstation: ")
    assert words in line
    assert sorted(p.name for p in tmp_path.iterdir()) == before, "nothing half made is left behind"
    assert Path("text.txt").read_text() == "hello"


def test_port_in_use_is_said_before_anything_starts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert main(["live", CURLEW, "--link", "tcp://127.0.0.1:1", "--port", str(port)]) == 3
    line = said(capsys)
    assert f"cannot serve the pages at 127.0.0.1:{port}" in line
    assert "choose another port with --port" in line
    assert list(tmp_path.iterdir()) == []


def test_several_faults_of_a_file_become_one_line_that_counts_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text("name = 'x'\n")
    assert main(["simulate", str(broken), "--to", str(tmp_path / "x.bin")]) == 2
    line = said(capsys)
    assert "more faults: groundstation vehicle FILE lists all" in line


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["fly"],
        ["simulate"],
        ["simulate", "--to", "x", "--seconds", "nan"],
        ["simulate", "--to", "x", "--seconds", "0"],
        ["simulate", "--to", "x", "--seconds", "1_0e"],
        ["simulate", "--to", "x", "--launch-at", "-1"],
        ["simulate", "--to", "x", "--sec", "1"],
        ["replay", "x", "--port", "65536"],
        ["replay", "x", "--port", "-1"],
        ["import", "vehicle", "raw"],
    ],
)
def test_wrong_usage_shows_the_usage_and_exits_with_two(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    assert "usage: groundstation" in capsys.readouterr().err


def test_a_bug_is_a_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("groundstation.cli.ports.candidate_ports", broken)
    with pytest.raises(ZeroDivisionError):
        main(["ports"])


def test_ctrl_c_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted() -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("groundstation.cli.ports.candidate_ports", interrupted)
    assert main(["ports"]) == 130


def test_no_port_is_a_link_failure_that_says_what_to_do(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("groundstation.cli.ports.candidate_ports", list)
    assert main(["ports"]) == 3
    assert "plug in the receiver" in said(capsys)
