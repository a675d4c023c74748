import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.inputs import Chunk, EventKind, Stamp, StationEvent
from groundstation.recording import (
    PAGE_ROWS,
    Recorder,
    RecordingError,
    SessionHeader,
    one_stamp_each,
    open_recording,
)
from groundstation.recording_place import network_file_system, new_recording_path

START_NS = 1_786_890_600_000_000_000  # 2026-08-16 14:30:00 UTC
HEADER = SessionHeader(START_NS, "0.1.0", "tern.toml", "[vehicle]\nname = 'Tern'\n", "field.toml", "links = []\n")


def event(at_ns: int, text: str = "running", kind: EventKind = EventKind.RECORDING) -> StationEvent:
    return StationEvent(at_ns, kind, True, text)


items_in_time = st.lists(
    st.one_of(
        st.builds(
            lambda link, data, cuts: Chunk(
                link, data, tuple(Stamp(c, START_NS + c) for c in sorted({0, *(k for k in cuts if k < len(data))}))
            ),
            st.sampled_from(["serial:/dev/ttyUSB0", "tcp://127.0.0.1:5555", "Funk ä"]),
            st.binary(max_size=40),
            st.sets(st.integers(1, 39), max_size=3),
        ),
        st.builds(
            StationEvent,
            st.integers(0, 2**63 - 1),
            st.sampled_from(EventKind),
            st.booleans(),
            st.text(max_size=20),
            st.text(max_size=8),
        ),
    ),
    max_size=30,
)


@settings(max_examples=30, deadline=None)
@given(st.lists(items_in_time, max_size=6))
def test_any_interleaving_of_chunks_and_events_is_read_back_equal_and_in_order(batches):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "session.sqlite"
        recorder = Recorder.create(path, HEADER)
        expected = []
        for batch in batches:
            recorder.append(batch)
            for item in batch:
                expected += list(one_stamp_each(item)) if isinstance(item, Chunk) else [item]
            assert list(open_recording(path).items()) == expected
        recorder.close(START_NS + 1)
        assert list(open_recording(path).items()) == expected


def test_a_chunk_with_two_stamps_is_stored_as_two_rows_with_their_own_times(tmp_path):
    recorder = Recorder.create(tmp_path / "r.sqlite", HEADER)
    recorder.append([Chunk("tcp", b"abcde", (Stamp(0, 10), Stamp(2, 20)))])
    recorder.close(30)
    assert list(open_recording(tmp_path / "r.sqlite").items()) == [
        Chunk.at(10, b"ab", link="tcp"),
        Chunk.at(20, b"cde", link="tcp"),
    ]


