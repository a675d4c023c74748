import json
import os
import select
import signal
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import WriterError
from groundstation.simulator.running import Pace, Progress, open_writer, run_simulation, stopping_signals
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.simulator.terminal import PtyWriter
from groundstation.simulator.writers import TcpWriter


@pytest.fixture
def simulated(vehicle: Vehicle, site: Site) -> SimulatedVehicle:
    return SimulatedVehicle(vehicle, site, seed=9)


class Reader:
    """Reads a descriptor to its end in a thread."""

    def __init__(self) -> None:
        self.data = bytearray()
        self._thread: threading.Thread | None = None

    def start(self, descriptor: int) -> None:
        def run() -> None:
            while True:
                try:
                    data = os.read(descriptor, 4096)
                except OSError:
                    break
                if not data:
                    break
                self.data += data
            os.close(descriptor)

        self._thread = threading.Thread(target=run, daemon=True)
        self._thread.start()

    def finish(self) -> bytes:
        assert self._thread is not None
        self._thread.join(10.0)
        assert not self._thread.is_alive()
        return bytes(self.data)


def sent(simulated: SimulatedVehicle, seconds: float) -> bytes:
    return b"".join(frame.data for frame in simulated.frames(seconds))


def test_pty_carries_exactly_the_frames(simulated: SimulatedVehicle) -> None:
    reader = Reader()
    outcome = run_simulation(
        simulated,
        to="pty",
        seconds=200.0,  # far more than a terminal holds
        pace=Pace.FAST,
        opened=lambda place: reader.start(os.open(place, os.O_RDONLY | os.O_NOCTTY)),
    )
    assert outcome.dropped == 0
    assert reader.finish() == sent(simulated, 200.0)


def test_pty_nobody_reads_drops_whole_frames_and_never_blocks() -> None:
    frames = [f"{k:040d}".encode() + b"\x00" for k in range(3000)]
    with PtyWriter() as writer:
        for frame in frames:
            writer.write(frame)
        assert writer.dropped > 0
        assert writer.written + writer.dropped == len(frames)
        descriptor = os.open(writer.place, os.O_RDONLY | os.O_NOCTTY)
        got = _until_quiet(writer, descriptor)
        os.close(descriptor)
        # what came through is every frame that counts as written, whole and in order
        numbers = [int(frame) for frame in got.split(b"\x00")[:-1]]
        assert all(len(frame) == 40 for frame in got.split(b"\x00")[:-1])
        assert len(numbers) == writer.written
        assert numbers == sorted(set(numbers))


def test_pty_takes_frames_again_when_a_reader_comes() -> None:
    with PtyWriter() as writer:
        while writer.dropped == 0:
            writer.write(b"x" * 40 + b"\x00")
        descriptor = os.open(writer.place, os.O_RDONLY | os.O_NOCTTY)
        _until_quiet(writer, descriptor)
        writer.write(b"back\x00")
        assert os.read(descriptor, 100) == b"back\x00"
        os.close(descriptor)


def test_tcp_serves_each_client_from_when_it_came() -> None:
    with TcpWriter("127.0.0.1", 0) as writer:
        writer.write(b"nobody\x00")
        assert writer.written == 0
        first = socket.create_connection(("127.0.0.1", writer.port))
        assert writer.wait_for_client(5.0)
        writer.write(b"one\x00")
        second = socket.create_connection(("127.0.0.1", writer.port))
        while writer.clients < 2:
            writer.wait_for_room(0.01)
        writer.write(b"two\x00")
        writer.close()
        assert _all_of(first) == b"one\x00two\x00"
        assert _all_of(second) == b"two\x00"


def test_tcp_client_that_leaves_is_forgotten() -> None:
    with TcpWriter("127.0.0.1", 0) as writer:
        first = socket.create_connection(("127.0.0.1", writer.port))
        assert writer.wait_for_client(5.0)
        first.close()
        for _ in range(1000):
            writer.write(b"x" * 1000)
            if not writer.clients:
                break
            time.sleep(0.001)
        assert writer.clients == 0


def test_tcp_client_that_does_not_keep_up_loses_whole_frames() -> None:
    frames = [k.to_bytes(4, "big").replace(b"\x00", b"\xff") + b"y" * 995 + b"\x00" for k in range(20_000)]
    with TcpWriter("127.0.0.1", 0) as writer:
        slow = socket.create_connection(("127.0.0.1", writer.port))
        assert writer.wait_for_client(5.0)
        for frame in frames:
            writer.write(frame)
        assert writer.dropped > 0
        reader = Reader()
        reader.start(os.dup(slow.fileno()))
        writer.close()
        slow.close()
        got = reader.finish().split(b"\x00")
        assert got[-1] == b""
        assert len(got) - 1 == writer.written
        assert all(len(frame) == 999 for frame in got[:-1])


