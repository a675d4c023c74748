"""Streams that are lines of text, and lines of text among other bytes."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from decoders.identifying.checksum_trial import find_checksum
from decoders.identifying.evidence import (
    LEAST_FRAMES,
    PROOF_SHARE,
    Evidence,
    Frames,
    Hypothesis,
    Kind,
    RuledOut,
    Strength,
)

LEAST_LINE = 6  # printable bytes; shorter ones turn up among binary numbers by chance
_TEXT_SHARE = 0.9
_PRINTABLE = bytes([*range(0x20, 0x7F), 0x09, 0x0A, 0x0D])
_NO_TEXT = bytes(value for value in range(256) if value not in _PRINTABLE)
_SEPARATORS = (",", ";", "\t", " ")


@dataclass(frozen=True, slots=True)
class LinesWithin:
    """Lines of text in a stream that is not text as a whole: how many, their bytes, and the commonest of them."""

    count: int
    bytes: int
    example: str


def is_printable(data: bytes) -> bool:
    """Whether there is nothing but printable ASCII, tabs and line ends."""
    return not data.translate(None, _PRINTABLE)


def lines_within(data: bytes) -> LinesWithin | None:
    """Runs of printable bytes that end in a line feed; None where there are fewer than three."""
    found = []
    for piece in data.split(b"\n")[:-1]:
        line = piece.rstrip(b"\r")
        unprintable = max((place for place, byte in enumerate(line) if byte in _NO_TEXT), default=-1)
        text = line[unprintable + 1 :]
        if len(text) >= LEAST_LINE:
            found.append(text.decode("ascii"))
    if len(found) < 3:
        return None
    shapes = Counter(_shape(text) for text in found)
    commonest = shapes.most_common(1)[0][0]
    example = next(text for text in found if _shape(text) == commonest)
    return LinesWithin(len(found), sum(len(text) + 1 for text in found), example)


def text_lines(data: bytes) -> Hypothesis | RuledOut:
    """The stream as lines of text, and what is in the lines."""
    printable = len(data) - len(data.translate(None, _PRINTABLE))
    if printable < _TEXT_SHARE * len(data):
        return RuledOut(Kind.TEXT, f"{printable} of {len(data)} bytes are printable")
    starts, lines = _lines(data)
    if len(lines) < LEAST_FRAMES:
        return RuledOut(Kind.TEXT, f"{len(lines)} whole lines, too few to judge")
    clean = [is_printable(line) for line in lines]
    evidence = [
        Evidence("bytes are printable", printable, len(data)),
        Evidence("lines are printable throughout", sum(clean), len(lines)),
    ]
    contents = tuple(line for line, good in zip(lines, clean, strict=True) if good)
    frames = Frames(
        tuple(start for start, good in zip(starts, clean, strict=True) if good),
        contents,
        sum(len(line) + 1 for line in contents),
    )
    coverage = frames.covered / len(data)
    if len(contents) < _TEXT_SHARE * len(lines):
        return Hypothesis(Kind.TEXT, Strength.HINT, coverage, tuple(evidence), frames)
    return _kind_of(frames, coverage, evidence)


def _kind_of(frames: Frames, coverage: float, evidence: list[Evidence]) -> Hypothesis:
    lines = frames.contents
    sentences = [line for line in lines if line[:1] in b"$!" and line[:1] and b"*" in line[-5:]]
    right = sum(_nmea_right(line) for line in sentences)
    if len(sentences) >= max(LEAST_FRAMES, len(lines) / 2) and right >= PROOF_SHARE * len(sentences):
        talkers = Counter(line[1:6].decode("ascii").split(",")[0] for line in sentences)
        common = ", ".join(f"{name} × {count}" for name, count in talkers.most_common(6))
        evidence += [
            Evidence("lines are sentences: $, fields, * and two hexadecimal digits", len(sentences), len(lines)),
            Evidence(f"sentences have the right checksum ({common})", right, len(sentences)),
        ]
        return Hypothesis(Kind.NMEA, Strength.PROVEN, coverage, tuple(evidence), frames)
    pairs = sum(_is_pairs(line) for line in lines)
    if pairs >= _TEXT_SHARE * len(lines):
        separator = _pair_separator(lines)
        evidence.append(Evidence("lines are names with values (name=value or name:value)", pairs, len(lines)))
        return Hypothesis(Kind.KEYS, Strength.LIKELY, coverage, tuple(evidence), frames, separator=separator)
    packets = [bytes.fromhex(line.decode("ascii")) for line in lines if _is_hex(line)]
    if len(packets) >= _TEXT_SHARE * len(lines):
        evidence.append(Evidence("lines are hexadecimal digits, two a byte", len(packets), len(lines)))
        checksum = find_checksum(packets)
        if checksum is not None:
            evidence.append(Evidence(f"packets have a right {checksum.name}", checksum.hits, checksum.of))
        strength = Strength.PROVEN if checksum is not None and checksum.is_proof else Strength.LIKELY
        starts = tuple(s for s, line in zip(frames.starts, lines, strict=True) if _is_hex(line))
        return Hypothesis(
            Kind.HEX, strength, coverage, tuple(evidence), Frames(starts, tuple(packets), frames.covered), checksum
        )
    for separator in _SEPARATORS:
        counts = Counter(line.count(separator.encode()) + 1 for line in lines)
        values = [n for n in counts if n > 1]
        regular = sum(counts[n] for n in sorted(values, key=lambda n: -counts[n])[:6])
        if regular >= _TEXT_SHARE * len(lines):
            number, count = max(((n, counts[n]) for n in values), key=lambda pair: pair[1])
            evidence.append(Evidence(f"lines have {number} values between {_named(separator)}", count, len(lines)))
            tokens = [token for line in lines for token in line.split(separator.encode())]
            evidence.append(Evidence("values are numbers", sum(_is_number(t) for t in tokens), len(tokens)))
            return Hypothesis(Kind.VALUES, Strength.LIKELY, coverage, tuple(evidence), frames, separator=separator)
    return Hypothesis(Kind.TEXT, Strength.LIKELY, coverage, tuple(evidence), frames)


def _named(separator: str) -> str:
    return {",": "commas", ";": "semicolons", "\t": "tabs", " ": "spaces"}[separator]


def _lines(data: bytes) -> tuple[list[int], list[bytes]]:
    """Whole lines without their ends, empty ones left out, and where they start; the torn first and last are not."""
    starts, lines = [], []
    place = data.find(b"\n") + 1
    for piece in data[place:].split(b"\n")[:-1]:
        line = piece.strip(b"\r")
        if line:
            starts.append(place)
            lines.append(line)
        place += len(piece) + 1
    return starts, lines


def _nmea_right(sentence: bytes) -> bool:
    body, _, stated = sentence[1:].rpartition(b"*")
    computed = 0
    for byte in body:
        computed ^= byte
    return f"{computed:02X}".encode() == stated.strip().upper()


def _is_pairs(line: bytes) -> bool:
    tokens = line.replace(b",", b" ").replace(b";", b" ").split()
    named = sum(1 for token in tokens if _is_pair(token))
    return named >= 2 and named >= 0.7 * len(tokens)


def _is_pair(token: bytes) -> bool:
    name, mark, value = token.replace(b":", b"=", 1).partition(b"=")
    return bool(mark and value and name.strip(b'{"')[:1].isalpha())


def _pair_separator(lines: Sequence[bytes]) -> str:
    counts = {s: sum(line.count(s.encode()) for line in lines) for s in _SEPARATORS}
    return max(counts, key=lambda s: counts[s])


def _is_hex(line: bytes) -> bool:
    return len(line) % 2 == 0 and len(line) >= 8 and not line.translate(None, b"0123456789abcdefABCDEF")


def _is_number(token: bytes) -> bool:
    try:
        float(token)
    except ValueError:
        return False
    return True


def _shape(text: str) -> str:
    """The text with its digits taken out, so that lines that differ in numbers count as one."""
    return "".join("0" if character.isdigit() else character for character in text)
