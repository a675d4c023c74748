"""Values in, bytes out: the sender's side of a layout, for simulators and tests."""

import math
import struct
from collections.abc import Mapping
from typing import Literal

from decoders.errors import LayoutError
from decoders.framing import contents_of, framing
from decoders.layout import Field, Layout, WireKind


class FrameEncoder:
    """Makes complete frames, delimiters included, of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._framing = framing(layout)
        self._contents = contents_of(layout, self._framing)
        self._packets = {packet.name: packet for packet in layout.packets}

    def encode(self, packet_name: str, values: Mapping[str, float]) -> bytes:
        """The frame of one packet.

        Args:
            packet_name: As in the layout.
            values: By field name, in the field's unit: a value for every field and no other. Booleans are 0 and 1.
        Returns:
            The bytes to send. Bits that belong to no field are zero.
        Raises:
            LayoutError: No such packet, a field without a value, or a value that does not fit its field.
        """
        contents = self._contents.with_room(self.body(packet_name, values))
        self._framing.prepare(contents)
        return self._framing.encode(self._contents.seal(contents))

    def body(self, packet_name: str, values: Mapping[str, float]) -> bytes:
        """The packet's body, before checksum and framing; as `encode`."""
        packet = self._packets.get(packet_name)
        if packet is None:
            raise LayoutError(f"found no such packet, expected one of {', '.join(self._packets)}", where=packet_name)
        if unknown := values.keys() - {item.name for item in packet.fields}:
            raise LayoutError(f"has no field {', '.join(sorted(unknown))}", where=packet_name)
        body = bytearray(packet.length)
        start = self._contents.id_bytes(packet)
        body[: len(start)] = start
        for item in packet.fields:
            where = f"{packet.name}.{item.name}"
            if item.name not in values:
                raise LayoutError("found no value, expected one for every field", where=where)
            self._put(body, item, values[item.name], where)
        return bytes(body)

    def _put(self, body: bytearray, item: Field, value: float, where: str) -> None:
        order: Literal["little", "big"] = self._contents.byte_order.value
        width = (item.container_bits or item.bits) // 8
        place = slice(item.first_bit // 8, item.first_bit // 8 + width)
        if item.kind is WireKind.FLOAT:
            body[place] = _float_bytes(item, (value - item.bias) / item.scale, order, where)
            return
        bits = _raw(item, value, where) & ((1 << item.bits) - 1)
        container = int.from_bytes(body[place], order)
        body[place] = (container | bits << item.shift).to_bytes(width, order)


def _raw(item: Field, value: float, where: str) -> int:
    """The whole number that stands for a value."""
    if item.kind is WireKind.BOOLEAN:
        if value not in (0, 1):
            raise LayoutError(f"found {value!r}, expected 0 or 1", where=where)
        return int(value)
    if isinstance(value, int) and item.scale == 1 and item.bias == 0:
        raw = value  # all 64 bits, where a float64 would round
    else:
        exact = (value - item.bias) / item.scale
        if not math.isfinite(exact):
            raise LayoutError(f"found {value!r}, expected a finite number", where=where)
        raw = round(exact)
    least, greatest = raw_limits(item)
    if not least <= raw <= greatest:
        raise LayoutError(f"found {value!r} (raw {raw}), expected raw {least} to {greatest}", where=where)
    return raw


def raw_limits(item: Field) -> tuple[int, int]:
    """The least and the greatest raw number of an integer field."""
    if item.kind is WireKind.SIGNED:
        return -(1 << (item.bits - 1)), (1 << (item.bits - 1)) - 1
    return 0, (1 << item.bits) - 1


def _float_bytes(item: Field, raw: float, order: Literal["little", "big"], where: str) -> bytes:
    try:
        return struct.pack(("<" if order == "little" else ">") + ("f" if item.bits == 32 else "d"), raw)
    except OverflowError:
        raise LayoutError(f"found {raw!r}, expected a number that {item.bits} bits can hold", where=where) from None
