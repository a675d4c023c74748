import shutil
import sqlite3
from contextlib import closing

import pytest

from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.recording import Recorder, SessionHeader, open_recording
from groundstation.session_recording import (
    ITEM_OVERHEAD_BYTES,
    LOW_SPACE_BYTES,
    NO_SPACE_BYTES,
    SPACE_NS,
    SessionRecording,
)

START_NS = 1_786_890_600_000_000_000
HEADER = SessionHeader(START_NS, "0.1.0", "tern.toml", "name = 'Tern'\n")
PLENTY = 10 * LOW_SPACE_BYTES


def at(seconds):
    return START_NS + round(seconds * NS_PER_S)


def chunk(seconds, data=b"data"):
    return Chunk.at(at(seconds), data, link="tcp://a:1")


class Disk:
    """Recorders that can be made to find the disk full, through SQLite's own limit on a database's pages."""

    def __init__(self):
        self.recorders = []
        self.full_from_start = set()

    def create(self, path, header):
        recorder = Recorder.create(path, header)
        self.recorders.append(recorder)
        if path.parent in self.full_from_start:
            self.fill()
        return recorder

    def fill(self):
        db = self.recorders[-1]._db
        db.execute(f"PRAGMA max_page_count = {db.execute('PRAGMA page_count').fetchone()[0]}")

    def leave_room(self, pages):
        for recorder in self.recorders:
            recorder._db.execute(f"PRAGMA max_page_count = {recorder.size() // 4096 + pages}")


@pytest.fixture
def disk():
    return Disk()


@pytest.fixture
def folders(tmp_path):
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    second.mkdir()
    return [first, second]


def session(folders, disk, **options):
    options.setdefault("free_bytes", lambda folder: PLENTY)
    return SessionRecording(folders, HEADER, vehicle="tern", create=disk.create, **options)


def test_a_session_begins_with_the_word_that_it_records(folders, disk):
    recording = session(folders, disk)
    (begun,) = recording.take([], at(0))
    path = folders[0] / "20260816-143000-tern.sqlite"
    assert begun == StationEvent(at(0), EventKind.RECORDING, True, f"recording to {path}")
    assert recording.take([chunk(0.1)], at(0.1)) == []
    assert recording.running
    assert recording.path == path
    assert recording.close(at(1)) == f"recorded in {path}"
    assert list(open_recording(path).items()) == [begun, chunk(0.1)]
    assert open_recording(path).ended_ns == at(1)


def test_items_are_on_the_disk_when_take_returns(folders, disk):
    recording = session(folders, disk)
    recording.take([], at(0))
    recording.take([chunk(0.1)], at(0.1))
    with closing(sqlite3.connect(f"file:{recording.path}?mode=ro", uri=True)) as db:
        assert db.execute("SELECT data FROM chunks").fetchall() == [(b"data",)]
    recording.close(at(1))


def test_a_full_disk_is_told_and_the_recording_goes_on_in_the_same_file_when_there_is_room(folders, disk):
    recording = session(folders[:1], disk)
    (begun,) = recording.take([], at(0))
    path = recording.path
    disk.fill()
    disk.full_from_start.add(folders[0])
    big = chunk(1, bytes(20_000))
    (failed,) = recording.take([big], at(1))
    assert (failed.at_ns, failed.kind, failed.ok) == (at(1), EventKind.RECORDING, False)
    assert "disk is full" in failed.text
    assert "data are held in memory" in failed.text
    assert not recording.running
    assert recording.take([chunk(1.5)], at(1.5)) == []
    recording.take([], at(2))  # a try that fails: the disk is still full
    assert [p.name for p in folders[0].glob("*.sqlite")] == [path.name]
    disk.recorders = disk.recorders[:1]
    disk.leave_room(pages=10_000)
    (again,) = recording.take([chunk(3.5)], at(3.5))
    assert again == StationEvent(
        at(3.5), EventKind.RECORDING, True, f"recording again to {path}, after 2.5 s without"
    )
    recording.close(at(4))
    assert list(open_recording(path).items()) == [begun, big, failed, chunk(1.5), chunk(3.5), again]
    assert recording.lost_bytes == 0


