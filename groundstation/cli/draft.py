"""The telemetry part of a vehicle file to start from, out of what was found in an unknown stream.

What the file has no key for is said in comments beside what was written in its stead.
"""

from collections import Counter
from collections.abc import Iterator

from decoders import checksums
from decoders.identifying.evidence import ChecksumFound, Hypothesis, Kind
from decoders.identifying.inside import Inside, PacketKind, Part
from decoders.identifying.values import text_columns

_BY_NAME = {
    Kind.COBS: "cobs",
    Kind.SLIP: "slip",
    Kind.RFC_1662: "rfc 1662",
    Kind.HEX: "hexadecimal lines",
    Kind.FIXED: "fixed length",
    Kind.SPACE_PACKETS: "ccsds",
    Kind.NMEA: "nmea 0183",
}
_NO_TIMES = "rate_hz = 1  # how long the bytes took to come is not known: put in your own"


def draft_lines(found: Hypothesis, contents: Inside, seconds: float | None) -> Iterator[str]:
    """A description of a stream of binary packets to start from, line by line.

    Args:
        found: The framing proposed.
        contents: What lies in its frames.
        seconds: How long the bytes took to come; None where that is not known.
    """
    yield "[telemetry]"
    yield from _framing(found)
    yield from _checksum(found)
    order = None if contents.order is None else contents.order.value
    yield f'byte_order = "{order or "little"}"' + ("" if order else "  # nothing tells: a guess")
    told_by = contents.discriminator
    if found.kind is not Kind.SPACE_PACKETS:
        yield f'id_type = "{"none" if told_by is None else "u8"}"'
        if told_by is not None and told_by.at > 0:
            yield f"id_at = {told_by.at}"
    kinds = contents.kinds
    if told_by is None and found.kind is not Kind.SPACE_PACKETS and len(kinds) > 1:
        yield "# bodies of several lengths, and no byte that tells them apart: only the commonest is described"
        kinds = (max(kinds, key=lambda kind: kind.count),)
    counts = [kind.counter for kind in kinds if kind.counter is not None]
    one_counter = len({count.size for count in counts}) == 1
    across = all(count.across for count in counts)
    yield f'sequence_counts = "{"all packets" if across else "packets of its kind"}"'
    frames_a_body = len(found.frames) / max(1, contents.looked_at)
    for number, kind in enumerate(kinds):
        yield ""
        id_at = None if told_by is None else told_by.at
        yield from _packet(kind, number, id_at, one_counter, seconds, frames_a_body)


def sentence_draft_lines(found: Hypothesis, seconds: float | None) -> Iterator[str]:
    """A description of NMEA 0183 sentences: each address a packet, each value a number."""
    sentences = [line[1:].split(b"*")[0].decode("ascii", "replace").split(",") for line in found.frames.contents]
    shapes = Counter((sentence[0], len(sentence) - 1) for sentence in sentences)
    yield "[telemetry]"
    yield f'framing = "{_BY_NAME[found.kind]}"'
    yield 'checksum = "XOR-8"'
    yield 'byte_order = "little"  # of no matter here'
    described = set()
    for number, ((address, values), count) in enumerate(shapes.most_common()):
        if address in described or count < 3 or values == 0 or not address.isalnum() or not address[0].isalpha():
            continue  # a damaged sentence, or one with fewer values than usual
        described.add(address)
        yield ""
        yield "[[telemetry.packet]]"
        yield f'name = "{address}"'
        yield f"id = {number}"
        yield f"rate_hz = {max(0.1, round(count / seconds, 1))}" if seconds else _NO_TIMES
        yield f"fields = [  # {values} values, seen in {count} sentences; one letter reads as its ASCII code"
        for place in range(1, values + 1):
            yield f'  {{ name = "v{place}", type = "f64" }},'
        yield "]"


