"""A layout's framing in C: contents (sync word, checksum, body) into a frame, and one frame back into its body."""

from decoders.checksums import checksum_of
from decoders.delimited import Delimited
from decoders.framing import framing
from decoders.layout import ByteOrder, ChecksumPlace, Layout
from decoders.synchronised import Synchronised
from groundstation.layout_tools.c_checksum import checksum_bits
from groundstation.layout_tools.errors import LayoutToolError


def frame_size(layout: Layout, body: int) -> int:
    """Bytes of the longest frame with a body of that length, delimiters included.

    Raises:
        LayoutToolError: A framing that there is no C for yet.
    """
    if layout.framing not in (*_STUFFING, "sync", "fixed length", "ccsds"):
        raise LayoutToolError(f"{layout.framing!r} is not supported in the header yet", where="framing")
    found = framing(layout)
    contents = body + checksum_of(layout).size
    if isinstance(found, Synchronised):
        return found.head_size + contents
    assert isinstance(found, Delimited)
    longest = 2 * contents if found.name == "hexadecimal lines" else found.longest(contents)
    return len(found.opening) + longest + len(found.delimiter)


def framing_functions(layout: Layout, prefix: str) -> str:
    """The functions that seal contents, stuff them, and take a frame apart."""
    frame_size(layout, 1)  # refuses what is not known
    found = framing(layout)
    parts = [_covered(layout, prefix, found.head_size)] if checksum_of(layout).size else []
    if isinstance(found, Synchronised):
        parts += [_seal(layout, prefix, found), _plain_unframe(layout, prefix, found.head_size)]
    else:
        parts += [
            _STUFFING[found.name].replace("PREFIX", prefix),
            _seal(layout, prefix, None),
            _stuffed_unframe(layout, prefix),
        ]
    return "\n".join(parts)


def _covered(layout: Layout, prefix: str, head: int) -> str:
    """The checksum of complete contents; what it covers is as `decoders.contents` has it."""
    size, first, until = checksum_of(layout).size, layout.checksum_from, layout.checksum_until
    result = f"uint{checksum_bits(layout)}_t"
    signature = f"static inline {result} {prefix}_checksum_of(const uint8_t *contents, size_t length)"
    if layout.checksum_place is ChecksumPlace.END:
        start = head + first
        less = start + size + until
        inner = f"    return {prefix}_checksum(contents + {start}, length - {less}u);"
    elif first >= 0:
        start = head + size + first
        inner = f"    return {prefix}_checksum(contents + {start}, length - {start + until}u);"
    else:
        body = head + size
        inner = f"""\
    uint8_t covered[{prefix.upper()}_CONTENTS_SIZE_MAX];
    memcpy(covered, contents + {head + first}, {-first}u);
    memcpy(covered + {-first}, contents + {body}, length - {body + until}u);
    return {prefix}_checksum(covered, length - {body + until + first}u);"""
    return f"{signature}\n{{\n{inner}\n}}\n"


def _bytes_of(number: str, size: int, order: ByteOrder, at: str) -> list[str]:
    lines = []
    for i in range(size):
        shift = 8 * (i if order is ByteOrder.LITTLE else size - 1 - i)
        lines.append(f"    {at}[{i}] = (uint8_t)({number} >> {shift}u);")
    return lines


def _stated_at(layout: Layout, head: int) -> str:
    size = checksum_of(layout).size
    return f"contents + {head}" if layout.checksum_place is ChecksumPlace.START else f"contents + length - {size}"


