"""Quantities as a person writes them ("850 mAh", "0.8 ohm") turned into SI numbers, once, at the file's edge.

A bare number where a unit belongs is refused: guessing a unit is how wrong numbers get in. A text is a number and
a unit and nothing else; it is never evaluated as an expression.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

if TYPE_CHECKING:
    import pint

LABELS = frozenset({"1", "dB", "dBm"})
"""Units that are never converted: a plain number, and levels, because their scale is logarithmic."""

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.].*?)\s*")
_FACTOR = r"[A-Za-z_µμΩΩ°%][A-Za-z0-9_µμΩΩ°%]*(?: ?(?:\^|\*\*) ?-?[0-9]|[²³]|⁻[¹²³])?"
_UNIT = re.compile(rf"(?:1 ?/ ?)?{_FACTOR}(?:(?: ?[*/·] ?| ){_FACTOR})*")
_LONGEST_UNIT = 40  # characters; longer than any unit that means something


@cache
def registry() -> pint.UnitRegistry[float]:
    """The one unit registry; made when the first unit is read, because that takes a while."""
    import pint

    return pint.UnitRegistry()


def to_si(text: object, unit: str, example: str | None = None) -> float:
    """The quantity `text` in `unit`.

    Args:
        text: A number and a unit, such as "12.5 g".
        unit: Unit inside the program, in pint's notation; "1" for a plain number.
        example: What a message shows as a good value.
    Raises:
        ValueError: Not a finite number with a unit, or a unit of another kind.
    """
    if unit == "1":
        if isinstance(text, bool) or not isinstance(text, (int, float)) or not math.isfinite(text):
            raise ValueError(f"found {shown(text)}, expected a plain number such as {example or '0.5'}")
        return float(text)
    wanted = f'a number with a unit such as "{example or f"1.0 {unit}"}"'
    match = _QUANTITY.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(f"found {shown(text)}, expected {wanted}")
    try:
        scale, bias = unit_to_si(match[2], unit)
    except ValueError as error:
        raise ValueError(f"found {shown(text)}, expected {wanted}; {error}") from error
    value = float(match[1]) * scale + bias
    if not math.isfinite(value):
        raise ValueError(f"found {shown(text)}, expected {wanted}")
    return value


def shown(value: object) -> str:
    """A value as the file would write it, cut short if it is long."""
    if isinstance(value, str):
        text = '"' + value.replace("\n", "\\n") + '"'
    elif isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, dict):
        return "a table"
    elif isinstance(value, (list, tuple)):
        text = "[" + ", ".join(shown(item) for item in value) + "]"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "..."


@cache
def unit_to_si(unit: str, si_unit: str) -> tuple[float, float]:
    """Scale and bias that turn a value in `unit` into `si_unit`: value * scale + bias.

    Raises:
        ValueError: The unit is unknown, or of another kind; the message says which.
    """
    if unit == si_unit:
        return 1.0, 0.0
    if not is_unit(unit):
        raise ValueError(f'the unit "{unit}" is not known')
    if {unit, si_unit} & LABELS:
        raise ValueError(f'the unit "{unit}" does not convert to {si_unit}')
    units = registry()
    # Comparing root units, not dimensions: pint gives an angle no dimension, so that 5 Hz would become 5 rad/s.
    if units.get_root_units(unit)[1] != units.get_root_units(si_unit)[1]:
        raise ValueError(f'the unit "{unit}" does not convert to {si_unit}')
    bias = float(units.Quantity(0.0, unit).to(si_unit).magnitude)
    scale = float(units.Quantity(1.0, unit).to(si_unit).magnitude) - bias
    return scale, bias


@cache
def is_unit(unit: str) -> bool:
    """Whether `unit` is a unit: one that pint knows, or one of `LABELS`."""
    if unit in LABELS:
        return True
    if len(unit) > _LONGEST_UNIT or not _UNIT.fullmatch(unit):
        return False  # pint would work out m**9**9**9, which takes for ever
    try:
        registry().parse_units(unit)
    except Exception:  # pint raises a different exception for each way of being unreadable
        return False
    return True


@dataclass(frozen=True, slots=True)
class Quantity:
    """Marks a number that the file writes with its unit: read as `unit`, shown in messages as `example`."""

    unit: str
    example: str

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Read the text first, then apply what the float asks for."""
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def _read(self, text: Any) -> float:
        return to_si(text, self.unit, self.example)


Metres = Annotated[float, Quantity("m", "1.2 m")]
SquareMetres = Annotated[float, Quantity("m^2", "0.4 m^2")]
Kilograms = Annotated[float, Quantity("kg", "850 g")]
KilogramSquareMetres = Annotated[float, Quantity("kg m^2", "0.1 kg m^2")]
Seconds = Annotated[float, Quantity("s", "3.5 s")]
Newtons = Annotated[float, Quantity("N", "40 N")]
Volts = Annotated[float, Quantity("V", "3.7 V")]
Amperes = Annotated[float, Quantity("A", "1.5 A")]
Ohms = Annotated[float, Quantity("ohm", "0.8 ohm")]
Hertz = Annotated[float, Quantity("Hz", "868 MHz")]
Bytes = Annotated[float, Quantity("byte", "4 MB")]
BytesPerSecond = Annotated[float, Quantity("byte/s", "4 kB/s")]
Decibels = Annotated[float, Quantity("dB", "10 dB")]
DecibelMilliwatts = Annotated[float, Quantity("dBm", "-120 dBm")]
KelvinsPerSecond = Annotated[float, Quantity("K/s", "0.2 K/s")]
Coulombs = Annotated[float, Quantity("coulomb", "850 mAh")]
Radians = Annotated[float, Quantity("rad", "5 deg")]
RadiansPerSecond = Annotated[float, Quantity("rad/s", "180 deg/s")]
Pascals = Annotated[float, Quantity("Pa", "1009.3 hPa")]
Kelvins = Annotated[float, Quantity("K", "20 degC")]
MetresPerSecond = Annotated[float, Quantity("m/s", "3.5 m/s")]
MetresPerSecondSquared = Annotated[float, Quantity("m/s^2", "160 m/s^2")]
