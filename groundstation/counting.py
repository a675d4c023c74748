"""What a packet counter tells: packets lost, packets that came twice or late, and a counter that began anew.

The counter goes up by one with each packet and wraps. Whether a step is a gap, a wrap or a new beginning is decided
by the time gone between the arrivals. A late packet takes back the loss that was counted for it, so that the sum of
what is lost is right in the end; over a gap in which half the counter's range may have passed it is only the least.
"""

from enum import IntEnum
from typing import NamedTuple

from groundstation.inputs import NS_PER_S

# A counter may run ahead of the arrival clock by this many packets and this factor before the step is read as a
# counter that began anew: packets can queue in a receiver. Common practice, no source.
SLACK_PACKETS = 20
SLACK_FACTOR = 3.0
# How late a packet may come, by the packets sent meanwhile, and still be counted in. Common practice, no source.
LATE_S = 2.0
REMEMBERED_BITS = 10  # of the newest 1024 numbers it is known what carried them: a minute at 14 packets a second
# A counter that goes on from where it should not be is believed after so many packets in a row, over so long: another
# receiver's backlog comes all at once, or between packets as they should be. Common practice, no source.
ODD_IN_A_ROW = 5
ODD_S = 2.0


class Order(IntEnum):
    """What one packet is among the others."""

    NEXT = 0  # newer than all before it
    LATE = 1  # older than one before it, and had not come yet
    REPEATED = 2  # has come already
    STALE = 3  # had not come yet, but is too old to be of use
    RESTARTED = 4  # the first of a counter that began anew
    ODD = 5  # does not go on from those before: another vehicle's, perhaps


NEXT = Order.NEXT  # what most packets are; by this name it is looked up much faster than as an enumeration's member


class Step(NamedTuple):
    """What one packet's counter says: `lost` packets missing before it; with `at_least`, there may be more.

    `lost` is -1 for a late packet that had been counted as lost.
    """

    order: Order
    lost: int = 0
    at_least: bool = False


_NEXT = Step(NEXT)
_REPEATED = Step(Order.REPEATED)
_STALE = Step(Order.STALE)
_ODD = Step(Order.ODD)
_RESTARTED = Step(Order.RESTARTED)
_MISSING = object()


class SequenceCounter:
    """Follows one counter.

    Args:
        bits: Width of the counter.
        rate_hz: Packets a second the vehicle sends under this counter.
    """

    def __init__(self, *, bits: int, rate_hz: float) -> None:
        self._modulus = 1 << bits
        self._rate_hz = rate_hz
        self._places = 1 << min(bits, REMEMBERED_BITS)
        self._reach = max(1, min(SLACK_PACKETS + int(LATE_S * rate_hz), self._modulus // 4, self._places - 1))
        self._lap_ns = round(self._modulus / 2 / rate_hz * NS_PER_S)
        self._last: int | None = None
        self._last_ns = 0
        self._marks: list[object] = []  # of the newest numbers, by number modulo the length; None where not known
        self._odd = 0
        self._odd_in_a_row = 0
        self._odd_since_ns = 0

    def step(self, value: int, received_ns: int, mark: object) -> Step:
        """Take in the counter of the next packet.

        Args:
            value: The counter.
            received_ns: When the packet was received.
            mark: Something that two packets of the same number share only if they are one packet sent or heard
                twice, such as the vehicle's clock.
        """
        if self._last is None:
            self.restart(value, received_ns, mark)
            return _NEXT
        ahead = (value - self._last) % self._modulus
        gone_ns = received_ns - self._last_ns
        if ahead == 1 and gone_ns < self._lap_ns:
            self._advance(value, received_ns, mark)
            return _NEXT
        gone_ns = max(0, gone_ns)
        believable = SLACK_PACKETS + SLACK_FACTOR * self._rate_hz * gone_ns / NS_PER_S
        lapped = gone_ns >= self._lap_ns
        behind = (self._modulus - ahead) % self._modulus
        if not lapped and behind <= self._reach:
            return self._earlier(value % self._modulus, received_ns, mark, believable)
        if lapped or ahead <= believable:
            lost = (ahead - 1) % self._modulus
            self._miss(min(lost, self._places), value)
            self._advance(value, received_ns, mark)
            return Step(Order.NEXT, lost, lapped)
        known = self._marks[value & (self._places - 1)]
        if known is not None and known == mark:
            return _REPEATED
        if value % self._modulus <= believable or self._goes_on_oddly(value, received_ns):
            self.restart(value, received_ns, mark)
            return _RESTARTED
        return _STALE if known is _MISSING and behind < self._places else _ODD

    def restart(self, value: int, received_ns: int, mark: object) -> None:
        """The packet with that counter is the first of a flight computer that started anew."""
        self._marks = [None] * self._places
        self._advance(value, received_ns, mark)

    def skip(self, value: int, received_ns: int, mark: object, gone_s: float) -> Step | None:
        """A number that went on by more than the arrivals explain, as after a backlog of which the end was lost.

        Args:
            value, received_ns, mark: As for `step`, which called it odd.
            gone_s: How long after one of the packets before it was sent, by the vehicle's clock.
        Returns:
            The packet as the next, or None where so long does not explain it either.
        """
        if self._last is None or gone_s * NS_PER_S >= self._lap_ns:
            return None
        ahead = (value - self._last) % self._modulus
        if not 0 < ahead <= SLACK_PACKETS + SLACK_FACTOR * self._rate_hz * gone_s:
            return None
        self._miss(min(ahead - 1, self._places), value)
        self._advance(value, received_ns, mark)
        return Step(Order.NEXT, ahead - 1)

    def _earlier(self, value: int, received_ns: int, mark: object, believable: float) -> Step:
        """A number just passed: missed then, or come already, or of a counter that began anew."""
        place = value & (self._places - 1)
        known = self._marks[place]
        if known is _MISSING or known is None:
            self._marks[place] = mark
            return Step(Order.LATE, -1 if known is _MISSING else 0)
        if known == mark:
            return _REPEATED
        if value <= believable:
            self.restart(value, received_ns, mark)
            return _RESTARTED
        return _ODD

    def _advance(self, value: int, received_ns: int, mark: object) -> None:
        self._last, self._last_ns = value, received_ns
        self._marks[value & (self._places - 1)] = mark
        self._odd_in_a_row = 0

    def _miss(self, count: int, before: int) -> None:
        for number in range(before - count, before):
            self._marks[number & (self._places - 1)] = _MISSING

    def _goes_on_oddly(self, value: int, received_ns: int) -> bool:
        """Whether enough packets in a row went on from one that was not believed."""
        if self._odd_in_a_row == 0 or not 0 < (value - self._odd) % self._modulus <= SLACK_PACKETS:
            self._odd_in_a_row, self._odd_since_ns = 0, received_ns
        self._odd_in_a_row += 1
        self._odd = value
        return self._odd_in_a_row >= ODD_IN_A_ROW and received_ns - self._odd_since_ns >= ODD_S * NS_PER_S
