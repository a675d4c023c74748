"""How packets lie in the stream, in a vehicle file: framing and checksum, by name or in full."""

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from decoders import checksums
from decoders.crc import CrcModel
from decoders.layout import ByteOrder, ChecksumPlace, LengthField, Sync, WireKind
from groundstation.config.fields import FieldEntry
from groundstation.config.filetable import Count, FileTable, Flag, Found
from groundstation.config.quantities import shown
from groundstation.config.shape import OrName
from groundstation.config.spelling import did_you_mean
from groundstation.config.wire import wire_type

FramingKind = Literal[
    "cobs",
    "slip",
    "rfc 1662",
    "hexadecimal lines",
    "delimited values",
    "key=value",
    "nmea 0183",
    "sync",
    "fixed length",
    "ccsds",
]
FRAMING_NAMES: tuple[str, ...] = get_args(FramingKind)
"""The name of every framing."""

LINES = frozenset({"delimited values", "key=value", "nmea 0183"})
"""Framings in which each packet is a line of text, and a field a value written in it."""

NMEA = "nmea 0183"
SPACE_PACKETS = "ccsds"

_OWN_CRC = "crc"
_MARK = re.compile(r"\{([^{}]*)\}")
_HEXADECIMAL = re.compile(r"(?:[0-9A-Fa-f]{2}[ :]?)+")


class LengthEntry(FileTable):
    """Where a frame states its length."""

    type: str = Field(description="u8, u16, u24 or u32")
    at: Count = Field(default=0, ge=0, le=255, description="bytes between the sync word and it")
    counts: Literal["frame", "after sync word", "after length", "body and checksum", "body"] = Field(
        description="what it counts the bytes of; the body starts with the discriminator"
    )
    less: Count = Field(default=0, ge=-255, le=255, description="the number sent is so much less than that")
    byte_order: Literal["little", "big"] = Field(default="little", description="which of its bytes is sent first")

    @property
    def size(self) -> int:
        """Bytes that it takes."""
        known = wire_type(self.type)
        return 0 if known is None else known.bits // 8

    def faults(self) -> Iterator[Found]:
        """A type that is no whole number of bytes."""
        if self.type not in ("u8", "u16", "u24", "u32"):
            yield Found(("type",), f'found {shown(self.type)}, expected "u8", "u16", "u24" or "u32"')


class FramingEntry(FileTable):
    """How frames are told apart in the stream."""

    kind: FramingKind = Field(
        description="cobs (a zero byte between frames); slip (RFC 1055); rfc 1662 (0x7E between frames, 0x7D "
        "escapes); sync (a sync word in front); fixed length (nothing in front: the checksum shows where a frame "
        "is); hexadecimal lines; delimited values, key=value and nmea 0183 (lines of text); ccsds (space packets of "
        "133.0-B behind the sync marker of 131.0-B)"
    )
    sync: str | None = Field(default=None, description='the sync word in hexadecimal, as "A5 5A"; for sync only')
    length: LengthEntry | None = Field(
        default=None, description="for sync only; without it, frames are as long as the kind of packet makes them"
    )
    header: Count | None = Field(
        default=None,
        ge=0,
        le=255,
        description="bytes between the sync word and what follows: the length and whatever else; for sync only",
    )
    separator: str = Field(default=",", description="between the values of a line; for lines of text only")

    @property
    def header_size(self) -> int:
        """Bytes between the sync word and the checksum or the body."""
        if self.header is not None:
            return self.header
        return 0 if self.length is None else self.length.at + self.length.size

    @property
    def word(self) -> bytes:
        """The sync word."""
        return bytes.fromhex((self.sync or "").replace(":", " "))

    def sync_of(self, checksum_size: int) -> Sync | None:
        """Sync word, header and length as decoders read them; None for other framings."""
        if self.kind != "sync":
            return None
        length = self.length
        if length is None:
            return Sync(self.word, None, self.header_size)
        before = {
            "frame": -len(self.word),
            "after sync word": 0,
            "after length": length.at + length.size,
            "body and checksum": self.header_size,
            "body": self.header_size + checksum_size,
        }[length.counts]
        stated = LengthField(8 * length.size, length.at, before + length.less, ByteOrder(length.byte_order))
        return Sync(self.word, stated, self.header_size)

    def faults(self) -> Iterator[Found]:
        """Keys that belong to another kind, and a sync word or header that cannot be."""
        for key in ("sync", "length", "header"):
            if self.kind != "sync" and getattr(self, key) is not None:
                yield Found((key,), f'found it on {shown(self.kind)}, expected it for "sync" only')
        if self.kind not in LINES and "separator" in self.model_fields_set:
            yield Found(("separator",), f"found it on {shown(self.kind)}, expected it for lines of text only")
        if not 1 <= len(self.separator) <= 8 or not self.separator.isascii():
            text = f'found {shown(self.separator)}, expected one to eight characters such as ","'
            yield Found(("separator",), text)
        if self.kind == "sync":
            yield from self._sync_faults()

    def _sync_faults(self) -> Iterator[Found]:
        if self.sync is None:
            yield Found((), 'found no sync word, expected one such as sync = "A5 5A"')
        elif not _HEXADECIMAL.fullmatch(self.sync) or len(self.word) > 8:
            yield Found(("sync",), f'found {shown(self.sync)}, expected one to eight bytes such as "A5 5A"')
        if self.length is not None and self.header is not None:
            least = self.length.at + self.length.size
            if self.header < least:
                yield Found(("header",), f"found {self.header} bytes, expected at least the {least} of the length")


