"""Mistakes of the checksum: which other one, start value, order, range or place gives the number in the frame."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from decoders.checksums import Checksum, checksum, checksum_of, names
from decoders.crc import CATALOGUE, CrcModel
from decoders.layout import ByteOrder, ChecksumPlace, Layout
from groundstation.layout_tools.framing_suspects import sound_bits
from groundstation.layout_tools.hypothesis import Hypothesis, Mistake, by_chance, tried_bits
from groundstation.layout_tools.taking import Case, covered_by

_NOTABLE = (0x0, 0x1D0F, 0x1, 0xFEDC, 0xB2AA, 0x89EC, 0x800D, 0xC6C6)
"""Start values in use besides all zeros and all ones: 0x1D0F and on stand in the catalogue of parametrised CRCs."""


@dataclass(frozen=True, slots=True)
class _Variant:
    """One way to compute and send a checksum: how a layout would say it, and how a person would."""

    layout: Layout
    mistake: Mistake
    what: str
    remedy: str


def checksum_suspects(case: Case) -> Iterator[Hypothesis]:
    """Every other checksum that fits contents whose own does not, the likely ones tried first."""
    if case.taken.contents is None or case.checksum.size == 0:
        return
    contents = case.core(case.taken.contents)
    yield from _not_sent(case, contents)
    tried = 0
    named: set[str] = set()
    for variant in _variants(case):
        method = checksum_of(variant.layout)
        body_length = len(contents) - case.head - method.size
        if method.size != case.checksum.size and not _is_length(case, contents, variant.layout, body_length):
            continue
        tried += 1
        message = covered_by(variant.layout, method, case.head, contents)
        if message is None:
            continue
        stated = _stated(variant.layout, method, case.head, contents)
        number = method.of(message)
        if number.to_bytes(method.size, variant.layout.checksum_order.value) != stated:
            continue
        bits = 8.0 * method.size - tried_bits(tried)
        if variant.what in named or bits <= 0:
            continue
        named.add(variant.what)
        yield Hypothesis(
            variant.mistake,
            variant.what,
            (
                f"computed so over {len(message)} bytes it is {number:#0{2 * method.size + 2}x}, as the frame has it",
                f"the {_ordinal(tried)} of the ways tried; {by_chance(bits)}",
            ),
            bits,
            variant.remedy,
        )


def damage_suspects(case: Case) -> Iterator[Hypothesis]:
    """One bit turned over on the way: the only kind of damage that can be told from a wrong description."""
    contents, size = case.taken.contents, case.checksum.size
    if not contents or size == 0:
        return
    bits = 8.0 * size - math.log2(8 * len(contents))
    for place in range(8 * len(contents)):
        mended = bytearray(contents)
        mended[place // 8] ^= 1 << place % 8
        if sound_bits(case, bytes(mended)) is not None:
            yield Hypothesis(
                Mistake.DAMAGE,
                "the frame was damaged on the way",
                (
                    f"with bit {place % 8} of byte {place // 8} of the contents turned over it is sound; "
                    f"{by_chance(bits)}",
                ),
                bits,
                "nothing, if other frames decode",
            )
            return


def _not_sent(case: Case, contents: bytes) -> Iterator[Hypothesis]:
    """A body of just the right length, with its discriminator, and nothing behind it."""
    body = contents[case.head :]
    packet = case.packet_of(body)
    if packet is None or len(body) not in packet.lengths:
        return
    bits = 4.0 + max(case.layout.id_bits - math.log2(len(case.layout.packets)), 0.0)
    yield Hypothesis(
        Mistake.CHECKSUM_NONE,
        "the sender sends no checksum",
        (f"the contents are as long as the body of packet {packet.name!r} alone ({len(body)} bytes)",),
        bits,
        'checksum = "none", or better: have the firmware send one',
    )


def _is_length(case: Case, contents: bytes, layout: Layout, length: int) -> bool:
    """Whether a body of that length is one of the packet's that its discriminator says."""
    size = checksum_of(layout).size
    at_start = layout.checksum_place is ChecksumPlace.START
    body = contents[case.head + (size if at_start else 0) :][: max(length, 0)]
    packet = case.packet_of(body)
    return packet is not None and length in packet.lengths


def _stated(layout: Layout, method: Checksum, head: int, contents: bytes) -> bytes:
    if layout.checksum_place is ChecksumPlace.START:
        return contents[head : head + method.size]
    return contents[len(contents) - method.size :] if method.size else b""


def _variants(case: Case) -> Iterator[_Variant]:
    """Other checksums, the commonest mistakes first."""
    layout = case.layout
    yield from _swapped(_as_is(layout))
    for single in _single_changes(layout):
        yield single
    for single in _single_changes(layout):
        yield from _swapped(single)
    ranges = list(_other_ranges(case))
    yield from ranges
    yield from (swapped for one in ranges for swapped in _swapped(one))
    for other in _others(layout):
        yield other
        yield from _swapped(other)
    for other in _others(layout):
        for one in _other_ranges(case):
            moved = replace(
                other.layout,
                checksum_from=one.layout.checksum_from,
                checksum_until=one.layout.checksum_until,
                checksum_place=one.layout.checksum_place,
            )
            yield _Variant(moved, other.mistake, f"{other.what}, and {one.what}", f"{other.remedy}; {one.remedy}")


def _as_is(layout: Layout) -> _Variant:
    return _Variant(layout, Mistake.CHECKSUM_ORDER, "", "")


