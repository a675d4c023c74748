"""One kind of packet in C: its structure in wire units, and functions that pack and unpack its body byte by byte.

Nothing depends on the compiler's padding or on the processor's byte order.
"""

from collections.abc import Iterator

from decoders.calibration import DegreesMinutes, Points, Polynomial
from decoders.fields import Place, number_place, place_of, text_place
from decoders.layout import ByteOrder, Field, Layout, Packet, WireKind
from groundstation.layout_tools.c_words import comment, holder_bits, identifier, literal
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.errors import LayoutToolError

_ORDERS = {ByteOrder.LITTLE: "le", ByteOrder.BIG: "be"}


def number_functions(layout: Layout, prefix: str) -> str:
    """Functions that write and read a number of 1 to 8 bytes, in the byte orders that the layout has."""
    orders = {place.byte_order for packet in layout.packets for place in _places(layout, packet)}
    parts = [_number_function(prefix, order, bits) for order in sorted(orders) for bits in (32, 64)]
    parts.append(f"""\
/* two's complement of `bits` bits as a signed number */
static inline int64_t {prefix}_signed(uint64_t number, unsigned bits)
{{
    const uint64_t mask = bits == 64u ? UINT64_MAX : ((uint64_t)1 << bits) - 1u;
    if (number >> (bits - 1u)) {{
        return -(int64_t)(~number & mask) - 1;
    }}
    return (int64_t)number;
}}
""")
    return "\n".join(parts)


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
        lines.append(
            f"    {_type(item.field)} {name}{_extent(item.field)};".ljust(28) + f"  /* {comment(_meaning(item))} */"
        )
    if not packet.fields:
        lines.append("    uint8_t unused;  /* C has no empty structure */")
    return "\n".join([*lines, "};", ""])


def label_lines(packet: Packet, name: str) -> Iterator[str]:
    """The labels of a packet's fields as constants."""
    for item in packet.fields:
        seen: set[str] = set()
        for raw, label in item.labels:
            word = f"{name}_{identifier(item.name)}_{identifier(label)}".upper()
            if word not in seen:
                seen.add(word)
                yield f"#define {word} {raw}" + ("u" if item.kind is not WireKind.SIGNED else "")


def functions(layout: Layout, packet: Packet, prefix: str) -> str:
    """The packet's pack and unpack functions."""
    name = f"{prefix}_{identifier(packet.name)}"
    big = name.upper()
    pack = [
        f"/* Write the body, {packet.length} bytes with the discriminator. Of a member that has more bits than its",
        "   field, the low ones are sent. */",
        f"static inline void {name}_pack(const struct {name} *packet, uint8_t *body)",
        "{",
    ]
    filler = packet.filler[: packet.length]
    if any(filler):
        shown = ", ".join(f"0x{byte:02X}u" for byte in filler)
        pack.append(f"    static const uint8_t filler[] = {{{shown}}};")
    pack.append(f"    memset(body, 0, {big}_BODY_SIZE);")
    if any(filler):
        pack.append("    memcpy(body, filler, sizeof filler);")
    if not packet.fields:
        pack.append("    (void)packet;")
    fixed = list(_fixed(layout, packet))
    pack += [f"    {_put_number(place, literal(number, _wide(place)), prefix)}" for place, number in fixed]
    pack += [line for item in packet.fields for line in _put(layout, packet, item, prefix)]
    unpack = [*_length_check(packet, name, big)]
    for place, number in fixed:
        wide = _wide(place)
        unpack += [
            f"    if ({_get_number(place, prefix)} != {literal(number, wide)}) {{",
            "        return 0;",
            "    }",
        ]
    if not packet.fields:
        unpack += ["    (void)body;", "    packet->unused = 0;"]
    unpack += [line for item in packet.fields for line in _get(layout, packet, item, prefix)]
    return "\n".join([*pack, "}", "", *unpack, "    return length;", "}", ""])


