"""The telemetry part of a vehicle file to start from, out of what was found in an unknown stream.

Only what the file's own model takes is written as keys; what it does not know is said in comments.
"""

from collections.abc import Iterator
from typing import Literal, get_args, get_origin

from decoders.identifying.evidence import Hypothesis, Kind
from decoders.identifying.inside import Inside, PacketKind, Part
from groundstation.config.packets import Telemetry

_FILE_NAMES = {Kind.COBS: "cobs", Kind.SLIP: "slip", Kind.RFC_1662: "rfc 1662"}


def draft_lines(found: Hypothesis, contents: Inside, seconds: float | None) -> Iterator[str]:
    """A description to start from, line by line.

    Args:
        found: The framing proposed.
        contents: What lies in its frames.
        seconds: How long the bytes took to come; None where that is not known.
    """
    checksum = found.checksum
    order = None if contents.order is None else contents.order.value
    yield "[telemetry]"
    yield from _known_or_said("framing", _FILE_NAMES.get(found.kind), _in_words(found))
    if checksum is None:
        yield from _known_or_said("checksum", None, "none was found at the frames' end")
    else:
        covers = "" if checksum.start == found.header == 0 else f", over the frame from byte {checksum.start} on"
        said = f"{checksum.name}{covers}"
        yield from _known_or_said("checksum", checksum.name if not covers else None, said)
        if checksum.size > 1:
            yield f'checksum_order = "{checksum.order.value}"'
    yield f'byte_order = "{order or "little"}"' + ("" if order else "  # nothing tells: a guess")
    told_by = contents.discriminator
    if told_by is not None and told_by.at > 0:
        yield (
            f"# the kinds differ in byte {told_by.at} of the body, the file expects the discriminator in byte 0: "
            f"{told_by.at} bytes stand before it"
        )
    elif told_by is None and len(contents.kinds) > 1:
        yield "# bodies of several lengths, and no byte that tells them apart"
    has_id = told_by is not None and told_by.at == 0
    yield f'id_type = "{"u8" if has_id else "none"}"'
    counts = [kind.counter for kind in contents.kinds if kind.counter is not None]
    one_counter = len({count.size for count in counts}) == 1
    across = all(count.across for count in counts)
    yield f'sequence_counts = "{"all packets" if across else "packets of its kind"}"'
    for number, kind in enumerate(contents.kinds):
        yield ""
        yield from _packet(kind, number, has_id, one_counter, seconds, len(found.frames) / max(1, contents.looked_at))


def _packet(
    kind: PacketKind, number: int, has_id: bool, one_counter: bool, seconds: float | None, frames_a_body: float
) -> Iterator[str]:
    yield "[[telemetry.packet]]"
    yield f'name = "kind{number if kind.id is None else kind.id}"'
    yield f"id = {0 if kind.id is None else kind.id}"
    if seconds:
        yield f"rate_hz = {max(0.1, round(kind.count * frames_a_body / seconds, 1))}"
    else:
        yield "rate_hz = 1  # how long the bytes took to come is not known: put in your own"
    yield f"fields = [  # {kind.length} bytes, seen in {kind.count} packets; where fields end is a guess"
    for part in kind.parts:
        if not (has_id and part.at == 0):
            yield f"  {{ {_field(part, one_counter)} }},"
    yield "]"


def _field(part: Part, one_counter: bool) -> str:
    kind = f'type = "u{8 * part.size}"'
    if part.count is not None and one_counter:
        return f'name = "n", {kind}, meaning = "sequence"'
    name = f'name = "b{part.at}", {kind}'
    if part.count is not None:
        return f'{name}, text = "one more from packet to packet"'
    if part.value is not None:
        return f'{name}, text = "always 0x{part.value.hex().upper()}"'
    return name


def _known_or_said(key: str, value: str | None, said: str) -> Iterator[str]:
    """The key where the file's model takes the value; else what was found, as a comment."""
    if value is not None and _takes(key, value):
        yield f'{key} = "{value}"'
    else:
        yield f"# {key}: {said}; this is yours to write, as the vehicle file's keys can say it"


def _takes(key: str, value: str) -> bool:
    kind = Telemetry.model_fields[key].annotation
    return value in get_args(kind) if get_origin(kind) is Literal else kind is str


def _in_words(found: Hypothesis) -> str:
    """The framing in plain words, with its own figures."""
    sync = found.sync.hex(" ").upper()
    if found.length is not None:
        length = found.length
        order = f", {length.order.value}-endian" if length.size > 1 else ""
        return (
            f"{found.kind.value}: {sync}, at byte {length.at} a length of {length.size} "
            f"byte{'s' if length.size > 1 else ''}{order}, to which {length.beyond} are added for the whole frame"
        )
    if found.frame_length is not None:
        return f"{found.kind.value}: frames of {found.frame_length} bytes" + (
            f" that begin with {sync}" if sync else ""
        )
    return found.kind.value
