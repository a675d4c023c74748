"""A number that tells whether two layouts are the same, for firmware to send and the ground to compare.

CRC-32/ISO-HDLC over a text in ASCII (UTF-8, where names need it), a line for each thing that decides what the bytes
mean, in a fixed order, each ended by a line feed:

    layout 1
    framing NAME separator TEXT
    told by number of values                            (lines without tags, of several kinds of packet)
    sync WORD header BYTES length BITS at BYTE adds BYTES ORDER    (framing sync only; 0 at 0 adds 0 without a length)
    checksum NAME PLACE ORDER from BYTE until BYTE                  (NAME: crc with width:polynomial:init:in:out:xor)
    numbers ORDER
    id BITS at BIT ORDER
    address BITS at BIT ORDER                                       (with an address only; its value is not in it)
    packet NAME ID LENGTHS TAG                                      (by rising id)
    field NAME KIND BITS at BIT ORDER of BITS shift BITS times COUNT scale NUMBER bias NUMBER unit UNIT curve CURVE

Fields follow their packet by rising place. Numbers have nine significant digits, so that rounding in a unit's
conversion makes no difference. Labels, valid ranges and rates are not in it: they do not change what the bytes mean.
"""

import zlib
from collections.abc import Iterator

from decoders.calibration import DegreesMinutes, Points, Polynomial
from decoders.layout import BitOrder, Field, Layout, LineMark


def layout_fingerprint(layout: Layout) -> int:
    """The fingerprint, a number of 32 bits."""
    return zlib.crc32(fingerprint_text(layout).encode())


def fingerprint_text(layout: Layout) -> str:
    """The text that the fingerprint is computed from."""
    return "".join(f"{line}\n" for line in _lines(layout))


def _lines(layout: Layout) -> Iterator[str]:
    yield "layout 1"
    yield f"framing {layout.framing} separator {layout.separator}"
    if layout.line_mark is not LineMark.TAG:
        yield f"told by {layout.line_mark.value}"
    if layout.sync is not None:
        sync, length = layout.sync, layout.sync.length
        told = "0 at 0 adds 0" if length is None else f"{length.bits} at {length.at} adds {length.adds}"
        order = "" if length is None or length.bits <= 8 else f" {length.byte_order.value}"
        yield f"sync {sync.word.hex()} header {sync.header} length {told}{order}"
    crc = layout.crc
    name = layout.checksum
    if crc is not None:
        reflected = f"{int(crc.reflect_in)}:{int(crc.reflect_out)}"
        name = f"crc {crc.width}:{crc.polynomial:x}:{crc.init:x}:{reflected}:{crc.xor_out:x}"
    yield (
        f"checksum {name} {layout.checksum_place.value} {layout.checksum_order.value} "
        f"from {layout.checksum_from} until {layout.checksum_until}"
    )
    yield f"numbers {layout.byte_order.value}"
    yield f"id {layout.id_bits} at {layout.id_first_bit} {_order(layout.id_bit_order)}"
    if layout.address is not None:
        address = layout.address
        yield f"address {address.bits} at {address.first_bit} {_order(address.bit_order)}"
    for packet in sorted(layout.packets, key=lambda p: p.id):
        yield f"packet {packet.name} {packet.id} {','.join(map(str, packet.lengths))} {packet.tag}"
        for item in sorted(packet.fields, key=lambda f: (f.first_bit, f.shift)):
            yield _field(item)


def _field(item: Field) -> str:
    return (
        f"field {item.name} {item.kind.value} {item.bits} at {item.first_bit} {_order(item.bit_order)} "
        f"of {item.container_bits or item.bits} shift {item.shift} times {item.count} "
        f"scale {item.scale:.9g} bias {item.bias:.9g} unit {item.unit} curve {_curve(item)}"
    )


def _order(order: BitOrder | None) -> str:
    return "bytes" if order is None else order.value


def _curve(item: Field) -> str:
    match item.curve:
        case Polynomial(coefficients):
            return "polynomial " + " ".join(f"{number:.9g}" for number in coefficients)
        case Points(raw, value):
            return "table " + " ".join(f"{r:.9g}:{v:.9g}" for r, v in zip(raw, value, strict=True))
        case DegreesMinutes(per_minute, letter):
            return f"degrees {per_minute} {letter}"
        case None:
            return "none"
