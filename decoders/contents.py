"""Contents of a frame: what is left of it when its stuffing is taken away.

Contents are a head (sync word and header, where the framing has them), the body and the checksum, which stands before
or after the body; around body and checksum, what a receiver has added. The discriminator, and the vehicle's address
if there is one, stand in every body at one place.
"""

import struct
from collections.abc import Callable, Sequence
from enum import Enum
from typing import Literal

from decoders.checksums import Checksum
from decoders.errors import LayoutError
from decoders.fields import Place, number_place
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
        # `covered` (with `covered_too`) and `stated` are where the checksum's message and the checksum itself stand
        self.checksum = checksum
        self.checksum_order = layout.checksum_order
        self.byte_order = layout.byte_order
        self._order: Literal["little", "big"] = layout.checksum_order.value
        self._packets = layout.packets
        before, after = layout.envelope.before, layout.envelope.after
        self._head = head_size + before
        self.envelope = slice(head_size, self._head), after
        at_start = layout.checksum_place is ChecksumPlace.START
        self.body_at = self._head + (checksum.size if at_start else 0)
        self._least = self._head + checksum.size + after
        self._end = -after - (0 if at_start else checksum.size) or None  # of the body
        self.stated = slice(self._head, self.body_at) if at_start else slice(self._end, -after or None)
        self.covered, self.covered_too = self._coverage(layout)
        self._id = _MarkedBytes(discriminator_place(layout) if layout.id_bits else None, self.body_at)
        self._address = _MarkedBytes(address_place(layout), self.body_at)
        self._own_address = b"" if layout.address is None else self._address.written(layout.address.value)
        self._kinds: dict[bytes, int] = {}
        self._lengths: list[frozenset[int]] = []  # of each kind's contents
        for kind, packet in enumerate(layout.packets):
            self._check(packet, layout)
            self._kinds[self._id.written(packet.id)] = kind
            self._lengths.append(frozenset(self._least + length for length in packet.lengths))
        self._kinds_by_length: dict[int, dict[bytes, int]] = {}  # of contents; then by what marks them
        for mark, kind in self._kinds.items():
            for length in self._lengths[kind]:
                self._kinds_by_length.setdefault(length, {})[mark] = kind
        self._stated_in = _number_in(self.stated, checksum.size, self._order) if checksum.size else None
        self.longest = max(map(max, self._lengths))
        self.has_optional_tails = any(len(lengths) > 1 for lengths in self._lengths)

    def _coverage(self, layout: Layout) -> tuple[slice, slice | None]:
        """The bytes that the checksum covers: a first run, and a second one behind a checksum that stands between."""
        first, until = layout.checksum_from, layout.checksum_until
        shortest = min(packet.lengths[0] for packet in layout.packets)
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

    def _check(self, packet: Packet, layout: Layout) -> None:
        """Refuse a packet that has no room for what every packet carries."""
        if layout.id_bits and not 0 <= packet.id < 1 << layout.id_bits:
            raise LayoutError(
                f"found {packet.id}, expected a number of {layout.id_bits} bits", where=f"{packet.name}.id"
            )
        for mark, what in ((self._id, "id"), (self._address, "address")):
            if packet.lengths[0] < mark.size:
                raise LayoutError(
                    f"found a body of {packet.lengths[0]} bytes, expected at least the {mark.size} up to the {what}",
                    where=packet.name,
                )

    def marks(self, packet: Packet) -> tuple[tuple[int, int, int], ...]:
        """What tells the packet's contents from others': (place, mask, value) of bytes with bits of id or address."""
        return (*self._id.marks(self._id.written(packet.id)), *self._address.marks(self._own_address))

    @property
    def id_byte(self) -> tuple[int, bytes] | None:
        """Where the one byte stands that tells packets apart, and every value of it; None if it is more than that."""
        if len(self._id.mask) != 1 or not self._id.is_whole:
            return None
        return self._id.where.start, b"".join(self._kinds)

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
        found = data[start + self._id.where.start : start + self._id.where.stop]
        if len(found) < len(self._id.mask):
            return None
        kind = self._kinds.get(self._id.masked(found))
        return 0 if kind is None else max(self._lengths[kind])

    def kinds_of(self, many: Sequence[bytes | None]) -> list[int]:
        """Which packet of the layout each of these contents is; `NO_PACKET` where it is none, or None."""
        compute, stated_in, stated_at = self.checksum.of, self._stated_in, self.stated.start
        covered, covered_too = self.covered, self.covered_too
        by_length, where = self._kinds_by_length, self._id.where
        masked = None if self._id.is_whole else self._id.masked
        is_foreign = self._is_foreign if self._own_address else None
        found = []
        for contents in many:
            kind = NO_PACKET
            if contents is not None and (kinds := by_length.get(len(contents))) is not None:
                message = contents[covered] if covered_too is None else contents[covered] + contents[covered_too]
                if stated_in is None or compute(message) == stated_in(contents, stated_at)[0]:
                    mark = contents[where]
                    kind = kinds.get(mark if masked is None else masked(mark), NO_PACKET)
                    if is_foreign is not None and is_foreign(contents):
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
        for mark, what in ((self._address, "address"), (self._id, "id")):
            if len(body) < mark.size:
                return Reason.TOO_SHORT, f"found {len(body)} bytes, expected at least the {mark.size} of the {what}"
        if self._own_address and self._is_foreign(contents):
            own = self._address.read(self._own_address)
            return Reason.OTHER_VEHICLE, f"found the address {self._address.read_from(contents)}, expected {own}"
        kind = self._kinds.get(self._id.masked(contents[self._id.where]))
        if kind is None:
            known = ", ".join(f"{packet.id} ({packet.name})" for packet in self._packets)
            return Reason.UNKNOWN_PACKET, f"found the id {self._id.read_from(contents)}, expected one of {known}"
        packet = self._packets[kind]
        reason = Reason.TOO_SHORT if len(body) < packet.length else Reason.TOO_LONG
        allowed = " or ".join(map(str, packet.lengths))
        return reason, f"found {len(body)} bytes, expected the {allowed} of packet {packet.name!r}"

    def _is_foreign(self, contents: bytes) -> bool:
        """Whether another vehicle's address stands in these contents."""
        return self._address.masked(contents[self._address.where]) != self._own_address


