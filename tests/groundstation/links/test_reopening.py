import threading

from groundstation.links.link import LinkReport
from groundstation.links.reopening import LONGEST_WAIT_S, LinkLostError, duration, read_for_ever


class ScriptedSource:
    """Opens and reads as the script says: an exception is raised, anything else is the result."""

    def __init__(self, opens, reads):
        self.state = "reading the script"
        self._opens, self._reads = iter(opens), iter(reads)
        self.closed = 0

    def open(self):
        error = next(self._opens, None)
        if error is not None:
            raise error

    def read(self):
        step = next(self._reads)
        if isinstance(step, Exception):
            raise step
        return step

    def close(self):
        self.closed += 1


class CountedStop(threading.Event):
    """Is set after so many waits, and passes the time on a clock of its own instead of waiting."""

    def __init__(self, after_waits):
        super().__init__()
        self._left = after_waits
        self.waits_s = []

    def wait(self, timeout=None):
        self.waits_s.append(timeout)
        if len(self.waits_s) >= self._left:
            self.set()
        return self.is_set()

    def now_ns(self):
        return round(sum(self.waits_s) * 1e9)


def followed(source, waits):
    stop, data, reports = CountedStop(waits), [], []
    read_for_ever(source, stop, lambda part, at_ns: data.append((part, at_ns)), reports.append, stop)
    return stop, data, reports


def test_it_tries_again_for_ever_with_waits_that_grow_to_at_most_a_second():
    source = ScriptedSource([LinkLostError("not there")] * 500, [])
    stop, _, reports = followed(source, 500)
    assert stop.waits_s[:5] == [0.1, 0.2, 0.4, 0.8, 1.0]
    assert max(stop.waits_s) == LONGEST_WAIT_S
    assert reports == [LinkReport(False, "not there")]
    assert source.closed == 500


def test_the_outage_is_told_from_the_loss_to_the_return():
    lost, absent = LinkLostError("unplugged"), LinkLostError("not there")
    source = ScriptedSource([None, absent, absent, None], [b"one", b"", lost, b"two", LinkLostError("gone")])
    _, data, reports = followed(source, 4)
    assert data == [(b"one", 0), (b"two", 700_000_000)]
    assert reports == [
        LinkReport(True, "reading the script"),
        LinkReport(False, "unplugged"),
        LinkReport(False, "not there"),
        LinkReport(True, "reading the script, again after 0.7 s without it"),
        LinkReport(False, "gone"),
    ]


def test_a_port_that_opens_but_gives_nothing_is_not_opened_in_a_frenzy():
    source = ScriptedSource([], [LinkLostError("dead")] * 10)
    stop, _, _ = followed(source, 6)
    assert stop.waits_s == [0.1, 0.2, 0.4, 0.8, 1.0, 1.0]


def test_an_error_nobody_foresaw_is_told_and_the_reading_goes_on():
    source = ScriptedSource([TypeError("odd"), None], [b"data", LinkLostError("end")])
    _, data, reports = followed(source, 2)
    assert reports[0] == LinkReport(False, "unexpected TypeError: odd; opening again")
    assert [part for part, _ in data] == [b"data"]


def test_durations_are_given_in_seconds_and_from_a_minute_on_in_minutes():
    assert [duration(n) for n in (0, 2_540_000_000, 60_000_000_000, 3_599_600_000_000)] == [
        "0.0 s",
        "2.5 s",
        "1 min 0 s",
        "60 min 0 s",
    ]
