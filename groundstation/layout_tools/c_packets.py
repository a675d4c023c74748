"""One kind of packet in C: its structure in wire units, and functions that pack and unpack its body byte by byte.

Nothing depends on the compiler's padding or on the processor's byte order.
"""

from collections.abc import Iterator

from decoders.layout import ByteOrder, Field, Packet, WireKind
from groundstation.layout_tools.c_words import comment, holder_bits, identifier, literal
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.errors import LayoutToolError


def number_functions(prefix: str, order: ByteOrder) -> Iterator[str]:
    """Functions that write and read a number of 1 to 8 bytes in the layout's byte order."""
    for bits in (32, 64):
        place = "i" if order is ByteOrder.LITTLE else "size - 1u - i"
        yield f"""\
static inline void {prefix}_put{bits}(uint8_t *at, uint{bits}_t number, size_t size)
{{
    size_t i;
    for (i = 0; i < size; i++) {{
        at[{place}] = (uint8_t)(at[{place}] | (uint8_t)(number >> (8u * i)));
    }}
}}

static inline uint{bits}_t {prefix}_get{bits}(const uint8_t *at, size_t size)
{{
    uint{bits}_t number = 0;
    size_t i;
    for (i = 0; i < size; i++) {{
        number |= (uint{bits}_t)at[{place}] << (8u * i);
    }}
    return number;
}}
"""
    yield f"""\
/* two's complement of `bits` bits as a signed number */
static inline int64_t {prefix}_signed(uint64_t number, unsigned bits)
{{
    const uint64_t mask = bits == 64u ? UINT64_MAX : ((uint64_t)1 << bits) - 1u;
    if (number >> (bits - 1u)) {{
        return -(int64_t)(~number & mask) - 1;
    }}
    return (int64_t)number;
}}
"""


def structure(description: Description, packet: Packet, prefix: str) -> str:
    """The packet's structure; a comment at each member says what its number stands for.

    Raises:
        LayoutToolError: Two fields whose names are the same in C.
    """
    lines = [f"struct {prefix}_{identifier(packet.name)} {{"]
    seen: dict[str, str] = {}
    for item in description.of(packet):
        name = identifier(item.field.name)
        if name in seen:
            raise LayoutToolError(
                f"has the same name in C as {seen[name]!r}, expected names that differ in letters or digits",
                where=item.where,
            )
        seen[name] = item.field.name
        lines.append(f"    {_type(item.field)} {name};".ljust(28) + f"  /* {comment(_meaning(item))} */")
    if not packet.fields:
        lines.append("    uint8_t unused;  /* C has no empty structure */")
    return "\n".join([*lines, "};", ""])


def functions(packet: Packet, prefix: str, id_bits: int) -> str:
    """The packet's pack and unpack functions."""
    name = f"{prefix}_{identifier(packet.name)}"
    big = name.upper()
    unused = [] if packet.fields else ["    (void)packet;"]
    pack = [
        f"/* Write the body, {packet.length} bytes with the discriminator. Of a member that has more bits than its",
        "   field, the low ones are sent. */",
        f"static inline void {name}_pack(const struct {name} *packet, uint8_t *body)",
        "{",
        f"    memset(body, 0, {big}_BODY_SIZE);",
        *unused,
    ]
    if id_bits:
        wide = 64 if id_bits > 32 else 32
        pack.append(f"    {prefix}_put{wide}(body, {literal(packet.id, wide)}, {id_bits // 8}u);")
    pack += [line for item in packet.fields for line in _put(item, prefix)]
    unpack = [
        "/* Read a body; 0 and nothing read if it is not this kind of packet. */",
        f"static inline int {name}_unpack(struct {name} *packet, const uint8_t *body, size_t length)",
        "{",
        f"    if (length != {big}_BODY_SIZE) {{",
        "        return 0;",
        "    }",
    ]
    if id_bits:
        wide = 64 if id_bits > 32 else 32
        unpack += [
            f"    if ({prefix}_get{wide}(body, {id_bits // 8}u) != {literal(packet.id, wide)}) {{",
            "        return 0;",
            "    }",
        ]
    if not packet.fields:
        unpack += ["    (void)body;", "    packet->unused = 0;"]
    unpack += [line for item in packet.fields for line in _get(item, prefix)]
    return "\n".join([*pack, "}", "", *unpack, "    return 1;", "}", ""])


