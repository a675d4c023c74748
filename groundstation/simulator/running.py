"""A simulation run to a destination, in real time or as fast as it goes: what the command line and the demo call."""

import re
import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

from groundstation.simulator.errors import WriterError
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.simulator.writers import FileWriter, TcpWriter, Writer, write_truth

if TYPE_CHECKING:
    from groundstation.simulator.terminal import PtyWriter

PROGRESS_EVERY_S = 0.5  # of simulated time in real time, of the laptop's time when fast
CLIENT_POLL_S = 0.2
ROOM_WAIT_S = 2.0


class Pace(StrEnum):
    """How fast the simulation's time passes."""

    REAL_TIME = "real time"
    FAST = "fast"


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is."""

    simulated_s: float
    written: int
    dropped: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a run ended."""

    simulated_s: float
    written: int
    dropped: int
    stopped: bool  # before its seconds were over


def open_writer(to: str) -> "PtyWriter | TcpWriter | FileWriter":
    """The writer that `to` names: "pty", "tcp://HOST:PORT", or a file.

    Raises:
        WriterError: It cannot be opened.
    """
    if to == "pty":
        try:
            from groundstation.simulator.terminal import PtyWriter
        except ImportError as error:
            raise WriterError("this system has no pseudo-terminals; write to tcp://127.0.0.1:7007 instead") from error
        return PtyWriter()
    if to.startswith("tcp:"):
        match = re.fullmatch(r"tcp://(?:\[(?P<six>[0-9a-fA-F:]+)\]|(?P<host>[^:/\[\]]+)):(?P<port>[0-9]{1,5})", to)
        if match is None or int(match["port"]) > 65535:
            raise WriterError(f'found "{to}", expected tcp://HOST:PORT such as tcp://127.0.0.1:7007')
        return TcpWriter(match["six"] or match["host"], int(match["port"]))
    return FileWriter(Path(to))


def run_simulation(
    simulated: SimulatedVehicle,
    *,
    to: str,
    seconds: float | None = None,
    pace: Pace = Pace.REAL_TIME,
    truth_file: Path | None = None,
    opened: Callable[[str], None] = lambda _place: None,
    progress: Callable[[Progress], None] = lambda _progress: None,
    stop: threading.Event | None = None,
) -> Outcome:
    """Write a simulated vehicle's frames to a destination until its seconds are over or it is stopped.

    Args:
        simulated: The vehicle.
        to: "pty", "tcp://HOST:PORT" or a file name.
        seconds: How long it is simulated; None goes on until stopped.
        pace: In real time, or as fast as it goes.
        truth_file: Where the flight's truth is written, if anywhere.
        opened: Called once with the place where the frames can be read.
        progress: Called now and then.
        stop: Set by whoever wants the run to end; see `stopping_signals`.
    Raises:
        WriterError: The destination or the truth file cannot be written, or the run would fill a file without end.
    """
    stop = threading.Event() if stop is None else stop
    if seconds is None and pace is Pace.FAST:
        raise WriterError("a run as fast as it goes needs to know for how many seconds, or it never ends")
    with open_writer(to) as writer:
        opened(writer.place)
        if truth_file is not None:
            write_truth(simulated.truth, truth_file)
        if isinstance(writer, TcpWriter) and pace is Pace.FAST:
            while not stop.is_set() and not writer.wait_for_client(CLIENT_POLL_S):
                pass
        return _run(simulated, writer, seconds, pace, progress, stop)


def _run(
    simulated: SimulatedVehicle,
    writer: Writer,
    seconds: float | None,
    pace: Pace,
    progress: Callable[[Progress], None],
    stop: threading.Event,
) -> Outcome:
    began, last_told, at_s, read = time.monotonic(), float("-inf"), 0.0, True
    for frame in simulated.frames(seconds):
        if pace is Pace.REAL_TIME:
            stop.wait(max(0.0, began + frame.t_s - time.monotonic()))
        else:
            # a reader gets the time it needs; one that is not there is waited for once, then not again until it reads
            read = writer.wait_for_room(ROOM_WAIT_S if read else 0.0)
        if stop.is_set():
            return Outcome(at_s, writer.written, writer.dropped, stopped=True)
        writer.write(frame.data)
        at_s = frame.t_s
        now = time.monotonic()
        if now - last_told >= PROGRESS_EVERY_S:
            last_told = now
            progress(Progress(at_s, writer.written, writer.dropped))
    if pace is Pace.REAL_TIME and seconds is not None:
        stop.wait(max(0.0, began + seconds - time.monotonic()))
    at_s = at_s if seconds is None else seconds
    progress(Progress(at_s, writer.written, writer.dropped))
    return Outcome(at_s, writer.written, writer.dropped, stopped=False)


@contextmanager
def stopping_signals() -> Iterator[threading.Event]:
    """An event that SIGINT and SIGTERM set, instead of ending the program; to be used in the main thread."""
    stop = threading.Event()

    def ask(_number: int, _frame: FrameType | None) -> None:
        stop.set()

    before = {number: signal.signal(number, ask) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
