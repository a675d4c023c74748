"""A layout as an XTCE 1.2 document (OMG; CCSDS 660.0-B-2): a container for every packet, a parameter for every field.

Values are in the units of the vehicle file. Gaps are filled by spare parameters, so that readers without
LocationInContainerInBits find every field.
"""

import math
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass, replace

from decoders.calibration import Points, Polynomial
from decoders.fields import number_place
from decoders.layout import Envelope, Field, Packet, WireKind
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.known_parts import PLAIN_KINDS, Target, refuse_unknown
from groundstation.layout_tools.xtce_words import (
    LEAST_FIRST,
    MOST_FIRST,
    NAMESPACE,
    ROOT,
    SPARE,
    Stretch,
    curve_text,
    field_notes,
    layout_notes,
    stretch_of,
)

TARGET = Target(
    "XTCE",
    kinds=PLAIN_KINDS | {WireKind.TEXT},
    field=frozenset({"bit_order", "curve", "labels"}),
    packet=frozenset({"filler"}),
    layout=frozenset({"id_first_bit", "id_bit_order", "line_mark"}),
)


@dataclass(frozen=True, slots=True)
class _Entry:
    """One parameter of a container: its item, or None for one that is only there to fill bits."""

    name: str
    stretch: Stretch
    item: Item | None
    order: int | None = None  # among the packet's fields, where that is not their order in the stream


def xtce(description: Description) -> str:
    """The document's text.

    Raises:
        LayoutToolError: The layout has something that we cannot say in XTCE yet; the message names it.
    """
    layout = replace(description.layout, envelope=Envelope())  # what a receiver puts around packets is none of theirs
    refuse_unknown(layout, TARGET)
    system = ET.Element("SpaceSystem", {"name": description.short_name, "xmlns": NAMESPACE})
    system.set("shortDescription", description.name)
    _notes(system, layout_notes(layout) | {"name": description.name})
    telemetry = ET.SubElement(system, "TelemetryMetaData")
    types = ET.SubElement(telemetry, "ParameterTypeSet")
    parameters = ET.SubElement(telemetry, "ParameterSet")
    containers = ET.SubElement(telemetry, "ContainerSet")
    root = _free(ROOT, {packet.name for packet in layout.packets})
    head = _head(description)
    base = ET.SubElement(containers, "SequenceContainer", {"name": root, "abstract": "true"})
    _entries(base, head, types, parameters)
    for packet in layout.packets:
        container = ET.SubElement(containers, "SequenceContainer", {"name": packet.name})
        told = {"tag": packet.tag, "filler": packet.filler.hex()}
        _notes(container, {name: value for name, value in told.items() if value})
        rate = description.rates_hz.get(packet.name)
        if rate is not None:
            value = repr(rate)
            ET.SubElement(container, "DefaultRateInStream", {"minimumValue": value, "maximumValue": value})
        _entries(container, list(_packet_entries(description, packet, head)), types, parameters)
        inherits = ET.SubElement(container, "BaseContainer", {"containerRef": root})
        if layout.id_bits:
            restriction = ET.SubElement(inherits, "RestrictionCriteria")
            ET.SubElement(
                restriction,
                "Comparison",
                {"parameterRef": head[-1].name, "value": str(packet.id), "useCalibratedValue": "false"},
            )
    ET.indent(system)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(system, encoding="unicode") + "\n"


def _free(name: str, taken: set[str]) -> str:
    while name in taken:
        name += "_"
    return name


def _notes(element: ET.Element, notes: dict[str, str]) -> None:
    if notes:
        every = ET.SubElement(element, "AncillaryDataSet")
        for name, value in notes.items():
            ET.SubElement(every, "AncillaryData", {"name": name}).text = value


