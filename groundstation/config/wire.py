"""The types a field of a packet may have, and what becomes of its unit."""

import re
from dataclasses import dataclass

from decoders.layout import WireKind
from decoders.quaternion import LEAST_BITS, MOST_BITS, number_bits
from groundstation.config.quantities import unit_to_si
from groundstation.config.spelling import did_you_mean
from groundstation.measurements import measurement

WIRE_TYPES: dict[str, str] = {
    "u1 … u64": "unsigned, of so many bits",
    "i1 … i64": "signed, two's complement",
    "f32, f64": "IEEE 754",
    "bool": "one byte, 0 or 1",
    "q8.8, q1.15 …": "signed fixed point: bits before the point (the sign's among them) and after it",
    "uq8.8 …": "unsigned fixed point",
    "text8 …": "text of so many bytes, filled up with zeros",
    "quaternion10 …": "unit quaternion, smallest three: 2 bits for the place of the largest part, then three "
    f"fractions of so many bits ({LEAST_BITS} to {MOST_BITS}); one unsigned number, the place in its highest bits",
    "pad1 …": "so many bits of nothing",
}
"""Each family of types, as it is written, and what it is."""

EXPECTED_TYPE = "expected u1 to u64, i1 to i64, f32, f64, bool, q8.8, uq8.8, text8, quaternion10 or pad8"

_MOST_BITS = 64
_LONGEST_TEXT = 255  # bytes
_LONGEST_PAD = 2048  # bits
_WORDS = ("bool", "f32", "f64", "u8", "u16", "u32", "i8", "i16", "i32")  # what a misspelt type is compared with
_SIZED = re.compile(r"(u|i|text|quaternion|pad)([1-9][0-9]{0,3})")
_FIXED_POINT = re.compile(r"(u?)q([0-9]{1,2})\.([0-9]{1,2})")


@dataclass(frozen=True, slots=True)
class WireType:
    """How the bits of a field stand for a number: kind (None for bits of nothing), how many, value of the lowest."""

    kind: WireKind | None
    bits: int
    scale: float = 1.0


def wire_type(name: str) -> WireType | None:
    """The type of that name; None where there is none."""
    match name:
        case "bool":
            return WireType(WireKind.BOOLEAN, 8)
        case "f32" | "f64":
            return WireType(WireKind.FLOAT, int(name[1:]))
    if found := _FIXED_POINT.fullmatch(name):
        before, after = int(found[2]), int(found[3])
        kind = WireKind.UNSIGNED if found[1] else WireKind.SIGNED
        return WireType(kind, before + after, 2.0**-after) if 1 <= before + after <= _MOST_BITS else None
    if found := _SIZED.fullmatch(name):
        return _sized(found[1], int(found[2]))
    return None


def _sized(family: str, size: int) -> WireType | None:
    match family:
        case "u" | "i" if size <= _MOST_BITS:
            return WireType(WireKind.UNSIGNED if family == "u" else WireKind.SIGNED, size)
        case "text" if size <= _LONGEST_TEXT:
            return WireType(WireKind.TEXT, 8 * size)
        case "quaternion" if LEAST_BITS <= size <= MOST_BITS:
            return WireType(WireKind.QUATERNION, number_bits(size))
        case "pad" if size <= _LONGEST_PAD:
            return WireType(None, size)
    return None


def nearest_type(name: str) -> str:
    """The end of a message: the type of the same letter with the nearest width, or else the nearest word."""
    if match := re.fullmatch(r"([uif])([0-9]{1,3})", name):
        widths = (32, 64) if match[1] == "f" else range(1, _MOST_BITS + 1)
        return f'; did you mean "{match[1]}{min(widths, key=lambda width: abs(width - int(match[2])))}"?'
    return did_you_mean(name, _WORDS)


def raw_range(kind: WireKind, bits: int) -> tuple[float, float]:
    """The least and the greatest number that `bits` of `kind` can hold."""
    match kind:
        case WireKind.SIGNED:
            return -(2.0 ** (bits - 1)), 2.0 ** (bits - 1) - 1
        case WireKind.BOOLEAN:
            return 0.0, 1.0
        case WireKind.FLOAT:
            return float("-inf"), float("inf")
        case _:
            return 0.0, 2.0**bits - 1


def column_unit(unit: str, meaning: str | None) -> tuple[str, float, float]:
    """The unit of a decoded column, and the scale and bias that turn a value in the file's `unit` into it.

    Raises:
        ValueError: The unit does not convert into the unit of the meaning.
    """
    known = None if meaning is None else measurement(meaning)
    if known is None:
        return unit, 1.0, 0.0
    return known.unit, *unit_to_si(unit, known.unit)
