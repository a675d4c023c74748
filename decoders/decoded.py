"""What decoding gives: packets as tables of columns, and what was not taken as a packet."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.layout import Packet, Reject

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class PacketTable:
    """Packets of one kind, in the order they came.

    start: (n,) offset of the frame's first byte. end: (n,) offset after its last byte, delimiter included.
    columns: by name, (n,) each (see `decoders.layout.Field.columns`); scaled fields float64 in the field's unit,
    others in their raw type; what an optional tail may lack is float64, NaN where it is missing. What the receiver
    has put around the packets comes last.
    """

    packet: Packet
    start: IntArray
    end: IntArray
    columns: Mapping[str, NDArray[Any]]

    def __len__(self) -> int:
        return int(self.start.shape[0])


@dataclass(frozen=True, slots=True)
class Decoded:
    """What came of one feed: a table for each kind of packet that came, in the layout's order, and the rejects."""

    tables: tuple[PacketTable, ...]
    rejects: tuple[Reject, ...]


def merged(packets: tuple[Packet, ...], tables: list[PacketTable]) -> list[PacketTable]:
    """One table for each kind of packet, in the layout's order, each in the order the packets came."""
    found = []
    for packet in packets:
        mine = [table for table in tables if table.packet is packet]
        if len(mine) > 1:
            start = np.concatenate([table.start for table in mine])
            order = np.argsort(start, kind="stable")
            end = np.concatenate([table.end for table in mine])
            columns = {n: np.concatenate([t.columns[n] for t in mine])[order] for n in mine[0].columns}
            mine = [PacketTable(packet, start[order], end[order], columns)]
        found.extend(mine)
    return found
