import asyncio
import tempfile
import threading
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.clock import SessionClock
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent, Tick
from groundstation.intake import TICK_NS, Handover, Intake, _Arrival
from groundstation.links.link import LinkReport
from groundstation.recording import Recorder, SessionHeader, open_recording
from groundstation.session_recording import SessionRecording

WAIT_S = 10.0  # an upper bound for a busy machine, not a claim


class ScriptedLink:
    """A link that says what the test tells it to, in its own thread."""

    def __init__(self, name, clock, script):
        self.name = name
        self._clock = clock
        self._script = script
        self.done = threading.Event()

    def run(self, deliver, report, stop):
        for what in self._script:
            if isinstance(what, LinkReport):
                report(what)
            elif isinstance(what, bytes):
                deliver(what, self._clock.now_ns())
            else:
                what(stop)
        self.done.set()
        stop.wait()


class Forwarded:
    """What the intake forwarded, with a way to wait for it."""

    def __init__(self):
        self.items = []
        self._changed = threading.Condition()

    def __call__(self, items):
        with self._changed:
            self.items.extend(items)
            self._changed.notify_all()

    def wait(self, condition):
        with self._changed:
            assert self._changed.wait_for(lambda: condition(self.items), WAIT_S), self.items


def time_of(item):
    if isinstance(item, Tick):
        return item.now_ns
    return item.at_ns if isinstance(item, StationEvent) else item.stamps[0].received_ns


def data_of(items, link):
    return b"".join(i.data for i in items if isinstance(i, Chunk) and i.link == link)


@pytest.fixture
def clock():
    return SessionClock()


@pytest.fixture
def recording(tmp_path, clock):
    return SessionRecording([tmp_path], SessionHeader(clock.started_ns, "0.1.0", "v", "t"), vehicle="tern")


def connected(clock, name="a", *more):
    return ScriptedLink(name, clock, [LinkReport(True, "connected"), *more])


def run_until(intake, forwarded, condition):
    intake.start()
    try:
        forwarded.wait(condition)
    finally:
        intake.stop()


def test_the_recording_holds_exactly_what_was_forwarded_in_the_same_order(clock, recording):
    links = [connected(clock, n, *[b"%s%d," % (n.encode(), k) for k in range(300)]) for n in ("a", "b", "c")]
    forwarded = Forwarded()
    run_until(
        Intake(links, recording, clock, forwarded), forwarded, lambda _: all(link.done.is_set() for link in links)
    )
    for n in ("a", "b", "c"):
        assert data_of(forwarded.items, n) == b"".join(b"%s%d," % (n.encode(), k) for k in range(300))
    recorded = list(open_recording(recording.path).items())
    assert recorded == [i for i in forwarded.items if not isinstance(i, Tick)]
    assert open_recording(recording.path).ended_ns == forwarded.items[-1].now_ns


def test_the_first_word_is_that_it_records_and_the_last_is_a_tick(clock, recording):
    forwarded = Forwarded()
    run_until(Intake([], recording, clock, forwarded), forwarded, lambda items: items)
    assert forwarded.items[0].kind is EventKind.RECORDING
    assert forwarded.items[0].ok
    assert isinstance(forwarded.items[-1], Tick)


def test_times_never_decrease_and_whatever_follows_a_tick_is_strictly_later(clock, recording):
    now = clock.now_ns()
    behind = [
        now - 5 * NS_PER_S,
        now + 3 * NS_PER_S,
        now - NS_PER_S,
    ]  # stamps that disagree with the order of arrival

    class OddClock:
        def now_ns(self):
            return behind.pop(0) if behind else clock.now_ns()

    waiting = threading.Event()
    links = [
        connected(OddClock(), "a", b"1", lambda _: waiting.wait(WAIT_S), b"2", b"3", b"4"),
        connected(clock, "b", *[b"x"] * 200),
    ]
    forwarded = Forwarded()
    intake = Intake(links, recording, clock, forwarded)
    intake.start()
    forwarded.wait(lambda items: sum(isinstance(i, Tick) for i in items) >= 3)
    waiting.set()
    assert links[0].done.wait(WAIT_S)
    intake.stop()
    for before, after in pairwise(forwarded.items):
        assert time_of(after) > time_of(before) if isinstance(before, Tick) else time_of(after) >= time_of(before)
    assert data_of(forwarded.items, "a") == b"1234"