def _head(description: Description) -> list[_Entry]:
    """What stands in every packet: the bits up to the discriminator, and itself as the last."""
    layout = description.layout
    if not layout.id_bits:
        return []
    where = number_place(layout.id_first_bit, layout.id_bits, layout.byte_order, layout.id_bit_order, "id")
    field = Field("id", WireKind.UNSIGNED, layout.id_bits, layout.id_first_bit, bit_order=layout.id_bit_order)
    stretch = stretch_of(field, layout.byte_order, "id")
    head = []
    if stretch.start:
        head.append(_Entry("head_spare", Stretch(0, stretch.start, MOST_FIRST), None))
    if where.start * 8 > stretch.start:
        raise LayoutToolError("the discriminator's bits are not supported in XTCE yet", where="id")
    head.append(_Entry("id", stretch, Item("", field)))
    return head


def _packet_entries(description: Description, packet: Packet, head: list[_Entry]) -> Iterator[_Entry]:
    names: set[str] = {entry.name for entry in head}
    placed = [
        (stretch_of(item.field, description.layout.byte_order, item.where), order, item)
        for order, item in enumerate(description.of(packet))
    ]
    in_stream = sorted(placed, key=lambda one: one[0].start)
    is_same = in_stream == placed
    at = head[-1].stretch.start + head[-1].stretch.bits if head else 0
    for number, (stretch, order, item) in enumerate(in_stream):
        if stretch.start < at:
            raise LayoutToolError("shares bits with another, which is not supported in XTCE yet", where=item.where)
        yield from _spare(packet, at, stretch.start, number)
        name = _free(f"{packet.name}_{item.field.name}", names)
        names.add(name)
        yield _Entry(name, stretch, item, None if is_same else order)
        at = stretch.start + stretch.bits
    yield from _spare(packet, at, 8 * packet.length, len(placed))


def _spare(packet: Packet, at: int, end: int, number: int) -> Iterator[_Entry]:
    part = 0
    while at < end:
        bits = min(end - at, 64)
        yield _Entry(f"{packet.name}_spare_{number}_{part}", Stretch(at, bits, MOST_FIRST), None)
        at, part = at + bits, part + 1


def _entries(container: ET.Element, every: list[_Entry], types: ET.Element, parameters: ET.Element) -> None:
    entries = ET.SubElement(container, "EntryList")
    known = {parameter.get("name") for parameter in parameters}
    for entry in every:
        if entry.name in known:
            raise LayoutToolError(
                "two fields would have the same parameter's name, expected packets and fields named apart",
                where=entry.name,
            )
        _type(types, entry)
        about = {"name": entry.name, "parameterTypeRef": f"{entry.name}_type"}
        if entry.item is not None and entry.item.text:
            about["shortDescription"] = entry.item.text
        parameter = ET.SubElement(parameters, "Parameter", about)
        if entry.item is None:
            _notes(parameter, {SPARE: "true"})
        elif entry.item.packet:
            notes = {"field": entry.item.field.name} | field_notes(entry.item.field)
            if entry.item.meaning:
                notes["meaning"] = entry.item.meaning
            if entry.order is not None:
                notes["order"] = str(entry.order)
            if entry.item.file_valid is not None and not all(end == round(end) for end in entry.item.file_valid):
                notes["valid"] = " ".join(repr(end) for end in entry.item.file_valid)  # integer types round theirs
            _notes(parameter, notes)
        ET.SubElement(entries, "ParameterRefEntry", {"parameterRef": entry.name})


