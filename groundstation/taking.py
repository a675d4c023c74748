"""Packets on their way into the timeline's tables: gathered row by row, appended all at once."""

import math

import numpy as np

from groundstation.arrivals import Arrivals
from groundstation.counting import Order
from groundstation.packet_order import Placed
from groundstation.timeline import ARRIVAL_COLUMNS, RADIO_COLUMNS, Timeline

_DAMAGED = (0.0, 1.0, 0.0)


class Taken:
    """A part of some arrivals, and what became of each."""

    def __init__(self, arrivals: Arrivals, part: list[tuple[int, int]]) -> None:
        self._blocks = arrivals.blocks
        first: dict[int, int] = {}
        last: dict[int, int] = {}
        for block, at in part:
            first.setdefault(block, at)
            last[block] = at
        self._first = first
        self._rows = {
            block: self._blocks[block].values[:, at : last[block] + 1].T.tolist()
            for block, at in first.items()
            if block < len(self._blocks)
        }
        self._kept: dict[int, list[int]] = {block: [] for block in self._rows}
        self._radio_ns: list[int] = []
        self._radio: list[tuple[float, float, float]] = []
        self._arrived_ns: list[int] = []
        self._arrived: list[tuple[float, float, float, float, float]] = []

    def packet(self, block: int, at: int) -> tuple[str, int, list[float]]:
        """One packet: its kind, when it was received, and its values by column."""
        found = self._blocks[block]
        return found.packet, found.received_ns[at], self._rows[block][at - self._first[block]]

    def note(self, block: int, at: int, received_ns: int, placed: Placed) -> None:
        """What a packet is among the others: one that is to be taken in, or not."""
        order, lost, at_least, _, _, _, held_s = placed
        self._arrived_ns.append(received_ns)
        if order is Order.REPEATED or order is Order.STALE:
            self._arrived.append((float(order is Order.REPEATED), float(order is Order.STALE), 0.0, 0.0, math.nan))
            return
        if order is Order.ODD:
            self._arrived.append((0.0, 0.0, 1.0, 0.0, math.nan))
        else:
            self._arrived.append((0.0, float(order is Order.LATE), 0.0, float(at_least), held_s))
        self._radio_ns.append(received_ns)
        self._radio.append((1.0, 0.0, float(lost)))
        self._kept[block].append(at)

    def note_damage(self, received_ns: int) -> None:
        """A frame that came damaged."""
        self._radio_ns.append(received_ns)
        self._radio.append(_DAMAGED)

    def append_to(self, timeline: Timeline) -> None:
        """Append all that was noted."""
        for block, kept in self._kept.items():
            if not kept:
                continue
            found, first = self._blocks[block], kept[0]
            whole = kept[-1] - first + 1 == len(kept)
            values = found.values[:, first : kept[-1] + 1] if whole else found.values[:, kept]
            times = np.array([found.received_ns[at] for at in kept], np.int64)
            timeline.packets[found.packet].append(times, values)
            if found.callsigns:
                for at in kept:
                    timeline.note_callsign(found.received_ns[at], found.callsigns[at])
        if self._radio_ns:
            radio = np.array(self._radio, np.float64).reshape(-1, len(RADIO_COLUMNS))
            timeline.radio.append(np.array(self._radio_ns, np.int64), radio.T)
        if self._arrived_ns:
            arrived = np.array(self._arrived, np.float64).reshape(-1, len(ARRIVAL_COLUMNS))
            timeline.arrivals.append(np.array(self._arrived_ns, np.int64), arrived.T)