def test_a_nearly_full_disk_takes_what_it_can_and_the_rest_later_each_byte_once(folders, disk):
    recording = session(folders[:1], disk)
    recording.take([], at(0))
    path = recording.path
    disk.fill()
    disk.full_from_start.add(folders[0])
    sent = [chunk(1 + k / 10, bytes([k]) * 50_000) for k in range(12)]
    recording.take(sent, at(3))
    disk.recorders = disk.recorders[:1]
    disk.leave_room(pages=100)
    recording.take([], at(4))
    assert not recording.running
    partly = [i for i in open_recording(path).items() if isinstance(i, Chunk)]
    assert 0 < len(partly) < len(sent)
    disk.recorders = disk.recorders[:1]
    disk.leave_room(pages=10_000)
    recording.take([], at(5))
    recording.close(at(6))
    assert [i for i in open_recording(path).items() if isinstance(i, Chunk)] == sent


def test_a_disk_that_stays_full_is_left_for_the_fallback_folder_with_nothing_lost(folders, disk):
    recording = session(folders, disk)
    (begun,) = recording.take([chunk(0)], at(0))
    first = recording.path
    disk.fill()
    disk.full_from_start.add(folders[0])
    big = chunk(1, bytes(20_000))
    (failed,) = recording.take([big], at(1))
    (again,) = recording.take([chunk(2.1)], at(2.1))
    second = recording.path
    assert second.parent == folders[1]
    assert again.text == f"recording goes on in {second}, after 1.1 s without"
    recording.close(at(3))
    assert list(open_recording(first).items()) == [chunk(0), begun]
    continuation = open_recording(second)
    assert list(continuation.items()) == [big, failed, chunk(2.1), again]
    assert continuation.started_ns == at(1)
    assert continuation.continues == str(first)
    assert continuation.vehicle_text == HEADER.vehicle_text


def test_a_removed_folder_is_noticed_within_a_second_and_the_whole_session_goes_to_the_fallback_folder(folders, disk):
    recording = session(folders, disk)
    (begun,) = recording.take([], at(0))
    recording.take([chunk(0.5)], at(0.5))
    shutil.rmtree(folders[0])
    (failed,) = recording.take([chunk(1.6)], at(1.6))
    assert not failed.ok
    assert "has been removed, or its volume is gone" in failed.text
    (again,) = recording.take([], at(2.7))
    assert again.ok
    assert recording.path.parent == folders[1]
    recording.take([chunk(2.8)], at(2.8))
    recording.close(at(3))
    whole = open_recording(recording.path)
    assert list(whole.items()) == [begun, chunk(0.5), chunk(1.6), failed, again, chunk(2.8)]
    assert (whole.started_ns, whole.ended_ns, whole.continues) == (START_NS, at(3), "")


def test_a_removed_file_too_large_to_copy_in_passing_is_followed_by_a_new_one(folders, disk, monkeypatch):
    monkeypatch.setattr("groundstation.session_recording.MAX_MOVED_BYTES", 1000)
    recording = session(folders, disk)
    recording.take([], at(0))
    first = recording.path
    recording.path.unlink()
    (failed,) = recording.take([chunk(1.6)], at(1.6))
    assert "has been removed" in failed.text
    (again,) = recording.take([], at(2.7))
    assert again.ok
    assert recording.path.parent == folders[0]
    recording.close(at(3))
    assert list(open_recording(recording.path).items()) == [chunk(1.6), failed, again]
    assert open_recording(recording.path).continues == str(first)


def test_a_file_removed_just_before_the_end_is_made_again(folders, disk):
    recording = session(folders, disk)
    (begun,) = recording.take([chunk(0)], at(0))
    recording.path.unlink()
    assert recording.close(at(0.3)) == f"recorded in {recording.path}"
    whole = open_recording(recording.path)
    assert list(whole.items()) == [chunk(0), begun]
    assert whole.ended_ns == at(0.3)


