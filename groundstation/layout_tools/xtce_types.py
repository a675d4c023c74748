"""XTCE's parameter types as kinds of fields: encoding, calibrator, unit, valid range, labels.

What a type has and we cannot say is refused by name; nothing is passed over in silence but descriptions and alarms.
"""

import xml.etree.ElementTree as ET
from dataclasses import dataclass

from decoders.calibration import Calibration, Points, Polynomial
from decoders.layout import WireKind
from groundstation.config.quantities import is_unit
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.xtce_words import LEAST_FIRST, MOST_FIRST

_MOST_LABELS = 4096


@dataclass(frozen=True, slots=True)
class ParameterType:
    """How one type of parameter is sent and what it means."""

    kind: WireKind
    bits: int
    least_first: bool
    scale: float = 1.0
    bias: float = 0.0
    curve: Calibration | None = None
    unit: str = "1"
    valid: tuple[float, float] | None = None
    labels: tuple[tuple[int, str], ...] = ()


def parameter_type(element: ET.Element, where: str) -> ParameterType:
    """One of the ParameterTypeSet's elements.

    Raises:
        LayoutToolError: A type that is not supported; the message says what of it.
    """
    match element.tag:
        case "IntegerParameterType" | "FloatParameterType" | "EnumeratedParameterType":
            return _numeric(element, element, where)
        case "BooleanParameterType":
            plain = _numeric(element, element, where)
            return ParameterType(WireKind.BOOLEAN, plain.bits, plain.least_first)
        case "AbsoluteTimeParameterType" | "RelativeTimeParameterType":
            return _time(element, where)
        case "StringParameterType":
            size = element.find("StringDataEncoding/SizeInBits/Fixed/FixedValue")
            return ParameterType(WireKind.TEXT, _fixed(size, where), False)
        case "BinaryParameterType":
            size = element.find("BinaryDataEncoding/SizeInBits/FixedValue")
            return ParameterType(WireKind.TEXT, _fixed(size, where), False)
    raise LayoutToolError(f"{element.tag} is not supported yet", where=where)


def number(text: str | None, where: str) -> float:
    """A number as XTCE writes it; whole ones also as 0x, 0o and 0b."""
    try:
        return float(text or "")
    except ValueError:
        return float(whole(text, where))


def whole(text: str | None, where: str) -> int:
    """A whole number as XTCE writes it: also as 0x, 0o and 0b."""
    try:
        return int((text or "").strip(), 0)
    except ValueError:
        pass
    try:
        value = float(text or "")
        if value == int(value):
            return int(value)
    except (ValueError, OverflowError):
        pass
    raise LayoutToolError(f"found {text!r}, expected a whole number", where=where)


def _fixed(element: ET.Element | None, where: str) -> int:
    if element is None:
        raise LayoutToolError("has no fixed size; only fixed sizes are supported", where=where)
    return whole(element.text, where)


def _numeric(element: ET.Element, holder: ET.Element, where: str) -> ParameterType:
    """A type with an IntegerDataEncoding or a FloatDataEncoding in `holder`; schema defaults of XTCE 1.2."""
    encoding = holder.find("IntegerDataEncoding")
    if encoding is not None:
        words = {"unsigned": WireKind.UNSIGNED, "twosComplement": WireKind.SIGNED}
        kind = words.get(encoding.get("encoding", "unsigned"))
        bits = whole(encoding.get("sizeInBits", "8"), where)
        if kind is None:
            raise LayoutToolError(f"the encoding {encoding.get('encoding')!r} is not supported yet", where=where)
    else:
        encoding = holder.find("FloatDataEncoding")
        if encoding is None:
            raise LayoutToolError("has no encoding of whole numbers or floats", where=where)
        kind, bits = WireKind.FLOAT, whole(encoding.get("sizeInBits", "32"), where)
        if bits not in (32, 64) or encoding.get("encoding", "IEEE754_1985") not in ("IEEE754", "IEEE754_1985"):
            found = f"{encoding.get('encoding', 'IEEE754_1985')} of {bits} bits"
            raise LayoutToolError(f"floats as {found} are not supported yet", where=where)
    if not 1 <= bits <= 64:
        raise LayoutToolError(f"found {bits} bits, expected 1 to 64", where=where)
    if encoding.get("bitOrder", "mostSignificantBitFirst") != "mostSignificantBitFirst":
        raise LayoutToolError("numbers sent lowest bit first are not supported yet", where=where)
    order = encoding.get("byteOrder", MOST_FIRST)
    if order not in (MOST_FIRST, LEAST_FIRST):
        raise LayoutToolError(f"the byte order {order!r} is not supported yet", where=where)
    if encoding.find("ContextCalibratorList") is not None:
        raise LayoutToolError("calibrators that depend on other parameters are not supported yet", where=where)
    scale, bias, curve = _calibration(encoding.find("DefaultCalibrator"), where)
    return ParameterType(
        kind,
        bits,
        order == LEAST_FIRST,
        scale,
        bias,
        curve,
        _unit(element),
        _valid(element, where),
        _labels(element, where),
    )


