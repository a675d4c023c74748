"""Packets on their way into the timeline's tables: read by columns, noted one by one, appended all at once."""

from collections.abc import Iterator, Mapping
from itertools import repeat

import numpy as np

from groundstation.arrivals import Arrivals, PacketBlock
from groundstation.counting import NEXT, Order
from groundstation.motion import Motion, MotionReader
from groundstation.packet_order import PacketOrder, Placed, Signs
from groundstation.table import BoolArray, FloatArray
from groundstation.timeline import ARRIVAL_COLUMNS, RADIO_COLUMNS, Timeline

Read = tuple[str, int, Signs, Motion | None]
"""A packet: its kind, when it was received [ns], the signs of its order, and its motion where it carries any."""

_Row = tuple[float, ...]
_DAMAGED = (0.0, 1.0, 0.0)
_HELD_AT = ARRIVAL_COLUMNS.index("held_s")


def read(block: PacketBlock, order: PacketOrder, motions: Mapping[str, MotionReader]) -> Iterator[Read]:
    """What is taken of each packet of a block."""
    reader = motions[block.packet]
    motion = reader.read(block.values) if reader.moves else repeat(None)
    return zip(repeat(block.packet), block.received_ns, order.signs(block.packet, block.values), motion)


class Taken:
    """What became of each of some arrivals; they are noted in their order."""

    def __init__(self, arrivals: Arrivals) -> None:
        self._arrivals = arrivals
        self._heard_ns: list[int] = []
        self._held_s: list[float] = []
        self._left_out: list[int] = []  # places among those heard
        self._radio_ns: list[int] = []
        # By place, the rows that are not as most are: those of a packet that came as the next, with none lost.
        self._unlike: list[tuple[int, _Row]] = []
        self._radio_unlike: list[tuple[int, _Row]] = []

    def note(self, received_ns: int, placed: Placed) -> None:
        """What a packet is among the others: one that is to be taken in, or not."""
        order, lost, at_least, _, _, held_s = placed
        if order is not NEXT or at_least:
            late = order is Order.LATE or order is Order.STALE
            row = (float(order is Order.REPEATED), float(late), float(order is Order.ODD), float(at_least), held_s)
            self._unlike.append((len(self._heard_ns), row))
            if order is Order.REPEATED or order is Order.STALE:
                self._left_out.append(len(self._heard_ns))
                self._heard_ns.append(received_ns)
                self._held_s.append(held_s)
                return
        self._heard_ns.append(received_ns)
        self._held_s.append(held_s)
        if lost:
            self._radio_unlike.append((len(self._radio_ns), (1.0, 0.0, float(lost))))
        self._radio_ns.append(received_ns)

    def note_damage(self, received_ns: int) -> None:
        """A frame that came damaged."""
        self._radio_unlike.append((len(self._radio_ns), _DAMAGED))
        self._radio_ns.append(received_ns)

    def append_to(self, timeline: Timeline) -> None:
        """Append all that was noted."""
        for place, block in enumerate(self._arrivals.blocks):
            _append(block if not self._left_out else block.only(self._kept(place)), timeline)
        if self._radio_ns:
            radio = np.zeros((len(RADIO_COLUMNS), len(self._radio_ns)))
            radio[0] = 1.0
            _put(radio, self._radio_unlike)
            timeline.radio.append(np.array(self._radio_ns, np.int64), radio)
        if self._heard_ns:
            arrived = np.zeros((len(ARRIVAL_COLUMNS), len(self._heard_ns)))
            arrived[_HELD_AT] = self._held_s
            _put(arrived, self._unlike)
            timeline.arrivals.append(np.array(self._heard_ns, np.int64), arrived)

    def _kept(self, block: int) -> BoolArray:
        """(n,) which of a block's packets are not left out."""
        kept = np.ones(len(self._heard_ns), np.bool_)
        kept[self._left_out] = False
        heard = [of for of in self._arrivals.order if of < len(self._arrivals.blocks)]
        return np.asarray(kept[np.array(heard) == block])


def _append(block: PacketBlock, timeline: Timeline) -> None:
    if block.received_ns:
        timeline.packets[block.packet].append(np.array(block.received_ns, np.int64), block.values)
    for at_ns, text in zip(block.received_ns, block.callsigns, strict=False):
        timeline.note_callsign(at_ns, text)


def _put(table: FloatArray, rows: list[tuple[int, _Row]]) -> None:
    """Write some rows into a table of (columns, n) values."""
    if rows:
        table[:, [at for at, _ in rows]] = np.array([row for _, row in rows], np.float64).T
