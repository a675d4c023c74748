import threading
from contextlib import contextmanager

import pytest

WAIT_S = 10.0  # an upper bound for a busy machine, not a claim


class Heard:
    """What a link delivered and reported, with a way to wait for it."""

    def __init__(self):
        self.data = bytearray()
        self.times = []
        self.reports = []
        self._changed = threading.Condition()

    def deliver(self, data, received_ns):
        with self._changed:
            self.data += data
            self.times.append(received_ns)
            self._changed.notify_all()

    def report(self, report):
        with self._changed:
            self.reports.append(report)
            self._changed.notify_all()

    def wait(self, condition):
        with self._changed:
            assert self._changed.wait_for(lambda: condition(self), WAIT_S), (bytes(self.data), self.reports)


@pytest.fixture
def running():
    """Runs a link in a thread for as long as the block lasts, and checks that it stops."""

    @contextmanager
    def run(link):
        heard, stop = Heard(), threading.Event()
        thread = threading.Thread(target=link.run, args=(heard.deliver, heard.report, stop))
        thread.start()
        try:
            yield heard
        finally:
            stop.set()
            thread.join(WAIT_S)
            assert not thread.is_alive()

    return run
