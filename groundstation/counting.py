"""What a packet counter tells: packets lost, packets that came twice or late, and a counter that began anew."""

from dataclasses import dataclass

# A counter may run ahead of the arrival clock by this many packets and this factor before the gap is read as a
# counter that began anew: packets can queue in a receiver. Common practice, no source.
SLACK_PACKETS = 20
SLACK_FACTOR = 3.0
NS_PER_S = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Step:
    """What one packet's counter says: `lost` packets missing before it, or that it is old, or counted from anew."""

    lost: int
    old: bool = False
    restarted: bool = False


class SequenceCounter:
    """Follows one counter of `bits` width that goes up by one with each packet and wraps.

    Args:
        bits: Width of the counter.
        rate_hz: Packets a second the vehicle sends under this counter.
    """

    def __init__(self, *, bits: int, rate_hz: float) -> None:
        self._modulus = 1 << bits
        self._rate_hz = rate_hz
        self._last: int | None = None
        self._last_ns = 0

    def step(self, value: int, received_ns: int) -> Step:
        """Take in the counter of the next packet, received at `received_ns`."""
        if self._last is None:
            self._last, self._last_ns = value, received_ns
            return Step(0)
        ahead = (value - self._last) % self._modulus
        behind = (self._last - value) % self._modulus
        elapsed_s = max(0, received_ns - self._last_ns) / NS_PER_S
        believable = SLACK_PACKETS + SLACK_FACTOR * self._rate_hz * elapsed_s
        if ahead == 0 or (behind <= SLACK_PACKETS and behind < ahead):
            return Step(0, old=True)
        self._last, self._last_ns = value, received_ns
        if ahead > believable:
            return Step(0, restarted=True)
        return Step(ahead - 1)