def test_the_header_and_the_end_are_read_back(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    recorder.append([event(START_NS + 5)])
    recording = open_recording(path)
    assert (recording.ended_ns, recording.last_ns) == (None, START_NS + 5)
    recorder.close(START_NS + 9)
    assert (recording.ended_ns, recording.last_ns) == (START_NS + 9, START_NS + 9)
    assert (recording.started_ns, recording.program_version) == (START_NS, "0.1.0")
    assert (recording.vehicle_name, recording.vehicle_text) == ("tern.toml", "[vehicle]\nname = 'Tern'\n")
    assert (recording.station_name, recording.station_text) == ("field.toml", "links = []\n")
    assert recording.size == path.stat().st_size


def test_an_empty_recording_ends_when_it_started(tmp_path):
    recorder = Recorder.create(tmp_path / "r.sqlite", HEADER)
    recording = open_recording(tmp_path / "r.sqlite")
    assert recording.last_ns == START_NS
    assert list(recording.items()) == []
    recorder.close(START_NS)


def test_a_closed_recording_is_one_single_file(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    recorder.append([event(1)])
    assert path.with_name("r.sqlite-wal").exists()
    recorder.close(2)
    assert [p.name for p in tmp_path.iterdir()] == ["r.sqlite"]


def test_reading_goes_page_by_page_and_keeps_no_transaction_open_between_pages(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    rows = [Chunk.at(k, bytes([k % 256]), link="a") for k in range(2 * PAGE_ROWS + 3)]
    recorder.append(rows)
    reading = open_recording(path).items()
    first = next(reading)
    # A reader in mid-page would keep the log from being emptied.
    busy, _, _ = recorder._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    assert busy == 0
    late = event(9_999)
    recorder.append([late])
    assert [first, *reading] == [*rows, late]
    recorder.close(1)


def test_a_copy_of_a_recording_in_progress_holds_everything_committed(tmp_path):
    path, copy = tmp_path / "r.sqlite", tmp_path / "copy.sqlite"
    recorder = Recorder.create(path, HEADER)
    rows = [Chunk.at(k, b"x", link="a") for k in range(700)]
    recorder.append(rows)
    open_recording(path).copy_to(copy)
    assert list(open_recording(copy).items()) == rows
    assert not copy.with_name("copy.sqlite-wal").exists()
    with pytest.raises(RecordingError, match="exists already"):
        open_recording(path).copy_to(copy)
    recorder.close(1)


def test_a_recording_whose_writer_was_killed_opens_with_everything_committed(tmp_path):
    path = tmp_path / "killed.sqlite"
    script = (
        "import os, signal, sys; from pathlib import Path\n"
        "from groundstation.inputs import Chunk; from groundstation.recording import Recorder, SessionHeader\n"
        "r = Recorder.create(Path(sys.argv[1]), SessionHeader(5, 'v', 'n', 't'))\n"
        "for k in range(300): r.append([Chunk.at(k, b'%d' % k, link='a')])\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", script, str(path)], check=False)
    recording = open_recording(path)
    assert recording.ended_ns is None
    assert recording.last_ns == 299
    assert list(recording.items()) == [Chunk.at(k, b"%d" % k, link="a") for k in range(300)]


def test_an_existing_file_is_never_overwritten(tmp_path):
    path = tmp_path / "r.sqlite"
    path.write_bytes(b"precious")
    with pytest.raises(RecordingError, match="exists already"):
        Recorder.create(path, HEADER)
    assert path.read_bytes() == b"precious"


def test_a_missing_folder_is_named(tmp_path):
    with pytest.raises(RecordingError, match=r"the folder .*nowhere does not exist"):
        Recorder.create(tmp_path / "nowhere" / "r.sqlite", HEADER)


def test_a_failed_start_leaves_no_file_behind(tmp_path, monkeypatch):
    monkeypatch.setattr("groundstation.recording._SCHEMA", "CREATE TABLE broken (;")
    with pytest.raises(RecordingError, match="syntax error"):
        Recorder.create(tmp_path / "r.sqlite", HEADER)
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_loses_only_the_batch_and_writing_goes_on_when_there_is_room(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    recorder.append([event(1, "before")])
    pages = recorder._db.execute("PRAGMA page_count").fetchone()[0]
    recorder._db.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(RecordingError, match="database or disk is full"):
        recorder.append([event(2, "partly"), Chunk.at(3, bytes(50_000), link="a")])
    assert list(open_recording(path).items()) == [event(1, "before")]
    recorder._db.execute("PRAGMA max_page_count = 100000")
    recorder.append([event(4, "after")])
    assert list(open_recording(path).items()) == [event(1, "before"), event(4, "after")]
    recorder.close(5)


def test_a_link_name_that_is_no_proper_text_does_not_block_the_recording(tmp_path):
    recorder = Recorder.create(tmp_path / "r.sqlite", HEADER)
    recorder.append([Chunk.at(1, b"x", link="file:\udcff")])
    assert list(open_recording(tmp_path / "r.sqlite").items()) == [Chunk.at(1, b"x", link="file:\\udcff")]
    recorder.close(2)


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "it is empty"),
        (b"time,height\n0,1\n", "it is a text file"),
        (b"\x05\x00\x01\xff" * 50, "some other data, such as raw bytes of a link"),
        (b"SQLite format 3\0" + b"\xff" * 84, "a damaged SQLite database"),
    ],
)
def test_a_file_that_is_no_recording_is_refused_with_what_it_is(tmp_path, content, what):
    path = tmp_path / "thing"
    path.write_bytes(content)
    with pytest.raises(RecordingError, match=what) as caught:
        open_recording(path)
    assert caught.value.path == path
    assert str(path) in str(caught.value)


