"""What was heard on a link, in words for a person: figures, framing with its evidence, contents, what to do next."""

from collections.abc import Iterator
from dataclasses import dataclass

from decoders.identify import LEAST_BYTES, Identification
from decoders.identifying.evidence import Evidence, Hypothesis, Kind, Strength
from decoders.identifying.inside import LEAST_OF_A_KIND, Inside, Part, inside
from decoders.identifying.values import TextColumn, text_columns
from groundstation.cli.draft import draft_lines, line_draft_lines, sentence_draft_lines

_WORTH = {
    Strength.PROVEN: "a checksum that is right in frame after frame proves it",
    Strength.LIKELY: "likely: its structure holds throughout, but no checksum proves it",
    Strength.HINT: "a hint only",
}
_LEAST_BIT_CHANGES = 2.2  # random bytes have 3.5; bits read twice or more leave half of that or less
_TEXT = (Kind.NMEA, Kind.VALUES, Kind.KEYS, Kind.TEXT)
_SILENCE = (
    "is the sender powered, in range, and on the receiver's channel and settings?",
    "does the receiver's own lamp show packets? Then look between it and this computer: its transmit line goes to "
    "the adapter's receive line, and the grounds are joined",
    "is this the right port? groundstation ports lists them",
    "some receivers want DTR or RTS set before they send: add dtr=on or rts=on to the link",
    "a wrong speed gives wrong bytes, not silence: it is not the speed",
)


@dataclass(frozen=True, slots=True)
class Heard:
    """Bytes of a link, in the order they came: the last ones where there were too many to keep.

    count: of all bytes. seconds: how long they were waited for; None for a file, whose bytes have no times.
    """

    link: str
    data: bytes
    count: int
    seconds: float | None


def report_lines(heard: Heard, found: Identification) -> Iterator[str]:
    """The whole report."""
    yield _amount(heard)
    if heard.count == 0:
        yield ""
        if heard.seconds is None:
            yield "The file is empty: was it written by the program that captured it, and is it the right one?"
            return
        yield "Nothing came. Look at these, one after another:"
        yield from (f"  - {line}" for line in _SILENCE)
        return
    if found.looked_at < heard.count:
        yield f"  looked at: the last {found.looked_at} of them"
    yield from _figures(found)
    yield ""
    proposed = found.proposed
    if proposed is None:
        yield from _cannot_tell(found)
        return
    yield f"Framing: {proposed.kind.value} ({_WORTH[proposed.strength]})"
    yield from _facts(proposed)
    for other in found.hypotheses[1:3]:
        if other.strength >= Strength.LIKELY:
            yield f"Also possible: {other.kind.value} ({_WORTH[other.strength]})"
            yield from _facts(other)
    if proposed.kind is Kind.SYNC_FIXED and proposed.checksum is None:
        yield "  caution: text read at a wrong speed repeats like this too; on a serial port, compare with --bauds"
    yield ""
    if proposed.kind in _TEXT:
        yield from _text(proposed, heard.seconds)
        return
    contents = inside(proposed)
    yield from _contents(contents)
    yield ""
    yield "A description to start from, for the vehicle file:"
    yield ""
    yield from draft_lines(proposed, contents, heard.seconds)


def counted(evidence: Evidence) -> str:
    """One observation with its count."""
    return f"{evidence.hits} of {evidence.of} {evidence.text}"


def _amount(heard: Heard) -> str:
    if heard.seconds is None:
        return f"{heard.link}: {heard.count} bytes"
    return f"{heard.link}: {heard.count} bytes in {heard.seconds:.1f} s, {heard.count / heard.seconds:.0f} bytes/s"


def _figures(found: Identification) -> Iterator[str]:
    figures = found.statistics
    yield f"  printable: {figures.printable} of {figures.count} bytes ({figures.printable / figures.count:.0%})"
    yield f"  entropy:   {figures.entropy_bits:.2f} of 8 bits a byte, {figures.distinct} of 256 values occur"
    common = ", ".join(f"{value:02X} × {count}" for value, count in figures.commonest[:5])
    yield f"  commonest: {common}"
    if figures.period is not None:
        p = figures.period
        yield (
            f"  repeats:   {p.equal} of {p.of} bytes are the same {p.lag} bytes later ({p.equal / p.of:.0%}; "
            f"at most distances {p.usual_share:.1%})"
        )
    for pattern in found.patterns[:3]:
        yield (
            f"  frequent:  {pattern.pattern.hex(' ').upper()} {pattern.count} times, "
            f"{pattern.gaps_alike} of {pattern.count - 1} distances are {pattern.commonest_gap} bytes"
        )
    if found.lines is not None:
        yield f"  text:      {found.lines.count} lines among the bytes, such as: {found.lines.example}"


