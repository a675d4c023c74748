"""One frame taken out of some bytes by its description: what stood before it, the frame, and what follows."""

from dataclasses import dataclass, replace
from typing import Literal

from decoders.checksums import Checksum
from decoders.contents import Contents
from decoders.delimited import Delimited
from decoders.errors import FrameError, LayoutError
from decoders.fields import Place, number_place
from decoders.framing import Framing, contents_of, framing
from decoders.layout import ChecksumPlace, Layout, Packet
from decoders.line_beside import LineBeside, Sight, without_line
from decoders.synchronised import Synchronised
from decoders.trailing import Trailed
from groundstation.layout_tools.described import Description


@dataclass(frozen=True, slots=True)
class Taken:
    """The frame in some bytes, without its delimiter; `contents` is None where it is broken, as `broken` says.

    `is_ended` tells whether the framing's delimiter stood after it; `has_start` whether its sync word was found.
    `line` is what the receiver printed beside it, where the description has such a line, with the numbers in it.
    """

    before: bytes
    frame: bytes
    after: bytes
    is_ended: bool
    has_start: bool
    contents: bytes | None
    broken: str
    line: bytes = b""
    numbers: tuple[float, ...] = ()


class Case:
    """One description and some bytes that should be a frame by it."""

    def __init__(self, description: Description, data: bytes) -> None:
        self.description = description
        self.line = LineBeside.of(description.layout)
        self.layout: Layout = without_line(description.layout)
        self.data, front = _without_front(self.line, data)
        self.framing: Framing = framing(self.layout)
        self.judge: Contents = contents_of(self.layout, self.framing)
        self.checksum: Checksum = self.judge.checksum  # lines of text are checked by their framing
        self.head = self.framing.head_size
        self.taken = _with_line(self.line, front, _taken(self))

    @property
    def order(self) -> Literal["little", "big"]:
        """Of the numbers."""
        return self.layout.byte_order.value

    def core(self, contents: bytes) -> bytes:
        """Contents without what the receiver put around them: head, body and checksum."""
        envelope = self.layout.envelope
        end = max(len(contents) - envelope.after, 0)
        return contents[: self.head] + contents[self.head + envelope.before : end]

    def body_of(self, contents: bytes) -> bytes:
        """What is left without head and checksum."""
        size, contents = self.checksum.size, self.core(contents)
        if self.layout.checksum_place is ChecksumPlace.START:
            return contents[self.head + size :]
        return contents[self.head : len(contents) - size]

    def stated_of(self, contents: bytes) -> bytes:
        """The checksum's bytes as they stand."""
        size, contents = self.checksum.size, self.core(contents)
        if self.layout.checksum_place is ChecksumPlace.START:
            return contents[self.head : self.head + size]
        return contents[len(contents) - size :] if size else b""

    def packet_of(self, body: bytes) -> Packet | None:
        """The packet with the body's discriminator; None where it has none of these."""
        for packet in self.layout.packets:
            if self.id_of(body) == packet.id:
                return packet
        return None

    def id_of(self, body: bytes) -> int | None:
        """The discriminator in a body; None where it is too short; of a layout without one, the only packet's."""
        if self.layout.id_bits == 0:
            return self.layout.packets[0].id
        place = id_place(self.layout)
        return place.get(body) if place.end <= len(body) else None


def _without_front(line: LineBeside | None, data: bytes) -> tuple[bytes, tuple[bytes, tuple[float, ...]]]:
    """Some bytes without a line in front of the frame, and that line with its numbers."""
    if line is not None and line.is_in_front:
        text = data.lstrip(line.delimiter)
        found = line.behind(text)
        if not isinstance(found, Sight):
            return text[found[0] :], (text[: found[0]], found[1])
    return data, (b"", ())


def _with_line(line: LineBeside | None, front: tuple[bytes, tuple[float, ...]], taken: Taken) -> Taken:
    """What was taken, with the line in front of it or behind it."""
    if line is None or line.is_in_front:
        return replace(taken, line=front[0], numbers=front[1])
    found = line.behind(taken.after)
    if isinstance(found, Sight):
        return taken
    return replace(taken, after=taken.after[found[0] :], line=taken.after[: found[0]], numbers=found[1])


def id_place(layout: Layout) -> Place:
    """Where the discriminator stands."""
    return number_place(layout.id_first_bit, layout.id_bits, layout.byte_order, layout.id_bit_order, "id")


def covered_by(layout: Layout, checksum: Checksum, head: int, contents: bytes) -> bytes | None:
    """The bytes that a layout's checksum covers in contents without envelope; None where they are too short."""
    first, until, size = layout.checksum_from, layout.checksum_until, checksum.size
    if len(contents) < head + size + max(first, 0) + until or first < -head:
        return None
    if layout.checksum_place is ChecksumPlace.END:
        return contents[head + first : len(contents) - size - until]
    body = contents[head + size : len(contents) - until]
    return body[first:] if first >= 0 else contents[head + first : head] + body


def _taken(case: Case) -> Taken:
    found = case.framing
    if isinstance(found, Synchronised):
        return _taken_behind_word(case, found)
    delimiter = found.delimiter if isinstance(found, Delimited) else b"\n"
    start = len(case.data) - len(case.data.lstrip(delimiter))
    frame, end, after = case.data[start:].partition(delimiter)
    if isinstance(found, Trailed):
        frame, after = frame + end + after[: found.behind], after[found.behind :]
    contents, broken = _decoded(found, frame)
    return Taken(case.data[:start], frame, after, bool(end), True, contents, broken)


def _taken_behind_word(case: Case, found: Synchronised) -> Taken:
    word = found.sync.word
    start = case.data.find(word)
    if start < 0:
        shown = word.hex(" ")
        return Taken(b"", case.data, b"", False, False, None, f"found the sync word {shown} nowhere in these bytes")
    rest = case.data[start:]
    length = found.sync.length
    size: int | None
    if length is not None:
        at = len(word) + length.at
        field = rest[at : at + length.bits // 8]
        if len(field) < length.bits // 8:
            text = f"found {len(rest)} bytes, expected the length at byte {at}"
            return Taken(case.data[:start], rest, b"", True, True, None, text)
        size = len(word) + length.adds + int.from_bytes(field, length.byte_order.value)
    else:
        size = case.judge.length_from(rest, 0) or len(rest)
    if size > len(rest):
        text = f"found {len(rest)} bytes, expected {size}: the frame says so"
        if length is None:
            text = f"found {len(rest)} bytes, expected the {size} of its kind of packet"
        return Taken(case.data[:start], rest, b"", False, True, rest, text)
    return Taken(case.data[:start], rest[:size], rest[size:], True, True, rest[:size], "")


def _decoded(found: Framing, frame: bytes) -> tuple[bytes | None, str]:
    if not frame:
        return None, "found no byte of a frame, expected at least one"
    try:
        return found.decode(frame), ""
    except (FrameError, LayoutError) as fault:
        return None, str(fault)
