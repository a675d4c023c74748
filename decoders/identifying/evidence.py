"""What listening to an unknown stream can find out, as data: counts, and hypotheses with what speaks for each.

Every claim carries its count: `hits` of `of` tries. Places count from a frame's first byte as `Frames` gives it.
"""

from dataclasses import dataclass, field
from enum import IntEnum, StrEnum

from decoders.crc import CrcModel
from decoders.layout import ByteOrder


class Kind(StrEnum):
    """The framings that are looked for."""

    COBS = "COBS"
    SLIP = "SLIP"
    RFC_1662 = "RFC 1662"
    SPACE_PACKETS = "CCSDS space packets behind an attached sync marker"
    SYNC_LENGTH = "sync word and length field"
    SYNC_FIXED = "sync word and fixed length"
    FIXED = "fixed length without a delimiter"
    NMEA = "NMEA 0183 sentences"
    VALUES = "lines of delimited values"
    KEYS = "lines of key=value"
    HEX = "lines of hexadecimal packets"
    TEXT = "text lines"


class Strength(IntEnum):
    """How much a hypothesis is worth."""

    HINT = 0  # seen, but chance or another framing explains it too
    LIKELY = 1  # the structure holds throughout, nothing proves the contents
    PROVEN = 2  # a checksum is right in frame after frame


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation in plain words, and its count."""

    text: str
    hits: int
    of: int

    @property
    def share(self) -> float:
        """Hits as a share of the tries, 0 where there was none."""
        return self.hits / self.of if self.of else 0.0


@dataclass(frozen=True, slots=True)
class ChecksumFound:
    """A checksum that is right in `hits` of `of` frames tried.

    It covers each frame from byte `start` to where it stands itself: `trailing` bytes before the frame's end.
    `own` is a CRC that is none of the catalogue's: its polynomial is known, and a final value that makes it right in
    frames of this one length, whatever start value the sender has. `named` is False for a sum of which only the kind
    is known.
    """

    name: str
    size: int
    order: ByteOrder
    start: int
    trailing: int
    hits: int
    of: int
    own: CrcModel | None = None
    named: bool = True

    @property
    def is_proof(self) -> bool:
        """Whether chance is out of the question.

        Nine in ten of at least 10 frames are right. A checksum of 16 bits or more, right by chance once in 65,536
        frames, may also be right in only half of many frames: a bad radio link damages the others.
        """
        if self.of >= LEAST_FRAMES and self.hits >= PROOF_SHARE * self.of:
            return True
        return self.size >= 2 and self.hits >= MANY_FRAMES and self.hits >= self.of / 2


LEAST_FRAMES = 10
MANY_FRAMES = 20
PROOF_SHARE = 0.9


@dataclass(frozen=True, slots=True)
class LengthField:
    """A number at byte `at` of the frame; the frame has that many bytes and `beyond` more."""

    at: int
    size: int
    order: ByteOrder
    beyond: int


@dataclass(frozen=True, slots=True)
class Frames:
    """Candidate frames: where each starts in the stream, its contents unstuffed, and the stream's bytes they take."""

    starts: tuple[int, ...]
    contents: tuple[bytes, ...]
    covered: int

    def __len__(self) -> int:
        return len(self.contents)


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One framing with what speaks for it. `header` bytes at each frame's start are sync word and length field."""

    kind: Kind
    strength: Strength
    coverage: float  # share of the stream's bytes inside frames
    evidence: tuple[Evidence, ...]
    frames: Frames = field(repr=False)
    checksum: ChecksumFound | None = None
    sync: bytes = b""
    length: LengthField | None = None
    frame_length: int | None = None
    header: int = 0
    separator: str = ""

    @property
    def explained(self) -> float:
        """Share of the stream's bytes inside frames that are right, as far as that can be told."""
        checked = self.checksum
        return self.coverage if checked is None else self.coverage * checked.hits / checked.of

    @property
    def score(self) -> float:
        """For ranking: strength first, then how much of the stream it explains."""
        return self.strength + min(self.explained, 0.999)


@dataclass(frozen=True, slots=True)
class RuledOut:
    """A framing that was tried and does not fit, with the count that says so."""

    kind: Kind
    text: str