class ChecksumEntry(FileTable):
    """What a frame carries to show that its bytes are those that were sent."""

    kind: str = Field(
        description="a name of the catalogue such as CRC-16/IBM-3740; Fletcher-16, Fletcher-32, Adler-32, XOR-8, "
        'sum-8, sum-16, sum-32 or none; or "crc" with the parameters below'
    )
    width: Count | None = Field(default=None, ge=8, le=64, description="bits of an own CRC")
    polynomial: Count | None = Field(
        default=None, ge=0, description="of an own CRC, without its highest term: 0x1021"
    )
    init: Count = Field(default=0, ge=0, description="of an own CRC: the register at the start")
    reflect_in: Flag = Field(default=False, description="of an own CRC: each byte's lowest bit goes first")
    reflect_out: Flag = Field(default=False, description="of an own CRC: the register is mirrored at the end")
    xor_out: Count = Field(default=0, ge=0, description="of an own CRC: combined with the register at the end")
    order: Literal["little", "big"] | None = Field(
        default=None, description="which of its bytes is sent first; else as checksum_order says"
    )
    place: Literal["end", "start"] = Field(default="end", description="after the body, or just before it")
    covers: Literal["body", "header and body", "frame"] = Field(
        default="body", description="what it is computed over; the frame starts with the sync word"
    )
    skip: Count = Field(default=0, ge=0, le=255, description="so many bytes are left out at the start of that")
    leave: Count = Field(default=0, ge=0, le=255, description="so many bytes are left out at the end of that")

    @property
    def crc(self) -> CrcModel | None:
        """The CRC that the table describes; None for a checksum by name."""
        if self.kind != _OWN_CRC:
            return None
        assert self.width is not None
        assert self.polynomial is not None
        return CrcModel(
            "own CRC", self.width, self.polynomial, self.init, self.reflect_in, self.reflect_out, self.xor_out
        )

    @property
    def size(self) -> int:
        """Bytes that it takes in a frame."""
        crc = self.crc
        return checksums.checksum(self.kind).size if crc is None else crc.size

    @property
    def checksum_place(self) -> ChecksumPlace:
        """As decoders call it."""
        return ChecksumPlace(self.place)

    def first_byte(self, framing: FramingEntry, before: int) -> int:
        """Where it starts, counted from the start of the body; the receiver has put `before` bytes before that."""
        word = len(framing.word) if framing.kind == "sync" else 4 if framing.kind == SPACE_PACKETS else 0
        header = framing.header_size + before
        return self.skip - {"body": 0, "header and body": header, "frame": header + word}[self.covers]

    def faults(self) -> Iterator[Found]:
        """A name that is none, and parameters that are missing, too large or for nothing."""
        known = checksums.names()
        if self.kind != _OWN_CRC and self.kind not in known:
            yield Found(("kind",), unknown_checksum(self.kind))
        parameters = ("width", "polynomial", "init", "reflect_in", "reflect_out", "xor_out")
        if self.kind != _OWN_CRC:
            for key in parameters:
                if key in self.model_fields_set:
                    yield Found((key,), f'found it on {shown(self.kind)}, expected it for kind = "crc" only')
            return
        for key in ("width", "polynomial"):
            if getattr(self, key) is None:
                yield Found((key,), "found no such key, expected a whole number for an own CRC")
        for key in ("polynomial", "init", "xor_out"):
            value = getattr(self, key)
            if self.width is not None and value is not None and value >= 1 << self.width:
                yield Found((key,), f"found {value:#x}, expected a number of {self.width} bits")


