"""Contents of a frame: what is left of it when its stuffing is taken away.

Contents are a head (sync word and header, where the framing has them), the body and the checksum, which stands before
or after the body. The body starts with the discriminator.
"""

from collections.abc import Sequence
from enum import Enum
from typing import Literal

from decoders.checksums import Checksum
from decoders.errors import LayoutError
from decoders.layout import ChecksumPlace, Layout, Packet, Reason

NO_PACKET = -1  # what `Contents.kinds_of` gives instead of a packet's place in the layout


class Verdict(Enum):
    """What contents are."""

    PACKET = "a packet of the layout"
    STRANGE = "sound, but no packet of the layout"
    DAMAGED = "not as they were sent"


class Contents:
    """Joins and checks the contents of one layout's frames.

    Args:
        layout: Says where everything is.
        checksum: The layout's.
        head_size: Bytes before the checksum or the body.
    Raises:
        LayoutError: An id or a checksum's range that the packets have no room for.
    """

    def __init__(self, layout: Layout, checksum: Checksum, head_size: int = 0) -> None:
        if layout.id_bits % 8 or not 0 <= layout.id_bits <= 64:
            raise LayoutError(f"found {layout.id_bits} bits, expected whole bytes, at most 8", where="id")
        # `covered` (with `covered_too`) and `stated` are where the checksum's message and the checksum itself stand
        self.checksum = checksum
        self.checksum_order = layout.checksum_order
        self.id_size = layout.id_bits // 8
        self.byte_order = layout.byte_order
        self._order: Literal["little", "big"] = layout.checksum_order.value
        self._packets = layout.packets
        self._head = head_size
        at_start = layout.checksum_place is ChecksumPlace.START
        self.body_at = head_size + (checksum.size if at_start else 0)
        self._least = head_size + checksum.size
        self._end = None if at_start or checksum.size == 0 else -checksum.size  # of the body
        self.stated = slice(head_size, self.body_at) if at_start else slice(self._end, None)
        self.covered, self.covered_too = self._coverage(layout)
        self._id = slice(self.body_at, self.body_at + self.id_size)
        self._kinds: dict[bytes, int] = {}
        self._lengths: list[int] = []
        for kind, packet in enumerate(layout.packets):
            self._kinds[self.id_bytes(packet)] = kind
            self._lengths.append(self._least + packet.length)
        self.longest = max(self._lengths)

    def _coverage(self, layout: Layout) -> tuple[slice, slice | None]:
        """The bytes that the checksum covers: a first run, and a second one behind a checksum that stands between."""
        first, until = layout.checksum_from, layout.checksum_until
        shortest = min(packet.length for packet in layout.packets)
        if first < -self._head or until < 0 or max(first, 0) + until > shortest:
            raise LayoutError(
                f"covers bytes {first} to {until} before the end, expected a range within the {self._head} bytes of "
                f"the head and the {shortest} of the shortest body",
                where="checksum",
            )
        end = (self._end or 0) - until or None
        if self.body_at == self._head:
            return slice(self._head + first, end), None
        if first >= 0:
            return slice(self.body_at + first, end), None
        return slice(self._head + first, self._head), slice(self.body_at, end)

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

    def with_room(self, body: bytes) -> bytearray:
        """The body with zeros where head and checksum belong."""
        after = self._least - self.body_at
        return bytearray(self.body_at) + body + bytes(after)

    def seal(self, contents: bytearray) -> bytes:
        """Put the checksum into contents that are otherwise complete."""
        size = self.checksum.size
        if size:
            contents[self.stated] = self._computed(bytes(contents)).to_bytes(size, self._order)
        return bytes(contents)

    def _computed(self, contents: bytes) -> int:
        covered = contents[self.covered]
        if self.covered_too is not None:
            covered += contents[self.covered_too]
        return self.checksum.of(covered)

    def length_from(self, data: bytes, start: int) -> int | None:
        """Length of the contents that start there, by their id; 0 for an unknown id, None where it is yet to come."""
        found = data[start + self._id.start : start + self._id.stop]
        if len(found) < self.id_size:
            return None
        kind = self._kinds.get(found)
        return 0 if kind is None else self._lengths[kind]

    def kinds_of(self, many: Sequence[bytes | None]) -> list[int]:
        """Which packet of the layout each of these contents is; `NO_PACKET` where it is none, or None."""
        size, least, compute, order = self.checksum.size, self._least, self.checksum.of, self._order
        covered, covered_too, stated, where = self.covered, self.covered_too, self.stated, self._id
        kinds, lengths = self._kinds, self._lengths
        found = []
        for contents in many:
            kind = NO_PACKET
            if contents is not None and len(contents) >= least:
                message = contents[covered] if covered_too is None else contents[covered] + contents[covered_too]
                if size == 0 or compute(message) == int.from_bytes(contents[stated], order):
                    kind = kinds.get(contents[where], NO_PACKET)
                    if kind >= 0 and lengths[kind] != len(contents):
                        kind = NO_PACKET
            found.append(kind)
        return found

    def verdict(self, contents: bytes) -> Verdict:
        """What these contents are; without a checksum nothing but a packet is taken to be sound."""
        if self.kinds_of((contents,))[0] != NO_PACKET:
            return Verdict.PACKET
        if self.checksum.size == 0 or self.fault(contents)[0] is Reason.CHECKSUM:
            return Verdict.DAMAGED
        return Verdict.STRANGE

    def fault(self, contents: bytes) -> tuple[Reason, str]:
        """Why these contents, which are no packet, are none: the reason and a sentence."""
        size = self.checksum.size
        if len(contents) < self._least:
            return (
                Reason.CHECKSUM,
                f"found {len(contents)} bytes, expected at least the {self._least} of the checksum",
            )
        body = contents[self.body_at : self._end]
        stated = int.from_bytes(contents[self.stated], self._order) if size else 0
        computed = self._computed(contents) if size else 0
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
