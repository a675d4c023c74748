"""Mistakes of a sound body that is no packet: wrong discriminator, wrong length, a field wider or narrower."""

import math
from collections.abc import Iterator
from dataclasses import replace

from decoders.errors import LayoutError
from decoders.fields import number_place
from decoders.layout import ByteOrder, Field, Packet
from groundstation.layout_tools.described import Description, Item
from groundstation.layout_tools.hypothesis import Hypothesis, Mistake, by_chance, tried_bits
from groundstation.layout_tools.readings import Reading, moved, outside, reading, readings, score
from groundstation.layout_tools.taking import Case, id_place

_LENGTH_BITS = 4.0  # that a length is just the one expected
_MOST_BYTES = 16  # that a body may be too long or too short by, for one field's sake
_USUAL_WIDTHS = (8, 16, 32, 64)
_UNUSUAL_BITS = 1.0
_LEAST_BITS = 1.0


def body_suspects(case: Case, body: bytes) -> Iterator[Hypothesis]:
    """What makes a packet of a body whose checksum is right."""
    yield from _other_order(case, body)
    packet = case.packet_of(body)
    if packet is None:
        yield from _other_id(case, body)
        yield from _id_width(case, body)
        return
    yield from _other_kind(case, body, packet)
    by = len(body) - packet.length
    if by and abs(by) <= _MOST_BYTES:
        yield from _width(case, body, packet, by)
        yield from _padding(case, body, packet)
        yield _some_field(packet, by)
    if 0 < by <= _MOST_BYTES:
        yield from _extra(case, body, packet, by)
    if by < 0:
        yield from _left_out(case, body, packet, by)


def fits(found: tuple[Reading, ...]) -> str:
    """How the values look."""
    judged = [one for one in found if one.valid is not None]
    if not judged:
        return "the description gives no valid ranges to hold values against"
    inside = len(judged) - len(outside(judged))
    return f"{inside} of {len(judged)} values lie within their valid ranges"


def _other_order(case: Case, body: bytes) -> Iterator[Hypothesis]:
    """A discriminator that is known only with its bytes in the other order."""
    other = other_order(case.layout.byte_order)
    layout = replace(case.layout, byte_order=other)
    if case.layout.id_bits <= 8 or case.packet_of(body) is not None or len(body) < case.layout.id_bits // 8:
        return
    number = id_place(layout).get(body)
    for packet in layout.packets:
        if packet.id == number and len(body) in packet.lengths:
            read = readings(case.description, packet, body, other)
            before = readings(case.description, packet, body, case.layout.byte_order)
            gain = score(read) - score(before)
            bits = case.layout.id_bits - tried_bits(len(layout.packets)) + gain
            first = "high" if other is ByteOrder.BIG else "low"
            yield Hypothesis(
                Mistake.NUMBER_ORDER,
                f"numbers are sent with their {first} byte first",
                (
                    f"read so, the discriminator is {number} ({packet.name}), and the length is right",
                    f"{fits(read)}; as described {fits(before)}",
                    by_chance(bits),
                ),
                bits,
                f'byte_order = "{other.value}"',
            )


def other_order(order: ByteOrder) -> ByteOrder:
    """Big for little, little for big."""
    return ByteOrder.BIG if order is ByteOrder.LITTLE else ByteOrder.LITTLE


def _other_id(case: Case, body: bytes) -> Iterator[Hypothesis]:
    """The body of a known packet behind an unknown discriminator."""
    found = case.id_of(body)
    if found is None:
        return
    for packet in case.layout.packets:
        if len(body) not in packet.lengths:
            continue
        read = readings(case.description, packet, body, case.layout.byte_order)
        bits = _LENGTH_BITS + score(read) - tried_bits(len(case.layout.packets))
        yield Hypothesis(
            Mistake.DISCRIMINATOR,
            f"packet {packet.name!r} is sent with the id {found}, not {packet.id}",
            (f"the body has its length, {len(body)} bytes", f"read as it, {fits(read)}", by_chance(bits)),
            max(bits, 1.0),
            f"id = {found}",
        )


def _other_kind(case: Case, body: bytes, packet: Packet) -> Iterator[Hypothesis]:
    """One known packet under the discriminator of another."""
    described = score(readings(case.description, packet, body, case.layout.byte_order))
    for other in case.layout.packets:
        if other is packet or len(body) not in other.lengths:
            continue
        read = readings(case.description, other, body, case.layout.byte_order)
        right_length = 0.0 if len(body) in packet.lengths else _LENGTH_BITS
        bits = right_length + score(read) - described - tried_bits(len(case.layout.packets) - 1)
        yield Hypothesis(
            Mistake.DISCRIMINATOR,
            f"packet {other.name!r} is sent with the id {packet.id} of {packet.name!r}",
            (
                f"the body has its length, {len(body)} bytes",
                f"read as {other.name!r}, {fits(read)}",
                by_chance(bits),
            ),
            bits,
            f"have the firmware send the id {other.id} with {other.name!r}",
        )