def test_another_database_a_folder_and_a_missing_file_are_told_apart(tmp_path):
    other = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(other)) as db:
        db.execute("CREATE TABLE recipes (name)")
        db.commit()
    with pytest.raises(RecordingError, match="with the tables recipes"):
        open_recording(other)
    with pytest.raises(RecordingError, match="it is a folder"):
        open_recording(tmp_path)
    with pytest.raises(RecordingError, match="there is no file"):
        open_recording(tmp_path / "absent.sqlite")


def test_a_recording_of_a_newer_format_is_refused(tmp_path):
    path = tmp_path / "r.sqlite"
    Recorder.create(path, HEADER).close(1)
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(RecordingError, match="format 99, known up to 1"):
        open_recording(path)


def test_reading_a_recording_changes_none_of_its_bytes(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    recorder.append([event(1)])
    recorder.close(2)
    before = path.read_bytes()
    assert list(open_recording(path).items()) == [event(1)]
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["r.sqlite"]


def test_a_removed_and_a_replaced_file_are_noticed(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    assert recorder.misplaced() is None
    moved = path.rename(tmp_path / "moved.sqlite")
    assert "has been removed" in recorder.misplaced()
    path.write_bytes(moved.read_bytes())
    assert "another file has taken the place" in recorder.misplaced()
    recorder.abandon()


def test_new_names_carry_time_and_vehicle_and_never_meet_an_existing_file(tmp_path):
    first = new_recording_path(tmp_path, START_NS, "Tern / mk. 2")
    assert first.name == "20260816-143000-Tern-mk-2.sqlite"
    first.touch()
    assert new_recording_path(tmp_path, START_NS, "Tern / mk. 2").name == "20260816-143000-Tern-mk-2-2.sqlite"
    assert new_recording_path(tmp_path, START_NS, "///").name == "20260816-143000-vehicle.sqlite"


def test_a_network_file_system_is_refused(tmp_path, monkeypatch):
    class Partition:
        def __init__(self, mountpoint, fstype):
            self.mountpoint, self.fstype, self.opts = str(mountpoint), fstype, "rw"

    shares = [Partition("/", "ext4"), Partition(tmp_path / "share", "nfs4")]
    monkeypatch.setattr("psutil.disk_partitions", lambda all: shares)
    (tmp_path / "share").mkdir()
    assert network_file_system(tmp_path) is None
    with pytest.raises(RecordingError, match=r"network file system \(nfs4\)"):
        Recorder.create(tmp_path / "share" / "r.sqlite", HEADER)
    assert list((tmp_path / "share").iterdir()) == []


def test_a_recording_damaged_in_the_middle_gives_what_comes_before_and_says_where_it_ends(tmp_path):
    path = tmp_path / "r.sqlite"
    recorder = Recorder.create(path, HEADER)
    rows = [Chunk.at(k, bytes([k % 256]) * 100, link="a") for k in range(4 * PAGE_ROWS)]
    recorder.append(rows)
    recorder.close(1)
    content = bytearray(path.read_bytes())
    at = len(content) * 3 // 4 // 4096 * 4096
    content[at : at + 4096] = b"\xff" * 4096
    path.write_bytes(content)
    read = []
    with pytest.raises(RecordingError, match=r"damaged after row \d+"):
        read.extend(open_recording(path).items())
    assert len(read) >= PAGE_ROWS
    assert read == rows[: len(read)]