def test_tcp_run_as_fast_as_it_goes_waits_for_its_client(simulated: SimulatedVehicle) -> None:
    reader = Reader()

    def connect(place: str) -> None:
        port = int(place.rsplit(":", 1)[1])

        def later() -> None:
            time.sleep(0.2)
            reader.start(socket.create_connection(("127.0.0.1", port)).detach())

        threading.Thread(target=later).start()

    run_simulation(simulated, to="tcp://127.0.0.1:0", seconds=100.0, pace=Pace.FAST, opened=connect)
    assert reader.finish() == sent(simulated, 100.0)


def test_file_holds_the_frames_and_the_truth_lies_beside_it(vehicle: Vehicle, site: Site, tmp_path: Path) -> None:
    flying = SimulatedVehicle(vehicle, site, seed=9, launch_at_s=2.0)
    steps: list[Progress] = []
    outcome = run_simulation(
        flying,
        to=str(tmp_path / "raw.bin"),
        seconds=90.0,
        pace=Pace.FAST,
        truth_file=tmp_path / "truth.jsonl",
        progress=steps.append,
    )
    assert (tmp_path / "raw.bin").read_bytes() == sent(flying, 90.0)
    assert steps[-1].written == outcome.written > 1000
    lines = [json.loads(line) for line in (tmp_path / "truth.jsonl").read_text().splitlines()]
    truth = flying.truth
    assert truth is not None
    assert lines[0]["apogee_m"] == pytest.approx(truth.apogee_m, abs=1e-6)
    assert lines[0]["landed_s"] == pytest.approx(truth.times.landed_s, abs=1e-6)
    assert len(lines) - 1 == len(truth.t_s)
    assert max(line["height_m"] for line in lines[1:]) == pytest.approx(truth.apogee_m, abs=0.01)
    assert lines[1]["phase"] == "pad"
    assert lines[-1]["phase"] == "landed"


def test_truth_of_a_vehicle_that_stays_says_so(simulated: SimulatedVehicle, tmp_path: Path) -> None:
    truth = tmp_path / "truth.jsonl"
    run_simulation(simulated, to=str(tmp_path / "raw"), seconds=1.0, pace=Pace.FAST, truth_file=truth)
    assert json.loads(truth.read_text()) == {"launched": False}


def test_a_file_that_is_there_is_left_alone(simulated: SimulatedVehicle, tmp_path: Path) -> None:
    (tmp_path / "raw.bin").write_bytes(b"precious")
    with pytest.raises(WriterError, match=r"raw\.bin is there already"):
        run_simulation(simulated, to=str(tmp_path / "raw.bin"), seconds=1.0, pace=Pace.FAST)
    assert (tmp_path / "raw.bin").read_bytes() == b"precious"


@pytest.mark.parametrize("to", ["tcp://", "tcp://127.0.0.1", "tcp://127.0.0.1:99999", "tcp:x"])
def test_an_address_that_is_none_is_refused(to: str) -> None:
    with pytest.raises(WriterError, match="expected tcp://HOST:PORT"):
        open_writer(to)


def test_a_port_in_use_is_refused() -> None:
    with TcpWriter("127.0.0.1", 0) as writer, pytest.raises(WriterError, match="cannot be listened on"):
        TcpWriter("127.0.0.1", writer.port)


def test_an_endless_run_must_be_in_real_time(simulated: SimulatedVehicle, tmp_path: Path) -> None:
    with pytest.raises(WriterError, match="for how many seconds"):
        run_simulation(simulated, to=str(tmp_path / "raw"), pace=Pace.FAST)
    assert not (tmp_path / "raw").exists()


def test_real_time_sends_no_frame_before_its_time(simulated: SimulatedVehicle, tmp_path: Path) -> None:
    began = time.monotonic()
    outcome = run_simulation(simulated, to=str(tmp_path / "raw"), seconds=1.0)
    assert time.monotonic() - began >= 1.0
    assert not outcome.stopped


@pytest.fixture
def kept_signals() -> Iterator[None]:
    before = {n: signal.getsignal(n) for n in (signal.SIGINT, signal.SIGTERM)}
    yield
    assert {n: signal.getsignal(n) for n in before} == before


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.usefixtures("kept_signals")
def test_signals_end_a_run_cleanly(simulated: SimulatedVehicle, tmp_path: Path, number: signal.Signals) -> None:
    with stopping_signals() as stop:
        timer = threading.Timer(0.3, lambda: os.kill(os.getpid(), number))
        timer.start()
        outcome = run_simulation(simulated, to=str(tmp_path / "raw"), stop=stop)
        timer.join()
    assert outcome.stopped
    assert (tmp_path / "raw").read_bytes() == sent(simulated, 30.0)[: (tmp_path / "raw").stat().st_size]


def _all_of(client: socket.socket) -> bytes:
    client.settimeout(5.0)
    data = b""
    with client:
        while part := client.recv(4096):
            data += part
    return data


def _until_quiet(writer: PtyWriter, descriptor: int) -> bytes:
    """What a reader gets until the writer has room again and nothing came for a fifth of a second."""
    got = b""
    while select.select([descriptor], [], [], 0.2)[0]:
        got += os.read(descriptor, 4096)
        writer.wait_for_room(0.0)
    assert writer.wait_for_room(1.0)
    return got
