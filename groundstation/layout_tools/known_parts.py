"""What a tool that writes a layout out can express, so that anything newer is refused by name and never left out."""

import dataclasses
from dataclasses import dataclass
from typing import Any

from decoders.layout import Field, Layout, Packet, WireKind
from groundstation.layout_tools.errors import LayoutToolError

PLAIN_KINDS = frozenset({WireKind.UNSIGNED, WireKind.SIGNED, WireKind.FLOAT, WireKind.BOOLEAN})
_FIELD = frozenset({"name", "kind", "bits", "first_bit", "scale", "bias", "unit", "container_bits", "shift"})
_PACKET = frozenset({"name", "id", "length", "fields", "tag"})
_LAYOUT = frozenset(
    {
        "framing",
        "checksum",
        "byte_order",
        "packets",
        "id_bits",
        "checksum_order",
        "checksum_place",
        "checksum_from",
        "checksum_until",
        "crc",
        "sync",
        "separator",
    }
)


@dataclass(frozen=True, slots=True)
class Target:
    """What a layout is written as, what that can express besides plain numbers: kinds, attributes of each part."""

    name: str
    kinds: frozenset[WireKind] = PLAIN_KINDS
    field: frozenset[str] = frozenset()
    packet: frozenset[str] = frozenset()
    layout: frozenset[str] = frozenset()


def refuse_unknown(layout: Layout, target: Target) -> None:
    """Refuse what the target cannot express.

    Raises:
        LayoutToolError: A field, packet or layout has something that the target does not know; the message names it.
    """
    _refuse(layout, _LAYOUT | target.layout, "the layout", target)
    for packet in layout.packets:
        _refuse(packet, _PACKET | target.packet, packet.name, target)
        for item in packet.fields:
            _refuse_field(packet, item, target)


def _refuse_field(packet: Packet, item: Field, target: Target) -> None:
    where = f"{packet.name}.{item.name}"
    if item.kind not in target.kinds:
        raise LayoutToolError(
            f"a field of kind {item.kind.value!r} is not supported in {target.name} yet", where=where
        )
    _refuse(item, _FIELD | target.field, where, target)


def _refuse(part: Any, known: frozenset[str], where: str, target: Target) -> None:
    for attribute in dataclasses.fields(part):
        if attribute.name in known:
            continue
        value = getattr(part, attribute.name)
        plain = attribute.default
        if attribute.default_factory is not dataclasses.MISSING:
            plain = attribute.default_factory()
        if value != plain:
            raise LayoutToolError(f"{attribute.name} = {value!r} is not supported in {target.name} yet", where=where)
