"""Mistakes that only values show: swapped bytes, a sign, a scale, a kind of number."""

import math
from collections.abc import Iterator
from dataclasses import replace

from decoders.errors import LayoutError
from decoders.fields import value_of
from decoders.layout import ByteOrder, Field, Packet, WireKind
from groundstation.layout_tools.body_suspects import as_item, body_suspects, fits, other_order, share_of
from groundstation.layout_tools.hypothesis import Hypothesis, Mistake, by_chance, tried_bits
from groundstation.layout_tools.readings import (
    Reading,
    norm_bits,
    outside,
    readings,
    sampled,
    score,
    validity,
)
from groundstation.layout_tools.taking import Case

_FACTORS: tuple[tuple[float, float, str], ...] = (
    *((10.0**k, 0.0, f"{10**k:,} times too small") for k in (1, 2, 3)),
    *((10.0**-k, 0.0, f"{10**k:,} times too large") for k in (1, 2, 3)),
    (9.80665, 0.0, "in multiples of standard gravity"),
    (math.degrees(1.0), 0.0, "in radians where degrees are described"),
    (math.radians(1.0), 0.0, "in degrees where radians are described"),
    (256.0, 0.0, "256 times too small"),
    (1.0 / 256.0, 0.0, "256 times too large"),
    (1.0 / 9.80665, 0.0, "in m/s^2 where multiples of standard gravity are described"),
    (0.3048, 0.0, "in feet where metres are described"),
    (1.0 / 0.3048, 0.0, "in metres where feet are described"),
    *((10.0**k, 0.0, f"{10**k:,} times too small") for k in (4, 5, 6)),
    *((10.0**-k, 0.0, f"{10**k:,} times too large") for k in (4, 5, 6)),
)
_NEAR_TOP = 64  # a plain unsigned number in the top 1/64 of its range may be a small negative one
_NOTHING = 1e-9  # of the valid range
_RARE_BITS = 2.0
_RANGE_BITS = 3.0
_COUNTERS = frozenset({"sequence", "vehicle_time", "layout_fingerprint", "firmware_version"})


def value_suspects(case: Case, body: bytes, packet: Packet) -> Iterator[Hypothesis]:
    """What would bring the values of a sound packet into their valid ranges."""
    read = readings(case.description, packet, body, case.layout.byte_order)
    yield from _all_swapped(case, body, packet, read)
    wrong = outside(read)
    for one in wrong:
        yield from _one_swapped(case, body, one)
        yield from _other_sign(case, body, one, read)
        yield from _other_kind(case, body, one)
    yield from _scales(wrong)
    if wrong or score(read) < 0:
        yield from body_suspects(case, body)
    for one in read:
        if one.valid is None:
            yield from _near_top(case, one)


def _all_swapped(case: Case, body: bytes, packet: Packet, read: tuple[Reading, ...]) -> Iterator[Hypothesis]:
    other = other_order(case.layout.byte_order)
    swapped = readings(case.description, packet, body, other)
    gain = score(swapped) - score(read)
    first = "high" if other is ByteOrder.BIG else "low"
    yield Hypothesis(
        Mistake.NUMBER_ORDER,
        f"numbers are sent with their {first} byte first",
        (f"read so, {fits(swapped)}; as described, {fits(read)}", by_chance(gain)),
        gain,
        f'byte_order = "{other.value}"',
    )


def _one_swapped(case: Case, body: bytes, one: Reading) -> Iterator[Hypothesis]:
    item = one.item
    for way, field, data, order in _swaps(case, body, item.field):
        try:
            again = as_item(item, field, data, order)
        except LayoutError:
            continue
        if again.valid:
            bits = again.bits - tried_bits(3) - _RARE_BITS  # a firmware that swaps one field alone is rare
            yield Hypothesis(
                Mistake.FIELD_ORDER,
                f"field {item.where} is sent with {way}",
                (
                    f"read so it is {_shown(item.shown(again.value), item.unit)}, a valid value; as described "
                    f"{_shown(item.shown(one.value), item.unit)}",
                    by_chance(bits),
                ),
                bits,
                "send every number in the same byte order",
            )