def _swapped(variant: _Variant) -> Iterator[_Variant]:
    layout = variant.layout
    if checksum_of(layout).size < 2:
        return
    other = ByteOrder.BIG if layout.checksum_order is ByteOrder.LITTLE else ByteOrder.LITTLE
    first = "high" if other is ByteOrder.BIG else "low"
    what = f"the checksum is sent with its {first} byte first"
    remedy = f'checksum_order = "{other.value}"'
    if variant.what:
        what, remedy = f"{variant.what}, and {what}", f"{variant.remedy}; {remedy}"
    yield _Variant(replace(layout, checksum_order=other), variant.mistake, what, remedy)


def _with(layout: Layout, model: CrcModel) -> Layout:
    return replace(layout, crc=model)


def _model(layout: Layout) -> CrcModel | None:
    return layout.crc or CATALOGUE.get(layout.checksum)


def _named(model: CrcModel) -> str:
    """The catalogue's name in brackets, if it has one."""
    name = _NAMES.get(_parameters(model))
    return "" if name is None else f" (that is {name})"


def _parameters(model: CrcModel) -> tuple[int, int, int, bool, bool, int]:
    return model.width, model.polynomial, model.init, model.reflect_in, model.reflect_out, model.xor_out


_NAMES = {_parameters(model): name for name, model in CATALOGUE.items()}


def _single_changes(layout: Layout) -> Iterator[_Variant]:
    """The described CRC with one of its parameters changed."""
    model = _model(layout)
    if model is None:
        return
    ones = (1 << model.width) - 1
    inits = [0, ones, *(n & ones for n in _NOTABLE)]
    for init in dict.fromkeys(inits):
        if init != model.init:
            changed = replace(model, init=init)
            digits = (model.width + 3) // 4
            what = f"the checksum starts from 0x{init:0{digits}X}, not 0x{model.init:0{digits}X}{_named(changed)}"
            yield _Variant(_with(layout, changed), Mistake.CHECKSUM_START, what, _remedy(changed))
    for inverted in (0, ones):
        if inverted != model.xor_out:
            changed = replace(model, xor_out=inverted)
            what = f"the checksum is {'' if inverted else 'not '}inverted at its end{_named(changed)}"
            yield _Variant(_with(layout, changed), Mistake.CHECKSUM_VARIANT, what, _remedy(changed))
    for both in (True, False):
        if both is not model.reflect_in or both is not model.reflect_out:
            changed = replace(model, reflect_in=both, reflect_out=both)
            bit = "lowest" if both else "highest"
            what = f"the checksum takes each byte's {bit} bit first{_named(changed)}"
            yield _Variant(_with(layout, changed), Mistake.CHECKSUM_VARIANT, what, _remedy(changed))


def _remedy(model: CrcModel) -> str:
    found = _named(model).removeprefix(" (that is ").removesuffix(")")
    if found:
        return f'checksum = "{found}"'
    return (
        f"give the CRC by its parameters: polynomial {model.polynomial:#x}, start {model.init:#x}, "
        f"reflected {model.reflect_in}/{model.reflect_out}, inverted with {model.xor_out:#x}"
    )


def _other_ranges(case: Case) -> Iterator[_Variant]:
    """The described checksum over other bytes, or in another place."""
    layout, head = case.layout, case.head
    first_bytes = dict.fromkeys((0, layout.id_bits // 8, -head, 1, *range(-head + 1, 0)))
    for first in first_bytes:
        if first != layout.checksum_from:
            where = f"byte {first} of the body" if first >= 0 else f"{-first} bytes before the body"
            what = f"the checksum covers the bytes from {where} on"
            yield _Variant(
                replace(layout, checksum_from=first), Mistake.CHECKSUM_RANGE, what, f"checksum from {first}"
            )
    other = ChecksumPlace.END if layout.checksum_place is ChecksumPlace.START else ChecksumPlace.START
    what = f"the checksum stands at the {other.value} of the body"
    yield _Variant(
        replace(layout, checksum_place=other), Mistake.CHECKSUM_PLACE, what, f"checksum at the {other.value}"
    )


def _others(layout: Layout) -> Iterator[_Variant]:
    """Every other named checksum, those of the same size first, then the described CRC with several changes."""
    mine = checksum_of(layout)
    every = [checksum(name) for name in names() if name not in (layout.checksum, "none")]
    every.sort(key=lambda method: method.size != mine.size)
    model = _model(layout)
    ones = (1 << model.width) - 1 if model else 0
    for method in every:
        other = replace(layout, checksum=method.name, crc=None)
        yield _Variant(other, Mistake.CHECKSUM_OTHER, f"the checksum is {method.name}", f'checksum = "{method.name}"')
    if model is None:
        return
    for init in (0, ones, *(n & ones for n in _NOTABLE)):
        for reflect_in in (False, True):
            for reflect_out in (False, True):
                for xor_out in (0, ones):
                    changed = replace(
                        model, init=init, reflect_in=reflect_in, reflect_out=reflect_out, xor_out=xor_out
                    )
                    if _named(changed):
                        continue  # was tried by its name
                    yield _Variant(
                        _with(layout, changed),
                        Mistake.CHECKSUM_OTHER,
                        f"the CRC is the described one but starts from {_remedy(changed).partition('start ')[2]}",
                        _remedy(changed),
                    )


def _ordinal(number: int) -> str:
    if 10 <= number % 100 <= 20:
        return f"{number}th"
    return f"{number}{ {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th') }"
