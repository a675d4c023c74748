"""The telemetry part of a vehicle file: the stream and its packets."""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from decoders.framing import TRAILED
from decoders.layout import BitOrder, WireKind
from groundstation.config.fields import BitEntry, FieldEntry, name_faults
from groundstation.config.filetable import Count, FileTable, Found, Number
from groundstation.config.framing import LINES, NMEA, SPACE_PACKETS, Checksum, Framing, ReceiverEntry
from groundstation.config.placing import Discriminator, Placed, body_bits, placed
from groundstation.config.quantities import shown
from groundstation.config.wire import wire_type

__all__ = ["SHARED_MEANINGS", "BitEntry", "FieldEntry", "PacketEntry", "Telemetry"]

SHARED_MEANINGS = frozenset({"sequence", "vehicle_time", "vehicle_address"})
"""Meanings that fields of several packets may have; every other belongs to one field."""

# CCSDS 133.0-B, the primary header: the application process identifier, and the whole header's length
_APID = Discriminator(5, 11)
_PRIMARY_HEADER_BITS = 48
_OF_LINES = Discriminator(0, 8)  # not sent: it is put in front of the values that a line brings
_IDLE_APID = 0x7FF


class PacketEntry(FileTable):
    """One kind of packet: the fields stand around the discriminator in the order given, without gaps."""

    name: str = Field(description="letters, digits, underscores and hyphens")
    id: Count | None = Field(
        default=None,
        ge=0,
        description="the discriminator's value in these packets; of ccsds, the application process identifier",
    )
    tag: str | None = Field(
        default=None, description='what a line of text starts with, as "GGA"; else the name; for lines of text only'
    )
    rate_hz: Number = Field(gt=0, description="packets a second the vehicle sends")
    fields: tuple[FieldEntry, ...] = Field(min_length=1, description="in the order in which they are sent")

    def faults(self) -> Iterator[Found]:
        """A name or tag that cannot be."""
        yield from name_faults(self.name)
        if self.tag is not None and not (self.tag.isascii() and self.tag.isprintable() and self.tag.strip()):
            yield Found(("tag",), f'found {shown(self.tag)}, expected printable characters such as "GGA"')