def _seal(layout: Layout, prefix: str, found: Synchronised | None) -> str:
    """From contents whose body is in place to the finished frame."""
    size = checksum_of(layout).size
    head = 0 if found is None else found.head_size
    lines = [
        "/* Finish contents whose body is in place (head and checksum are yet to come) and frame them. */",
        f"static inline size_t {prefix}_seal(uint8_t *contents, size_t length, uint8_t *frame)",
        "{",
    ]
    if size:
        lines.append("    uint8_t *stated;")
        lines.append(f"    uint{checksum_bits(layout)}_t checksum;")
    if found is not None:
        length = found.sync.length
        if length is not None:
            lines.append(
                f"    const uint64_t stated_length = (uint64_t)length - {len(found.sync.word)}u"
                f" {'-' if length.adds >= 0 else '+'} {abs(length.adds)}u;"
            )
            lines.append(f"    uint8_t *const length_at = contents + {len(found.sync.word) + length.at};")
        lines += [f"    contents[{i}] = 0x{byte:02X}u;" for i, byte in enumerate(found.sync.word)]
        if length is not None:
            lines += _bytes_of("stated_length", length.bits // 8, length.byte_order, "length_at")
    if size:
        lines.append(f"    checksum = {prefix}_checksum_of(contents, length);")
        lines.append(f"    stated = {_stated_at(layout, head)};")
        lines += _bytes_of("checksum", size, layout.checksum_order, "stated")
    if found is not None:
        lines += ["    memcpy(frame, contents, length);", "    return length;"]
    else:
        lines.append(f"    return {prefix}_stuff(contents, length, frame);")
    return "\n".join([*lines, "}", ""])


def _check(layout: Layout, prefix: str, head: int) -> str:
    """Statements that return 0 unless the checksum in `contents` is the one of its bytes, and copy the body out."""
    size, upper = checksum_of(layout).size, prefix.upper()
    at_start = layout.checksum_place is ChecksumPlace.START
    body_at = head + (size if at_start else 0)
    least = head + size + max(layout.checksum_from, 0) + layout.checksum_until
    lines = [
        f"    if (length < {max(least, 1)}u || length > {upper}_CONTENTS_SIZE_MAX) {{",
        "        return 0;",
        "    }",
    ]
    if size:
        wide = checksum_bits(layout)
        lines += [
            "    {",
            f"        const uint8_t *stated = {_stated_at(layout, head)};",
            f"        uint{wide}_t found = 0;",
            "        size_t i;",
            f"        for (i = 0; i < {size}u; i++) {{",
            f"            found = (uint{wide}_t)(found << 8) | stated[{_ordered(layout, size)}];",
            "        }",
            f"        if (found != {prefix}_checksum_of(contents, length)) {{",
            "            return 0;",
            "        }",
            "    }",
        ]
    lines += [
        f"    memcpy(body, contents + {body_at}, length - {head + size}u);",
        f"    return length - {head + size}u;",
    ]
    return "\n".join(lines)


def _ordered(layout: Layout, size: int) -> str:
    return f"{size - 1}u - i" if layout.checksum_order is ByteOrder.LITTLE else "i"


_UNFRAME_COMMENT = """\
/* Take one frame apart: the body's bytes and their number, or 0 if framing or checksum are wrong. `body` has room
   for {upper}_BODY_SIZE_MAX bytes. Whose kind it is, the unpack functions tell. */"""


def _plain_unframe(layout: Layout, prefix: str, head: int) -> str:
    found = framing(layout)
    assert isinstance(found, Synchronised)
    differs = "".join(f" || contents[{i}] != 0x{byte:02X}u" for i, byte in enumerate(found.sync.word))
    word = [
        f"    if (length < {head}u{differs}) {{",
        "        return 0;",
        "    }",
    ]
    return "\n".join(
        [
            _UNFRAME_COMMENT.format(upper=prefix.upper()),
            f"static inline size_t {prefix}_unframe(const uint8_t *frame, size_t length, uint8_t *body)",
            "{",
            "    const uint8_t *contents = frame;",
            *(word if head else []),
            _check(layout, prefix, head),
            "}",
            "",
        ]
    )


def _stuffed_unframe(layout: Layout, prefix: str) -> str:
    upper = prefix.upper()
    return "\n".join(
        [
            _UNFRAME_COMMENT.format(upper=upper),
            f"static inline size_t {prefix}_unframe(const uint8_t *frame, size_t frame_length, uint8_t *body)",
            "{",
            f"    uint8_t contents[{upper}_CONTENTS_SIZE_MAX];",
            f"    const size_t length = {prefix}_unstuff(frame, frame_length, contents, sizeof contents);",
            _check(layout, prefix, 0),
            "}",
            "",
        ]
    )


_ESCAPED = """\
/* NAME */
static inline size_t PREFIX_stuff(const uint8_t *contents, size_t length, uint8_t *frame)
{
    size_t i, at = 0;
    frame[at++] = END;
    for (i = 0; i < length; i++) {
        if (contents[i] == END) {
            frame[at++] = ESC;
            frame[at++] = ESCAPED_END;
        } else if (contents[i] == ESC) {
            frame[at++] = ESC;
            frame[at++] = ESCAPED_ESC;
        } else {
            frame[at++] = contents[i];
        }
    }
    frame[at++] = END;
    return at;
}

/* Contents of one frame, delimiters around it or not; 0 if it is broken or has no room. */
static inline size_t PREFIX_unstuff(const uint8_t *frame, size_t length, uint8_t *contents, size_t room)
{
    size_t i = 0, at = 0;
    while (length && frame[length - 1u] == END) {
        length--;
    }
    while (i < length && frame[i] == END) {
        i++;
    }
    for (; i < length; i++) {
        uint8_t byte = frame[i];
        if (byte == END || at == room) {
            return 0;
        }
        if (byte == ESC) {
            if (++i == length) {
                return 0;
            }
            TAKE_BACK
        }
        contents[at++] = byte;
    }
    return at;
}
"""

_SLIP_TAKE_BACK = """\
if (frame[i] == 0xDCu) {
                byte = 0xC0u;
            } else if (frame[i] == 0xDDu) {
                byte = 0xDBu;
            } else {
                return 0;
            }"""


def _escaped(name: str, end: str, esc: str, escaped_end: str, escaped_esc: str, take_back: str) -> str:
    text = _ESCAPED.replace("NAME", name).replace("ESCAPED_END", escaped_end).replace("ESCAPED_ESC", escaped_esc)
    return text.replace("TAKE_BACK", take_back).replace("END", end).replace("ESC", esc)


_STUFFING = {
    "cobs": """\
/* Consistent overhead byte stuffing (Cheshire, Baker 1999), a zero byte at the end. */
static inline size_t PREFIX_stuff(const uint8_t *contents, size_t length, uint8_t *frame)
{
    size_t i, code_at = 0, at = 1;
    uint8_t code = 1;
    for (i = 0; i < length; i++) {
        if (contents[i] != 0u) {
            frame[at++] = contents[i];
            code++;
        }
        if (contents[i] == 0u || code == 0xFFu) {
            frame[code_at] = code;
            if (contents[i] != 0u && i + 1u == length) {
                frame[at++] = 0;  /* a full last block needs no empty one after it */
                return at;
            }
            code = 1;
            code_at = at++;
        }
    }
    frame[code_at] = code;
    frame[at++] = 0;
    return at;
}

/* Contents of one frame, delimiters around it or not; 0 if it is broken or has no room. */
static inline size_t PREFIX_unstuff(const uint8_t *frame, size_t length, uint8_t *contents, size_t room)
{
    size_t i = 0, at = 0;
    while (length && frame[length - 1u] == 0u) {
        length--;
    }
    while (i < length && frame[i] == 0u) {
        i++;
    }
    while (i < length) {
        const uint8_t code = frame[i++];
        uint8_t left = (uint8_t)(code - 1u);
        if (code == 0u) {
            return 0;
        }
        for (; left; left--) {
            if (i == length || frame[i] == 0u || at == room) {
                return 0;
            }
            contents[at++] = frame[i++];
        }
        if (code != 0xFFu && i < length) {
            if (at == room) {
                return 0;
            }
            contents[at++] = 0;
        }
    }
    return at;
}
""",
    "slip": _escaped("SLIP (RFC 1055)", "0xC0u", "0xDBu", "0xDCu", "0xDDu", _SLIP_TAKE_BACK),
    "rfc 1662": _escaped(
        "Byte stuffing of RFC 1662, section 4.2",
        "0x7Eu",
        "0x7Du",
        "0x5Eu",
        "0x5Du",
        "byte = (uint8_t)(frame[i] ^ 0x20u);",
    ),
    "hexadecimal lines": """\
/* Two hexadecimal digits a byte, a line feed at the end. */
static inline size_t PREFIX_stuff(const uint8_t *contents, size_t length, uint8_t *frame)
{
    static const char digits[] = "0123456789ABCDEF";
    size_t i;
    for (i = 0; i < length; i++) {
        frame[2u * i] = (uint8_t)digits[contents[i] >> 4];
        frame[2u * i + 1u] = (uint8_t)digits[contents[i] & 0xFu];
    }
    frame[2u * length] = 0x0Au;
    return 2u * length + 1u;
}

/* Contents of one line; 0 if it holds anything but digits and blanks, or has no room. */
static inline size_t PREFIX_unstuff(const uint8_t *frame, size_t length, uint8_t *contents, size_t room)
{
    size_t i, digits = 0;
    for (i = 0; i < length; i++) {
        uint8_t byte = frame[i];
        if (byte == 0x20u || byte == 0x09u || byte == 0x0Du || (byte == 0x0Au && i + 1u == length)) {
            continue;
        }
        if (byte >= 0x30u && byte <= 0x39u) {
            byte = (uint8_t)(byte - 0x30u);
        } else if ((byte | 0x20u) >= 0x61u && (byte | 0x20u) <= 0x66u) {
            byte = (uint8_t)((byte | 0x20u) - 0x61u + 10u);
        } else {
            return 0;
        }
        if (digits / 2u == room) {
            return 0;
        }
        if (digits % 2u == 0u) {
            contents[digits / 2u] = (uint8_t)(byte << 4);
        } else {
            contents[digits / 2u] = (uint8_t)(contents[digits / 2u] | byte);
        }
        digits++;
    }
    return digits % 2u ? 0 : digits / 2u;
}
""",
}
