"""Quantities as a person writes them ("850 mAh", "0.8 ohm") turned into SI numbers, once, at the file's edge.

A bare number where a unit belongs is refused: guessing a unit is how wrong numbers get in.
"""

from collections.abc import Callable
from functools import cache
from typing import Annotated, Any

import pint
from pydantic import BeforeValidator


@cache
def registry() -> pint.UnitRegistry[float]:
    """The one unit registry, with the few spellings field use adds."""
    ureg: pint.UnitRegistry[float] = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    ureg.define("degC = kelvin; offset: 273.15")
    ureg.define("dBm_level = []")
    ureg.define("@alias kelvin = Kelvin")
    return ureg


def to_si(text: object, unit: str) -> float:
    """The quantity `text` in `unit`.

    Args:
        text: A number and a unit, such as "12.5 g".
        unit: Unit inside the program, in pint's notation; "1" for a plain number.
    Raises:
        ValueError: Not a number with a unit, or a unit of another kind.
    """
    example = {"1": "0.5"}.get(unit, f"1.0 {unit}")
    if unit == "1":
        if isinstance(text, bool) or not isinstance(text, (int, float)):
            raise ValueError(f"found {text!r}, expected a plain number such as {example}")
        return float(text)
    if not isinstance(text, str):
        raise ValueError(f'found {text!r}, expected a number with a unit such as "{example}"')
    try:
        return float(registry().Quantity(text).to(unit).magnitude)
    except pint.DimensionalityError as error:
        raise ValueError(f'found "{text}", expected a unit that converts to {unit}') from error
    except Exception as error:  # pint raises a different exception for each way of being unreadable
        raise ValueError(f'found "{text}", expected a number with a unit such as "{example}"') from error


def unit_to_si(unit: str, si_unit: str) -> tuple[float, float]:
    """Scale and bias that turn a value in `unit` into `si_unit`: value * scale + bias.

    Raises:
        ValueError: The unit is unknown, or of another kind.
    """
    if unit == si_unit:
        return 1.0, 0.0
    try:
        quantity = registry().Quantity
        bias = float(quantity(0.0, unit).to(si_unit).magnitude)
        scale = float(quantity(1.0, unit).to(si_unit).magnitude) - bias
    except pint.DimensionalityError as error:
        raise ValueError(f'found unit "{unit}", expected one that converts to {si_unit}') from error
    except Exception as error:
        raise ValueError(f'found unit "{unit}", which is not known; expected one such as {si_unit}') from error
    return scale, bias


def _reader(unit: str) -> Callable[[Any], float]:
    def read(text: Any) -> float:
        return to_si(text, unit)

    return read


Metres = Annotated[float, BeforeValidator(_reader("m"))]
SquareMetres = Annotated[float, BeforeValidator(_reader("m^2"))]
Kilograms = Annotated[float, BeforeValidator(_reader("kg"))]
KilogramSquareMetres = Annotated[float, BeforeValidator(_reader("kg m^2"))]
Seconds = Annotated[float, BeforeValidator(_reader("s"))]
Newtons = Annotated[float, BeforeValidator(_reader("N"))]
Volts = Annotated[float, BeforeValidator(_reader("V"))]
Amperes = Annotated[float, BeforeValidator(_reader("A"))]
Ohms = Annotated[float, BeforeValidator(_reader("ohm"))]
Coulombs = Annotated[float, BeforeValidator(_reader("coulomb"))]
Radians = Annotated[float, BeforeValidator(_reader("rad"))]
RadiansPerSecond = Annotated[float, BeforeValidator(_reader("rad/s"))]
Pascals = Annotated[float, BeforeValidator(_reader("Pa"))]
Kelvins = Annotated[float, BeforeValidator(_reader("K"))]
MetresPerSecond = Annotated[float, BeforeValidator(_reader("m/s"))]
MetresPerSecondSquared = Annotated[float, BeforeValidator(_reader("m/s^2"))]