class Telemetry(FileTable):
    """The stream: each frame is a discriminator and the fields of one packet, with a checksum over both."""

    framing: Framing = Field(description="how frames are told apart in the stream")
    checksum: Checksum = Field(description="what shows that a frame's bytes are those that were sent")
    checksum_order: Literal["little", "big"] = Field(default="little", description="which byte is sent first")
    byte_order: Literal["little", "big"] = Field(description="which byte of a number is sent first")
    bit_order: Literal["most significant first", "least significant first"] | None = Field(
        default=None,
        description="of numbers that do not keep to whole bytes; else most significant first with byte_order big, "
        "least significant first with little",
    )
    id_type: str = Field(
        default="u8",
        description='type of the discriminator, u1 to u64; or "none": with lines of text, nothing but values is in a '
        "line, and of several kinds of packet each has another number of them",
    )
    id_at: Count = Field(default=0, ge=0, le=255, description="byte of the body at which the discriminator stands")
    id_at_bit: Count = Field(default=0, ge=0, le=7, description="so many bits later, in bit_order")
    address: Count | None = Field(
        default=None,
        ge=0,
        description="this vehicle's: packets whose vehicle_address is another are another vehicle's and left out",
    )
    sequence_counts: Literal["packets of its kind", "all packets"] = Field(
        default="all packets", description="what the packet counter counts"
    )
    receiver: ReceiverEntry | None = Field(default=None, description="what the receiver adds to each packet")
    packets: tuple[PacketEntry, ...] = Field(alias="packet", min_length=1, description="each kind of packet")

    @property
    def is_lines(self) -> bool:
        """Whether packets are lines of text."""
        return self.framing.kind in LINES

    @property
    def is_told_by_count(self) -> bool:
        """Whether lines have no tag and the number of their values tells several kinds of packet apart."""
        return self.is_lines and self.id_type == "none" and len(self.packets) > 1

    @property
    def is_space_packets(self) -> bool:
        """Whether packets are space packets, which bring a header of their own."""
        return self.framing.kind == SPACE_PACKETS

    @property
    def discriminator(self) -> Discriminator:
        """Where the discriminator stands in every body."""
        if self.is_space_packets:
            return _APID
        if self.is_told_by_count:
            return _OF_LINES
        known = None if self.id_type == "none" else wire_type(self.id_type)
        return Discriminator(8 * self.id_at + self.id_at_bit, 0 if known is None else known.bits)

    @property
    def body_start(self) -> int:
        """Bits of every body before its first field or its discriminator."""
        return _PRIMARY_HEADER_BITS if self.is_space_packets else 0

    @property
    def bits_first(self) -> BitOrder:
        """The bit order."""
        if self.bit_order is not None:
            return BitOrder(self.bit_order)
        return BitOrder.MOST if self.byte_order == "big" else BitOrder.LEAST

    @property
    def header_counts(self) -> bool:
        """Whether the packet counter is that of the space packets' own header."""
        return self.is_space_packets and not any(f.meaning == "sequence" for p in self.packets for f in p.fields)

    @property
    def shares_counter(self) -> bool:
        """Whether one counter counts all packets; that of space packets counts each kind (133.0-B, 4.1.3.4)."""
        return self.sequence_counts == "all packets" and not self.header_counts

    def places(self, packet: PacketEntry) -> list[Placed]:
        """Each field of a packet with its place."""
        return list(placed(packet.fields, self.discriminator, self.body_start))

    def lengths(self, packet: PacketEntry) -> list[int]:
        """Every length [bytes] that the packet's body may have, the full one last."""
        places = self.places(packet)
        ends = [place.first_bit // 8 for place in places if place.entry.optional]
        return [*ends, (body_bits(places, self.discriminator, self.body_start) + 7) // 8]

    def faults(self) -> Iterator[Found]:
        """Packets that cannot be told apart, fields that cannot stand where they would, counters that are none."""
        yield from self._discriminator_faults()
        yield from self._checksum_faults()
        if self.receiver is not None:
            yield from self._receiver_faults(self.receiver)
        for place, packet in enumerate(self.packets):
            for found in (*self._id_faults(packet), *self._place_faults(packet)):
                yield Found(("packet", place, *found.path), found.text)
            if self.is_lines:
                for found in _line_faults(packet):
                    yield Found(("packet", place, *found.path), found.text)
        if self.sequence_counts == "all packets":
            yield from self._counter_faults()
        if self.address is not None:
            yield from self._address_faults(self.address)

    def _discriminator_faults(self) -> Iterator[Found]:
        known = wire_type(self.id_type)
        if self.id_type != "none" and (known is None or known.kind is not WireKind.UNSIGNED or known.scale != 1):
            yield Found(("id_type",), f'found {shown(self.id_type)}, expected "none" or u1 to u64')
        if self.is_lines and self.id_type == "none":
            yield from self._untagged_faults()
        elif self.id_type == "none" and len(self.packets) > 1 and not self.is_space_packets:
            text = f'found "none" with {len(self.packets)} packets, expected "u8", "u16" or "u32" to tell them apart'
            yield Found(("id_type",), text)
        for key in ("id_type", "id_at", "id_at_bit"):
            if self.is_space_packets and key in self.model_fields_set:
                text = 'found it on "ccsds", expected none: the application process identifier tells packets apart'
                yield Found((key,), text)
        for key in ("id_at", "id_at_bit"):
            if self.is_lines and key in self.model_fields_set:
                yield Found((key,), "found it for lines of text, expected none: a line starts with its tag")

    def _untagged_faults(self) -> Iterator[Found]:
        if self.framing.kind == NMEA:
            yield Found(("id_type",), f'found "none" on {shown(NMEA)}, where each sentence starts with its address')
        seen: dict[int, str] = {}
        for place, packet in enumerate(self.packets):
            if packet.tag is not None:
                text = 'found it with id_type = "none", expected none: a line holds nothing but values'
                yield Found(("packet", place, "tag"), text)
            count = sum(entry.count for entry in packet.fields)
            other = seen.setdefault(count, packet.name)
            if other != packet.name:
                text = (
                    f"found {count} values, as many as packet {shown(other)} has, expected another number to tell "
                    'them apart by, or a tag in each line and no id_type = "none"'
                )
                yield Found(("packet", place, "fields"), text)

    def _checksum_faults(self) -> Iterator[Found]:
        checksum = self.checksum
        if checksum.place == "start" and (self.is_space_packets or self.is_lines):
            follows = "the packet's own header" if self.is_space_packets else "the line's tag"
            yield Found(("checksum", "place"), f'found "start", expected "end": {follows} comes first')
        for key in ("covers", "skip", "leave"):
            value = getattr(checksum, key)
            if self.is_lines and value != type(checksum).model_fields[key].default:
                text = f'found {shown(value)}, expected none: a line\'s checksum covers what stands before its "*"'
                yield Found(("checksum", key), text)

    def _receiver_faults(self, receiver: ReceiverEntry) -> Iterator[Found]:
        if self.is_lines:
            yield Found(("receiver",), "found it for lines of values, expected it among the fields of each packet")
        if receiver.line is not None and not self.is_lines:
            for found in self._line_faults(receiver, receiver.line):
                yield Found(("receiver", *found.path), found.text)
        if receiver.after_delimiter and self.framing.kind not in TRAILED:
            expected = " or ".join(shown(kind) for kind in TRAILED)
            text = f"found it on {shown(self.framing.kind)}, expected it on {expected}: their frames have a delimiter"
            yield Found(("receiver", "after_delimiter"), text)
        if receiver.before and receiver.line is None and self.is_space_packets:
            yield Found(("receiver", "before"), 'found it on "ccsds", where the packet follows the sync marker')

    def _line_faults(self, receiver: ReceiverEntry, line: str) -> Iterator[Found]:
        """What a line around hexadecimal digits, or one beside binary frames, must have and must not have."""
        if self.framing.kind == "hexadecimal lines":
            if receiver.before:
                yield Found(("before",), "found it beside line, expected every number of the line in after")
            if line.count("{packet}") != 1:
                yield Found(("line",), f"found {shown(line)}, expected {{packet}} in it once")
            return
        if "{packet}" in line:
            text = f"found {{packet}} in it on {shown(self.framing.kind)}, expected a line by itself: its numbers in "
            yield Found(("line",), text + "before if it stands in front of each frame, in after if behind it")
        if receiver.before and receiver.after:
            yield Found(("after",), "found it beside before, expected all numbers of the line in one of them")

    def _id_faults(self, packet: PacketEntry) -> Iterator[Found]:
        bits = self.discriminator.bits
        if packet.tag is not None and not self.is_lines:
            yield Found(("tag",), f"found it on {shown(self.framing.kind)}, expected it for lines of text only")
        if packet.id is None:
            if bits and not self.is_lines:
                yield Found(("id",), "found no such key, expected a whole number, at least 0")
        elif self.is_space_packets and packet.id >= _IDLE_APID:
            text = f"found {packet.id}, expected 0 to {_IDLE_APID - 1}: {_IDLE_APID} is an idle packet's"
            yield Found(("id",), text)
        elif bits and packet.id >= 2**bits:
            text = f"found {packet.id}, expected 0 to {2**bits - 1}, which is what a {self.id_type} can hold"
            yield Found(("id",), text)

    def _place_faults(self, packet: PacketEntry) -> Iterator[Found]:
        places = self.places(packet)
        end = body_bits(places, self.discriminator, self.body_start)
        for f, place in enumerate(places):
            if place.problem:
                yield Found(("fields", f), place.problem)
            if place.entry.optional:
                yield from self._tail_faults(("fields", f, "optional"), place)
        if self.discriminator.bits and not self.is_space_packets:
            before = sum(place.entry.span for place in places if place.first_bit < self.discriminator.first_bit)
            if before < self.discriminator.first_bit:
                text = (
                    f"found {before} bits of fields before the discriminator at bit {self.discriminator.first_bit}, "
                    "expected fields or a pad to fill the bytes before it"
                )
                yield Found(("fields",), text)
        if end % 8:
            text = (
                f"found {end} bits in the body, expected whole bytes: pad{8 - end % 8} at the end would fill them up"
            )
            yield Found(("fields",), text)

    def _tail_faults(self, path: tuple[str | int, ...], place: Placed) -> Iterator[Found]:
        if place.first_bit % 8:
            yield Found(path, f"found it at bit {place.first_bit} of the body, expected it on whole bytes")
        if place.first_bit < max(self.discriminator.end if self.discriminator.bits else 0, 8):
            yield Found(path, "found it before anything that every packet has, expected a later field")
        stated = self.framing.length is not None or self.framing.kind != "sync"
        if not stated or self.is_lines or self.framing.kind == "fixed length":
            text = f"found it on {shown(self.framing.kind)}, expected a framing that tells how long each frame is"
            yield Found(path, text)

    def _counter_faults(self) -> Iterator[Found]:
        first: FieldEntry | None = None
        for p, packet in enumerate(self.packets):
            for f, item in enumerate(packet.fields):
                if item.meaning != "sequence":
                    continue
                if first is not None and item.type != first.type:
                    text = (
                        f"found {shown(item.type)} for the counter of all packets, expected {shown(first.type)} "
                        "as in the first packet that has it"
                    )
                    yield Found(("packet", p, "fields", f, "type"), text)
                first = first or item

    def _address_faults(self, address: int) -> Iterator[Found]:
        first: Placed | None = None
        for p, packet in enumerate(self.packets):
            found = next((place for place in self.places(packet) if place.entry.meaning == "vehicle_address"), None)
            path = ("packet", p, "fields")
            if found is None or found.entry.wire.kind is not WireKind.UNSIGNED or self.is_lines:
                text = 'found no unsigned field with the meaning "vehicle_address", expected one in every packet'
                yield Found(path, text)
                continue
            most = 2**found.entry.wire.bits - 1
            if address > most:
                text = (
                    f"found {address}, expected 0 to {most}, which is what {packet.name}.{found.entry.name} can hold"
                )
                yield Found(("address",), text)
            if first is not None and (found.first_bit, found.entry.type) != (first.first_bit, first.entry.type):
                text = (
                    f"found the address as {found.entry.type} at bit {found.first_bit} of the body, expected it as "
                    f"{first.entry.type} at bit {first.first_bit}, as in the first packet"
                )
                yield Found(path, text)
            first = first or found


def _line_faults(packet: PacketEntry) -> Iterator[Found]:
    """Fields that a line of text cannot hold."""
    for f, item in enumerate(packet.fields):
        known = item.wire
        if item.bits or known.kind in (None, WireKind.TEXT, WireKind.QUATERNION) or known.bits % 8:
            found = "a field with bits" if item.bits else shown(item.type)
            text = f"found {found} in a line of text, expected a number such as u16, i32 or f64"
            yield Found(("fields", f, "type"), text)