class ReceiverEntry(FileTable):
    """What the receiver itself puts around each packet it heard, such as RSSI and SNR: they belong to that packet.

    Neither the checksum nor a stated length takes it in.
    """

    before: tuple[FieldEntry, ...] = Field(
        default=(), description="fields in front of body and checksum (behind a sync word and its header)"
    )
    after: tuple[FieldEntry, ...] = Field(default=(), description="fields behind body and checksum")
    after_delimiter: tuple[FieldEntry, ...] = Field(
        default=(),
        description="fields behind the delimiter of a frame of cobs, slip or rfc 1662, in front of the next frame",
    )
    line: str | None = Field(
        default=None,
        description='with hexadecimal lines, the whole line, such as "HEARD {},{packet},{rssi}": {packet} stands for '
        "the digits, {rssi} for a number that `after` lists as f64, {} for anything without a blank or comma. With a "
        'binary framing, a line of text by itself, such as "RSSI {rssi} SNR {snr}": directly in front of each frame '
        "if `before` lists its numbers, directly behind it if `after` does",
    )

    @property
    def fields(self) -> tuple[FieldEntry, ...]:
        """Before, after and after the delimiter, in one run."""
        return (*self.before, *self.after, *self.after_delimiter)

    def faults(self) -> Iterator[Found]:
        """Nothing at all, fields that are more than a number, and bytes that are not whole."""
        if not self.fields:
            yield Found((), "found no field, expected one or more before or after the packet")
        parts = (("before", self.before), ("after", self.after), ("after_delimiter", self.after_delimiter))
        for key, entries in parts:
            for place, entry in enumerate(entries):
                if entry.bits or entry.optional or entry.count > 1 or entry.wire.kind is WireKind.TEXT:
                    yield Found((key, place), "found more than a number, expected a number such as i8")
            if bits := sum(entry.span for entry in entries) % 8:
                yield Found((key,), f"found {bits} bits more than whole bytes, expected a pad{8 - bits} too")
        if self.line is not None:
            yield from self._line_faults(self.line)

    def _line_faults(self, line: str) -> Iterator[Found]:
        if not line.isascii() or not line.isprintable():
            yield Found(("line",), f"found {shown(line)}, expected printable characters")
        if self.after_delimiter:
            yield Found(("after_delimiter",), "found it beside line, expected every number of the line in after")
        for key, entries in (("before", self.before), ("after", self.after)):
            for place, entry in enumerate(entries):
                if entry.type != "f64":
                    text = f'found {shown(entry.type)} for a number of a line, expected "f64"'
                    yield Found((key, place, "type"), text)
        names = [entry.name for entry in self.fields]
        for name in names:
            if line.count(f"{{{name}}}") != 1:
                yield Found(("line",), f"found {shown(line)}, expected {{{name}}} in it once")
        for mark in _MARK.findall(line):
            if mark not in (*names, "packet", ""):
                known = ", ".join(f"{{{name}}}" for name in names)
                yield Found(("line",), f"found {{{mark}}} in it, expected nothing but {known}, {{packet}} and {{}}")


def unknown_checksum(name: str) -> str:
    """What to say of a checksum that does not exist."""
    return (
        f'found {shown(name)}, expected the name of a checksum such as "CRC-16/IBM-3740", "Fletcher-16" or "none"'
        f"{did_you_mean(name, checksums.names())}"
    )


def _framing_by_name(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if value not in FRAMING_NAMES:
        expected = " or ".join(shown(name) for name in FRAMING_NAMES)
        raise ValueError(f"found {shown(value)}, expected {expected}{did_you_mean(value, FRAMING_NAMES)}")
    if value == "sync":
        raise ValueError('found "sync" alone, expected a table with the sync word: { kind = "sync", sync = "A5 5A" }')
    return {"kind": value}


def _checksum_by_name(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if value == _OWN_CRC:
        raise ValueError('found "crc" alone, expected a table with its width, polynomial and so on')
    if value not in checksums.names():
        raise ValueError(unknown_checksum(value))
    return {"kind": value}


Framing = Annotated[FramingEntry, BeforeValidator(_framing_by_name), OrName("cobs")]
"""A framing by its name alone, or as a table."""

Checksum = Annotated[ChecksumEntry, BeforeValidator(_checksum_by_name), OrName("CRC-16/IBM-3740")]
"""A checksum by its name alone, or as a table."""
