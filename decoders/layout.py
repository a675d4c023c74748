"""The layout of a telemetry stream, as data: framing, checksum, packets and their fields.

Nothing here decodes. Byte and bit places count from the start of a packet's body: what is left of a frame when
its framing and its checksum are taken away.
"""

from dataclasses import dataclass, field, replace
from enum import StrEnum

from decoders.calibration import Calibration
from decoders.crc import CrcModel
from decoders.errors import LayoutError
from decoders.quaternion import PARTS


class ByteOrder(StrEnum):
    """Which byte of a number comes first."""

    LITTLE = "little"
    BIG = "big"


class BitOrder(StrEnum):
    """Which bit comes first where numbers do not keep to whole bytes: bit 0 of a body, and of each number in it."""

    MOST = "most significant first"  # bit 0 is 0x80 of byte 0
    LEAST = "least significant first"  # bit 0 is 0x01 of byte 0


class WireKind(StrEnum):
    """How the bits of a field stand for a number."""

    UNSIGNED = "unsigned"
    SIGNED = "signed"  # two's complement
    FLOAT = "float"  # IEEE 754, 32 or 64 bits
    BOOLEAN = "boolean"  # zero is false, all else is true
    TEXT = "text"  # so many bytes, filled up with zeros
    QUATERNION = "quaternion"  # the smallest three parts of it, see decoders.quaternion


@dataclass(frozen=True, slots=True)
class Field:
    """One number, or `count` of them one behind the other, in a packet.

    Where it stands: a whole-byte field starts at `first_bit` (a multiple of 8) and reads in the layout's byte order.
    With a `bit_order` it is any `bits` bits from bit `first_bit` of the body on, in that order. A bit field of a
    number lies inside one unsigned number of `container_bits` that starts at byte `first_bit // 8`; `shift` counts
    from that number's least significant bit.

    What it says: the value is `curve(raw) * scale + bias`, a float64 in `unit` (without a curve, raw itself); a field
    with no curve, scale 1 and bias 0 keeps the type of its raw number. `labels` name some raw numbers for people.

    It gives one column by its name; an array gives one for each element, `name[0]` and on; a quaternion gives four,
    `name_w` to `name_z`; text is a column of bytes without the zeros at its end.
    """

    name: str
    kind: WireKind
    bits: int
    first_bit: int
    scale: float = 1.0
    bias: float = 0.0
    unit: str = "1"
    container_bits: int | None = None
    shift: int = 0
    bit_order: BitOrder | None = None
    count: int = 1
    curve: Calibration | None = None
    labels: tuple[tuple[int, str], ...] = ()

    def __post_init__(self) -> None:
        if self.count < 1 or (self.count > 1 and self.is_bit_field):
            expected = "one bit field of a number" if self.is_bit_field else "1 or more"
            raise LayoutError(f"found {self.count} of it, expected {expected}", where=self.name)

    @property
    def span(self) -> int:
        """Bits from its first to its last; those of the whole number for a bit field of one."""
        return (self.container_bits or self.bits) * self.count

    @property
    def elements(self) -> tuple["Field", ...]:
        """The numbers of an array as fields of their own; the field itself where it is none."""
        if self.count == 1:
            return (self,)
        return tuple(
            replace(self, name=f"{self.name}[{k}]", first_bit=self.first_bit + k * self.bits, count=1)
            for k in range(self.count)
        )

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns that it decodes to."""
        if self.kind is WireKind.QUATERNION:
            return tuple(f"{item.name}_{part}" for item in self.elements for part in PARTS)
        return tuple(item.name for item in self.elements)

    @property
    def is_bit_field(self) -> bool:
        """Whether the field is part of a larger number."""
        return self.container_bits is not None


@dataclass(frozen=True, slots=True)
class Packet:
    """One kind of packet: its discriminator's value, its body's length in bytes, and its fields.

    `tag` is what stands for the discriminator in a line of text; the name, if there is none. With an optional tail,
    `shorter` are the lengths besides `length` that the body may have; what lies beyond is missing then. `filler` is
    what an encoder puts where no field stands: from the body's start on, zeros after its end.
    """

    name: str
    id: int
    length: int
    fields: tuple[Field, ...]
    tag: str = ""
    shorter: tuple[int, ...] = ()
    filler: bytes = b""

    @property
    def lengths(self) -> tuple[int, ...]:
        """Every length that the body may have, rising."""
        return tuple(sorted({*self.shorter, self.length}))

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns, in order."""
        return tuple(name for item in self.fields for name in item.columns)

    def field(self, name: str) -> Field:
        """The field of that name; KeyError where there is none."""
        for candidate in self.fields:
            if candidate.name == name:
                return candidate
        raise KeyError(name)


class ChecksumPlace(StrEnum):
    """Where a frame carries its checksum."""

    START = "start"  # just before the body
    END = "end"  # just after it


class LineMark(StrEnum):
    """What tells the kinds of packet apart where each is a line of text."""

    TAG = "tag"  # the line starts with it
    COUNT = "number of values"  # nothing but values is in the line, of each kind another number of them


