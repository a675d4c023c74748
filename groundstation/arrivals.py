"""One link's bytes as packets and rejects in the order of their last bytes, each with the time that byte came."""

from bisect import bisect_left
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import compress
from types import MappingProxyType

import numpy as np

from decoders.layout import Layout, Reject
from decoders.stream import Decoded, PacketTable, StreamDecoder
from groundstation.inputs import Chunk
from groundstation.table import BoolArray, FloatArray, IntArray

NO_CALLSIGNS: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class PacketBlock:
    """Packets of one kind: received_ns (n,), values (columns, n) of its columns of numbers; callsigns (n,) or ()."""

    packet: str
    received_ns: list[int]
    values: FloatArray
    callsigns: tuple[str, ...] = ()

    def part(self, start: int, end: int) -> "PacketBlock":
        """The packets from `start` to before `end`."""
        return PacketBlock(
            self.packet, self.received_ns[start:end], self.values[:, start:end], self.callsigns[start:end]
        )

    def only(self, kept: BoolArray) -> "PacketBlock":
        """The packets that (n,) `kept` says."""
        return PacketBlock(
            self.packet,
            list(compress(self.received_ns, kept)),
            self.values[:, kept],
            tuple(compress(self.callsigns, kept)),
        )


@dataclass(frozen=True, slots=True)
class Arrivals:
    """What came of some bytes.

    `order` has, for each packet and reject in the order they came, which block it is in, each block being in that
    order itself; rejects are the block after the last.
    """

    blocks: tuple[PacketBlock, ...]
    rejects: tuple[Reject, ...]
    rejected_ns: list[int]
    order: list[int]

    def parts(self, most: int) -> Iterator["Arrivals"]:
        """The same in parts of at most so many packets and rejects."""
        if 0 < len(self.order) <= most:
            yield self
            return
        starts = [0] * (len(self.blocks) + 1)
        for at in range(0, len(self.order), most):
            order = self.order[at : at + most]
            ends = [start + order.count(block) for block, start in enumerate(starts)]
            blocks = tuple(b.part(start, end) for b, start, end in zip(self.blocks, starts, ends, strict=False))
            rejected = slice(starts[-1], ends[-1])
            yield Arrivals(blocks, self.rejects[rejected], self.rejected_ns[rejected], order)
            starts = ends


class LinkDecoder:
    """Decodes one link's chunks; an unfinished frame waits for the next.

    Args:
        layout: Of the packets.
        callsigns: The column of text with the callsign, by the name of a packet that carries it.
    """

    def __init__(self, layout: Layout, callsigns: Mapping[str, str] = NO_CALLSIGNS) -> None:
        self._callsigns = callsigns
        self._decoder = StreamDecoder(layout)
        self._fed = 0
        self._offsets: list[int] = []
        self._times: list[int] = []

    def feed(self, chunk: Chunk) -> Arrivals:
        """What the chunk's bytes complete."""
        # The stamp before is kept for a frame that a reject or a framing looks back on.
        base = self._fed
        self._offsets = self._offsets[-1:] + [base + start for start, _ in chunk.stamps]
        self._times = self._times[-1:] + [received_ns for _, received_ns in chunk.stamps]
        self._fed += len(chunk.data)
        return self._arrivals(self._decoder.feed(chunk.data), None)

    def restart(self, at_ns: int) -> Arrivals:
        """The link broke at that time: what was left of a frame is a reject."""
        return self._arrivals(self._decoder.restart(), at_ns)

    def _arrivals(self, decoded: Decoded, at_ns: int | None) -> Arrivals:
        ends = [table.end for table in decoded.tables]
        if decoded.rejects:
            ends.append(np.array([reject.end for reject in decoded.rejects], np.int64))
        times = [self._received_ns(end) if at_ns is None else [at_ns] * len(end) for end in ends]
        blocks = tuple(
            PacketBlock(table.packet.name, received_ns, _values(table), self._said_in(table))
            for table, received_ns in zip(decoded.tables, times, strict=False)
        )
        rejected_ns = times[-1] if decoded.rejects else []
        return Arrivals(blocks, decoded.rejects, rejected_ns, _order(ends))

    def _said_in(self, table: PacketTable) -> tuple[str, ...]:
        column = self._callsigns.get(table.packet.name)
        if column is None:
            return ()
        return tuple(text.decode("ascii", "replace").strip() for text in table.columns[column].tolist())

    def _received_ns(self, ends: IntArray) -> list[int]:
        """When the last byte of each frame came, given the offsets after it."""
        offsets, times = self._offsets, self._times
        return [times[max(0, bisect_left(offsets, end) - 1)] for end in ends.tolist()]


def _order(ends: list[IntArray]) -> list[int]:
    """The blocks of everything, in the order of the offsets after the last byte, which go up within each block."""
    if len(ends) < 2:
        return [0] * sum(map(len, ends))
    blocks = np.repeat(np.arange(len(ends)), [len(some) for some in ends])
    in_order: list[int] = blocks[np.argsort(np.concatenate(ends), kind="stable")].tolist()
    return in_order


def _values(table: PacketTable) -> FloatArray:
    """(columns, n) float64 values of a packet table's columns of numbers; text is left out."""
    numbers = [values for values in table.columns.values() if values.dtype.kind in "biuf"]
    out = np.empty((len(numbers), len(table)), np.float64)
    for k, values in enumerate(numbers):
        out[k] = values
    return out