def _swaps(case: Case, body: bytes, field: Field) -> Iterator[tuple[str, Field, bytes, ByteOrder]]:
    order = case.layout.byte_order
    if field.bit_order is not None or field.span < 16:
        return
    yield "its bytes in the other order", field, body, other_order(order)
    if field.span == 32 and field.container_bits is None:
        at = field.first_bit // 8
        halves = body[:at] + body[at + 2 : at + 4] + body[at : at + 2] + body[at + 4 :]
        yield "its two halves in the other order", field, halves, order


def _other_sign(case: Case, body: bytes, one: Reading, read: tuple[Reading, ...]) -> Iterator[Hypothesis]:
    field = one.item.field
    kinds = {WireKind.UNSIGNED: WireKind.SIGNED, WireKind.SIGNED: WireKind.UNSIGNED}
    if field.kind not in kinds or field.bits < 2 or not isinstance(one.raw, int):
        return
    turned = replace(field, kind=kinds[field.kind])
    again = as_item(one.item, turned, body, case.layout.byte_order)
    if not again.valid or again.raw == one.raw:
        return
    # of all raw numbers that are no valid value as described, how many would be one with the other sign
    invalid = [n for n in sampled(field) if not validity(one.item, float(value_of(field, n)))]
    wrap = 1 << field.bits
    reread = [n - wrap if n >= wrap // 2 and turned.kind is WireKind.SIGNED else n % wrap for n in invalid]
    rescued = sum(bool(validity(again.item, float(value_of(turned, n)))) for n in reread)
    bits = share_of(rescued, len(invalid))
    if turned.kind is WireKind.SIGNED and isinstance(again.raw, int):
        bits = max(bits, field.bits - 1 - math.log2(max(-again.raw, 1)))
        if one.item.least < 0 and value_of(field, 0) == 0:
            bits += _RANGE_BITS  # a valid range below zero on a field that never gets there
    bits += norm_bits([again if other is one else other for other in read]) - norm_bits(read)
    meant = "signed" if turned.kind is WireKind.SIGNED else "unsigned"
    yield Hypothesis(
        Mistake.SIGNEDNESS,
        f"field {one.item.where} is {meant}, not {field.kind.value}",
        (
            f"the raw number {one.raw} is {again.raw!r} if it is {meant}: "
            f"{_shown(one.item.shown(again.value), one.item.unit)}, within its valid range; as described "
            f"{_shown(one.item.shown(one.value), one.item.unit)}",
            by_chance(bits),
        ),
        bits,
        f'type = "{"i" if meant == "signed" else "u"}{field.bits}"',
    )


def _near_top(case: Case, one: Reading) -> Iterator[Hypothesis]:
    """An unsigned number without a valid range, just below its greatest."""
    field = one.item.field
    if field.kind is not WireKind.UNSIGNED or field.bits < 16 or not isinstance(one.raw, int):
        return
    below = (1 << field.bits) - one.raw
    if below > (1 << field.bits) // _NEAR_TOP or one.item.meaning in _COUNTERS or below == 1:
        return
    bits = field.bits - math.log2(below) - tried_bits(_NEAR_TOP) + 1.0
    yield Hypothesis(
        Mistake.SIGNEDNESS,
        f"field {one.item.where} is signed, not unsigned",
        (f"the raw number {one.raw} is only {below} below {1 << field.bits}: −{below} if it is signed",),
        min(bits, 4.0),
        f'type = "i{field.bits}"; a valid range would tell',
    )


def _other_kind(case: Case, body: bytes, one: Reading) -> Iterator[Hypothesis]:
    field = one.item.field
    if field.bits not in (32, 64) or field.is_bit_field:
        return
    kinds = (WireKind.SIGNED, WireKind.UNSIGNED) if field.kind is WireKind.FLOAT else (WireKind.FLOAT,)
    for kind in kinds:
        other = replace(field, kind=kind)
        # a float is sent in its unit; only whole numbers are scaled
        other = (
            replace(other, scale=one.item.unit_scale, bias=one.item.unit_bias) if kind is WireKind.FLOAT else other
        )
        again = as_item(one.item, other, body, case.layout.byte_order)
        # next to nothing as a float is what any small whole number would be
        if again.valid and abs(again.value) > _NOTHING * abs(one.item.greatest - one.item.least):
            bits = again.bits - tried_bits(2)
            meant = "a float" if kind is WireKind.FLOAT else f"a whole number ({kind.value})"
            yield Hypothesis(
                Mistake.NUMBER_KIND,
                f"field {one.item.where} is {meant}",
                (
                    f"read so it is {_shown(one.item.shown(again.value), one.item.unit)}, within its valid range; as "
                    f"described {_shown(one.item.shown(one.value), one.item.unit)}",
                    by_chance(bits),
                ),
                bits,
                f'type = "{"f" if kind is WireKind.FLOAT else kind.value[0].replace("s", "i")}{field.bits}"',
            )


def _scales(wrong: tuple[Reading, ...]) -> Iterator[Hypothesis]:
    """One factor that brings every wrong field of one unit and scale back."""
    groups: dict[tuple[str, float, float], list[Reading]] = {}
    for one in wrong:
        if one.item.has_range and math.isfinite(one.value):
            groups.setdefault((one.item.unit, one.item.field.scale, one.item.field.bias), []).append(one)
    for group in groups.values():
        for tried, (factor, shift, what) in enumerate(_FACTORS, 1):
            if not all(_is_right(one, factor, shift) for one in group):
                continue
            bits = sum(_scale_bits(one, tried) for one in group)
            fields = ", ".join(one.item.where for one in group)
            first = group[0]
            meant = _in_unit(first, factor, shift)
            yield Hypothesis(
                Mistake.SCALE,
                f"{'field' if len(group) == 1 else 'fields'} {fields} sent {what}",
                (
                    f"{first.item.field.name} would be {_shown(meant, first.item.unit)}, within its valid range; as "
                    f"described {_shown(first.item.shown(first.value), first.item.unit)}",
                    by_chance(bits),
                ),
                max(bits, 1.0) - 0.01 * tried,
                f"scale = {first.item.field.scale / first.item.unit_scale * factor:.10g}",
            )


def _in_unit(one: Reading, factor: float, shift: float) -> float:
    """The value that is meant, in the file's unit."""
    return one.item.shown(one.value) * factor + shift


def _is_right(one: Reading, factor: float, shift: float) -> bool:
    item = one.item
    return item.is_valid(_in_unit(one, factor, shift) * item.unit_scale + item.unit_bias)


def _scale_bits(one: Reading, tried: int) -> float:
    """Of raw numbers spread over all magnitudes that are not valid as described: those some factor would rescue."""
    item, field = one.item, one.item.field
    if field.kind is WireKind.FLOAT or field.kind is WireKind.BOOLEAN or not isinstance(one.raw, int):
        return 1.0
    sign = -1 if one.raw < 0 else 1
    top = field.bits - 1 if field.kind is WireKind.SIGNED else field.bits
    numbers = {sign * round(2.0 ** (top * k / 400.0)) for k in range(400)}
    invalid = rescued = 0
    for number in numbers:
        value = float(value_of(field, number))
        if item.is_valid(value):
            continue
        invalid += 1
        trial = Reading(item, one.at, one.data, number, value, False)
        rescued += any(_is_right(trial, factor, shift) for factor, shift, _ in _FACTORS[:tried])
    return share_of(rescued, invalid) if invalid else 0.0


def _shown(value: float, unit: str) -> str:
    number = f"{value:.6g}".replace("-", "−")
    return number if unit == "1" else f"{number} {unit}"