@dataclass(frozen=True, slots=True)
class LengthField:
    """Where a frame states its length: an unsigned number of `bits`, `at` bytes after the sync word.

    `adds` is what makes it the number of bytes that follow the sync word in the frame: 0 if it counts them all,
    itself and the checksum included.
    """

    bits: int
    at: int = 0
    adds: int = 0
    byte_order: ByteOrder = ByteOrder.LITTLE


@dataclass(frozen=True, slots=True)
class Sync:
    """What a frame of the framing `sync` starts with: the sync word, then `header` bytes before checksum or body.

    Without a length field, a frame is as long as its kind of packet makes it.
    """

    word: bytes
    length: LengthField | None = None
    header: int = 0


@dataclass(frozen=True, slots=True)
class Address:
    """What tells one vehicle's packets from another's: the number that stands in every body at one place."""

    value: int
    bits: int
    first_bit: int
    bit_order: BitOrder | None = None


@dataclass(frozen=True, slots=True)
class Envelope:
    """What a receiver puts around each packet it heard: `before` bytes before body and checksum, `after` after them.

    The fields stand in those bytes, `before` and `after` taken as one run, and give columns of every packet. Neither
    a stated length nor the checksum takes in these bytes. With a `line` (framing `hexadecimal lines`) they are text
    instead: the line is as this says, with {packet} for the packet, {name} for a number of that name and {} for
    anything without a blank or comma; the fields are then 64-bit floats, all of them after the packet.

    With a `line` and a binary framing they are a line of text by itself, which stands directly in front of the frame
    where the floats stand `before` the packet, directly behind it where they stand `after`; a packet without such a
    line has NaN. `checksum_from` then counts as if there were no envelope.

    The last `behind` of the bytes after a packet stand behind the delimiter of its frame instead of inside the frame
    (framings with stuffed bytes).
    """

    before: int = 0
    after: int = 0
    fields: tuple[Field, ...] = ()
    line: str = ""
    behind: int = 0


@dataclass(frozen=True, slots=True)
class Layout:
    """A whole telemetry stream: `framing` and `checksum` by name, and the kinds of packet in it.

    The discriminator is an unsigned number of `id_bits` from bit `id_first_bit` of every body on (in `id_bit_order`
    where it does not fill whole bytes); with a single kind of packet it may have no bits. With an `address`, packets
    that carry another are another vehicle's.

    The checksum covers the body from byte `checksum_from` on but for its last `checksum_until` bytes; a negative
    `checksum_from` takes in that many bytes before the body too: header and sync word. `crc` stands for a checksum
    that has no name; `sync` belongs to the framing `sync`, `separator` and `line_mark` to lines of text. In such a
    line the discriminator is not sent: it is written into the body by what the line shows.
    """

    framing: str
    checksum: str
    byte_order: ByteOrder
    packets: tuple[Packet, ...]
    id_bits: int = 8
    checksum_order: ByteOrder = ByteOrder.LITTLE
    checksum_place: ChecksumPlace = ChecksumPlace.END
    checksum_from: int = 0
    checksum_until: int = 0
    crc: CrcModel | None = None
    sync: Sync | None = None
    separator: str = ","
    id_first_bit: int = 0
    id_bit_order: BitOrder | None = None
    address: Address | None = None
    envelope: Envelope = Envelope()
    line_mark: LineMark = LineMark.TAG

    def __post_init__(self) -> None:
        if not self.packets:
            raise LayoutError("found no packet, expected at least one", where="layout")
        if self.id_bits == 0 and len(self.packets) > 1:
            raise LayoutError(
                f"found {len(self.packets)} packets and no discriminator, expected one to tell them apart by",
                where="layout",
            )
        seen: dict[int, str] = {}
        for packet in self.packets:
            if packet.id in seen:
                raise LayoutError(f"has the id {packet.id} of packet {seen[packet.id]!r}", where=packet.name)
            seen[packet.id] = packet.name
            for item in packet.fields:
                last_bit = item.first_bit + item.span
                if last_bit > 8 * packet.length:
                    raise LayoutError(
                        f"ends at bit {last_bit}, the body at bit {8 * packet.length}",
                        where=f"{packet.name}.{item.name}",
                    )


class Reason(StrEnum):
    """Why bytes were not taken as a packet."""

    TORN_START = "torn start"  # the first frame after the link opened, cut at its beginning
    FRAMING = "framing broken"  # the stuffing's own rules are broken
    CHECKSUM = "checksum wrong"
    TOO_SHORT = "too short"  # checksum right, fewer bytes than the packet's layout has
    TOO_LONG = "too long"  # checksum right, more bytes than the packet's layout has
    UNKNOWN_PACKET = "unknown packet"  # checksum right, no packet has this id
    OVERSIZED = "no end found"  # longer than any legal frame without a delimiter
    CUT_SHORT = "cut short"  # the stream ended inside a frame
    TEXT = "text line"  # not a frame but a line of text among binary ones, such as a receiver's own status
    OTHER_VEHICLE = "another vehicle"  # checksum right, but another vehicle's address


@dataclass(frozen=True, slots=True)
class Reject:
    """Bytes that were not taken as a packet: from byte `start` to before byte `end` of the stream, and why.

    `raw` holds the bytes themselves, at most the longest legal frame's worth of them.
    """

    reason: Reason
    start: int
    end: int
    text: str
    raw: bytes = field(repr=False)