def _number_in(where: slice, size: int, order: Literal["little", "big"]) -> Callable[[bytes, int], tuple[int, ...]]:
    """What reads the unsigned number that stands in some bytes, given where it starts; at C speed where it can."""
    code = {1: "B", 2: "H", 4: "I", 8: "Q"}.get(size)
    if code is None:
        return lambda contents, start: (int.from_bytes(contents[where], order),)
    return struct.Struct(("<" if order == "little" else ">") + code).unpack_from


class _MarkedBytes:
    """The bytes in which a number stands that tells packets apart, the bits of others masked out."""

    def __init__(self, place: Place | None, body_at: int) -> None:
        self._place = place
        self.size = 0 if place is None else place.end  # bytes of the body up to its end
        self.where = slice(body_at, body_at) if place is None else slice(body_at + place.start, body_at + place.end)
        self.mask = b"" if place is None else place.byte_masks
        self.is_whole = all(byte == 0xFF for byte in self.mask)
        self._mask = int.from_bytes(self.mask, "big")

    def masked(self, found: bytes) -> bytes:
        """The bytes without what belongs to others."""
        if self.is_whole:
            return found
        return (int.from_bytes(found, "big") & self._mask).to_bytes(len(self.mask), "big")

    def written(self, number: int) -> bytes:
        """The bytes that hold the number and nothing else."""
        if self._place is None:
            return b""
        return (number << self._place.shift).to_bytes(self._place.size, self._place.byte_order.value)

    def read(self, found: bytes) -> int:
        """The number in these bytes."""
        if self._place is None:
            return 0
        number = int.from_bytes(found, self._place.byte_order.value)
        return (number & self._place.mask) >> self._place.shift

    def read_from(self, contents: bytes) -> int:
        """The number in these contents."""
        return self.read(contents[self.where])

    def marks(self, written: bytes) -> list[tuple[int, int, int]]:
        """(place, mask, value) of each byte in which a bit of it stands."""
        places = range(self.where.start, self.where.stop)
        return [(at, mask, value) for at, mask, value in zip(places, self.mask, written, strict=True) if mask]


def discriminator_place(layout: Layout) -> Place:
    """Where the discriminator stands in a body; LayoutError where it cannot."""
    return number_place(layout.id_first_bit, layout.id_bits, layout.byte_order, layout.id_bit_order, "id")


def address_place(layout: Layout) -> Place | None:
    """Where a vehicle's address stands in a body, if the layout has one; LayoutError where it cannot."""
    address = layout.address
    if address is None:
        return None
    place = number_place(address.first_bit, address.bits, layout.byte_order, address.bit_order, "address")
    if not 0 <= address.value < 1 << address.bits:
        raise LayoutError(f"found {address.value}, expected a number of {address.bits} bits", where="address")
    return place
