"""The types a field of a packet may have, and what becomes of its unit."""

from decoders.layout import WireKind
from groundstation.config.quantities import unit_to_si
from groundstation.measurements import measurement

ID_BITS = {"none": 0, "u8": 8, "u16": 16, "u32": 32}

WIRE_TYPES: dict[str, tuple[WireKind, int]] = {
    **{f"u{bits}": (WireKind.UNSIGNED, bits) for bits in range(8, 65, 8)},
    **{f"i{bits}": (WireKind.SIGNED, bits) for bits in range(8, 65, 8)},
    "f32": (WireKind.FLOAT, 32),
    "f64": (WireKind.FLOAT, 64),
    "bool": (WireKind.BOOLEAN, 8),
}
"""Each type a field may have: how its bits stand for a number, and how many there are."""


def raw_range(kind: WireKind, bits: int) -> tuple[float, float]:
    """The least and the greatest number that `bits` of `kind` can hold."""
    match kind:
        case WireKind.UNSIGNED:
            return 0.0, 2.0**bits - 1
        case WireKind.SIGNED:
            return -(2.0 ** (bits - 1)), 2.0 ** (bits - 1) - 1
        case WireKind.BOOLEAN:
            return 0.0, 1.0
        case WireKind.FLOAT:
            return float("-inf"), float("inf")


def column_unit(unit: str, meaning: str | None) -> tuple[str, float, float]:
    """The unit of a decoded column, and the scale and bias that turn a value in the file's `unit` into it.

    Raises:
        ValueError: The unit does not convert into the unit of the meaning.
    """
    known = None if meaning is None else measurement(meaning)
    if known is None:
        return unit, 1.0, 0.0
    return known.unit, *unit_to_si(unit, known.unit)
