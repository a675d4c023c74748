import io
import os
import time
from collections.abc import Callable

import pytest

from groundstation.cli import person
from groundstation.cli.person import Person, Status

LIMIT_S = 10.0


def until(true: Callable[[], object]) -> None:
    end_s = time.monotonic() + LIMIT_S
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.005)


def test_lines_come_one_at_a_time_however_they_were_cut_and_the_end_is_told() -> None:
    reading, writing = os.pipe()
    someone = Person(reading)
    assert someone.said() is None
    for part in (b"\n do", b"ne \r\nsk", b"ip\n\xff\n80"):
        os.write(writing, part)
    os.close(writing)
    until(lambda: someone._at_end.is_set())
    assert not someone.ended
    assert [someone.said() for _ in range(5)] == ["", "done", "skip", "\ufffd", "80"]
    assert someone.ended
    os.close(reading)


def test_endless_line_takes_no_memory_without_end() -> None:
    reading, writing = os.pipe()
    someone = Person(reading)
    for _ in range(200):
        os.write(writing, b"x" * 1000)
    os.write(writing, b"\n")
    lines: list[str] = []
    until(lambda: lines.extend(filter(None, [someone.said()])) or lines)
    assert len(lines[0]) <= 2024
    os.close(writing)
    until(lambda: someone.ended)
    os.close(reading)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_status_is_written_over_on_a_terminal_and_cut_to_its_width(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(person, "_STATUS_EVERY_S", 0.0)
    monkeypatch.setenv("COLUMNS", "20")
    terminal = Terminal()
    status = Status(terminal)
    status.show("seen: a lean of 3 deg, and more than fits")
    status.show("seen: 9 deg")
    status.say("Step 2")
    shown = terminal.getvalue()
    assert shown.split("\r")[1] == "seen: a lean of 3 d"
    assert shown.split("\r")[2] == "seen: 9 deg        "
    assert shown.endswith("\rStep 2\n")
    assert "\n" not in shown[:-1]


def test_status_elsewhere_is_a_line_now_and_then_and_only_where_it_changed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(person, "_LINES_EVERY_S", 0.0)
    file = io.StringIO()
    status = Status(file)
    for text in ("one", "one", "two"):
        status.show(text)
    assert file.getvalue() == "one\ntwo\n"
    monkeypatch.setattr(person, "_LINES_EVERY_S", 1000.0)
    status = Status(file)
    for text in ("three", "four"):
        status.show(text)
    status.say("Step 2")
    status.show("five")
    assert file.getvalue() == "one\ntwo\nthree\nStep 2\nfive\n"