STAMPS_NS = st.integers(0, 3 * NS_PER_S)
ARRIVALS = st.lists(
    st.builds(
        _Arrival,
        st.sampled_from("ab"),
        STAMPS_NS,
        st.one_of(st.binary(min_size=1, max_size=3), st.builds(LinkReport, st.booleans(), st.just("state"))),
    ),
    max_size=6,
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(ARRIVALS, STAMPS_NS), min_size=1, max_size=12))
def test_whatever_the_stamps_say_a_replay_sees_what_the_pipeline_saw(rounds):
    with tempfile.TemporaryDirectory() as folder:
        recording = SessionRecording([Path(folder)], SessionHeader(0, "0.1.0", "v", "t"), vehicle="tern")
        out = []
        intake = Intake([], recording, SessionClock(), out.extend)
        for arrivals, now_ns in rounds:
            intake._take(arrivals, now_ns)
        recording.close(10 * NS_PER_S)
        assert list(open_recording(recording.path).items()) == [i for i in out if not isinstance(i, Tick)]
    for before, after in pairwise(out):
        assert time_of(after) > time_of(before) if isinstance(before, Tick) else time_of(after) >= time_of(before)
    for link in "ab":
        sent = b"".join(
            a.what for arrivals, _ in rounds for a in arrivals if a.link == link and isinstance(a.what, bytes)
        )
        assert data_of(out, link) == sent


def test_ticks_go_on_when_nothing_is_received(clock, recording):
    forwarded = Forwarded()
    run_until(Intake([], recording, clock, forwarded), forwarded, lambda items: len(items) > 5)
    ticks = [i.now_ns for i in forwarded.items if isinstance(i, Tick)]
    assert all(later - earlier >= TICK_NS for earlier, later in pairwise(ticks[:-1]))


def test_a_silent_open_link_leaves_an_empty_chunk_each_second_and_a_closed_one_none(clock, recording):
    links = [
        connected(clock, "open", b"data"),
        connected(clock, "closed", LinkReport(False, "closed")),
        ScriptedLink("never opened", clock, []),
    ]
    forwarded = Forwarded()
    run_until(
        Intake(links, recording, clock, forwarded),
        forwarded,
        lambda items: sum(isinstance(i, Chunk) and not i.data for i in items) >= 2,
    )
    silences = [i for i in open_recording(recording.path).items() if isinstance(i, Chunk) and not i.data]
    assert {i.link for i in silences} == {"open"}
    spoken = next(time_of(i) for i in forwarded.items if isinstance(i, Chunk) and i.data)
    assert all(b - a >= NS_PER_S for a, b in pairwise([spoken, *map(time_of, silences)]))


def test_reports_of_links_and_notes_of_the_operator_become_events(clock, recording):
    link = connected(clock, "a", b"1", LinkReport(False, "unplugged"))
    forwarded = Forwarded()
    intake = Intake([link], recording, clock, forwarded)
    intake.start()
    assert link.done.wait(WAIT_S)
    intake.note("wind is picking up")
    intake.stop()
    events = [(i.kind, i.ok, i.text, i.link) for i in forwarded.items if isinstance(i, StationEvent)]
    assert events[1:] == [
        (EventKind.LINK, True, "connected", "a"),
        (EventKind.LINK, False, "unplugged", "a"),
        (EventKind.OPERATOR, True, "wind is picking up", ""),
    ]


def test_a_batch_is_committed_before_it_is_forwarded(clock, recording):
    missing = []

    def check(items):
        recorded = list(open_recording(recording.path).items())
        missing.extend(i for i in items if not isinstance(i, Tick) and i not in recorded)

    link = connected(clock, "a", *[b"%d" % k for k in range(50)])
    intake = Intake([link], recording, clock, check)
    intake.start()
    assert link.done.wait(WAIT_S)
    intake.stop()
    assert missing == []
    assert intake.forward_failures == 0
    assert data_of(open_recording(recording.path).items(), "a") == b"".join(b"%d" % k for k in range(50))


def test_a_pipeline_that_fails_does_not_end_the_recording(clock, recording):
    def refuse(items):
        raise RuntimeError("the event loop is closed")

    link = connected(clock, "a", b"first", lambda stop: stop.wait(0.2), b"second")
    intake = Intake([link], recording, clock, refuse)
    intake.start()
    assert link.done.wait(WAIT_S)
    intake.stop()
    assert intake.forward_failures > 1
    assert data_of(open_recording(recording.path).items(), "a") == b"firstsecond"


