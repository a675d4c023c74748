"""Where the fields of a packet stand in its body: one behind the other, around the discriminator."""

from collections.abc import Iterator
from dataclasses import dataclass

from decoders.layout import BitOrder, WireKind
from groundstation.config.fields import FieldEntry


@dataclass(frozen=True, slots=True)
class Discriminator:
    """The bits of a body that say which packet it is."""

    first_bit: int
    bits: int

    @property
    def end(self) -> int:
        """The bit after the last."""
        return self.first_bit + self.bits


@dataclass(frozen=True, slots=True)
class Placed:
    """A field and its first bit in the body. `problem` says why it cannot stand there, if it cannot."""

    entry: FieldEntry
    first_bit: int
    problem: str = ""

    @property
    def end(self) -> int:
        """The bit after the last."""
        return self.first_bit + self.entry.span


def placed(fields: tuple[FieldEntry, ...], discriminator: Discriminator, start: int) -> Iterator[Placed]:
    """Each field's place in the body.

    Args:
        fields: In the order in which they are sent; of types that exist.
        discriminator: What they stand around; 0 bits for none.
        start: Bits of the body before the first field or the discriminator.
    """
    at = start
    for entry in fields:
        if discriminator.bits and at == discriminator.first_bit:
            at = discriminator.end
        yield Placed(entry, at, _problem(entry, at, discriminator))
        at += entry.span


def _problem(entry: FieldEntry, at: int, discriminator: Discriminator) -> str:
    if discriminator.bits and at < discriminator.first_bit < at + entry.span:
        return (
            f"found it from bit {at} to bit {at + entry.span - 1}, expected it to end before the discriminator at "
            f"bit {discriminator.first_bit}"
        )
    if at % 8 and entry.bits:
        return f"found a field with bits at bit {at} of the body, expected it on whole bytes"
    if at % 8 and entry.wire.kind is WireKind.TEXT:
        return f"found text at bit {at} of the body, expected it on whole bytes"
    return ""


def body_bits(places: list[Placed], discriminator: Discriminator, start: int) -> int:
    """Bits of the whole body."""
    return max(places[-1].end if places else start, discriminator.end if discriminator.bits else 0)


def bit_order_at(first_bit: int, bits: int, bit_order: BitOrder) -> BitOrder | None:
    """The bit order of a number that does not keep to whole bytes; None for one that does."""
    return bit_order if first_bit % 8 or bits % 8 else None
