"""A layout as one self-contained C99 header for the firmware: structures, pack, unpack, checksum and framing.

The header needs stdint.h, stddef.h and string.h, takes no memory but the caller's buffers and some stack, and prints
nothing. Its structures hold raw numbers, in wire units; comments say what they stand for.
"""

from dataclasses import replace

from decoders.checksums import checksum_of
from decoders.framing import framing
from decoders.layout import ChecksumPlace, Envelope, Layout, Packet, WireKind
from groundstation.layout_tools.c_checksum import checksum_function
from groundstation.layout_tools.c_framing import frame_size, framing_functions
from groundstation.layout_tools.c_packets import functions, label_lines, number_functions, structure
from groundstation.layout_tools.c_words import comment, identifier
from groundstation.layout_tools.described import Description
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.known_parts import PLAIN_KINDS, Target, refuse_unknown

TARGET = Target(
    "the header",
    kinds=PLAIN_KINDS | {WireKind.TEXT, WireKind.QUATERNION},
    field=frozenset({"bit_order", "count", "curve", "labels"}),
    packet=frozenset({"shorter", "filler"}),
    layout=frozenset({"id_first_bit", "id_bit_order", "address"}),
)


def c_header(description: Description) -> str:
    """The header's text.

    Raises:
        LayoutToolError: The layout has something that there is no C for yet; the message names it.
    """
    fingerprint = description.fingerprint
    # what the receiver puts around a packet is no concern of the vehicle's
    description = replace(description, layout=replace(description.layout, envelope=Envelope()))
    layout = description.layout
    refuse_unknown(layout, TARGET)
    prefix = description.short_name
    names = [identifier(packet.name) for packet in layout.packets]
    for name, packet in zip(names, layout.packets, strict=True):
        if names.count(name) > 1:
            raise LayoutToolError("has the same name in C as another packet", where=packet.name)
    guard = f"{prefix.upper()}_LAYOUT_H"
    parts = [
        _opening(description, guard),
        _sizes(description, prefix, fingerprint),
        *(structure(description, packet, prefix) for packet in layout.packets),
        number_functions(layout, prefix),
        *(functions(layout, packet, prefix) for packet in layout.packets),
        checksum_function(layout, prefix),
        framing_functions(layout, prefix),
        *(_frame(layout, packet, prefix) for packet in layout.packets),
        f"#endif /* {guard} */",
    ]
    return "\n".join(part for part in parts if part) + "\n"


def _opening(description: Description, guard: str) -> str:
    layout = description.layout
    check = comment(checksum_of(layout).name)
    return f"""\
/* Telemetry of {comment(description.name)}, written by `groundstation layout header`; do not edit, write it anew.

   framing {comment(layout.framing)}, checksum {check} sent {layout.checksum_order}-endian,
   numbers {layout.byte_order}-endian. Structures hold raw numbers as they are sent.

   To send a packet: fill its structure, call {description.short_name}_PACKET_frame(&packet, buffer) with a buffer of
   its FRAME_SIZE, send as many bytes of the buffer as it returns. */
#ifndef {guard}
#define {guard}

#include <stddef.h>
#include <stdint.h>
#include <string.h>
"""


def _sizes(description: Description, prefix: str, fingerprint: int) -> str:
    layout, upper = description.layout, prefix.upper()
    lines = [
        "/* Send it now and then as a field with the meaning layout_fingerprint: the ground compares. */",
        f"#define {upper}_LAYOUT_FINGERPRINT UINT32_C(0x{fingerprint:08X})",
        "",
    ]
    for packet in layout.packets:
        name = f"{upper}_{identifier(packet.name).upper()}"
        lines += [
            f"#define {name}_ID {packet.id}u" if layout.id_bits <= 32 else f"#define {name}_ID UINT64_C({packet.id})",
            f"#define {name}_BODY_SIZE {packet.length}u",
            f"#define {name}_FRAME_SIZE {frame_size(layout, packet.length)}u  /* at most */",
            *label_lines(packet, name),
        ]
    longest = max(packet.length for packet in layout.packets)
    contents = framing(layout).head_size + checksum_of(layout).size + longest
    lines += [
        f"#define {upper}_BODY_SIZE_MAX {longest}u",
        f"#define {upper}_CONTENTS_SIZE_MAX {contents}u",
        f"#define {upper}_FRAME_SIZE_MAX {frame_size(layout, longest)}u",
        "",
    ]
    return "\n".join(lines)


def _frame(layout: Layout, packet: Packet, prefix: str) -> str:
    name = f"{prefix}_{identifier(packet.name)}"
    head, size = framing(layout).head_size, checksum_of(layout).size
    body_at = head + (size if layout.checksum_place is ChecksumPlace.START else 0)
    contents = f"{name.upper()}_BODY_SIZE + {head + size}u"
    return f"""\
/* The whole frame of one packet into a buffer of {name.upper()}_FRAME_SIZE bytes; how many bytes to send. */
static inline size_t {name}_frame(const struct {name} *packet, uint8_t *frame)
{{
    uint8_t contents[{contents}];
    memset(contents, 0, sizeof contents);
    {name}_pack(packet, contents + {body_at});
    return {prefix}_seal(contents, sizeof contents, frame);
}}
"""