def test_another_file_in_its_place_is_noticed_and_left_alone(folders, disk):
    recording = session(folders, disk)
    recording.take([], at(0))
    path = recording.path
    path.unlink()
    path.write_bytes(b"not ours")
    (failed,) = recording.take([], at(1.6))
    assert "another file has taken the place" in failed.text
    recording.take([chunk(2.7)], at(2.7))
    recording.close(at(3))
    assert path.read_bytes() == b"not ours"
    assert chunk(2.7) in list(open_recording(recording.path).items())


def test_a_missing_folder_is_told_at_once_and_the_recording_begins_when_it_is_there(tmp_path, disk):
    folder = tmp_path / "usb-disk"
    recording = session([folder], disk)
    (failed,) = recording.take([], at(0))
    assert not failed.ok
    assert failed.text.startswith(f"the folder {folder} does not exist")
    assert recording.path is None
    assert recording.take([chunk(0.5)], at(0.5)) == []
    folder.mkdir()
    (begun,) = recording.take([], at(1.1))
    assert begun.ok
    recording.close(at(2))
    assert list(open_recording(recording.path).items()) == [failed, chunk(0.5), begun]


def test_what_memory_cannot_hold_is_dropped_from_the_oldest_and_counted(tmp_path, disk):
    folder = tmp_path / "usb-disk"
    recording = session([folder], disk, max_held_bytes=4 * (ITEM_OVERHEAD_BYTES + 1000))
    recording.take([], at(0))
    told = [e for k in range(1, 10) for e in recording.take([chunk(k, bytes([k]) * 1000)], at(k))]
    assert [e.ok for e in told] == [False]
    assert "memory is full and the oldest data are dropped" in told[0].text
    assert recording.lost_bytes == 5000  # four chunks fill the bound exactly
    folder.mkdir()
    (begun,) = recording.take([], at(11))
    assert begun.text.endswith("; 5,000 bytes in 5 pieces were lost meanwhile")
    recording.close(at(12))
    kept = [i.data[0] for i in open_recording(recording.path).items() if isinstance(i, Chunk)]
    assert kept == [6, 7, 8, 9]


def test_a_session_that_could_never_be_recorded_says_so_at_its_end(tmp_path, disk):
    recording = session([tmp_path / "nowhere"], disk)
    recording.take([chunk(0)], at(0))
    text = recording.close(at(1))
    assert text == f"not recorded to the end: the folder {tmp_path / 'nowhere'} does not exist; 4 bytes are lost"
    assert recording.lost_bytes == 4


def test_free_space_is_watched_first_warned_of_and_then_refused(folders, disk):
    free = [PLENTY]
    recording = session(folders, disk, free_bytes=lambda folder: free[0])
    seconds, told = 0.0, []

    def let_pass():
        nonlocal seconds
        seconds += SPACE_NS / NS_PER_S + 1
        told.extend(recording.take([], at(seconds)))

    recording.take([], at(0))
    for free[0] in (PLENTY, LOW_SPACE_BYTES - 1, LOW_SPACE_BYTES - 2, NO_SPACE_BYTES - 1, PLENTY):
        let_pass()
    assert [(e.ok, e.text) for e in told] == [
        (True, "running, but the disk has only 200 MB left"),
        (False, f"the disk is nearly full: 20 MB left for {recording.path}"),
        (True, f"recording to {recording.path}"),
    ]
    recording.close(at(seconds))


def test_a_log_that_another_reader_keeps_from_shrinking_is_warned_of(folders, disk, monkeypatch):
    monkeypatch.setattr("groundstation.session_recording.LARGE_LOG_BYTES", 200_000)
    recording = session(folders, disk)
    recording.take([], at(0))
    with closing(sqlite3.connect(recording.path, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM chunks").fetchall()
        told = [e for k in range(1, 30) for e in recording.take([chunk(k, bytes(20_000))], at(k))]
    assert [e.ok for e in told] == [True]
    assert told[0].text.startswith("running, but its log has grown to ")
    assert told[0].text.endswith("another program keeps the file open")
    recording.close(at(30))
