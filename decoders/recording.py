"""Whole recordings into columns: all packets of a kind one after the other, whatever the blocks that were read.

Columns grow in memory that is made once and are written there by the fast way itself, so that no block's packets are
moved again. Where frames stood in the stream is not kept; `decoders.stream` tells that for each block.
"""

from collections.abc import Mapping
from typing import Any

from numpy.typing import NDArray

from decoders.decoded import Decoded
from decoders.layout import Layout, Reject
from decoders.room import Room
from decoders.stream import StreamDecoder

BLOCK = 1 << 22  # bytes: as much as a reader should give at once (measured)


class RecordingDecoder:
    """Decodes one recording from its first byte to its last.

    Args:
        layout: Says how the bytes are to be read.
        size: Bytes of the recording, as far as known: how much room is made at once. Another number does no harm.
    Raises:
        LayoutError: As `decoders.stream.StreamDecoder`.
    """

    def __init__(self, layout: Layout, size: int) -> None:
        self._packets = layout.packets
        self._rooms = tuple(Room() for _ in layout.packets)
        self._decoder = StreamDecoder(layout, self._rooms)
        self._size = size
        self._done = 0

    def feed(self, block: bytes) -> tuple[Reject, ...]:
        """Take in the next bytes, cut anywhere; what of them was no packet. Never raises on their account."""
        self._done += len(block)
        for room in self._rooms:
            room.expect(min(1.0, self._done / self._size) if self._size > 0 else 1.0)
        return self._added(self._decoder.feed(block))

    def finish(self) -> tuple[Reject, ...]:
        """The recording has ended: what is left of an unfinished frame is a reject."""
        return self._added(self._decoder.finish())

    def columns(self) -> Mapping[str, Mapping[str, NDArray[Any]]]:
        """The columns of each kind of packet that came, as in `decoders.decoded.PacketTable`, by its name."""
        found = zip(self._packets, self._rooms, strict=True)
        return {packet.name: room.columns() for packet, room in found if len(room)}

    def _added(self, decoded: Decoded) -> tuple[Reject, ...]:
        for table in decoded.tables:
            kind = next(k for k, packet in enumerate(self._packets) if packet is table.packet)
            self._rooms[kind].add(table.columns)
        return decoded.rejects