def _type(types: ET.Element, entry: _Entry) -> None:
    item, bits = entry.item, entry.stretch.bits
    name = f"{entry.name}_type"
    if item is None:
        kind = ET.SubElement(types, "IntegerParameterType", {"name": name, "signed": "false"})
        _unsigned(kind, bits)
        return
    field = item.field
    if field.kind is WireKind.TEXT:
        kind = ET.SubElement(types, "StringParameterType", {"name": name})
        size = ET.SubElement(ET.SubElement(kind, "StringDataEncoding", {"encoding": "UTF-8"}), "SizeInBits")
        ET.SubElement(ET.SubElement(size, "Fixed"), "FixedValue").text = str(bits)
        return
    if field.kind is WireKind.BOOLEAN:
        kind = ET.SubElement(types, "BooleanParameterType", {"name": name})
        _unsigned(kind, bits)
        return
    is_float = field.kind is WireKind.FLOAT
    calibrated = field.curve is not None or (item.file_scale, item.file_bias) != (1.0, 0.0)
    if field.labels and not is_float and not calibrated:
        kind = ET.SubElement(types, "EnumeratedParameterType", {"name": name})
        _unit(kind, item)
        _encoding(kind, entry, field, None)
        labels = ET.SubElement(kind, "EnumerationList")
        for value, label in field.labels:
            ET.SubElement(labels, "Enumeration", {"value": str(value), "label": label})
        return
    if field.labels:
        raise LayoutToolError("labels on a scaled field are not supported in XTCE yet", where=item.where)
    signed = "true" if field.kind is WireKind.SIGNED else "false"
    if is_float or calibrated:
        width = "64" if field.bits > 32 or not is_float else str(field.bits)
        kind = ET.SubElement(types, "FloatParameterType", {"name": name, "sizeInBits": width})
    else:
        kind = ET.SubElement(types, "IntegerParameterType", {"name": name, "signed": signed})
    _unit(kind, item)
    _encoding(kind, entry, field, item)
    _valid(kind, item, whole=not (is_float or calibrated))


def _unit(kind: ET.Element, item: Item) -> None:
    if item.unit != "1":
        ET.SubElement(ET.SubElement(kind, "UnitSet"), "Unit").text = item.unit


def _unsigned(kind: ET.Element, bits: int) -> None:
    ET.SubElement(kind, "IntegerDataEncoding", {"sizeInBits": str(bits), "encoding": "unsigned"})


def _encoding(kind: ET.Element, entry: _Entry, field: Field, item: Item | None) -> None:
    bits = str(entry.stretch.bits)
    if field.kind is WireKind.FLOAT:
        encoding = ET.SubElement(kind, "FloatDataEncoding", {"sizeInBits": bits, "encoding": "IEEE754_1985"})
    else:
        sign = "twosComplement" if field.kind is WireKind.SIGNED else "unsigned"
        encoding = ET.SubElement(kind, "IntegerDataEncoding", {"sizeInBits": bits, "encoding": sign})
    if entry.stretch.byte_order == LEAST_FIRST:
        encoding.set("byteOrder", LEAST_FIRST)
    if item is not None:
        _calibrator(encoding, item)


def _calibrator(encoding: ET.Element, item: Item) -> None:
    curve, scale, bias = item.field.curve, item.file_scale, item.file_bias
    if curve is None and (scale, bias) == (1.0, 0.0):
        return
    calibrator = ET.SubElement(encoding, "DefaultCalibrator")
    if isinstance(curve, Points):
        spline = ET.SubElement(calibrator, "SplineCalibrator", {"order": "1", "extrapolate": "false"})
        for raw, value in zip(curve.raw, curve.value, strict=True):
            point = {"raw": repr(raw), "calibrated": repr(value * scale + bias), "order": "1"}
            ET.SubElement(spline, "SplinePoint", point)
        return
    if curve is None:
        coefficients: tuple[float, ...] = (bias, scale)
    elif isinstance(curve, Polynomial):
        first, *others = curve.coefficients
        coefficients = (first * scale + bias, *(other * scale for other in others))
    else:
        raise LayoutToolError(f"{curve_text(curve)} is not supported in XTCE yet", where=item.where)
    polynomial = ET.SubElement(calibrator, "PolynomialCalibrator")
    for exponent, coefficient in enumerate(coefficients):
        ET.SubElement(polynomial, "Term", {"coefficient": repr(float(coefficient)), "exponent": str(exponent)})


def _valid(kind: ET.Element, item: Item, *, whole: bool) -> None:
    if item.file_valid is None:
        return
    least, greatest = item.file_valid
    if whole:
        least, greatest = math.ceil(least), math.floor(greatest)
    shown = {"minInclusive": repr(least), "maxInclusive": repr(greatest), "validRangeAppliesToCalibrated": "true"}
    ET.SubElement(kind, "ValidRange", shown)
