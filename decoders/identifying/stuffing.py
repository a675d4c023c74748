"""Framings that stuff: a byte value that never occurs inside a frame ends it (COBS, SLIP, RFC 1662).

Receivers may print lines of text between frames; a block that does not unstuff is tried once more without the text
it begins with.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from decoders import cobs
from decoders.errors import FrameError
from decoders.identifying.checksum_trial import find_checksum
from decoders.identifying.evidence import LEAST_FRAMES, Evidence, Frames, Hypothesis, Kind, RuledOut, Strength
from decoders.identifying.text import is_printable
from decoders.stuffing import rfc1662_decode, slip_decode

LONGEST_BLOCK = 2048  # bytes; a longer run without a delimiter is no frame of a low-rate radio link
_LEAST_BLOCK = 4
_LIKELY_SHARE = 0.85
_LEAST_ESCAPES = 8

Unstuff = Callable[[bytes], bytes | None]


@dataclass(frozen=True, slots=True)
class _Rules:
    kind: Kind
    delimiter: bytes
    delimiter_text: str
    unstuff: Unstuff
    escape: int | None  # the byte that begins a stuffed one
    after_escape: frozenset[int]


def stuffed(data: bytes) -> Iterator[Hypothesis | RuledOut]:
    """What becomes of the stream under each framing that stuffs."""
    for rules in _RULES:
        yield _tried(rules, data)


def _tried(rules: _Rules, data: bytes) -> Hypothesis | RuledOut:
    blocks = list(_blocks(data, rules.delimiter))
    # a line that the receiver prints between frames is a block of its own where frames begin with the delimiter too
    printed = sum(_is_line(block) for _, block in blocks)
    long = [(place, block) for place, block in blocks if len(block) >= _LEAST_BLOCK and not _is_line(block)]
    if len(long) < LEAST_FRAMES:
        return RuledOut(rules.kind, f"{len(long)} blocks between {rules.delimiter_text}, too few to judge")
    starts, contents, covered, after_text = [], [], 0, 0
    for place, block in long:
        found, skipped = _unstuffed(rules.unstuff, block)
        if found is not None:
            starts.append(place + skipped)
            contents.append(found)
            covered += len(block) - skipped + 1
            after_text += skipped > 0
    frames = Frames(tuple(starts), tuple(contents), covered)
    by_chance = sum(rules.unstuff(block[1:] + block[:1]) is not None for _, block in long)
    evidence = [Evidence(f"blocks between {rules.delimiter_text} unstuff", len(frames), len(long))]
    if printed:
        evidence.append(Evidence("blocks are lines of text instead", printed, len(long) + printed))
    if after_text:
        evidence.append(Evidence("of these blocks begin with a line of text", after_text, len(frames)))
    checksum = find_checksum(frames.contents)
    if checksum is not None:
        evidence.append(Evidence(f"frames have a right {checksum.name}", checksum.hits, checksum.of))
    escapes, escaped_right = _escapes(rules, blocks)
    if escapes:
        evidence.append(
            Evidence(f"escapes 0x{rules.escape:02X} are followed by what may follow", escaped_right, escapes)
        )
    if checksum is not None and checksum.is_proof:
        strength = Strength.PROVEN
    elif rules.escape is None:
        good = len(frames) >= _LIKELY_SHARE * len(long) and by_chance <= len(frames) / 3
        strength = Strength.LIKELY if good and covered >= len(data) / 2 else Strength.HINT
    else:
        good = escapes >= _LEAST_ESCAPES and escaped_right >= _LIKELY_SHARE * escapes and covered >= len(data) / 2
        strength = Strength.LIKELY if good else Strength.HINT
    if strength is Strength.HINT and checksum is None:
        if rules.escape is None:
            return RuledOut(rules.kind, f"{len(frames)} of {len(long)} blocks between {rules.delimiter_text} unstuff")
        if escapes and escaped_right < _LIKELY_SHARE * escapes:
            wanted = " or ".join(f"0x{value:02X}" for value in sorted(rules.after_escape)[:2])
            wanted = wanted if len(rules.after_escape) < 3 else "what may follow"
            return RuledOut(
                rules.kind, f"{escaped_right} of {escapes} bytes 0x{rules.escape:02X} are followed by {wanted}"
            )
    return Hypothesis(rules.kind, strength, covered / len(data), tuple(evidence), frames, checksum)


def _blocks(data: bytes, delimiter: bytes) -> Iterator[tuple[int, bytes]]:
    """Each block between delimiters with its place, the torn first and last left out."""
    first, last = data.find(delimiter), data.rfind(delimiter)
    place = first + 1
    if first < 0:
        return
    for block in data[place:last].split(delimiter) if last > first else ():
        if 0 < len(block) <= LONGEST_BLOCK:
            yield place, block
        place += len(block) + 1


def _is_line(block: bytes) -> bool:
    return block.endswith(b"\n") and is_printable(block)


def _unstuffed(unstuff: Unstuff, block: bytes) -> tuple[bytes | None, int]:
    """The contents, and how many bytes of text were passed over to reach them."""
    found = unstuff(block)
    if found is not None:
        return found, 0
    line_end = block.rfind(b"\n")
    while line_end >= 0:
        text, rest = block[: line_end + 1], block[line_end + 1 :]
        if rest and is_printable(text):
            found = unstuff(rest)
            if found is not None:
                return found, len(text)
        line_end = block.rfind(b"\n", 0, line_end)
    return None, 0


def _escapes(rules: _Rules, blocks: list[tuple[int, bytes]]) -> tuple[int, int]:
    if rules.escape is None:
        return 0, 0
    count = right = 0
    for _, block in blocks:
        for before, after in pairwise(block):
            if before == rules.escape:
                count += 1
                right += after in rules.after_escape
    return count, right


def _uncobs(block: bytes) -> bytes | None:
    return cobs.decode_each((block,))[0]


def _unslip(block: bytes) -> bytes | None:
    try:
        return slip_decode(block)
    except FrameError:
        return None


def _un_1662(block: bytes) -> bytes | None:
    try:
        return rfc1662_decode(block)
    except FrameError:
        return None


_RULES = (
    _Rules(Kind.COBS, b"\0", "zeros", _uncobs, None, frozenset()),
    _Rules(Kind.SLIP, b"\xc0", "bytes 0xC0", _unslip, 0xDB, frozenset((0xDC, 0xDD))),
    # a sender may escape control characters as well, and must escape the flag and the escape itself
    _Rules(Kind.RFC_1662, b"\x7e", "bytes 0x7E", _un_1662, 0x7D, frozenset((0x5D, 0x5E, *range(0x20, 0x40)))),
)
