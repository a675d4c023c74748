"""Lines that a receiver prints among lines of packets, told apart from packets that were damaged on their way.

A line is the receiver's own if all of it can be printed and nothing in it is a packet's. What is a packet's is chosen
so that damage is never taken for text; so some text is taken for damage.

- Lines of values: the opening of a sentence; the mark of a checksum at the end, if the layout has one; a tag, even
  with one character changed, lost or put in, or only its end or beginning; a number between separators. Where
  blanks separate the values, a number may stand between words, but not two of them next to each other. Besides, there
  has to be a word of two letters or more in the line, or no letter or digit at all.
- Lines of key=value: the same, but the key of any field, or its beginning or end, in place of bare numbers.
- Hexadecimal lines: three digits or more among four characters, or as many digits in a row as half of the shortest
  packet has.

A sentence of NMEA 0183 whose checksum is right, but whose address is no packet's, is none of the layout's either: a
position receiver sends several kinds, and it says nothing against the link.
"""

import re
from collections.abc import Callable
from itertools import pairwise

from decoders.contents import Contents
from decoders.errors import LineError
from decoders.framing import BINARY, Framing
from decoders.layout import Layout, Reason
from decoders.status_lines import is_printable, is_text
from decoders.text import TALKER, TextLines, tag_of

_WORD = re.compile(rb"[A-Za-z]{2,}")
_RULE = re.compile(rb"[^0-9A-Za-z]{3,}")
_SHORTEST = 3  # characters of a tag that can be recognised in part
_FEWEST_DIGITS = 4  # hexadecimal ones in a row that are more than a word's or a number's
_NO_HEXADECIMAL = re.compile(rb"[^0-9A-Fa-f]+")


def status_among_values(layout: Layout, lines: TextLines) -> Callable[[bytes], bool]:
    """What tells whether a line that is no packet of the layout is a receiver's own."""
    tags = [tag_of(packet) for packet in layout.packets] if lines.is_tagged else []
    names = {item.name.encode("ascii") for packet in layout.packets for item in lines.fields_of(packet)}
    is_own = _has_key(names) if lines.style.named else _has_values(lines)

    def is_status(frame: bytes) -> bool:
        if not is_printable(frame):
            return False
        line = frame.strip()
        is_sentence = bool(lines.style.opening) and line[:1] in (lines.style.opening, b"!")
        if is_sentence:
            line = line[1:]
        size = 2 * lines.checksum.size
        if size and not is_sentence and b"*" in line[-size - 1 :]:
            return False
        tokens = [token.strip() for token in line.split(lines.separator)]
        starts = [tokens[0]]
        if lines.style.talkers and len(tokens[0]) > TALKER:
            starts.append(tokens[0][TALKER:])
        if any(_is_nearly(start, tag) for start in starts for tag in tags) or set(tokens) & set(tags):
            return False
        if is_sentence:
            return _is_foreign(lines, frame)
        return not is_own(tokens) and bool(_WORD.search(line) or _RULE.fullmatch(line))

    return is_status


def status_among_digits(layout: Layout, contents: Contents) -> Callable[[bytes], bool]:
    """What tells whether a line without a packet in hexadecimal digits is a receiver's own."""
    head = layout.envelope.line.partition("{")[0].strip().encode("ascii", "replace")
    half = min(packet.lengths[0] for packet in layout.packets) + contents.checksum.size
    most = max(half, _FEWEST_DIGITS)

    def is_status(frame: bytes) -> bool:
        if not is_printable(frame) or (head and frame.lstrip().startswith(head)):
            return False
        runs = [len(run) for run in _NO_HEXADECIMAL.split(frame)]
        return 4 * sum(runs) <= 3 * len(frame.translate(None, b" \t\r")) and max(runs) < most

    return is_status


def status_test(layout: Layout, framed: Framing, contents: Contents) -> Callable[[bytes], bool]:
    """What tells whether a frame of a layout that is no packet is text, and no damage."""
    if isinstance(framed, TextLines):
        return status_among_values(layout, framed)
    if layout.framing not in BINARY:
        return status_among_digits(layout, contents)
    return lambda frame: is_text(frame, len(frame))


def _has_key(names: set[bytes]) -> Callable[[list[bytes]], bool]:
    def has_key(tokens: list[bytes]) -> bool:
        pairs = tokens if len(tokens) == 1 else [token for token in tokens if b"=" in token]
        keys = names & set(tokens) or [token.partition(b"=")[0].strip() for token in pairs]
        return any(name.startswith(key) or name.endswith(key) for key in keys for name in names)

    return has_key


def _has_values(lines: TextLines) -> Callable[[list[bytes]], bool]:
    if lines.separator.isspace():
        return lambda tokens: any(lines.is_number(a) and lines.is_number(b) for a, b in pairwise(tokens))
    return lambda tokens: any(lines.is_number(token) for token in tokens)


def _is_foreign(lines: TextLines, frame: bytes) -> bool:
    """Whether a sentence has a right checksum, and an address that is no packet's."""
    if not lines.style.talkers or not lines.checksum.size:
        return False
    try:
        lines.decode(frame)
    except LineError as fault:
        return fault.reason is Reason.UNKNOWN_PACKET
    return False


def _is_nearly(found: bytes, tag: bytes) -> bool:
    """Whether a tag may have become this: cut at one end, with one character changed, lost or put in, or run on."""
    if found.startswith(tag[:_SHORTEST]) and len(found) >= len(tag):
        return True
    if len(tag) < _SHORTEST or len(found) < _SHORTEST - 1:
        return not found  # too little to tell it from a word
    if tag.endswith(found) or tag.startswith(found):
        return True
    same = next((place for place, (a, b) in enumerate(zip(found, tag, strict=False)) if a != b), len(tag))
    ours, theirs = tag[same:], found[same:]
    return ours[1:] in (theirs, theirs[1:]) or ours == theirs[1:]
