"""What a person types, a line at a time, while the program goes on; and what is shown to them meanwhile."""

import os
import queue
import shutil
import sys
import threading
import time
from typing import TextIO

from groundstation.cli.failure import USAGE, Failure

_READ_BYTES = 1024
_LONGEST_LINE = 1000
_STATUS_EVERY_S = 0.5  # on a terminal, where the line is written over
_LINES_EVERY_S = 5.0  # elsewhere, where each stays


class Person:
    """Reads lines in a thread of its own; `ended` once nobody can type any more."""

    def __init__(self, descriptor: int) -> None:
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._at_end = threading.Event()
        # Not through sys.stdin: a daemon thread waiting inside it makes the interpreter die badly at its end.
        threading.Thread(target=self._read, args=(descriptor,), name="person", daemon=True).start()

    @classmethod
    def at_stdin(cls) -> "Person":
        """Whoever types at this program's standard input.

        Raises:
            Failure: It is closed.
        """
        try:
            descriptor = sys.stdin.fileno()
            os.fstat(descriptor)
        except (AttributeError, OSError, ValueError):
            raise Failure(
                "found standard input closed, expected a terminal: bench asks you to do things and to say when they "
                "are done. Run it in a terminal, or pipe your answers to it, one line each",
                USAGE,
            ) from None
        return cls(descriptor)

    @property
    def ended(self) -> bool:
        """Whether all that was typed has been asked for and no more can come."""
        return self._at_end.is_set() and self._lines.empty()

    def said(self) -> str | None:
        """The next line, without spaces around it; None where none was typed since."""
        try:
            return self._lines.get_nowait()
        except queue.Empty:
            return None

    def _read(self, descriptor: int) -> None:
        rest = b""
        try:
            while data := os.read(descriptor, _READ_BYTES):
                *whole, rest = (rest + data).split(b"\n")
                rest = rest[-_LONGEST_LINE:]
                for line in whole:
                    self._lines.put(line.decode("utf-8", "replace").strip())
        except OSError:
            pass  # a terminal that has gone is an end like any other
        if rest.strip():
            self._lines.put(rest.decode("utf-8", "replace").strip())
        self._at_end.set()


class Status:
    """A line that tells how it stands: written over on a terminal, else told anew now and then where it changed."""

    def __init__(self, to: TextIO | None = None) -> None:
        self._to = sys.stdout if to is None else to
        self._over = self._to.isatty()
        self._next_s = 0.0
        self._shown = ""

    def show(self, text: str) -> None:
        """Tell how it stands."""
        now_s = time.monotonic()
        if text == self._shown or now_s < self._next_s:
            return
        self._next_s = now_s + (_STATUS_EVERY_S if self._over else _LINES_EVERY_S)
        if self._over:
            text = text[: shutil.get_terminal_size().columns - 1]  # a longer one could not be written over
            self._to.write(f"\r{text.ljust(len(self._shown))}")
        else:
            self._to.write(f"{text}\n")
        self._to.flush()
        self._shown = text

    def say(self, text: str) -> None:
        """A line of its own, below which the status begins anew."""
        if self._over and self._shown:
            self._to.write(f"\r{' ' * len(self._shown)}\r")
        self._to.write(f"{text}\n")
        self._to.flush()
        self._shown = ""
        self._next_s = 0.0
