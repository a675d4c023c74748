"""Starts of the flight computer within a session, told by several signs that belong to one start.

A new start shows in the vehicle's clock, in its packet counters and in its count of starts, each perhaps in another
packet. Signs of unlike kind close together are one start; the same sign again is another.
"""

from groundstation.inputs import NS_PER_S
from groundstation.state import Restart, RestartSign

# From the first packet after a start to the last one that shows it, beyond the slowest packet's period. Common
# practice, no source.
TOGETHER_S = 5.0


class RestartWatch:
    """Makes `Restart`s of signs; `boot` is 0 until the first, and one more with each start.

    Args:
        slowest_hz: How often the slowest packet comes that can show a sign.
    """

    def __init__(self, slowest_hz: float) -> None:
        self._together_ns = round((TOGETHER_S + 2.0 / slowest_hz) * NS_PER_S)
        self._seen: set[tuple[RestartSign, str]] = set()
        self._began_ns = 0
        self.boot = 0

    def see(self, sign: RestartSign, where: str, at_ns: int) -> Restart:
        """Take in a sign, in the packet received at `at_ns`; `where` tells clocks, or counters, apart."""
        key = (sign, where)
        if self.boot == 0 or key in self._seen or at_ns - self._began_ns > self._together_ns:
            self.boot += 1
            self._began_ns = at_ns
            self._seen = set()
        self._seen.add(key)
        return Restart(at_ns, self.boot, sign)
