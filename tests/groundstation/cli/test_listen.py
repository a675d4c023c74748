import os
import socket
import sys
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from decoders.identify import identify
from decoders.layout import Layout
from decoders.stream import StreamDecoder
from groundstation.cli import main
from groundstation.cli.heard import Heard, report_lines
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.config.telemetry import layout_of

sys.path.insert(0, str(Path(__file__).parents[2] / "decoders"))
import unknown_streams as unknown


def stream(name: str, seed: int = 4) -> bytes:
    return unknown.STREAMS[name](np.random.default_rng(seed))


def report_on(data: bytes, seconds: float | None = 10.0) -> str:
    return "\n".join(report_lines(Heard("link", data, len(data), seconds), identify(data)))


@pytest.mark.parametrize("name", unknown.STREAMS)
def test_report_names_the_framing_with_counts_of_evidence(name: str) -> None:
    report = report_on(stream(name))
    assert f"Framing: {name} (" in report
    assert " of " in report.split("Framing:")[1].splitlines()[1]


def test_a_capture_is_read_to_its_end_and_the_exit_code_says_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capture = tmp_path / "capture.bin"
    capture.write_bytes(stream("SLIP"))
    assert main(["listen", f"file:{capture}"]) == 0
    shown = capsys.readouterr().out
    assert f"{capture.stat().st_size} bytes" in shown
    assert "Framing: SLIP" in shown
    assert "CRC-16/KERMIT" in shown


def test_random_bytes_exit_5_and_say_what_was_ruled_out_and_what_to_try(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capture = tmp_path / "noise.bin"
    capture.write_bytes(unknown.random_bytes(np.random.default_rng(2), 5000))
    assert main(["listen", f"file:{capture}"]) == 5
    shown = capsys.readouterr().out
    assert "Framing: cannot tell." in shown
    assert "Ruled out:" in shown
    assert "blocks between zeros unstuff" in shown
    assert "Next: " in shown
    assert "[telemetry]" not in shown


def test_an_empty_file_and_a_line_held_low_are_told_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capture = tmp_path / "capture.bin"
    capture.write_bytes(b"")
    assert main(["listen", f"file:{capture}"]) == 3
    assert "The file is empty" in capsys.readouterr().out
    capture.write_bytes(bytes(2000))
    assert main(["listen", f"file:{capture}"]) == 5
    assert "All 2000 bytes are 00" in capsys.readouterr().out


def test_a_missing_file_is_a_link_failure_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", f"file:{tmp_path}/none.bin"]) == 3
    err = capsys.readouterr().err
    assert "there is no file" in err
    assert err.count("\n") == 1


def test_a_database_is_not_taken_for_a_capture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "session.sqlite"
    path.write_bytes(b"SQLite format 3\0" + bytes(4096))
    assert main(["listen", f"file:{path}"]) == 4
    assert "groundstation replay" in capsys.readouterr().err


def test_trying_speeds_wants_a_serial_port(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", "tcp://127.0.0.1:1", "--bauds"]) == 2
    assert "serial:" in capsys.readouterr().err


def layout_from(report: str, folder: Path) -> Layout:
    """The layout of the example vehicle with the description that a report ends in."""
    example = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
    vehicle_file = folder / "vehicle.toml"
    telemetry = report[report.index("[telemetry]") :]
    vehicle_file.write_text(example[: example.index("[telemetry]")] + telemetry, encoding="utf-8")
    return layout_of(load_vehicle(vehicle_file))


LEAST_PACKETS = {  # of those that each stream sends, one in 100 of them damaged and the first torn
    "COBS": 280,
    "SLIP": 280,
    "RFC 1662": 280,
    "sync word and length field": 280,
    "sync word and fixed length": 370,
    "fixed length without a delimiter": 370,
    "lines of delimited values": 240,
    "NMEA 0183 sentences": 330,
    "CCSDS space packets behind an attached sync marker": 230,
}


@pytest.mark.parametrize("name", LEAST_PACKETS)
def test_proposed_description_loads_as_it_stands_and_decodes_the_stream(name: str, tmp_path: Path) -> None:
    data = stream(name)
    decoded = StreamDecoder(layout_from(report_on(data), tmp_path)).feed(data)
    assert sum(len(table) for table in decoded.tables) >= LEAST_PACKETS[name]


def test_proposed_description_tells_the_kinds_apart_and_counts_packets(tmp_path: Path) -> None:
    data = stream("COBS")
    decoded = StreamDecoder(layout_from(report_on(data), tmp_path)).feed(data)
    packets = {table.packet.id: table for table in decoded.tables}
    assert set(packets) == {1, 2}
    counters = np.sort(np.concatenate([table.columns["n"] for table in packets.values()]).astype(int))
    assert np.count_nonzero(np.diff(counters) == 1) >= 0.95 * (counters.size - 1)


def test_rates_of_the_description_come_from_the_time_listened() -> None:
    report = report_on(stream("COBS"), 10.0)
    rates = [float(line.split("=")[1]) for line in report.splitlines() if line.startswith("rate_hz")]
    assert sum(rates) == pytest.approx(29.5, abs=1.0)


@contextmanager
def sending_terminal(data: bytes) -> Iterator[tuple[str, int]]:
    """A pseudo-terminal on which the data come over and over; its name, and the sender's end."""
    sender, receiver = os.openpty()
    tty.setraw(receiver)
    os.set_blocking(sender, False)
    ended = threading.Event()

    def send() -> None:
        place = 0
        while not ended.wait(0.02):
            try:
                place += os.write(sender, data[place : place + 400])
            except BlockingIOError:
                continue
            place %= len(data)

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield os.ttyname(receiver), sender
    finally:
        ended.set()
        thread.join()
        os.close(sender)
        os.close(receiver)


def test_a_serial_port_is_listened_to_and_nothing_is_written_to_it(capsys: pytest.CaptureFixture[str]) -> None:
    with sending_terminal(stream("sync word and length field")) as (port, sender):
        assert main(["listen", f"serial:{port}?baud=57600", "--seconds", "1"]) == 0
        with pytest.raises(BlockingIOError):
            os.read(sender, 1)
    shown = capsys.readouterr().out
    assert "bytes/s" in shown
    assert "sync word: A5 5A" in shown


def test_each_usual_speed_is_tried_when_asked(capsys: pytest.CaptureFixture[str]) -> None:
    with sending_terminal(stream("lines of delimited values")) as (port, sender):
        assert main(["listen", f"serial:{port}?baud=31250", "--bauds", "--seconds", "0.4"]) == 0
        with pytest.raises(BlockingIOError):
            os.read(sender, 1)
    shown = capsys.readouterr().out
    rows = [line.split() for line in shown.splitlines()[1:]]
    speeds = [int(row[0]) for row in rows if row and row[0].isdigit()]
    assert speeds[0] == 31250  # the one given comes first
    assert {9600, 57600, 115200} <= set(speeds)
    assert "A framing is seen at" in shown


def test_a_silent_link_says_what_to_look_at(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        assert main(["listen", f"tcp://127.0.0.1:{port}", "--seconds", "0.3"]) == 3
    shown = capsys.readouterr().out
    assert "Nothing came." in shown
    assert "receiver's own lamp" in shown


def test_of_a_long_capture_the_last_bytes_are_looked_at_and_that_is_said() -> None:
    report = report_on(stream("COBS") * 30)
    assert "looked at: the last 200000 of them" in report
    assert "Framing: COBS (" in report
