"""What a tool that writes a layout out can express, so that anything newer is refused by name and never left out."""

import dataclasses
from typing import Any

from decoders.layout import Field, Layout, Packet, WireKind
from groundstation.layout_tools.errors import LayoutToolError

_KINDS = frozenset({WireKind.UNSIGNED, WireKind.SIGNED, WireKind.FLOAT, WireKind.BOOLEAN})
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


def refuse_unknown(layout: Layout, *, target: str) -> None:
    """Refuse what this version does not know how to write.

    Raises:
        LayoutToolError: A field, packet or layout has something the tools do not know; the message names it.
    """
    _refuse(layout, _LAYOUT, "the layout", target)
    for packet in layout.packets:
        _refuse(packet, _PACKET, packet.name, target)
        for item in packet.fields:
            refuse_unknown_field(packet, item, target=target)


def refuse_unknown_field(packet: Packet, item: Field, *, target: str) -> None:
    """As `refuse_unknown`, for one field."""
    where = f"{packet.name}.{item.name}"
    if item.kind not in _KINDS:
        raise LayoutToolError(f"a field of kind {item.kind.value!r} is not supported in {target} yet", where=where)
    _refuse(item, _FIELD, where, target)


def _refuse(part: Any, known: frozenset[str], where: str, target: str) -> None:
    for attribute in dataclasses.fields(part):
        if attribute.name in known:
            continue
        value = getattr(part, attribute.name)
        plain = attribute.default
        if attribute.default_factory is not dataclasses.MISSING:
            plain = attribute.default_factory()
        if value != plain:
            raise LayoutToolError(f"{attribute.name} = {value!r} is not supported in {target} yet", where=where)