def line_draft_lines(found: Hypothesis, seconds: float | None) -> Iterator[str]:
    """A description of lines of delimited values or of name=value, as one kind of packet."""
    columns = text_columns(found)
    tag = columns[0].text if columns else ""
    named = found.kind is Kind.KEYS
    yield "[telemetry]"
    yield f'framing = {{ kind = "{"key=value" if named else "delimited values"}", separator = "{found.separator}" }}'
    yield 'checksum = "none"  # none is looked for in such lines'
    yield 'byte_order = "little"  # of no matter here'
    if not tag:
        yield 'id_type = "none"  # nothing but values is in a line'
    yield ""
    if named and b"=" not in found.frames.contents[0]:
        yield "# The file takes name=value, not name:value or braces: have the firmware send that."
    yield "[[telemetry.packet]]"
    yield f'name = "kind0"{f"  # sent as {tag}" if tag else ""}'
    if tag:
        yield f'tag = "{tag}"'
    count = len(found.frames)
    yield f"rate_hz = {max(0.1, round(count / seconds, 1))}" if seconds else _NO_TIMES
    yield f"fields = [  # seen in {count} lines"
    for column in columns[1:] if tag else columns:
        name = column.name if named else f"v{column.name.rpartition(' ')[2]}"
        if not name.replace("_", "").replace("-", "").isalnum() or not name[0].isalpha():
            yield f"  # {name}: not a name that the file takes"
        elif column.is_counter:
            yield f'  {{ name = "{name}", type = "u32", meaning = "sequence" }},'
        else:
            yield f'  {{ name = "{name}", type = "f64" }},'
    yield "]"


def _framing(found: Hypothesis) -> Iterator[str]:
    if found.kind in _BY_NAME:
        yield f'framing = "{_BY_NAME[found.kind]}"'
        return
    sync = found.sync.hex(" ").upper()
    if found.length is None:
        yield f'framing = {{ kind = "sync", sync = "{sync}" }}'
    else:
        length = found.length
        at = length.at - len(found.sync)
        order = f', byte_order = "{length.order.value}"' if length.size > 1 else ""
        less = length.beyond - _trailing(found)
        checksum_size = 0 if found.checksum is None else found.checksum.size
        counted = {  # what a number that is `less` short of the whole frame counts
            0: "frame",
            len(found.sync): "after sync word",
            length.at + length.size: "body and checksum",
            length.at + length.size + checksum_size: "body",
        }
        counts = f'"{counted[less]}"' if less in counted else f'"frame", less = {less}'
        yield (
            f'framing = {{ kind = "sync", sync = "{sync}", '
            f'length = {{ type = "u{8 * length.size}", at = {at}, counts = {counts}{order} }} }}'
        )
    if _trailing(found):
        yield f"# {_trailing(found)} bytes that close each frame, behind the checksum, are passed over as noise"


def _trailing(found: Hypothesis) -> int:
    return 0 if found.checksum is None else found.checksum.trailing


def _checksum(found: Hypothesis) -> Iterator[str]:
    checksum = found.checksum
    if checksum is None:
        yield 'checksum = "none"  # none was found at the frames\' end'
        return
    if checksum.own is None and checksum.name not in checksums.names():
        yield f'checksum = "none"  # found {checksum.name}, for which the file has no name'
        return
    parts = [f'kind = "{checksum.name}"'] if checksum.own is None else _own(checksum)
    covers, skip = _covers(found, checksum.start)
    parts += ([f'covers = "{covers}"'] if covers != "body" else []) + ([f"skip = {skip}"] if skip else [])
    if len(parts) == 1:
        yield f'checksum = "{checksum.name}"'
    else:
        yield f"checksum = {{ {', '.join(parts)} }}"
    if checksum.size > 1:
        yield f'checksum_order = "{checksum.order.value}"'


def _own(checksum: ChecksumFound) -> list[str]:
    """A CRC by its parameters: right in frames of this length, the sender's start value may be another."""
    model = checksum.own
    assert model is not None
    reflect = str(model.reflect_in).lower()
    return [
        f'kind = "crc", width = {model.width}, polynomial = 0x{model.polynomial:X}',
        f"reflect_in = {reflect}, reflect_out = {reflect}, xor_out = 0x{model.xor_out:X}",
    ]


def _covers(found: Hypothesis, start: int) -> tuple[str, int]:
    """What the checksum is computed over, as the file calls it, and how many bytes of that are left out."""
    body = len(found.sync) if found.kind is Kind.SPACE_PACKETS else found.header
    if start >= body:
        return "body", start - body
    if start == len(found.sync):
        return "header and body", 0
    return "frame", start


def _packet(
    kind: PacketKind, number: int, id_at: int | None, one_counter: bool, seconds: float | None, frames_a_body: float
) -> Iterator[str]:
    yield "[[telemetry.packet]]"
    yield f'name = "kind{number if kind.id is None else kind.id}"'
    yield f"id = {0 if kind.id is None else kind.id}"
    yield f"rate_hz = {max(0.1, round(kind.count * frames_a_body / seconds, 1))}" if seconds else _NO_TIMES
    yield f"fields = [  # {kind.length} bytes, seen in {kind.count} packets; where fields end is a guess"
    for part in kind.parts:
        if part.at != id_at:
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
