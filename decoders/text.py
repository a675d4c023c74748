"""Lines of text as packets: delimited values, key=value pairs, and NMEA 0183 sentences.

A line becomes the body that the layout describes: each of its numbers is written in the wire type of its field, so
that everything behind the framing is the same as for binary packets. The line's checksum, if the layout has one,
follows an asterisk in hexadecimal digits and covers the characters before it ("$" and "!" in front not included); it
is checked here, and the contents carry none.

A packet's fields stand in the order of their places in the body. With a discriminator, a line starts with the
packet's tag, or the number of its values tells which packet it is; of an NMEA address ("GPGGA") the sentence
formatter ("GGA") may stand for all talkers.

Numbers are written with a decimal point, nan and inf by name; a single letter stands for its ASCII code (N is 78); an
empty token is NaN in a float and refused elsewhere.

Source: NMEA 0183 (IEC 61162-1), sentence structure: "$", address, fields after commas, "*", two digits of the
exclusive or of all characters between "$" and "*", carriage return, line feed.
"""

import re
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from decoders.checksums import Checksum
from decoders.contents import Contents
from decoders.delimited import DelimitedCutter
from decoders.errors import FrameError, LayoutError, LineError
from decoders.layout import ByteOrder, Field, Layout, LineMark, Packet, Reason, WireKind

_NUMBER = re.compile(rb"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?|[+-]?(?:nan|inf)", re.IGNORECASE)
_WHOLE = re.compile(rb"[+-]?[0-9]+")
_OF_DECIMALS = b"0123456789.+-"
_CHECKSUM_MARK = b"*"
_TOKEN = 32  # characters that a number may take
TALKER = 2  # characters of an NMEA address before the sentence formatter


@dataclass(frozen=True, slots=True)
class Style:
    """How a line is written: what is in front of it, and whether its values carry their names."""

    name: str
    opening: bytes = b""
    named: bool = False
    talkers: bool = False


DELIMITED_VALUES = Style("delimited values")
KEY_VALUE = Style("key=value", named=True)
NMEA = Style("nmea 0183", opening=b"$", talkers=True)


