"""Values in, bytes out: the sender's side of a layout, for simulators and tests."""

from collections.abc import Mapping

from decoders.calibration import DegreesMinutes
from decoders.contents import address_place, discriminator_place
from decoders.envelope import put_around
from decoders.errors import LayoutError
from decoders.fields import float_bytes, place_of, raw_for, raw_limits, text_place
from decoders.framing import contents_of, framing
from decoders.layout import Field, Layout, Packet, WireKind
from decoders.quaternion import fraction_bits, packed

__all__ = ["FrameEncoder", "raw_limits"]


class FrameEncoder:
    """Makes complete frames, delimiters included, of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._framing = framing(layout)
        self._contents = contents_of(layout, self._framing)
        self._packets = {packet.name: packet for packet in layout.packets}

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
        envelope = self._layout.envelope.fields
        around = {name for item in envelope for name in item.columns}
        contents = self._contents.with_room(
            self.body(packet_name, {name: value for name, value in values.items() if name not in around})
        )
        if envelope:
            put_around(contents, self._layout, self._contents, self._around(values))
        self._framing.prepare(contents)
        return self._framing.encode(self._contents.seal(contents))

    def _around(self, values: Mapping[str, float | bytes]) -> bytes:
        """What a receiver puts around a packet, `before` and `after` as one run."""
        envelope = self._layout.envelope
        run = bytearray(envelope.before + envelope.after)
        packet = Packet("receiver", 0, len(run), envelope.fields)
        for item in envelope.fields:
            for element in item.elements:
                self._put(run, packet, element, values)
        return bytes(run)

    def body(self, packet_name: str, values: Mapping[str, float | bytes]) -> bytes:
        """The packet's body, before checksum and framing; as `encode`."""
        packet = self._packets.get(packet_name)
        if packet is None:
            raise LayoutError(f"found no such packet, expected one of {', '.join(self._packets)}", where=packet_name)
        if unknown := values.keys() - set(packet.columns):
            raise LayoutError(f"has no field {', '.join(sorted(unknown))}", where=packet_name)
        length = _length(packet, values)
        body = bytearray(packet.filler[:length].ljust(length, b"\0"))
        if self._layout.id_bits:
            discriminator_place(self._layout).put(body, packet.id)
        address = address_place(self._layout)
        if address is not None and self._layout.address is not None:
            address.put(body, self._layout.address.value)
        for item in packet.fields:
            for element in item.elements:
                if element.first_bit + element.span <= 8 * length:
                    self._put(body, packet, element, values)
        return bytes(body)

    def _put(self, body: bytearray, packet: Packet, item: Field, values: Mapping[str, float | bytes]) -> None:
        """Write one field that is no array."""
        where = f"{packet.name}.{item.name}"
        if item.kind is WireKind.TEXT:
            place = text_place(item, where)
            body[place] = _text(item, values.get(item.name), where)
            return
        given = [_number(values, name, where) for name in item.columns]
        order = self._layout.byte_order
        if item.kind is WireKind.QUATERNION:
            w, x, y, z = given
            number = packed((w, x, y, z), fraction_bits(item.bits))
        elif item.kind is WireKind.FLOAT:
            raw = raw_for(item, _size(packet, item, given[0]), where)
            number = int.from_bytes(float_bytes(item, raw, order.value, where), order.value)
        else:
            number = int(raw_for(item, _size(packet, item, given[0]), where)) & ((1 << item.bits) - 1)
        place_of(item, order, where).put(body, number)


def _length(packet: Packet, values: Mapping[str, float | bytes]) -> int:
    """The shortest length that has room for every value given."""
    needed = max(
        (e.first_bit + e.span for item in packet.fields for e in item.elements if values.keys() & set(e.columns)),
        default=0,
    )
    return next(length for length in packet.lengths if 8 * length >= needed)


def _size(packet: Packet, item: Field, value: float) -> float:
    """A position without its sign, where a letter beside it tells it."""
    if isinstance(item.curve, DegreesMinutes) and item.curve.letter:
        return abs(value)
    return value


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
