from pathlib import Path

import numpy as np
import pytest

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.importing import ImportingError, timed, write_recording
from groundstation.inputs import Chunk, StationEvent
from groundstation.recording import RecordingError, SessionHeader, open_recording
from groundstation.simulator.radio import PERFECT
from groundstation.simulator.simulate import SimulatedVehicle, TimedFrame

VEHICLE = load_vehicle(EXAMPLE_VEHICLE)
S = 1_000_000_000
HEADER = SessionHeader(1_700_000_000 * S, "test", "curlew.toml", EXAMPLE_VEHICLE.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def frames() -> list[TimedFrame]:
    site = load_station(EXAMPLE_STATION).site
    return list(SimulatedVehicle(VEHICLE, site, seed=11, radio=PERFECT).frames(8.0))


def time_of_each_byte(data: bytes) -> np.ndarray:
    times = timed(data, VEHICLE)
    places = np.searchsorted(times.starts, np.arange(len(data)), side="right") - 1
    return times.times_ns[places]


def test_each_byte_of_a_frame_gets_the_time_its_packet_was_sent(frames: list[TimedFrame]) -> None:
    data = b"".join(f.data for f in frames)
    found = time_of_each_byte(data)
    at = 0
    for frame in frames:
        own = found[at : at + len(frame.data)]
        assert len(set(own.tolist())) == 1
        # The clock field counts whole milliseconds.
        assert abs(own[0] / S - (frame.t_s - frames[0].t_s)) <= 0.002
        at += len(frame.data)


def test_bytes_that_hold_no_packet_get_the_time_of_the_nearest(frames: list[TimedFrame]) -> None:
    one, two = frames[0].data, frames[60].data
    noise = b"\x07" * 40 + b"\x00"
    found = time_of_each_byte(noise + one + noise + two + noise)
    first, last = 0, found[-1]
    between = found[len(noise) + len(one) : len(noise) + len(one) + len(noise)]
    assert last > first
    assert set(found[: len(noise) + len(one)].tolist()) == {first}
    assert set(found[len(noise) * 2 + len(one) :].tolist()) == {last}
    half = len(noise) // 2
    assert set(between[:half].tolist()) == {first}
    assert set(between[half + 1 :].tolist()) == {last}


def test_restart_of_the_flight_computer_is_a_segment_that_goes_on(frames: list[TimedFrame]) -> None:
    late, early = frames[40:], frames[:40]
    times = timed(b"".join(f.data for f in late + early), VEHICLE)
    assert times.summary.restarts == 1
    assert abs(times.summary.duration_s - (frames[-1].t_s - frames[40].t_s + frames[39].t_s - frames[0].t_s)) < 0.01


def test_recording_holds_every_byte_and_never_runs_backwards(frames: list[TimedFrame], tmp_path: Path) -> None:
    data = b"\x01\x02\x00" + b"".join(f.data for f in frames) + b"\x03"
    times = timed(data, VEHICLE)
    path = tmp_path / "s.sqlite"
    write_recording(path, data, times, HEADER, link="file:raw.bin", source="raw.bin")
    with open_recording(path) as recording:
        items = list(recording.items())
        assert recording.ended_ns == HEADER.started_ns + round(times.summary.duration_s * S)
    assert [type(item) for item in items[:2]] == [StationEvent, StationEvent]
    chunks = [item for item in items if isinstance(item, Chunk)]
    assert b"".join(chunk.data for chunk in chunks) == data
    received = [chunk.stamps[0].received_ns for chunk in chunks]
    assert received == sorted(received)
    assert received[0] == HEADER.started_ns
    assert times.summary.n_packets == len(frames)


def test_existing_recording_is_left_alone(frames: list[TimedFrame], tmp_path: Path) -> None:
    data = frames[0].data
    path = tmp_path / "s.sqlite"
    path.write_bytes(b"mine")
    with pytest.raises(RecordingError, match="exists already"):
        write_recording(path, data, timed(data, VEHICLE), HEADER, link="l", source="s")
    assert path.read_bytes() == b"mine"


def test_bytes_of_something_else_are_refused_with_a_question() -> None:
    with pytest.raises(ImportingError, match="found no packet in 300 bytes"):
        timed(bytes(range(1, 101)) * 3, VEHICLE)


def test_progress_ends_at_all_bytes(frames: list[TimedFrame]) -> None:
    data = b"".join(f.data for f in frames) * 10
    seen: list[int] = []
    timed(data, VEHICLE, progress=seen.append)
    assert seen == sorted(seen)
    assert seen[-1] == len(data)
