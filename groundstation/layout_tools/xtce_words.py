"""XTCE 1.2 (OMG; CCSDS 660.0-B-2): its namespace, and the names under which we note what XTCE has no element for.

XTCE describes packets, not how they are framed: framing, checksum and the like stand in AncillaryData, which any
reader may pass over.
"""

from dataclasses import dataclass, replace

from decoders.calibration import Points, Polynomial
from decoders.crc import CrcModel
from decoders.fields import place_of
from decoders.layout import BitOrder, ByteOrder, ChecksumPlace, Field, Layout, LengthField, LineMark, Sync, WireKind
from groundstation.layout_tools.errors import LayoutToolError

NAMESPACE = "http://www.omg.org/spec/XTCE/20180204"
LEAST_FIRST = "leastSignificantByteFirst"
MOST_FIRST = "mostSignificantByteFirst"
ROOT = "AnyPacket"
SPARE = "spare"  # ancillary data of a parameter that only fills a gap


@dataclass(frozen=True, slots=True)
class Stretch:
    """Where a field stands in a packet as XTCE counts: from bit `start` on, each byte's highest bit first."""

    start: int
    bits: int
    byte_order: str


def stretch_of(item: Field, order: ByteOrder, where: str) -> Stretch:
    """Where a field stands as XTCE counts.

    Raises:
        LayoutToolError: Its bits do not lie together when counted so.
    """
    if item.kind is WireKind.TEXT:
        return Stretch(item.first_bit, item.bits, MOST_FIRST)
    place = place_of(item, order, where)
    least = place.byte_order is ByteOrder.LITTLE
    if place.shift % 8 == 0 and place.bits % 8 == 0:
        before = place.shift // 8 if least else place.size - (place.shift + place.bits) // 8
        several = least and place.bits > 8
        return Stretch(8 * (place.start + before), place.bits, LEAST_FIRST if several else MOST_FIRST)
    if not least:
        return Stretch(8 * (place.start + place.size) - place.shift - place.bits, place.bits, MOST_FIRST)
    byte, shift = divmod(place.shift, 8)
    if shift + place.bits > 8:
        raise LayoutToolError(
            "its bits cross a byte, least significant byte first, which is not supported in XTCE yet", where=where
        )
    return Stretch(8 * (place.start + byte) + 8 - shift - place.bits, place.bits, MOST_FIRST)


def layout_notes(layout: Layout) -> dict[str, str]:
    """What XTCE has no element for, as names and values."""
    notes = {
        "framing": layout.framing,
        "checksum": layout.checksum,
        "checksum_order": layout.checksum_order.value,
        "byte_order": layout.byte_order.value,
    }
    if layout.checksum_place is not ChecksumPlace.END:
        notes["checksum_place"] = layout.checksum_place.value
    if layout.checksum_from:
        notes["checksum_from"] = str(layout.checksum_from)
    if layout.checksum_until:
        notes["checksum_until"] = str(layout.checksum_until)
    if layout.separator != ",":
        notes["separator"] = layout.separator
    if layout.line_mark is not LineMark.TAG:
        notes["line_mark"] = layout.line_mark.value
    if layout.crc is not None:
        crc = layout.crc
        notes["crc"] = (
            f"{crc.width} {crc.polynomial:#x} {crc.init:#x} {int(crc.reflect_in)} {int(crc.reflect_out)} "
            f"{crc.xor_out:#x} {crc.name}"
        )
    if layout.sync is not None:
        notes["sync"] = f"{layout.sync.word.hex()} {layout.sync.header}"
        if (length := layout.sync.length) is not None:
            notes["length"] = f"{length.bits} {length.at} {length.adds} {length.byte_order.value}"
    return notes


def crc_of(note: str) -> CrcModel:
    """The CRC of a note; ValueError where it is none."""
    width, polynomial, init, reflect_in, reflect_out, xor_out, name = note.split(maxsplit=6)
    return CrcModel(
        name, int(width), int(polynomial, 0), int(init, 0), reflect_in == "1", reflect_out == "1", int(xor_out, 0)
    )


def sync_of(note: str, length_note: str | None) -> Sync:
    """The sync word of a note; ValueError where it is none."""
    word, header = note.split()
    length = None
    if length_note is not None:
        bits, at, adds, order = length_note.split()
        length = LengthField(int(bits), int(at), int(adds), ByteOrder(order))
    return Sync(bytes.fromhex(word), length, int(header))


def field_notes(item: Field) -> dict[str, str]:
    """Where a bit field stands, in the words of a layout."""
    notes = {}
    if item.container_bits is not None:
        notes["container"] = f"{item.container_bits} bits from {item.first_bit}, shift {item.shift}"
    if item.bit_order is not None:
        notes["bit_order"] = item.bit_order.value
    return notes


def placed(item: Field, notes: dict[str, str]) -> Field:
    """The field as the notes of `field_notes` place it; ValueError where they make no sense."""
    if note := notes.get("container"):
        bits, _, _, first, _, shift = note.replace(",", "").split()
        item = replace(item, container_bits=int(bits), first_bit=int(first), shift=int(shift), bit_order=None)
    if note := notes.get("bit_order"):
        item = replace(item, bit_order=BitOrder(note))
    return item


def curve_text(curve: object) -> str:
    """What a curve is, for messages."""
    return (
        "a polynomial" if isinstance(curve, Polynomial) else "a table" if isinstance(curve, Points) else repr(curve)
    )
