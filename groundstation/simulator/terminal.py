"""Simulated frames on a real pseudo-terminal. Systems without pseudo-terminals cannot import this module."""

import array
import contextlib
import fcntl
import os
import select
import termios
import time
import tty

from groundstation.simulator.writers import Closing

# At the end bytes that a reader has not taken yet are lost with the terminal; one that takes none is not waited for.
LAST_READ_S = 0.3
ALL_READ_S = 0.05
LAST_READ_POLL_S = 0.01


class PtyWriter(Closing):
    """Frames into a new pseudo-terminal in raw mode; readers open `place`, as they would a serial port.

    The terminal stays ours on both sides, so that readers may come, go and come back. What nobody reads fills the
    terminal's buffer; from then on whole frames are dropped and counted, until there is room again.
    """

    def __init__(self) -> None:
        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.place = os.ttyname(self._theirs)
        self.written = 0
        self.dropped = 0
        self._rest = b""

    def wait_for_room(self, timeout_s: float) -> bool:
        """Wait until the terminal takes bytes again and no part of a frame is left over."""
        until_s = time.monotonic() + timeout_s
        while True:
            left_s = max(0.0, until_s - time.monotonic())
            if not select.select([], [self._ours], [], left_s)[1]:
                return False
            if self._push_rest():
                return True

    def write(self, frame: bytes) -> None:
        """Send one frame whole, finishing one that only went in part first."""
        if self._rest and not self._push_rest():
            self.dropped += 1
            return
        self._rest = frame
        self._push_rest()
        if len(self._rest) == len(frame):
            self._rest = b""
            self.dropped += 1
        else:
            self.written += 1

    def _unread_bytes(self) -> int:
        count = array.array("i", [0])
        fcntl.ioctl(self._theirs, termios.FIONREAD, count)
        return count[0]

    def _push_rest(self) -> bool:
        """Write what is left of a frame; whether all of it went."""
        while self._rest:
            try:
                sent = os.write(self._ours, self._rest)
            except BlockingIOError:
                return False
            self._rest = self._rest[sent:]
        return True

    def close(self) -> None:
        """Let a reader that is reading finish, then close: to it, it looks like an unplugged device."""
        waiting, same_for_s = -1, 0.0
        # bytes on their way inside the kernel are not counted as waiting, so that nothing must wait for a while
        while same_for_s < (LAST_READ_S if waiting > 0 else ALL_READ_S):
            left = self._unread_bytes()
            same_for_s = same_for_s + LAST_READ_POLL_S if left == waiting else 0.0
            waiting = left
            time.sleep(LAST_READ_POLL_S)
        for descriptor in (self._ours, self._theirs):
            with contextlib.suppress(OSError):
                os.close(descriptor)
