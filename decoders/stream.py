"""Bytes of one link in, packets in columns out: the one door to this package.

`StreamDecoder(layout).feed(data)` may be given bytes cut anywhere; what it returns over all calls is the same. Places
are byte offsets in the whole stream. There is no time here: whoever feeds it knows when which byte came.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decoders.layout import Layout, Packet, Reject

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class PacketTable:
    """Packets of one kind, in the order they came.

    start: (n,) offset of the frame's first byte. end: (n,) offset after its last byte, delimiter included.
    columns: by field name, (n,) each; scaled fields float64 in the field's unit, others in their raw type.
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


class StreamDecoder:
    """Decodes one link's stream, remembering an unfinished frame between calls (bounded by the longest legal one)."""

    def __init__(self, layout: Layout) -> None:
        raise NotImplementedError

    def feed(self, data: bytes) -> Decoded:
        """Take in the next bytes; never raises on their account."""
        raise NotImplementedError

    def finish(self) -> Decoded:
        """The stream has ended: what is left of an unfinished frame is a reject."""
        raise NotImplementedError

    def restart(self) -> Decoded:
        """The link broke and came back: an unfinished frame is a reject, and the next may be torn at its start."""
        raise NotImplementedError
