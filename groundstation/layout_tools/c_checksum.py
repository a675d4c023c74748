"""A layout's checksum as one C function over bytes: bit by bit, without tables, for frames of some dozen bytes."""

from decoders.checksums import checksum_of
from decoders.crc import CATALOGUE, CrcModel
from decoders.layout import Layout
from groundstation.layout_tools.c_words import literal
from groundstation.layout_tools.errors import LayoutToolError


def checksum_bits(layout: Layout) -> int:
    """Width of the C type that the checksum's function returns."""
    return 64 if checksum_of(layout).size > 4 else 32


def checksum_function(layout: Layout, prefix: str) -> str:
    """The checksum's function; empty for a layout without one.

    Raises:
        LayoutToolError: A checksum that there is no C for yet.
    """
    name = checksum_of(layout).name
    head = f"static inline uint{checksum_bits(layout)}_t {prefix}_checksum(const uint8_t *data, size_t length)"
    model = layout.crc or CATALOGUE.get(name)
    if model is not None:
        return f"/* {name} */\n{head}\n{_crc(model)}"
    if name == "none":
        return ""
    if name not in _OTHERS:
        raise LayoutToolError(f"{name!r} is not supported in the header yet", where="checksum")
    return f"/* {name} */\n{head}\n{_OTHERS[name]}"


def _crc(model: CrcModel) -> str:
    bits = 64 if model.width > 32 else 32
    mask, mirrored = (1 << model.width) - 1, model.reflect_in
    init = _mirror(model.init, model.width) if mirrored else model.init
    polynomial = _mirror(model.polynomial, model.width) if mirrored else model.polynomial
    if mirrored:
        take = "crc ^= data[i];"
        step = f"crc = (crc & 1u) ? (crc >> 1) ^ {literal(polynomial, bits)} : crc >> 1;"
    else:
        take = f"crc ^= (uint{bits}_t)data[i] << {model.width - 8}u;"
        top = literal(1 << (model.width - 1), bits)
        step = f"crc = (crc & {top}) ? (crc << 1) ^ {literal(polynomial, bits)} : crc << 1;"
    trim = "" if mirrored or model.width == bits else f"\n        crc &= {literal(mask, bits)};"
    turn = ""
    if model.reflect_in != model.reflect_out:
        turn = f"""
    {{
        uint{bits}_t mirrored = 0;
        for (i = 0; i < {model.width}u; i++) {{
            mirrored = (mirrored << 1) | ((crc >> i) & 1u);
        }}
        crc = mirrored;
    }}"""
    return f"""\
{{
    uint{bits}_t crc = {literal(init, bits)};
    size_t i;
    for (i = 0; i < length; i++) {{
        unsigned bit;
        {take}
        for (bit = 0; bit < 8u; bit++) {{
            {step}
        }}{trim}
    }}{turn}
    return crc ^ {literal(model.xor_out, bits)};
}}
"""


def _mirror(number: int, width: int) -> int:
    return int(f"{number:0{width}b}"[::-1], 2)


_SUM = """\
{{
    uint32_t sum = 0;
    size_t i;
    for (i = 0; i < length; i++) {{
        sum += data[i];
    }}
    return sum & UINT32_C(0x{mask:X});
}}
"""

_OTHERS = {
    "XOR-8": """\
{
    uint32_t all = 0;
    size_t i;
    for (i = 0; i < length; i++) {
        all ^= data[i];
    }
    return all;
}
""",
    "sum-8": _SUM.format(mask=0xFF),
    "sum-16": _SUM.format(mask=0xFFFF),
    "sum-32": _SUM.format(mask=0xFFFFFFFF),
    "Fletcher-16": """\
{
    uint32_t first = 0, second = 0;
    size_t i;
    for (i = 0; i < length; i++) {
        first = (first + data[i]) % 255u;
        second = (second + first) % 255u;
    }
    return second << 8 | first;
}
""",
    "Fletcher-32": """\
{
    uint32_t first = 0, second = 0;
    size_t i;
    for (i = 0; i < length; i += 2u) {
        uint32_t word = data[i];
        if (i + 1u < length) {
            word |= (uint32_t)data[i + 1u] << 8;
        }
        first = (first + word) % 65535u;
        second = (second + first) % 65535u;
    }
    return second << 16 | first;
}
""",
    "Adler-32": """\
{
    uint32_t first = 1, second = 0;
    size_t i;
    for (i = 0; i < length; i++) {
        first = (first + data[i]) % 65521u;
        second = (second + first) % 65521u;
    }
    return second << 16 | first;
}
""",
}
