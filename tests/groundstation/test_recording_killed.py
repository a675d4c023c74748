"""A real station's intake, killed by signal 9 in mid-stream, over and over."""

import os
import random
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from groundstation.inputs import Chunk
from groundstation.recording import open_recording

EXPOSURE_NS = 200_000_000
# Listens to the TCP link and records; says on its standard output how many bytes the link had delivered (D) and how
# many the intake had forwarded (F) at what time of the machine's monotonic clock. A pipe keeps that through a kill.
CHILD = """
import os, struct, sys, threading, time
from pathlib import Path
from groundstation.clock import SessionClock
from groundstation.inputs import Chunk
from groundstation.intake import Intake
from groundstation.links.url import open_link
from groundstation.recording import SessionHeader
from groundstation.session_recording import SessionRecording

def tell(kind, n_bytes):
    os.write(1, struct.pack("<cqq", kind, n_bytes, time.monotonic_ns()))

class Telling:
    def __init__(self, link):
        self.name, self._link, self._n = link.name, link, 0
    def run(self, deliver, report, stop):
        def told(data, received_ns):
            self._n += len(data)
            tell(b"D", self._n)
            deliver(data, received_ns)
        self._link.run(told, report, stop)

forwarded = 0
def forward(items):
    global forwarded
    forwarded += sum(len(i.data) for i in items if isinstance(i, Chunk))
    tell(b"F", forwarded)

clock = SessionClock()
header = SessionHeader(clock.started_ns, "0.1.0", "v", "t")
recording = SessionRecording([Path(sys.argv[1])], header, vehicle="tern")
Intake([Telling(open_link(sys.argv[2], clock))], recording, clock, forward).start()
threading.Event().wait()
"""
TOLD = struct.Struct("<cqq")


def numbered(count):
    return b"".join(struct.pack("<I", k) for k in range(count))


def send_numbers(listening, rng):
    accepted, _ = listening.accept()
    with accepted:
        k = 0
        try:
            while True:
                burst = rng.choice([1, 1, 5, 50])
                accepted.sendall(b"".join(struct.pack("<I", n) for n in range(k, k + burst)))
                k += burst
                time.sleep(0.002)
        except OSError:
            return  # the station was killed


def killed_in_mid_stream(folder, seed):
    """Bytes in the recording, and what the station had told: (kind, bytes, monotonic ns), and when it was killed."""
    rng = random.Random(seed)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        sender = threading.Thread(target=send_numbers, args=(listening, rng))
        sender.start()
        url = f"tcp://127.0.0.1:{listening.getsockname()[1]}"
        with subprocess.Popen([sys.executable, "-c", CHILD, str(folder), url], stdout=subprocess.PIPE) as station:
            pipe = bytearray()

            def read_on():
                while part := os.read(station.stdout.fileno(), 65536):
                    pipe.extend(part)

            reader = threading.Thread(target=read_on)
            reader.start()
            while len(pipe) < 50 * TOLD.size:
                assert station.poll() is None
                time.sleep(0.01)
            time.sleep(rng.uniform(0.3, 1.0))
            killed_ns = time.monotonic_ns()
            station.send_signal(signal.SIGKILL)
            reader.join()
        sender.join()
    (path,) = Path(folder).glob("*.sqlite")
    recording = open_recording(path)
    assert recording.ended_ns is None
    data = b"".join(i.data for i in recording.items() if isinstance(i, Chunk))
    whole = len(pipe) - len(pipe) % TOLD.size
    return data, list(TOLD.iter_unpack(bytes(pipe[:whole]))), killed_ns


def test_a_killed_station_has_recorded_every_byte_it_had_forwarded(tmp_path):
    data, told, _ = killed_in_mid_stream(tmp_path, seed=1)
    forwarded = max(n for kind, n, _ in told if kind == b"F")
    assert forwarded > 0
    assert len(data) >= forwarded
    assert data == numbered(len(data) // 4 + 1)[: len(data)]


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(20))
def test_every_byte_delivered_200_ms_before_a_kill_is_in_the_recording(tmp_path, seed):
    data, told, killed_ns = killed_in_mid_stream(tmp_path, seed)
    due = max(n for kind, n, at_ns in told if kind == b"D" and at_ns <= killed_ns - EXPOSURE_NS)
    assert due > 0
    assert len(data) >= due
    assert data == numbered(len(data) // 4 + 1)[: len(data)]