def test_a_full_disk_does_not_end_the_forwarding(tmp_path, clock):
    def create_full(path, header):
        recorder = Recorder.create(path, header)
        recorder._db.execute(f"PRAGMA max_page_count = {recorder._db.execute('PRAGMA page_count').fetchone()[0]}")
        return recorder

    header = SessionHeader(clock.started_ns, "0.1.0", "v", "t")
    recording = SessionRecording([tmp_path], header, vehicle="tern", create=create_full)
    link = connected(clock, "a", *[bytes(50_000)] * 20)
    forwarded = Forwarded()
    run_until(Intake([link], recording, clock, forwarded), forwarded, lambda items: len(data_of(items, "a")) == 10**6)
    failed = [
        i for i in forwarded.items if isinstance(i, StationEvent) and i.kind is EventKind.RECORDING and not i.ok
    ]
    assert "disk is full" in failed[0].text


def test_a_fault_of_the_recording_itself_is_told_once_and_does_not_starve_the_pipeline(clock, recording):
    def fail(items, at_ns):
        raise KeyError("a fault of ours")

    recording.take = fail
    forwarded = Forwarded()
    link = connected(clock, "a", b"data")
    run_until(
        Intake([link], recording, clock, forwarded),
        forwarded,
        lambda items: data_of(items, "a") and sum(isinstance(i, Tick) for i in items) > 2,
    )
    told = [i for i in forwarded.items if isinstance(i, StationEvent) and i.kind is EventKind.RECORDING]
    assert [(e.ok, e.text) for e in told] == [
        (False, "a fault in this program (KeyError: 'a fault of ours'); start again")
    ]


def test_a_reader_that_fails_is_told(clock, recording):
    def fail(stop):
        raise ValueError("a fault of ours")

    forwarded = Forwarded()
    run_until(
        Intake([connected(clock, "a", fail)], recording, clock, forwarded),
        forwarded,
        lambda items: sum(isinstance(i, StationEvent) for i in items) == 3,
    )
    told = [i for i in forwarded.items if isinstance(i, StationEvent)][-1]
    assert not told.ok
    assert told.text == "the link's reader stopped (ValueError: a fault of ours); start again"


def test_a_reader_waits_while_the_queue_is_full_and_nothing_is_lost(clock, recording):
    link = connected(clock, "a", *[bytes([k]) * 1000 for k in range(200)])
    forwarded = Forwarded()
    intake = Intake([link], recording, clock, forwarded, max_queued_bytes=3000)
    run_until(intake, forwarded, lambda items: len(data_of(items, "a")) == 200_000)
    assert data_of(open_recording(recording.path).items(), "a") == b"".join(bytes([k]) * 1000 for k in range(200))


def test_one_link_given_twice_is_refused(clock, recording):
    with pytest.raises(ValueError, match="each link is given once, found a, a"):
        Intake([connected(clock, "a"), connected(clock, "a")], recording, clock, print)


def test_the_handover_passes_everything_on_in_order():
    async def session():
        got = []
        handover = Handover(asyncio.get_running_loop(), got.extend)
        sent = [[Chunk.at(k, b"x", link="a"), Tick(k)] for k in range(20)]
        await asyncio.to_thread(lambda: [handover(items) for items in sent])
        await asyncio.sleep(0)
        assert got == [item for items in sent for item in items]
        assert handover.dropped_bytes == 0

    asyncio.run(session())


def test_the_handover_drops_chunks_beyond_its_bound_counts_them_and_says_so():
    async def session():
        got = []
        handover = Handover(asyncio.get_running_loop(), got.extend, max_waiting_bytes=1000)
        event = StationEvent(4, EventKind.OPERATOR, True, "kept")

        def fall_behind():  # the loop does not come round while this runs
            handover([Chunk.at(1, bytes(2000), link="a"), Tick(1)])
            handover([Chunk.at(2, bytes(300), link="a"), Chunk.at(3, bytes(40), link="b"), Tick(3)])
            handover([event])

        fall_behind()
        await asyncio.sleep(0)
        handover([Tick(5)])
        await asyncio.sleep(0)
        assert handover.dropped_bytes == 340
        assert got == [
            Chunk.at(1, bytes(2000), link="a"),
            Tick(1),
            event,
            StationEvent(
                5, EventKind.LINK, False, "this computer fell behind: 300 bytes were recorded but not shown", "a"
            ),
            StationEvent(5, EventKind.LINK, True, "shown again", "a"),
            StationEvent(
                5, EventKind.LINK, False, "this computer fell behind: 40 bytes were recorded but not shown", "b"
            ),
            StationEvent(5, EventKind.LINK, True, "shown again", "b"),
            Tick(5),
        ]

    asyncio.run(session())
