"""Contents of a frame: body and checksum, and which packet the body is.

The body starts with the discriminator; the checksum is computed over the whole body and follows it.
"""

from collections.abc import Sequence
from typing import Literal

from decoders.checksums import Checksum
from decoders.errors import LayoutError
from decoders.layout import Layout, Packet, Reason

NO_PACKET = -1  # what `Contents.kinds_of` gives instead of a packet's place in the layout


class Contents:
    """Joins and checks the contents of one layout's frames."""

    def __init__(self, layout: Layout, checksum: Checksum) -> None:
        if layout.id_bits % 8 or not 0 <= layout.id_bits <= 64:
            raise LayoutError(f"found {layout.id_bits} bits, expected whole bytes, at most 8", where="id")
        self.checksum = checksum
        self.checksum_order = layout.checksum_order
        self.id_size = layout.id_bits // 8
        self.byte_order = layout.byte_order
        self._packets = layout.packets
        self._order: Literal["little", "big"] = layout.checksum_order.value
        self._kinds: dict[bytes, int] = {}
        self._lengths: list[int] = []
        for kind, packet in enumerate(layout.packets):
            self._kinds[self.id_bytes(packet)] = kind
            self._lengths.append(packet.length + checksum.size)
        self.longest = max(self._lengths)

    def id_bytes(self, packet: Packet) -> bytes:
        """The discriminator as it stands at the start of the packet's body."""
        if self.id_size == 0:
            return b""
        if not 0 <= packet.id < 1 << (8 * self.id_size):
            raise LayoutError(
                f"found {packet.id}, expected a number of {8 * self.id_size} bits", where=f"{packet.name}.id"
            )
        if packet.length < self.id_size:
            raise LayoutError(
                f"found a body of {packet.length} bytes, expected at least the {self.id_size} of the id",
                where=packet.name,
            )
        return packet.id.to_bytes(self.id_size, self.byte_order.value)

    def seal(self, body: bytes) -> bytes:
        """The body with its checksum."""
        if self.checksum.size == 0:
            return body
        return body + self.checksum.of(body).to_bytes(self.checksum.size, self.checksum_order.value)

    def kinds_of(self, many: Sequence[bytes | None]) -> list[int]:
        """Which packet of the layout each of these contents is; `NO_PACKET` where it is none, or None."""
        size, compute, order, id_size = self.checksum.size, self.checksum.of, self._order, self.id_size
        kinds, lengths = self._kinds, self._lengths
        found = []
        for contents in many:
            kind = NO_PACKET
            if contents is not None and (
                size == 0
                or (len(contents) >= size and compute(contents[:-size]) == int.from_bytes(contents[-size:], order))
            ):
                kind = kinds.get(contents[:id_size], NO_PACKET)
                if kind >= 0 and lengths[kind] != len(contents):
                    kind = NO_PACKET
            found.append(kind)
        return found

    def fault(self, contents: bytes) -> tuple[Reason, str]:
        """Why these contents, which are no packet, are none: the reason and a sentence."""
        size = self.checksum.size
        body = contents[: len(contents) - size] if len(contents) >= size else b""
        if len(contents) < size:
            return Reason.CHECKSUM, f"found {len(contents)} bytes, expected at least the {size} of the checksum"
        stated = int.from_bytes(contents[len(body) :], self.checksum_order.value)
        computed = self.checksum.of(body) if size else stated
        if stated != computed:
            return Reason.CHECKSUM, (
                f"the frame carries {self.checksum.name} {stated:#0{2 * size + 2}x}, "
                f"its {len(body)} bytes give {computed:#0{2 * size + 2}x}"
            )
        if len(body) < self.id_size:
            return Reason.TOO_SHORT, f"found {len(body)} bytes, expected at least the {self.id_size} of the id"
        kind = self._kinds.get(body[: self.id_size])
        if kind is None:
            number = int.from_bytes(body[: self.id_size], self.byte_order.value)
            known = ", ".join(f"{packet.id} ({packet.name})" for packet in self._packets)
            return Reason.UNKNOWN_PACKET, f"found the id {number}, expected one of {known}"
        packet = self._packets[kind]
        reason = Reason.TOO_SHORT if len(body) < packet.length else Reason.TOO_LONG
        return reason, f"found {len(body)} bytes, expected the {packet.length} of packet {packet.name!r}"