def _number_function(prefix: str, order: ByteOrder, bits: int) -> str:
    place = "i" if order is ByteOrder.LITTLE else "size - 1u - i"
    tail = f"{bits}{_ORDERS[order]}"
    return f"""\
static inline void {prefix}_put{tail}(uint8_t *at, uint{bits}_t mask, uint{bits}_t number, size_t size)
{{
    size_t i;
    for (i = 0; i < size; i++) {{
        at[{place}] = (uint8_t)((at[{place}] & ~(mask >> (8u * i))) | (number >> (8u * i)));
    }}
}}

static inline uint{bits}_t {prefix}_get{tail}(const uint8_t *at, size_t size)
{{
    uint{bits}_t number = 0;
    size_t i;
    for (i = 0; i < size; i++) {{
        number |= (uint{bits}_t)at[{place}] << (8u * i);
    }}
    return number;
}}
"""


def _length_check(packet: Packet, name: str, big: str) -> Iterator[str]:
    """The head of an unpack function; a body whose tail is left out is filled up with zeros."""
    signature = f"static inline size_t {name}_unpack(struct {name} *packet, const uint8_t *%s, size_t length)"
    if not packet.shorter:
        yield "/* Read a body: its length, or 0 and nothing read if it is not this kind of packet. */"
        yield signature % "body"
        yield from ("{", f"    if (length != {big}_BODY_SIZE) {{", "        return 0;", "    }")
        return
    yield "/* Read a body, whose tail may be left out (zeros stand for it then): its length, or 0 if it is none. */"
    yield signature % "given"
    lengths = " && ".join(f"length != {length}u" for length in packet.lengths)
    yield from (
        "{",
        f"    uint8_t body[{big}_BODY_SIZE];",
        f"    if ({lengths}) {{",
        "        return 0;",
        "    }",
        "    memset(body, 0, sizeof body);",
        "    memcpy(body, given, length);",
    )


def _fixed(layout: Layout, packet: Packet) -> Iterator[tuple[Place, int]]:
    """Numbers that are the same in every such packet: the discriminator, and the vehicle's address."""
    if layout.id_bits:
        place = number_place(layout.id_first_bit, layout.id_bits, layout.byte_order, layout.id_bit_order, packet.name)
        yield _checked(place, f"{packet.name}.id"), packet.id
    if layout.address is not None:
        own = layout.address
        place = number_place(own.first_bit, own.bits, layout.byte_order, own.bit_order, packet.name)
        yield _checked(place, f"{packet.name}.address"), own.value


def _places(layout: Layout, packet: Packet) -> Iterator[Place]:
    yield from (place for place, _ in _fixed(layout, packet))
    for item in packet.fields:
        if item.kind is not WireKind.TEXT:
            yield _element_place(layout, packet, item.elements[0])


def _element_place(layout: Layout, packet: Packet, element: Field) -> Place:
    where = f"{packet.name}.{element.name}"
    return _checked(place_of(element, layout.byte_order, where), where)


def _checked(place: Place, where: str) -> Place:
    if place.size > 8:
        raise LayoutToolError(f"a number over {place.size} bytes is not supported in the header yet", where=where)
    return place


def _type(item: Field) -> str:
    if item.kind is WireKind.TEXT:
        return "uint8_t"
    if item.kind is WireKind.FLOAT:
        return "float" if item.bits == 32 else "double"
    sign = "" if item.kind is WireKind.SIGNED else "u"
    return f"{sign}int{holder_bits(item.bits)}_t"