def _id_width(case: Case, body: bytes) -> Iterator[Hypothesis]:
    """A discriminator of another width."""
    layout = case.layout
    if layout.id_bits == 0 or layout.id_bit_order is not None or layout.id_first_bit:
        return
    tried = 0
    for width in (8, 16, 32):
        by = (width - layout.id_bits) // 8
        for order in dict.fromkeys((layout.byte_order, other_order(layout.byte_order))):
            if by == 0 or len(body) < width // 8:
                continue
            tried += 1
            number = number_place(0, width, order, None, "id").get(body)
            for packet in layout.packets:
                if packet.id != number or len(body) != packet.length + by:
                    continue
                shifted = moved(packet, layout.id_bits // 8, by)
                read = readings(_shifted(case.description, packet, shifted), shifted, body, layout.byte_order)
                bits = width + _LENGTH_BITS + score(read) - tried_bits(tried * len(layout.packets))
                yield Hypothesis(
                    Mistake.DISCRIMINATOR,
                    f"the discriminator has {width} bits, not {layout.id_bits}",
                    (f"read so it is {number} ({packet.name}), and the length is right", fits(read), by_chance(bits)),
                    bits,
                    f'id_type = "u{width}"',
                )
    for packet in layout.packets:
        gone = layout.id_bits // 8
        if len(body) == packet.length - gone:
            shifted = moved(packet, gone, -gone)
            read = readings(_shifted(case.description, packet, shifted), shifted, body, layout.byte_order)
            bits = _LENGTH_BITS + score(read) - tried_bits(len(layout.packets))
            yield Hypothesis(
                Mistake.DISCRIMINATOR,
                f"packet {packet.name!r} is sent without its discriminator",
                (f"the body has its length without one, {len(body)} bytes", fits(read), by_chance(bits)),
                bits,
                "send the discriminator, or describe a single packet without one",
            )


def _shifted(description: Description, packet: Packet, shifted: Packet) -> Description:
    """The description with the fields of one packet elsewhere."""
    items = dict(description.items)
    for before, after in zip(packet.fields, shifted.fields, strict=True):
        items[(packet.name, after.name)] = replace(description.item(packet, before), field=after)
    return replace(description, items=items)


def _movable(packet: Packet) -> list[tuple[int, int, list[Field]]]:
    """The packet's numbers in whole bytes: first byte, size, and the fields of it; in order."""
    places: dict[tuple[int, int], list[Field]] = {}
    for item in packet.fields:
        first = item.first_bit // 8
        size = (item.first_bit % 8 + item.span + 7) // 8
        places.setdefault((first, size), []).append(item)
    return [(first, size, fields) for (first, size), fields in sorted(places.items())]


def _width(case: Case, body: bytes, packet: Packet, by: int) -> Iterator[Hypothesis]:
    """One field as many bytes wider or narrower as the body is too long or too short."""
    numbers = _movable(packet)
    order = case.layout.byte_order
    for first, size, fields in numbers:
        width = 8 * (size + by)
        item = fields[0]
        if not 8 <= width <= 64 or len(fields) > 1 or item.is_bit_field or item.count > 1:
            continue
        if item.kind in ("float", "text", "quaternion", "boolean") and not (
            item.kind == "float" and width in (32, 64)
        ):
            continue
        try:
            shifted = moved(packet, first + size, by)
            changed = replace(item, bits=width)
            shifted = replace(shifted, fields=tuple(changed if f.name == item.name else f for f in shifted.fields))
            read = readings(_shifted(case.description, packet, shifted), shifted, body, order)
        except LayoutError:
            continue
        bits = _LENGTH_BITS + score(read) - tried_bits(len(numbers))
        if width not in _USUAL_WIDTHS:
            bits -= _UNUSUAL_BITS
        change = "longer" if by > 0 else "shorter"
        yield Hypothesis(
            Mistake.FIELD_WIDTH,
            f"field {packet.name}.{item.name} is {_bytes(abs(by))} {change}: {width} bits, not {item.bits}",
            (
                f"the checksum is right and the body has {_bytes(abs(by))} {'too many' if by > 0 else 'too few'}",
                f"read so, {fits(read)}",
                by_chance(bits),
            ),
            bits,
            f"give {item.name} {width} bits in the description, or the firmware {item.bits}",
        )


def _some_field(packet: Packet, by: int) -> Hypothesis:
    """What a length says by itself, where values say nothing of which field it is."""
    more = "more" if by > 0 else "fewer"
    return Hypothesis(
        Mistake.FIELD_WIDTH,
        f"{_bytes(abs(by))} {more} than described are sent with {packet.name!r}: a field of another width, or one "
        f"{'too many' if by > 0 else 'too few'}",
        ("the checksum is right and the discriminator is known",),
        _LEAST_BITS,
        "compare the fields' types one by one; valid ranges in the description would tell which",
    )


def _extra(case: Case, body: bytes, packet: Packet, by: int) -> Iterator[Hypothesis]:
    """Bytes somewhere in the body that belong to no field."""
    numbers = _movable(packet)
    places = [(first, f"before field {packet.name}.{fields[0].name}") for first, _, fields in numbers]
    places.append((packet.length, "at the end"))
    for first, where in places:
        shifted = moved(packet, first, by)
        read = readings(_shifted(case.description, packet, shifted), shifted, body, case.layout.byte_order)
        bits = _LENGTH_BITS + score(read) - tried_bits(len(places))
        yield Hypothesis(
            Mistake.EXTRA_BYTES,
            f"{_bytes(by)} {where} that the description does not have",
            (
                f"the checksum is right and the body has {_bytes(by)} too many",
                f"without {body[first : first + by].hex(' ')}, {fits(read)}",
                by_chance(bits),
            ),
            bits,
            "add the field that the firmware sends there",
        )


def _left_out(case: Case, body: bytes, packet: Packet, by: int) -> Iterator[Hypothesis]:
    """A field that is not sent."""
    numbers = _movable(packet)
    for first, size, fields in numbers:
        if size != -by:
            continue
        kept = replace(packet, fields=tuple(f for f in packet.fields if f not in fields))
        shifted = moved(kept, first + size, by)
        read = readings(_shifted(case.description, kept, shifted), shifted, body, case.layout.byte_order)
        bits = _LENGTH_BITS + score(read) - tried_bits(len(numbers))
        yield Hypothesis(
            Mistake.LEFT_OUT,
            f"field {packet.name}.{fields[0].name} is not sent",
            (f"the body is shorter by just its {_bytes(size)}", f"read so, {fits(read)}", by_chance(bits)),
            bits,
            "take it out of the description, or have the firmware send it",
        )


def _padding(case: Case, body: bytes, packet: Packet) -> Iterator[Hypothesis]:
    """A structure sent with the compiler's padding: every number at a multiple of its own size."""
    place, widest = 0, 1
    where: dict[str, int] = {}
    start = case.layout.id_bits // 8
    numbers = _movable(packet)
    if any(size not in (1, 2, 4, 8) for _, size, _ in numbers) or start not in (0, 1, 2, 4, 8):
        return
    place = start
    widest = max([start, 1, *(size for _, size, _ in numbers)])
    for first, size, fields in numbers:
        place = -(-place // size) * size
        for item in fields:
            where[item.name] = 8 * place + item.first_bit - 8 * first
        place += size
    length = -(-place // widest) * widest
    if length != len(body) or length == packet.length:
        return
    shifted = replace(
        packet,
        length=length,
        fields=tuple(replace(item, first_bit=where[item.name]) for item in packet.fields),
        filler=b"",
    )
    read = readings(_shifted(case.description, packet, shifted), shifted, body, case.layout.byte_order)
    bits = _LENGTH_BITS + score(read)
    yield Hypothesis(
        Mistake.PADDING,
        f"the structure of {packet.name!r} is sent with the compiler's padding",
        (
            f"with every number at a multiple of its size it has {length} bytes, as the body",
            f"read so, {fits(read)}",
            by_chance(bits),
        ),
        bits,
        "send the fields one by one, as the header of groundstation layout header does",
    )


def as_item(item: Item, field: Field, body: bytes, order: ByteOrder) -> Reading:
    """The same measurement read from the bytes in another way."""
    return reading(replace(item, field=field), body, order)


def share_of(count: int, of: int) -> float:
    """Evidence of something that happens in `count` of `of` cases."""
    return -math.log2(max(count, 0.5) / max(of, 1))


def _bytes(count: int) -> str:
    return "1 byte" if count == 1 else f"{count} bytes"