def _time(element: ET.Element, where: str) -> ParameterType:
    encoding = element.find("Encoding")
    if encoding is None:
        raise LayoutToolError("has no Encoding", where=where)
    plain = _numeric(element, encoding, where)
    if plain.curve is not None or (plain.scale, plain.bias) != (1.0, 0.0):
        raise LayoutToolError("a calibrator on a time is not supported yet", where=where)
    units = {"seconds": "s", "days": "day", "months": "", "years": "", "picoSeconds": "ps"}
    unit = units.get(encoding.get("units", "seconds"), "")
    if not unit:
        raise LayoutToolError(f"times in {encoding.get('units')} are not supported yet", where=where)
    scale, offset = number(encoding.get("scale", "1"), where), number(encoding.get("offset", "0"), where)
    return ParameterType(plain.kind, plain.bits, plain.least_first, scale, offset, None, unit)


def _calibration(element: ET.Element | None, where: str) -> tuple[float, float, Calibration | None]:
    """Scale, bias and curve."""
    if element is None:
        return 1.0, 0.0, None
    polynomial, spline = element.find("PolynomialCalibrator"), element.find("SplineCalibrator")
    if polynomial is not None:
        terms: dict[int, float] = {}
        for term in polynomial.findall("Term"):
            exponent = whole(term.get("exponent"), where)
            if not 0 <= exponent <= 16:
                raise LayoutToolError(f"found the exponent {exponent}, expected 0 to 16", where=where)
            terms[exponent] = terms.get(exponent, 0.0) + number(term.get("coefficient"), where)
        if not terms:
            raise LayoutToolError("has a polynomial without a term", where=where)
        degree = max(terms)
        coefficients = tuple(terms.get(k, 0.0) for k in range(degree + 1))
        if degree == 1:
            return coefficients[1], coefficients[0], None
        return 1.0, 0.0, Polynomial(coefficients)
    if spline is not None:
        if whole(spline.get("order", "1"), where) != 1:
            raise LayoutToolError(
                "tables that are not straight between their points are not supported yet", where=where
            )
        points = sorted(
            (number(p.get("raw"), where), number(p.get("calibrated"), where)) for p in spline.findall("SplinePoint")
        )
        return 1.0, 0.0, Points(tuple(raw for raw, _ in points), tuple(value for _, value in points))
    raise LayoutToolError("has a calibrator that is neither a polynomial nor a table", where=where)


def _unit(element: ET.Element) -> str:
    unit = element.find("UnitSet/Unit")
    text = "" if unit is None or unit.text is None else unit.text.strip()
    return text if text and is_unit(text) else "1"


def _valid(element: ET.Element, where: str) -> tuple[float, float] | None:
    found = element.find("ValidRange")
    if found is None or found.get("validRangeAppliesToCalibrated", "true") not in ("true", "1"):
        return None
    ends = [
        found.get("minInclusive") or found.get("minExclusive"),
        found.get("maxInclusive") or found.get("maxExclusive"),
    ]
    if None in ends:
        return None  # ours has two ends or none
    return number(ends[0], where), number(ends[1], where)


def _labels(element: ET.Element, where: str) -> tuple[tuple[int, str], ...]:
    labels: list[tuple[int, str]] = []
    for one in element.findall("EnumerationList/Enumeration"):
        first = whole(one.get("value"), where)
        last = whole(one.get("maxValue", str(first)), where)
        if last - first >= _MOST_LABELS:
            raise LayoutToolError(
                f"labels {last - first + 1} numbers alike, expected at most {_MOST_LABELS}", where=where
            )
        labels += [(value, one.get("label", "")) for value in range(first, last + 1)]
    return tuple(labels)