def _facts(found: Hypothesis) -> Iterator[str]:
    for evidence in found.evidence:
        yield f"  {counted(evidence)}"
    yield f"  {found.coverage:.0%} of the bytes lie in such frames"
    checksum = found.checksum
    if checksum is not None:
        place = (
            "at the frame's end" if checksum.trailing == 0 else f"{checksum.trailing} bytes before the frame's end"
        )
        order = f", {checksum.order.value}-endian" if checksum.size > 1 else ""
        known = "" if checksum.own is None else "; its start and final values are none of the catalogue's"
        yield f"  checksum: {checksum.name} {place}{order}, over the frame from byte {checksum.start} on{known}"
    if found.length is not None:
        length = found.length
        order = f", {length.order.value}-endian" if length.size > 1 else ""
        yield (
            f"  length: {8 * length.size} bits at byte {length.at} of the frame{order}; "
            f"the whole frame has {length.beyond} bytes more than it says"
        )
    if found.frame_length is not None:
        yield f"  each frame has {found.frame_length} bytes"
    if found.sync:
        yield f"  sync word: {found.sync.hex(' ').upper()}"


def _contents(contents: Inside) -> Iterator[str]:
    yield f"Inside {contents.looked_at} frames (bytes count from the start of the body):"
    lengths = ", ".join(f"{length} bytes × {count}" for length, count in contents.lengths[:8])
    yield f"  body lengths: {lengths}"
    told_by = contents.discriminator
    if told_by is not None:
        values = ", ".join(f"0x{value:02X}" for value in told_by.values)
        yield f"  byte {told_by.at} tells the kinds apart ({values}): {told_by.hits} of {told_by.of} frames"
    else:
        yield "  no byte among the first tells kinds apart"
    rare = contents.looked_at - sum(kind.count for kind in contents.kinds)
    if rare:
        yield f"  {rare} frames are of kinds seen fewer than {LEAST_OF_A_KIND} times, and not described"
    for kind in contents.kinds:
        name = "" if kind.id is None else f" 0x{kind.id:02X}"
        yield f"  kind{name}, {kind.length} bytes, {kind.count} frames:"
        for part in kind.parts:
            if part.count is not None:
                yield f"    {_span(part)}: counter, one more in {part.count.hits} of {part.count.of} steps" + (
                    f"; upper byte carried {part.count.carries} times" if part.count.carries else ""
                )
        constant = [f"{part.at} ({part.value.hex().upper()})" for part in kind.parts if part.value is not None]
        if constant:
            yield f"    never change: byte {', '.join(constant)}"
        spans = ", ".join(_span(p) for p in kind.parts if p.value is None and p.count is None)
        yield f"    likely numbers (a guess, by how much each byte varies): {spans or 'none'}"


def _span(part: Part) -> str:
    return f"byte {part.at}" if part.size == 1 else f"bytes {part.at}-{part.at + part.size - 1}"


def _text(found: Hypothesis, seconds: float | None) -> Iterator[str]:
    yield "Inside the lines:"
    example = found.frames.contents[len(found.frames) // 2].decode("ascii", "replace")
    yield f"  such as: {example}"
    for column in text_columns(found):
        yield f"  {_column(column)}"
    yield ""
    yield "A description to start from, for the vehicle file:"
    yield ""
    if found.kind is Kind.NMEA:
        yield from sentence_draft_lines(found, seconds)
    elif found.kind is Kind.TEXT:
        yield "# lines of text of no regular shape: the vehicle file cannot describe them"
    else:
        yield from line_draft_lines(found, seconds)


def _column(column: TextColumn) -> str:
    if not column.numbers:
        return f"{column.name}: text in {column.lines} lines"
    counts = f", one more in {column.counts} of {column.numbers - 1} steps: a counter" if column.is_counter else ""
    return (
        f"{column.name}: a number in {column.numbers} of {column.lines} lines, "
        f"{column.least:.10g} to {column.greatest:.10g}{counts}"
    )


def _cannot_tell(found: Identification) -> Iterator[str]:
    figures = found.statistics
    yield "Framing: cannot tell."
    if figures.distinct == 1:
        value = figures.commonest[0][0]
        yield f"  All {figures.count} bytes are {value:02X}: that is a line that rests or is held, not telemetry."
        yield "Next: check the wiring between receiver and adapter (transmit to receive, common ground), its voltage"
        yield "level, and whether the signal is inverted; then listen again."
        return
    if found.looked_at < LEAST_BYTES:
        yield f"  {found.looked_at} bytes are too few; {LEAST_BYTES} are the least, some ten frames are wanted."
        yield "Next: listen for longer, with --seconds."
        return
    if found.ruled_out:
        yield "  Ruled out:"
        yield from (f"    {one.kind.value}: {one.text}" for one in found.ruled_out)
    hints = [h for h in found.hypotheses if h.evidence]
    if hints:
        yield "  Seen, but not enough to propose it:"
        yield from (f"    {hint.kind.value}: {counted(hint.evidence[0])}" for hint in hints[:3])
    if figures.entropy_bits > 7.8:
        yield "  The bytes look random: encrypted, scrambled or compressed contents look so, and so does noise."
    elif figures.bit_changes < _LEAST_BIT_CHANGES:
        yield (
            f"  Neighbouring bits differ {figures.bit_changes:.1f} times a byte, 3.5 would be random: "
            "this computer may be reading faster than the receiver sends."
        )
    yield "Next: on a serial port, try the usual speeds with --bauds (a wrong speed looks like this); listen for"
    yield "longer; look up in the receiver's description whether it wraps, scrambles or encrypts what it hands on."
