"""An explanation as lines for a terminal."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from decoders.delimited import Delimited
from decoders.framing import framing
from decoders.layout import ChecksumPlace, WireKind
from decoders.line_beside import is_beside, without_line
from decoders.synchronised import Synchronised
from decoders.trailing import Trailed
from groundstation.layout_tools.described import Description
from groundstation.layout_tools.explaining import Explanation
from groundstation.layout_tools.readings import Reading
from groundstation.layout_tools.taking import id_place

_BYTES_A_LINE = 16
_MOST_LINES = 12  # of hypotheses; the strongest are what matters


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: place in the contents, the bytes there, what they are, raw and in units, a remark."""

    at: int
    data: bytes
    what: str
    raw: str = ""
    value: str = ""
    remark: str = ""


def explained_lines(description: Description, found: Explanation) -> Iterator[str]:
    """Everything that is to be said of a frame, in the order of taking it apart."""
    yield from _line_beside(description, found)
    description = replace(description, layout=without_line(description.layout))
    yield from _frame_lines(description, found)
    if found.taken.contents is not None:
        yield from _table(tuple(rows(description, found)))
    yield ""
    yield f"result    {_result(found)}"
    if found.hypotheses:
        yield ""
        yield "what would have fitted, the strongest evidence first:"
        for number, one in enumerate(found.hypotheses[:_MOST_LINES], 1):
            yield f"{number:3}. {one.sentence}   [{one.strength} evidence: {one.mistake.value}]"
            for line in one.evidence:
                yield f"       {line}"
            if one.remedy:
                yield f"       to make it fit: {one.remedy}"
        if len(found.hypotheses) > 1:
            yield "     One frame rarely decides: explain another, and keep what fits both."
    elif not found.is_sound:
        yield ""
        yield "Nothing that was tried would have fitted. A damaged frame looks like this too: explain others."


def rows(description: Description, found: Explanation) -> Iterator[Row]:
    """The contents byte by byte, in their order; bytes of no field are rows too."""
    layout = without_line(description.layout)
    every: list[Row] = []
    size = len(found.checksum_stated)
    at_start = layout.checksum_place is ChecksumPlace.START
    before, after = layout.envelope.before, layout.envelope.after
    body_at = len(found.head) + before + (size if at_start else 0)
    contents = found.taken.contents or b""
    if found.head:
        every.append(Row(0, found.head, "head", remark="sync word and header"))
    for at, length in ((len(found.head), before), (max(len(contents) - after, 0), after)):
        if length:
            every.append(Row(at, contents[at : at + length], "receiver", remark="put there by the receiver"))
    if size:
        at = len(found.head) + before if at_start else body_at + len(found.body)
        agrees = found.checksum_stated == found.checksum_expected
        remark = "right" if agrees else f"expected {found.checksum_expected.hex(' ') or 'more bytes'}"
        every.append(Row(at, found.checksum_stated, found.checksum_name, remark=remark))
    if layout.id_bits:
        place = id_place(layout)
        data = found.body[place.start : place.end]
        name = "cut short"
        if found.id is not None:
            kinds = [p.name for p in layout.packets if p.id == found.id]
            known = ", ".join(f"{p.id} {p.name}" for p in layout.packets)
            name = kinds[0] if kinds else f"expected one of {known}"
            if found.is_guessed and found.packet is not None:
                name += f"; read as {found.packet.name} by its length"
        every.append(Row(body_at + place.start, data, "id", "" if found.id is None else str(found.id), name))
    every += [_field_row(one, body_at) for one in found.readings]
    yield from _with_gaps(sorted(every, key=lambda row: row.at), contents)


def _with_gaps(every: list[Row], contents: bytes) -> Iterator[Row]:
    at = 0
    for row in every:
        if row.at > at:
            yield Row(at, contents[at : row.at], "(no field)")
        yield row
        at = max(at, row.at + len(row.data))
    if at < len(contents):
        yield Row(at, contents[at:], "(no field)")


