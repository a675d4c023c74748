"""A layout from an XTCE 1.2 document (OMG; CCSDS 660.0-B-2): its containers become packets, its parameters fields.

The useful subset: containers that inherit from one another and are told apart by one parameter's value, nested
containers, fixed places, and the types of `groundstation.layout_tools.xtce_types`. What is left over is refused by
name, not passed over.
"""

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from decoders.errors import LayoutError
from decoders.layout import BitOrder, ByteOrder, ChecksumPlace, Field, Layout, LineMark, Packet, WireKind
from groundstation.config.wire import column_unit
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.errors import LayoutToolError
from groundstation.layout_tools.plain_xml import parsed
from groundstation.layout_tools.xtce_types import ParameterType, number, parameter_type, whole
from groundstation.layout_tools.xtce_words import SPARE, crc_of, placed, sync_of

_MOST_CONTAINERS = 64  # one inside another or inheriting from another; more is a circle


@dataclass(frozen=True, slots=True)
class _Parameter:
    name: str
    type: ParameterType
    notes: Mapping[str, str]
    text: str


@dataclass(frozen=True, slots=True)
class _Placed:
    """A parameter in a packet: from bit `start` on, each byte's highest bit first."""

    parameter: _Parameter
    start: int

    @property
    def end(self) -> int:
        return self.start + self.parameter.type.bits


@dataclass(slots=True)
class _System:
    """One SpaceSystem with what it and those around it declare."""

    path: str
    outer: "_System | None"
    types: dict[str, ET.Element] = field(default_factory=dict)
    parameters: dict[str, ET.Element] = field(default_factory=dict)
    containers: dict[str, ET.Element] = field(default_factory=dict)
    inner: dict[str, "_System"] = field(default_factory=dict)


def layout_from_xtce(data: bytes, *, name: str) -> Description:
    """The description in an XTCE document.

    Args:
        data: The document.
        name: What messages call it.
    Returns:
        The layout with units, valid ranges and meanings. What XTCE has no element for (framing, checksum) is as our
        own export notes it, else frames of fixed length without a checksum, which is for the user to fill in.
    Raises:
        LayoutToolError: It is no XTCE, or has something that is not supported; the message names it.
    """
    root = parsed(data, name=name)
    if root.tag != "SpaceSystem":
        raise LayoutToolError(f"found the element {root.tag!r}, expected SpaceSystem", where=name)
    reader = _Reader()
    system = reader.declare(root, None)
    try:
        return reader.description(root, system)
    except (LayoutError, ValueError) as error:
        if isinstance(error, LayoutToolError):
            raise
        raise LayoutToolError(str(error), where=name) from error