def _type(item: Field) -> str:
    if item.kind is WireKind.FLOAT:
        return "float" if item.bits == 32 else "double"
    sign = "" if item.kind is WireKind.SIGNED else "u"
    return f"{sign}int{holder_bits(item.bits)}_t"


def _meaning(item: Item) -> str:
    """What a structure's member stands for, in the vehicle file's unit."""
    field = item.field
    scale = field.scale / item.unit_scale
    bias = (field.bias - item.unit_bias) / item.unit_scale
    unit = "" if item.unit == "1" else f" {item.unit}"
    parts = []
    if holder_bits(field.bits) != field.bits and field.kind is not WireKind.BOOLEAN:
        parts.append("1 bit" if field.bits == 1 else f"{field.bits} bits")
    if field.kind is WireKind.BOOLEAN:
        parts.append("0 or 1")
    elif (scale, bias) != (1.0, 0.0):
        offset = "" if bias == 0.0 else f" {'+' if bias > 0 else '-'} {abs(bias):.10g}"
        parts.append(f"value = raw * {scale:.10g}{offset}{unit}")
    elif unit:
        parts.append(f"in{unit}")
    if item.has_range:
        parts.append(f"valid {item.shown(item.least):.10g} to {item.shown(item.greatest):.10g}{unit}")
    if item.meaning:
        parts.append(item.meaning)
    if item.text:
        parts.append(item.text)
    return "; ".join(parts) or "a plain number"


def _place(item: Field) -> tuple[int, int, int]:
    """First byte, bytes and register width of the number that the field is, or is part of."""
    size = (item.container_bits or item.bits) // 8
    return item.first_bit // 8, size, 64 if size > 4 else 32


def _put(item: Field, prefix: str) -> Iterator[str]:
    at, size, wide = _place(item)
    member = f"packet->{identifier(item.name)}"
    if item.kind is WireKind.FLOAT:
        yield "    {"
        yield f"        uint{item.bits}_t bits;"
        yield f"        memcpy(&bits, &{member}, sizeof bits);"
        yield f"        {prefix}_put{wide}(body + {at}, bits, {size}u);"
        yield "    }"
        return
    number = f"(uint{wide}_t){member}"
    if item.kind is WireKind.BOOLEAN:
        number = f"(uint{wide}_t)({member} != 0)"
    elif item.is_bit_field or item.bits < 8 * size:
        number = f"({number} & {literal((1 << item.bits) - 1, wide)})"
    if item.shift:
        number = f"{number} << {item.shift}u"
    yield f"    {prefix}_put{wide}(body + {at}, {number}, {size}u);"


def _get(item: Field, prefix: str) -> Iterator[str]:
    at, size, wide = _place(item)
    member = f"packet->{identifier(item.name)}"
    number = f"{prefix}_get{wide}(body + {at}, {size}u)"
    if item.kind is WireKind.FLOAT:
        yield "    {"
        yield f"        const uint{item.bits}_t bits = {number};"
        yield f"        memcpy(&{member}, &bits, sizeof bits);"
        yield "    }"
        return
    if item.shift:
        number = f"({number} >> {item.shift}u)"
    if item.is_bit_field:
        number = f"({number} & {literal((1 << item.bits) - 1, wide)})"
    if item.kind is WireKind.BOOLEAN:
        number = f"({number} != 0u)"
    if item.kind is WireKind.SIGNED:
        number = f"{prefix}_signed({number}, {item.bits}u)"
    yield f"    {member} = ({_type(item)}){number};"
