"""Values in, bytes out: the sender's side of a layout, for simulators and tests."""

from collections.abc import Mapping
from typing import Literal

from decoders.calibration import DegreesMinutes
from decoders.contents import address_place, discriminator_place
from decoders.envelope import put_around
from decoders.errors import LayoutError
from decoders.fields import float_bytes, place_of, raw_for, raw_limits, text_place
from decoders.framing import contents_of, framing
from decoders.layout import Field, Layout, Packet, WireKind
from decoders.line_beside import LineBeside, without_line
from decoders.quaternion import fraction_bits, packed

__all__ = ["FrameEncoder", "raw_limits"]


class FrameEncoder:
    """Makes complete frames, delimiters included, of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._line = LineBeside.of(layout)
        layout = without_line(layout)
        self._framing = framing(layout)
        self._contents = contents_of(layout, self._framing)
        self._packets = {packet.name: packet for packet in layout.packets}
        self._plans: dict[str, _Plan] = {}
        envelope = self._layout.envelope.fields
        self._around = [_Slot(layout, "receiver", e) for item in envelope for e in item.elements]
        self._around_columns = {name for item in envelope for name in item.columns}

    def encode(self, packet_name: str, values: Mapping[str, float | bytes]) -> bytes:
        """The frame of one packet.

        Args:
            packet_name: As in the layout.
            values: By column name, in the field's unit: a value for every column and no other, those of a receiver's
                envelope among them. Booleans are 0 and 1, text is bytes. Of a packet with an optional tail, values
                for its end may be left out; it is then as short as it can be.
        Returns:
            The bytes to send, with this vehicle's address unless a field there says another. Bits that belong to no
            field are those of the packet's filler, else zero.
        Raises:
            LayoutError: No such packet, a field without a value, or a value that does not fit its field.
        """
        if self._around:
            within = {name: value for name, value in values.items() if name not in self._around_columns}
            contents = self._contents.with_room(self.body(packet_name, within))
            if self._line is not None:
                self._framing.prepare(contents)
                frame = self._framing.encode(self._contents.seal(contents))
                return self._line.put_beside(frame, self._received(values))
            put_around(contents, self._layout, self._contents, self._received(values))
        else:
            contents = self._contents.with_room(self.body(packet_name, values))
        self._framing.prepare(contents)
        return self._framing.encode(self._contents.seal(contents))

    def _received(self, values: Mapping[str, float | bytes]) -> bytes:
        """What a receiver puts around a packet, `before` and `after` as one run."""
        envelope = self._layout.envelope
        run = bytearray(envelope.before + envelope.after)
        for slot in self._around:
            slot.put(run, values)
        return bytes(run)

    def body(self, packet_name: str, values: Mapping[str, float | bytes]) -> bytes:
        """The packet's body, before checksum and framing; as `encode`."""
        packet = self._packets.get(packet_name)
        if packet is None:
            raise LayoutError(f"found no such packet, expected one of {', '.join(self._packets)}", where=packet_name)
        plan = self._plans.get(packet_name)
        if plan is None:
            plan = self._plans[packet_name] = _Plan(self._layout, packet)
        if unknown := values.keys() - plan.columns:
            raise LayoutError(f"has no field {', '.join(sorted(unknown))}", where=packet_name)
        length = plan.length(values)
        body = bytearray(plan.empty[:length])
        for slot in plan.slots:
            if slot.end_bit <= 8 * length:
                slot.put(body, values)
        return bytes(body)


class _Plan:
    """How one packet is made, worked out once: its slots, and its body with nothing but id, address and filler."""

    def __init__(self, layout: Layout, packet: Packet) -> None:
        self.columns = frozenset(packet.columns)
        self.slots = [_Slot(layout, packet.name, element) for item in packet.fields for element in item.elements]
        self._lengths = packet.lengths
        self._full = self._least(max((slot.end_bit for slot in self.slots), default=0))
        empty = bytearray(packet.filler[: self._lengths[-1]].ljust(self._lengths[-1], b"\0"))
        if layout.id_bits:
            discriminator_place(layout).put(empty, packet.id)
        address = address_place(layout)
        if address is not None and layout.address is not None:
            address.put(empty, layout.address.value)
        self.empty = bytes(empty)

    def length(self, values: Mapping[str, float | bytes]) -> int:
        """The shortest length that has room for every value given."""
        if len(values) == len(self.columns):
            return self._full
        return self._least(max((s.end_bit for s in self.slots if not values.keys().isdisjoint(s.columns)), default=0))

    def _least(self, bits: int) -> int:
        return next(length for length in self._lengths if 8 * length >= bits)


class _Slot:
    """One field that is no array, and its place in the body."""

    __slots__ = ("_item", "_kind", "_letter", "_order", "_place", "_text", "_where", "_whole", "columns", "end_bit")

    def __init__(self, layout: Layout, packet_name: str, item: Field) -> None:
        self._item = item
        self._kind = item.kind
        self._order: Literal["little", "big"] = layout.byte_order.value
        self._where = f"{packet_name}.{item.name}"
        self._letter = isinstance(item.curve, DegreesMinutes) and bool(item.curve.letter)
        self.columns = item.columns
        self.end_bit = item.first_bit + item.span
        self._text, self._place, self._whole = slice(0), None, False
        if item.kind is WireKind.TEXT:
            self._text = text_place(item, self._where)
        else:
            self._place = place_of(item, layout.byte_order, self._where)
            self._whole = self._place.bits == 8 * self._place.size

    def put(self, body: bytearray, values: Mapping[str, float | bytes]) -> None:
        """Write the field.

        Raises:
            LayoutError: It has no value, or one that does not fit.
        """
        item, where, place = self._item, self._where, self._place
        if place is None:
            body[self._text] = _text(item, values.get(item.name), where)
            return
        if self._kind is WireKind.QUATERNION:
            w, x, y, z = (_number(values, name, where) for name in self.columns)
            number = packed((w, x, y, z), fraction_bits(item.bits))
        else:
            value = _number(values, item.name, where)
            # of a position whose sign a letter beside it tells, only the size
            raw = raw_for(item, abs(value) if self._letter else value, where)
            if self._kind is WireKind.FLOAT:
                number = int.from_bytes(float_bytes(item, float(raw), self._order, where), self._order)
            else:
                number = int(raw) & ((1 << item.bits) - 1)
        if self._whole:
            body[place.start : place.end] = number.to_bytes(place.size, place.byte_order.value)
        else:
            place.put(body, number)


def _number(values: Mapping[str, float | bytes], name: str, where: str) -> float:
    value = values.get(name)
    if value is None:
        raise LayoutError("found no value, expected one for every field", where=where)
    if isinstance(value, bytes):
        raise LayoutError(f"found {value!r}, expected a number", where=where)
    return value


def _text(item: Field, value: float | bytes | None, where: str) -> bytes:
    size = item.bits // 8
    if value is None:
        raise LayoutError("found no value, expected one for every field", where=where)
    if not isinstance(value, bytes) or len(value) > size:
        raise LayoutError(f"found {value!r}, expected at most {size} bytes", where=where)
    return value.ljust(size, b"\0")