def _field_row(one: Reading, body_at: int) -> Row:
    field, item = one.item.field, one.item
    value = "" if math.isnan(one.value) and field.kind is not WireKind.FLOAT else f"{item.shown(one.value):.9g}"
    value = value.replace("-", "−", 1) if value.startswith("-") else value
    label = dict(field.labels).get(one.raw) if isinstance(one.raw, int) else None
    if label is not None:
        value = f"{value} {label}"
    if value and item.unit != "1":
        value = f"{value} {item.unit}"
    remark = ""
    if one.valid is False:
        remark = "not a plausible number"
        if item.has_range:
            remark = f"outside {item.shown(item.least):.9g} to {item.shown(item.greatest):.9g}"
        elif field.kind is WireKind.BOOLEAN:
            remark = "neither 0 nor 1"
    raw = (
        repr(one.raw)
        if isinstance(one.raw, bytes)
        else f"{one.raw:.9g}"
        if isinstance(one.raw, float)
        else str(one.raw)
    )
    return Row(body_at + one.at, one.data, field.name, raw, value, remark)


def _line_beside(description: Description, found: Explanation) -> Iterator[str]:
    """The line that the receiver printed beside the frame, where the description has one."""
    envelope = description.layout.envelope
    if not is_beside(description.layout):
        return
    side = "in front of" if envelope.before else "behind"
    if not found.taken.line:
        yield f"receiver  no line {envelope.line!r} stands {side} the frame: its numbers are unknown"
        return
    numbers = zip(envelope.fields, found.taken.numbers, strict=True)
    told = ", ".join(f"{item.name} = {number:g}".replace("-", "\u2212") for item, number in numbers)
    yield f"receiver  the line {side} the frame: {found.taken.line.decode('ascii').strip()!r}: {told}"


def _frame_lines(description: Description, found: Explanation) -> Iterator[str]:
    taken, layout = found.taken, description.layout
    method = framing(layout)
    if taken.before:
        yield f"before    {len(taken.before)} bytes that belong to no frame: {_short(taken.before)}"
    yield from _hex("frame", taken.frame)
    if isinstance(method, Delimited):
        end = method.delimiter.hex(" ")
        stood = "stands" if taken.is_ended else "is missing"
        behind = ""
        if isinstance(method, Trailed):
            behind = f", and behind that {method.behind} of the receiver's bytes"
        yield f"framing   {method.name}: the delimiter {end} {stood} after it{behind}"
        if taken.contents is not None and taken.contents != taken.frame:
            yield from _hex("contents", taken.contents)
    elif isinstance(method, Synchronised):
        stood = "found" if taken.has_start else "not found"
        word = f", sync word {method.sync.word.hex(' ')} {stood}" if method.sync.word else ""
        yield f"framing   {method.name}{word}"
    else:
        yield f"framing   {layout.framing}"
    if taken.broken:
        yield f"          {taken.broken}"
    if taken.after:
        yield f"after     {len(taken.after)} more bytes, not looked at: {_short(taken.after)}"
    yield ""


def _hex(word: str, data: bytes) -> Iterator[str]:
    lines = [data[k : k + _BYTES_A_LINE].hex(" ") for k in range(0, len(data), _BYTES_A_LINE)] or [""]
    yield f"{word:<9} {len(data)} bytes"
    for number, line in enumerate(lines):
        yield f"{_BYTES_A_LINE * number:9}  {line}"


def _short(data: bytes) -> str:
    return data[:_BYTES_A_LINE].hex(" ") + (" …" if len(data) > _BYTES_A_LINE else "")


def _table(every: tuple[Row, ...]) -> Iterator[str]:
    head = ("byte", "bytes", "what", "raw", "value", "")
    cells = [(str(r.at), _short(r.data), r.what, r.raw, r.value, r.remark) for r in every]
    widths = [max(len(row[k]) for row in [head, *cells]) for k in range(5)]
    for row in [head, *cells]:
        place = row[0].rjust(widths[0])
        rest = "  ".join(cell.ljust(width) for cell, width in zip(row[1:5], widths[1:], strict=True))
        yield f"  {place}  {rest}  {row[5]}".rstrip()


def _result(found: Explanation) -> str:
    if found.fault is not None:
        reason, text = found.fault
        return f"no packet: {reason.value}: {text}"
    name = found.packet.name if found.packet else "?"
    if not found.outside:
        judged = sum(one.valid is not None for one in found.readings)
        return f"a sound packet {name!r}; all {judged} values that have a valid range lie within it"
    names = ", ".join(one.item.field.name for one in found.outside)
    return f"a sound packet {name!r} by its checksum and length, but values that cannot be: {names}"