class _Reader:
    """Reads one document."""

    def __init__(self) -> None:
        self._containers: list[tuple[_System, ET.Element]] = []
        self._parameters: dict[tuple[str, str], _Parameter] = {}

    def declare(self, element: ET.Element, outer: _System | None) -> _System:
        """A SpaceSystem's declarations, and those of the systems in it."""
        name = _name(element, outer.path if outer else "")
        system = _System(f"{outer.path if outer else ''}/{name}", outer)
        telemetry = element.find("TelemetryMetaData")
        if telemetry is not None:
            for group, into in (
                ("ParameterTypeSet", system.types),
                ("ParameterSet", system.parameters),
                ("ContainerSet", system.containers),
            ):
                for one in telemetry.findall(f"{group}/*"):
                    if one.tag == "ParameterRef":
                        continue
                    into[_name(one, system.path)] = one
            self._containers += [(system, one) for one in system.containers.values()]
        for inner in element.findall("SpaceSystem"):
            found = self.declare(inner, system)
            system.inner[found.path.rpartition("/")[2]] = found
        return system

    def description(self, root: ET.Element, system: _System) -> Description:
        """Every packet of the document."""
        notes = _notes(root)
        packets = list(self._packets())
        if not packets:
            raise LayoutToolError("found no container that is not abstract, expected at least one", where=system.path)
        order = _order(notes, [one for _, _, placed_ones, _ in packets for one in placed_ones])
        key = self._key([criteria for _, _, _, criteria in packets])
        discriminator, kept = None, []
        items: dict[tuple[str, str], Item] = {}
        rates = {}
        for name, container, every, criteria in packets:
            mine = [one for one in every if key is not None and one.parameter is key]
            if key is not None and not mine:
                raise LayoutToolError(f"has no parameter {key.name!r}, by which others are told apart", where=name)
            if mine and discriminator not in (None, mine[0]):
                raise LayoutToolError("the discriminator stands in different places", where=name)
            discriminator = mine[0] if mine else discriminator
            fields = _fields(name, [one for one in every if one not in mine], order)
            length = -(-max((one.end for one in every), default=0) // 8)
            number_of_kind = 0 if key is None else whole(criteria[key.name][1], name)
            kept.append(
                Packet(
                    name,
                    number_of_kind,
                    length,
                    tuple(f for f, _ in fields),
                    tag=_notes(container).get("tag", ""),
                    filler=bytes.fromhex(_notes(container).get("filler", "")),
                )
            )
            items |= {(name, f.name): _item(name, f, one) for f, one in fields}
            if (rate := container.find("DefaultRateInStream")) is not None and rate.get("minimumValue"):
                rates[name] = number(rate.get("minimumValue"), name)
        packets_in_units = tuple(
            replace(p, fields=tuple(items[(p.name, f.name)].field for f in p.fields)) for p in kept
        )
        layout = _layout(notes, order, packets_in_units, discriminator)
        return Description(notes.get("name", root.get("name", "")), layout, items, rates)

    def _packets(self) -> Iterator[tuple[str, ET.Element, list[_Placed], dict[str, tuple[_Parameter, str]]]]:
        """Every container that no other inherits from and that none holds: its name, itself, places and criteria."""
        bases, held = set(), set()
        for system, container in self._containers:
            if (base := container.find("BaseContainer")) is not None:
                bases.add(id(self._container(system, base.get("containerRef"), container)[1]))
            for entry in container.findall("EntryList/ContainerRefEntry"):
                held.add(id(self._container(system, entry.get("containerRef"), container)[1]))
        names: set[str] = set()
        for system, container in self._containers:
            if container.get("abstract", "false") in ("true", "1") or id(container) in bases | held:
                continue
            name = container.get("name", "")
            if name in names:
                raise LayoutToolError("found two containers of that name, expected each to have its own", where=name)
            names.add(name)
            criteria: dict[str, tuple[_Parameter, str]] = {}
            every, _ = self._placed(system, container, 0, criteria, 0)
            yield name, container, every, criteria

    def _placed(
        self,
        system: _System,
        container: ET.Element,
        start: int,
        criteria: dict[str, tuple[_Parameter, str]],
        depth: int,
    ) -> tuple[list[_Placed], int]:
        """The parameters of a container and those it inherits, and the bit after the last."""
        where = container.get("name", "")
        if depth > _MOST_CONTAINERS:
            raise LayoutToolError("containers go round in a circle", where=where)
        every: list[_Placed] = []
        at = start
        if (base := container.find("BaseContainer")) is not None:
            outer, inherited = self._container(system, base.get("containerRef"), container)
            every, at = self._placed(outer, inherited, start, criteria, depth + 1)
            self._criteria(system, base, criteria, where)
        for entry in container.findall("EntryList/*"):
            for part in ("RepeatEntry", "IncludeCondition"):
                if entry.find(part) is not None:
                    raise LayoutToolError(f"{part} is not supported yet", where=where)
            at = _location(entry, start, at, where)
            if entry.tag == "ParameterRefEntry":
                one = _Placed(self._parameter(system, entry.get("parameterRef"), where), at)
                every.append(one)
                at = one.end
            elif entry.tag == "ContainerRefEntry":
                outer, inner = self._container(system, entry.get("containerRef"), container)
                more, at = self._placed(outer, inner, at, criteria, depth + 1)
                every += more
            else:
                raise LayoutToolError(f"{entry.tag} is not supported yet", where=where)
        return every, at

    def _criteria(
        self, system: _System, base: ET.Element, criteria: dict[str, tuple[_Parameter, str]], where: str
    ) -> None:
        restriction = base.find("RestrictionCriteria")
        if restriction is None:
            return
        comparisons = [*restriction.findall("Comparison"), *restriction.findall("ComparisonList/Comparison")]
        others = [one.tag for one in restriction if one.tag not in ("Comparison", "ComparisonList")]
        if others:
            raise LayoutToolError(f"{others[0]} in RestrictionCriteria is not supported yet", where=where)
        for one in comparisons:
            if one.get("comparisonOperator", "==") != "==" or one.get("instance", "0") != "0":
                raise LayoutToolError(
                    f"the comparison {one.get('comparisonOperator')} is not supported yet", where=where
                )
            parameter = self._parameter(system, one.get("parameterRef"), where)
            value = one.get("value", "")
            if one.get("useCalibratedValue", "true") in ("true", "1"):
                labels = {label: str(raw) for raw, label in parameter.type.labels}
                value = labels.get(value, value)
            criteria[parameter.name] = (parameter, value)

    @staticmethod
    def _key(criteria: list[dict[str, tuple[_Parameter, str]]]) -> _Parameter | None:
        """The one parameter by which packets are told apart."""
        names = {name for one in criteria for name in one}
        differing = [n for n in names if len({one[n][1] for one in criteria if n in one}) > 1 or len(criteria) == 1]
        if not differing:
            differing = sorted(names)[:1]
        if len(differing) > 1:
            raise LayoutToolError(
                f"packets are told apart by {', '.join(sorted(differing))}, expected one parameter",
                where="containers",
            )
        if not differing:
            return None
        return next(one[differing[0]][0] for one in criteria if differing[0] in one)

    def _container(self, system: _System, ref: str | None, at: ET.Element) -> tuple[_System, ET.Element]:
        return _resolved(system, ref, "containers", f"container {at.get('name')}")

    def _parameter(self, system: _System, ref: str | None, where: str) -> _Parameter:
        owner, element = _resolved(system, ref, "parameters", where)
        name = element.get("name", "")
        key = (owner.path, name)
        if key not in self._parameters:
            type_owner, type_element = _resolved(owner, element.get("parameterTypeRef"), "types", name)
            kind = parameter_type(type_element, f"{name} ({type_element.get('name')})")
            notes = _notes(element)
            text = element.get("shortDescription", "")
            self._parameters[key] = _Parameter(name, kind, notes, text)
            del type_owner
        return self._parameters[key]


def _resolved(system: _System, ref: str | None, kind: str, where: str) -> tuple[_System, ET.Element]:
    """What a reference means: a name here or further out, or a path from the root, from here or from further out."""
    *steps, name = (ref or "").split("/")
    start: _System | None = system
    if steps and steps[0] == "":
        while start is not None and start.outer is not None:
            start = start.outer
        steps = steps[2:] if start is not None and steps[1:2] == [start.path[1:]] else steps[1:]
    while start is not None:
        found: _System | None = start
        for step in steps:
            found = (
                found.outer if step == ".." and found else found if step == "." else found and found.inner.get(step)
            )
        table: dict[str, ET.Element] = getattr(found, kind) if found is not None else {}
        if found is not None and name in table:
            return found, table[name]
        start = start.outer
    raise LayoutToolError(f"refers to {ref!r}, of which there are no {kind}", where=where)


def _name(element: ET.Element, where: str) -> str:
    name = element.get("name")
    if not name:
        raise LayoutToolError(f"found a {element.tag} without a name", where=where or "SpaceSystem")
    return name


def _notes(element: ET.Element) -> dict[str, str]:
    return {one.get("name", ""): one.text or "" for one in element.findall("AncillaryDataSet/AncillaryData")}


def _location(entry: ET.Element, start: int, at: int, where: str) -> int:
    """Where an entry starts."""
    place = entry.find("LocationInContainerInBits")
    if place is None:
        return at
    fixed = place.find("FixedValue")
    reference = place.get("referenceLocation", "previousEntry")
    if fixed is None or reference not in ("previousEntry", "containerStart"):
        raise LayoutToolError(f"a location by {reference} that is not fixed is not supported yet", where=where)
    result = (at if reference == "previousEntry" else start) + whole(fixed.text, where)
    if result < start:
        raise LayoutToolError("an entry stands before its container", where=where)
    return result


def _order(notes: dict[str, str], every: list[_Placed]) -> ByteOrder:
    """The byte order of most numbers."""
    if "byte_order" in notes:
        return ByteOrder(notes["byte_order"])
    several = [one.parameter.type for one in every if one.parameter.type.bits > 8]
    least = sum(one.least_first for one in several)
    return ByteOrder.LITTLE if 2 * least > len(several) else ByteOrder.BIG


def _fields(packet: str, every: list[_Placed], order: ByteOrder) -> list[tuple[Field, _Placed]]:
    """The fields of a packet; raw, not in units yet."""
    kept = [one for one in every if SPARE not in one.parameter.notes]
    fields: list[tuple[Field, _Placed]] = []
    names: set[str] = set()
    for one in kept:
        name = one.parameter.notes.get("field", one.parameter.name)
        if name in names:
            raise LayoutToolError(
                "found the name twice, expected every field to have its own", where=f"{packet}.{name}"
            )
        names.add(name)
        fields.append((_placed_field(name, one, order), one))
    if all("order" in one.parameter.notes for _, one in fields):
        fields.sort(key=lambda pair: whole(pair[1].parameter.notes["order"], packet))
    return fields


def _placed_field(name: str, one: _Placed, order: ByteOrder) -> Field:
    kind = one.parameter.type
    plain = Field(name, kind.kind, kind.bits, one.start, curve=kind.curve, labels=kind.labels)
    noted = placed(plain, dict(one.parameter.notes))
    if noted is not plain:
        return noted
    byte, bit = divmod(one.start, 8)
    if bit == 0 and kind.bits % 8 == 0:
        mine = ByteOrder.LITTLE if kind.least_first else ByteOrder.BIG
        if kind.bits > 8 and mine is not order and kind.kind is not WireKind.TEXT:
            return replace(plain, bit_order=BitOrder.LEAST if kind.least_first else BitOrder.MOST)
        return plain
    if kind.least_first and kind.bits > 8:
        raise LayoutToolError("bits across bytes, least significant byte first, are not supported yet", where=name)
    if bit + kind.bits <= 8:
        return replace(plain, first_bit=8 * byte, container_bits=8, shift=8 - bit - kind.bits)
    return replace(plain, bit_order=BitOrder.MOST)


def _item(packet: str, found: Field, one: _Placed) -> Item:
    """The field in the unit of its meaning, as a vehicle file would have it."""
    kind, notes = one.parameter.type, one.parameter.notes
    meaning = notes.get("meaning")
    unit, unit_scale, unit_bias = column_unit(kind.unit, meaning)
    in_units = replace(found, scale=kind.scale * unit_scale, bias=kind.bias * unit_scale + unit_bias, unit=unit)
    valid = kind.valid
    if note := notes.get("valid"):
        least_text, greatest_text = note.split()
        valid = (float(least_text), float(greatest_text))
    limits = (-float("inf"), float("inf")) if valid is None else tuple(v * unit_scale + unit_bias for v in valid)
    return Item(
        packet=packet,
        field=in_units,
        meaning=meaning,
        least=limits[0],
        greatest=limits[1],
        unit=kind.unit,
        unit_scale=unit_scale,
        unit_bias=unit_bias,
        text=one.parameter.text,
        file_scale=kind.scale,
        file_bias=kind.bias,
        file_valid=valid,
    )


def _layout(
    notes: dict[str, str], order: ByteOrder, packets: tuple[Packet, ...], discriminator: _Placed | None
) -> Layout:
    id_bits, id_first_bit, id_bit_order = 0, 0, None
    if discriminator is not None:
        kind = discriminator.parameter.type
        id_bits, id_first_bit = kind.bits, discriminator.start
        id_field = _placed_field("id", discriminator, order)
        if id_field.container_bits is not None or id_field.bit_order is not None:
            id_bit_order = id_field.bit_order or BitOrder.MOST
    return Layout(
        framing=notes.get("framing", "fixed length"),
        checksum=notes.get("checksum", "none"),
        byte_order=order,
        packets=packets,
        id_bits=id_bits,
        checksum_order=ByteOrder(notes.get("checksum_order", order.value)),
        checksum_place=ChecksumPlace(notes.get("checksum_place", "end")),
        checksum_from=int(notes.get("checksum_from", "0")),
        checksum_until=int(notes.get("checksum_until", "0")),
        crc=crc_of(notes["crc"]) if "crc" in notes else None,
        sync=sync_of(notes["sync"], notes.get("length")) if "sync" in notes else None,
        separator=notes.get("separator", ","),
        line_mark=LineMark(notes.get("line_mark", LineMark.TAG.value)),
        id_first_bit=id_first_bit,
        id_bit_order=id_bit_order,
    )