def _extent(item: Field) -> str:
    counts = ([item.count] if item.count > 1 else []) + ([item.bits // 8] if item.kind is WireKind.TEXT else [])
    return "".join(f"[{count}]" for count in counts)


def _meaning(item: Item) -> str:
    """What a structure's member stands for, in the vehicle file's unit."""
    field = item.field
    scale, bias = field.scale / item.unit_scale, (field.bias - item.unit_bias) / item.unit_scale
    unit = "" if item.unit == "1" else f" {item.unit}"
    parts = []
    match field.kind:
        case WireKind.TEXT:
            parts.append("text, filled up with zeros")
        case WireKind.QUATERNION:
            size = (field.bits - 2) // 3
            parts.append(
                "unit quaternion, smallest three: from the top 2 bits for the place of the largest (of w, x, y, z), "
                f"the others as signed fractions of {size} bits, a step is 1 / (sqrt(2) * {(1 << (size - 1)) - 1})"
            )
        case WireKind.BOOLEAN:
            parts.append("0 or 1")
        case _ if holder_bits(field.bits) != field.bits:
            parts.append("1 bit" if field.bits == 1 else f"{field.bits} bits")
    raw = "raw"
    match field.curve:
        case Polynomial():
            raw = "(" + " + ".join(f"{c:.10g} * raw^{k}" for k, c in enumerate(field.curve.coefficients)) + ")"
        case Points():
            raw = f"(raw by a table from {field.curve.raw[0]:g} to {field.curve.raw[-1]:g})"
        case DegreesMinutes():
            raw = f"(raw as ddmm.mmmm times {field.curve.per_minute})"
    if (scale, bias) != (1.0, 0.0) or field.curve is not None:
        offset = "" if bias == 0.0 else f" {'+' if bias > 0 else '-'} {abs(bias):.10g}"
        factor = "" if scale == 1.0 else f" * {scale:.10g}"
        parts.append(f"value = {raw}{factor}{offset}{unit}")
    elif unit:
        parts.append(f"in{unit}")
    if item.has_range:
        parts.append(f"valid {item.shown(item.least):.10g} to {item.shown(item.greatest):.10g}{unit}")
    if item.meaning:
        parts.append(item.meaning)
    if item.text:
        parts.append(item.text)
    return "; ".join(parts) or "a plain number"


def _wide(place: Place) -> int:
    """Width of the register that holds all bytes of a number."""
    return 64 if place.size > 4 else 32


def _put_number(place: Place, number: str, prefix: str) -> str:
    wide = _wide(place)
    moved = f"({number}) << {place.shift}u" if place.shift else number
    return (
        f"{prefix}_put{wide}{_ORDERS[place.byte_order]}(body + {place.start}, {literal(place.mask, wide)}, {moved}, "
        f"{place.size}u);"
    )


def _get_number(place: Place, prefix: str) -> str:
    wide = _wide(place)
    number = f"{prefix}_get{wide}{_ORDERS[place.byte_order]}(body + {place.start}, {place.size}u)"
    if place.shift:
        number = f"({number} >> {place.shift}u)"
    if place.shift or place.bits < 8 * place.size:
        number = f"({number} & {literal((1 << place.bits) - 1, wide)})"
    return number


def _members(item: Field) -> Iterator[tuple[Field, str]]:
    """Each element of a field with its name in the structure."""
    name = f"packet->{identifier(item.name)}"
    if item.count == 1:
        yield item, name
    else:
        for k, element in enumerate(item.elements):
            yield element, f"{name}[{k}]"


def _put(layout: Layout, packet: Packet, item: Field, prefix: str) -> Iterator[str]:
    for element, member in _members(item):
        if item.kind is WireKind.TEXT:
            where = text_place(element, f"{packet.name}.{element.name}")
            yield f"    memcpy(body + {where.start}, {member}, {item.bits // 8}u);"
            continue
        place = _element_place(layout, packet, element)
        wide = _wide(place)
        if item.kind is WireKind.FLOAT:
            yield "    {"
            yield f"        uint{item.bits}_t bits;"
            yield f"        memcpy(&bits, &{member}, sizeof bits);"
            yield f"        {_put_number(place, f'(uint{wide}_t)bits', prefix)}"
            yield "    }"
            continue
        number = f"(uint{wide}_t){member}"
        if item.kind is WireKind.BOOLEAN:
            number = f"(uint{wide}_t)({member} != 0)"
        elif item.bits < wide:
            number = f"{number} & {literal((1 << item.bits) - 1, wide)}"
        yield f"    {_put_number(place, number, prefix)}"


def _get(layout: Layout, packet: Packet, item: Field, prefix: str) -> Iterator[str]:
    for element, member in _members(item):
        if item.kind is WireKind.TEXT:
            where = text_place(element, f"{packet.name}.{element.name}")
            yield f"    memcpy({member}, body + {where.start}, {item.bits // 8}u);"
            continue
        place = _element_place(layout, packet, element)
        number = _get_number(place, prefix)
        if item.kind is WireKind.FLOAT:
            yield "    {"
            yield f"        const uint{item.bits}_t bits = (uint{item.bits}_t){number};"
            yield f"        memcpy(&{member}, &bits, sizeof bits);"
            yield "    }"
            continue
        if item.kind is WireKind.BOOLEAN:
            number = f"({number} != 0u)"
        if item.kind is WireKind.SIGNED:
            number = f"{prefix}_signed({number}, {item.bits}u)"
        yield f"    {member} = ({_type(item)}){number};"