@dataclass(frozen=True, slots=True)
class Slot:
    """Where one value stands in a body, and how it is written there."""

    place: slice
    bits: int
    where: str
    order: Literal["little", "big"]
    is_signed: bool
    code: str  # of a float, as `struct` calls it; else empty

    @classmethod
    def of(cls, item: Field, packet: str, order: ByteOrder) -> "Slot":
        """The slot of a field."""
        at = item.first_bit // 8
        is_float = item.kind is WireKind.FLOAT
        code = ("<" if order is ByteOrder.LITTLE else ">") + ("f" if item.bits == 32 else "d") if is_float else ""
        place = slice(at, at + item.bits // 8)
        return cls(place, item.bits, f"{packet}.{item.name}", order.value, item.kind is WireKind.SIGNED, code)

    def packed(self, token: bytes) -> bytes:
        """The wire form of a number written in text.

        Raises:
            LineError: It is none, or none that the field can hold.
        """
        token = token.strip()
        if len(token) == 1 and token.isalpha():
            token = b"%d" % token[0]
        if not self.code:
            return self._whole(token)
        # of these characters alone, what `float` takes is what is taken here
        if token and token.translate(None, _OF_DECIMALS) and not _NUMBER.fullmatch(token):
            raise self._refused(token, "a number")
        try:
            return struct.pack(self.code, float(token or b"nan"))
        except ValueError:
            raise self._refused(token, "a number") from None
        except OverflowError:
            raise self._refused(token, f"a number that {self.bits} bits can hold") from None

    def _whole(self, token: bytes) -> bytes:
        if not _WHOLE.fullmatch(token):
            raise self._refused(token, "a whole number")
        try:
            return int(token[:_TOKEN]).to_bytes(self.bits // 8, self.order, signed=self.is_signed)
        except OverflowError:
            raise self._refused(token, f"a number of {self.bits} bits") from None

    def _refused(self, token: bytes, expected: str) -> LineError:
        return LineError(f"{self.where}: found {token!r}, expected {expected}", offset=0, reason=Reason.FRAMING)


class TextLines:
    """A framing of lines; what `decode` refuses says by its reason what is wrong: checksum, tag, number of values."""

    head_size = 0

    def __init__(self, layout: Layout, style: Style, checksum: Checksum) -> None:
        self.name = style.name
        self.style = style
        self.checksum = checksum
        self.separator = layout.separator.encode("ascii")
        if not self.separator or set(self.separator) & set(b"\r\n*=.+-0123456789"):
            raise LayoutError(f"found {layout.separator!r}, expected a separator such as ','", where="separator")
        self._order: Literal["little", "big"] = layout.byte_order.value
        self._id_size = layout.id_bits // 8
        self.is_tagged = layout.id_bits > 0 and layout.line_mark is LineMark.TAG
        self._packets = {tag_of(packet): packet for packet in layout.packets}
        self._by_id = {packet.id: packet for packet in layout.packets}
        self._fields = {packet.id: _in_order(packet) for packet in layout.packets}
        self._slots = {
            packet.id: tuple(Slot.of(item, packet.name, layout.byte_order) for item in self._fields[packet.id])
            for packet in layout.packets
        }
        self._by_count = self._counted(layout)
        self.longest = max(self._longest_line(packet) for packet in layout.packets)

    def prepare(self, contents: bytearray) -> None:
        """Nothing to write."""

    def encode(self, contents: bytes) -> bytes:
        """The line that stands for the contents, with its line end."""
        number = int.from_bytes(contents[: self._id_size], self._order)
        packet = self._by_id[number] if self._id_size else next(iter(self._by_id.values()))
        tokens = [tag_of(packet)] if self.is_tagged else []
        for item in self._fields[packet.id]:
            token = self._written(contents, item)
            tokens.append(item.name.encode("ascii") + b"=" + token if self.style.named else token)
        line = self.separator.join(tokens)
        if size := self.checksum.size:
            line += b"*" + f"{self.checksum.of(line):0{2 * size}X}".encode("ascii")
        return self.style.opening + line + b"\r\n"

    def decode(self, frame: bytes) -> bytes:
        """The body that the line stands for.

        Raises:
            LineError: With its reason: the line is not written as the layout says.
        """
        line = self._checked(frame)
        tokens = line.split(self.separator)
        packet, values = self._identified(tokens)
        fields = self._fields[packet.id]
        if self.style.named:
            found = self._by_key(packet, values)
            values = [found[item.name.encode("ascii")] for item in fields]
        elif len(values) != len(fields):
            reason = Reason.TOO_SHORT if len(values) < len(fields) else Reason.TOO_LONG
            raise LineError(
                f"found {len(values)} values, expected the {len(fields)} of packet {packet.name!r}",
                offset=len(frame),
                reason=reason,
            )
        body = bytearray(packet.length)
        if self._id_size:
            body[: self._id_size] = packet.id.to_bytes(self._id_size, self._order)
        for slot, token in zip(self._slots[packet.id], values, strict=True):
            body[slot.place] = slot.packed(token)
        return bytes(body)

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """As `decode`, None for what it refuses."""
        found: list[bytes | None] = []
        for frame in frames:
            try:
                found.append(self.decode(frame))
            except FrameError:
                found.append(None)
        return found

    def cutter(self, contents: Contents) -> DelimitedCutter:
        """A cutter at line feeds that passes over blank lines."""
        return DelimitedCutter(b"\n", self.longest, blank=b"\r\t ")

    def fields_of(self, packet: Packet) -> tuple[Field, ...]:
        """The fields of a packet in the order of their values in a line."""
        return self._fields[packet.id]

    def slots_of(self, packet: Packet) -> tuple[Slot, ...]:
        """The places in the body of a packet's values, in the order of the values in a line."""
        return self._slots[packet.id]

    def is_number(self, token: bytes) -> bool:
        """Whether this is a number, and not a letter or nothing."""
        return bool(_NUMBER.fullmatch(token))

    def _checked(self, frame: bytes) -> bytes:
        """The line without its opening, line end and checksum."""
        line = frame.rstrip(b"\r")
        opening = self.style.opening
        if opening and line[:1] not in (opening, b"!"):
            raise LineError(f"found {line[:1]!r} in front, expected {opening!r}", offset=0, reason=Reason.FRAMING)
        line = line[len(opening) :]
        if not self.checksum.size:
            return line
        line, mark, digits = line.rpartition(_CHECKSUM_MARK)
        if not mark or len(digits) != 2 * self.checksum.size or not re.fullmatch(rb"[0-9A-Fa-f]+", digits):
            expected = f"an asterisk and {2 * self.checksum.size} hexadecimal digits at the end"
            raise LineError(f"found no checksum, expected {expected}", offset=len(frame), reason=Reason.CHECKSUM)
        computed = self.checksum.of(line)
        if computed != int(digits, 16):
            width = 2 * self.checksum.size
            raise LineError(
                f"the line carries {self.checksum.name} {digits.decode('ascii')}, "
                f"its {len(line)} characters give {computed:0{width}X}",
                offset=len(line),
                reason=Reason.CHECKSUM,
            )
        return line

    def _identified(self, tokens: list[bytes]) -> tuple[Packet, list[bytes]]:
        """The packet that the line is, and its values."""
        if not self.is_tagged:
            return self._of_count(len(tokens)), tokens
        tag = tokens[0].strip()
        packet = self._packets.get(tag)
        if packet is None and self.style.talkers:
            packet = self._packets.get(tag[TALKER:])
        if packet is None:
            known = ", ".join(known.decode("ascii") for known in self._packets)
            raise LineError(f"found {tag!r}, expected one of {known}", offset=0, reason=Reason.UNKNOWN_PACKET)
        return packet, tokens[1:]

    def _counted(self, layout: Layout) -> dict[int, Packet]:
        """The packets by the number of their values."""
        counted: dict[int, Packet] = {}
        for packet in layout.packets:
            count = len(self._fields[packet.id])
            other = counted.setdefault(count, packet)
            if not self.is_tagged and other is not packet:
                text = f"found {count} values, as many as packet {other.name!r} has, expected another number"
                raise LayoutError(text, where=packet.name)
        return counted

    def _of_count(self, count: int) -> Packet:
        """The packet that has so many values."""
        packet = self._by_count.get(count)
        if packet is None:
            known = " or ".join(f"{n} of packet {self._by_count[n].name!r}" for n in sorted(self._by_count))
            reason = Reason.TOO_SHORT if count < max(self._by_count) else Reason.TOO_LONG
            raise LineError(f"found {count} values, expected the {known}", offset=0, reason=reason)
        return packet

    def _by_key(self, packet: Packet, pairs: list[bytes]) -> Mapping[bytes, bytes]:
        """The values by their names: every field once, and nothing else."""
        names = {item.name.encode("ascii") for item in self._fields[packet.id]}
        found: dict[bytes, bytes] = {}
        for pair in pairs:
            key, equals, value = pair.partition(b"=")
            key = key.strip()
            if not equals or key not in names or key in found:
                text = f"found {pair!r}, expected each field of packet {packet.name!r} once, as key=value"
                raise LineError(text, offset=0, reason=Reason.TOO_LONG if equals else Reason.FRAMING)
            found[key] = value
        if missing := sorted(names - found.keys()):
            text = f"found no {missing[0].decode('ascii')!r}, expected every field of packet {packet.name!r}"
            raise LineError(text, offset=0, reason=Reason.TOO_SHORT)
        return found

    def _written(self, contents: bytes, item: Field) -> bytes:
        """A field's raw number as text that reads back to the same bytes."""
        at = item.first_bit // 8
        packed = contents[at : at + item.bits // 8]
        if item.kind is WireKind.FLOAT:
            code = ("<" if self._order == "little" else ">") + ("f" if item.bits == 32 else "d")
            return repr(struct.unpack(code, packed)[0]).encode("ascii")
        return str(int.from_bytes(packed, self._order, signed=item.kind is WireKind.SIGNED)).encode("ascii")

    def _longest_line(self, packet: Packet) -> int:
        fields = self._fields[packet.id]
        values = sum(_TOKEN + 1 + (len(item.name) + 1 if self.style.named else 0) for item in fields)
        return len(self.style.opening) + TALKER + len(tag_of(packet)) + values + 1 + 2 * self.checksum.size + 1


def tag_of(packet: Packet) -> bytes:
    """What a line of that packet starts with."""
    return (packet.tag or packet.name).encode("ascii", "replace")


def _in_order(packet: Packet) -> tuple[Field, ...]:
    """The fields as they stand in the body, which is as they stand in a line."""
    fields = [element for item in packet.fields for element in item.elements]
    for item in fields:
        bare = item.kind in (WireKind.TEXT, WireKind.QUATERNION)
        if item.is_bit_field or item.bit_order is not None or bare:
            what = "is no number" if bare else "is a bit field"
            raise LayoutError(f"{what}, expected whole numbers in a line", where=f"{packet.name}.{item.name}")
        if not item.name.isascii():
            raise LayoutError("found a name that is not ASCII", where=f"{packet.name}.{item.name}")
    return tuple(sorted(fields, key=lambda item: item.first_bit))
