import random
from pathlib import Path

import pytest
from mistakes import CURLEW, frame, some, wrong_start

from groundstation.cli import main
from groundstation.config.load import EXAMPLE_VEHICLE
from groundstation.layout_tools.c_header import c_header

VEHICLE = str(EXAMPLE_VEHICLE)


def sound() -> bytes:
    packet, values = some(CURLEW, random.Random(1))
    return frame(CURLEW.layout, packet.name, values)


def test_check_prints_table_and_verdict(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["layout", "check", VEHICLE]) == 0
    shown = capsys.readouterr().out
    assert "packet motion: id 1, 38 bytes, 10 Hz" in shown
    assert "no fault" in shown


def test_check_of_a_faulty_file_lists_its_faults(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text('name = "x"\n')
    assert main(["layout", "check", str(broken)]) == 2
    assert "telemetry" in capsys.readouterr().err


def test_explain_takes_hexadecimal_digits_as_people_paste_them(capsys: pytest.CaptureFixture[str]) -> None:
    pasted = ", ".join(f"0x{byte:x}" for byte in sound())
    assert main(["layout", "explain", VEHICLE, "--hex", pasted]) == 0
    assert "a sound packet" in capsys.readouterr().out


def test_explain_names_a_mistake_and_exits_with_one(capsys: pytest.CaptureFixture[str]) -> None:
    case = wrong_start(CURLEW, random.Random(2))
    assert main(["layout", "explain", VEHICLE, "--hex", case.data.hex()]) == 1
    assert "the checksum starts from 0x" in capsys.readouterr().out


def test_explain_reads_a_frame_out_of_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    dump = tmp_path / "capture.bin"
    dump.write_bytes(b"\x11" * 1024 + sound())
    assert main(["layout", "explain", VEHICLE, "--file", str(dump), "--at", "0x400"]) == 0
    assert "a sound packet" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["explain", VEHICLE, "--file", "no.bin"], 4, "cannot read no.bin"),
        (["explain", VEHICLE, "--file", "short.bin", "--at", "99"], 4, "no byte at 99"),
        (["header", VEHICLE, "--out", "no-folder/x.h"], 4, "cannot write"),
        (["header", "no.toml"], 2, "no.toml"),
    ],
)
def test_expected_failure_is_one_line(
    arguments: list[str],
    code: int,
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("short.bin").write_bytes(b"123")
    assert main(["layout", *arguments]) == code
    captured = capsys.readouterr()
    assert captured.out == ""
    assert len(captured.err.splitlines()) == 1
    assert words in captured.err


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["explain", VEHICLE],
        ["explain", VEHICLE, "--hex", "xyz"],
        ["explain", VEHICLE, "--hex", ""],
        ["explain", VEHICLE, "--hex", "00", "--file", "x"],
        ["explain", VEHICLE, "--file", "x", "--at", "-1"],
    ],
)
def test_wrong_usage_exits_with_two(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["layout", *arguments])
    assert ended.value.code == 2
    assert "usage: groundstation layout" in capsys.readouterr().err


def test_header_is_printed_or_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["layout", "header", VEHICLE]) == 0
    printed = capsys.readouterr().out
    assert printed == c_header(CURLEW)
    out = tmp_path / "telemetry.h"
    assert main(["layout", "header", VEHICLE, "--out", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == printed
    assert capsys.readouterr().out == ""


def test_xtce_goes_out_and_comes_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "layout.xml"
    assert main(["layout", "xtce", VEHICLE, "--out", str(out)]) == 0
    assert main(["layout", "xtce", "--import", str(out)]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("# Telemetry from an XTCE document.")
    assert '[[telemetry.packet]]\nname = "health"\nid = 2\nrate_hz = 4.0\n' in shown


def test_document_that_is_none_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    broken = tmp_path / "broken.xml"
    broken.write_text("<x/>")
    assert main(["layout", "xtce", "--import", str(broken)]) != 0
    captured = capsys.readouterr()
    assert captured.err == "groundstation: broken.xml: found the element 'x', expected SpaceSystem\n"
