"""Whole recordings of text lines, fast: lines by the thousand.

The readable way (`decoders.text`) defines what comes out. This module gives the same for the lines it accepts and
leaves every other byte to it: lines whose checksum is right, whose packet is certain and whose values stand in the
order of the fields, or, where they carry their names, in the order that most lines have. Separators and line ends are
found at once; each field is then a column of places in the text, read by `decoders.decimals`; a value that this does
not read is read by the readable way alone.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decoders.columns import RowReader
from decoders.decimals import FRONT, Bools, IntArray, Text, floats, wholes
from decoders.errors import LineError
from decoders.layout import ByteOrder, Envelope, Field, Layout, Packet, WireKind
from decoders.line_checksums import LineChecksums
from decoders.line_pieces import pieces
from decoders.status_lines import LONGEST_LINE
from decoders.text import TALKER, Slot, TextLines, tag_of
from decoders.tiles import Harvest, Harvested, left_over

Bytes = NDArray[np.uint8]

_LEAST_LINES = 100  # of one kind; below, the readable way is as fast
_SAMPLES = 8  # lines that are looked at for the order of their values
_PIECE = 3 << 19  # bytes of lines that are read at once: more fall out of the processor's cache (measured)
_LINE_END, _RETURN = ord("\n"), ord("\r")


@dataclass(frozen=True, slots=True)
class _Kind:
    """One kind of packet: what its lines start with, its fields in their order, and what reads its bodies."""

    number: int
    packet: Packet
    tag: bytes
    fields: tuple[Field, ...]
    slots: tuple[Slot, ...]
    reader: RowReader


@dataclass(frozen=True, slots=True)
class _Lines:
    """The lines of a block.

    start, end: (n,) their places, the line feed at the end. text, stop: (n,) those of what the checksum covers.
    mark: (n,) the number of the first separator in each; marks: places of all separators and line feeds.
    separators: (n,) how many each has. sound: (n,) whether the line is what the layout says, but for its values.
    """

    start: IntArray
    end: IntArray
    text: IntArray
    stop: IntArray
    marks: IntArray
    mark: IntArray
    separators: IntArray
    sound: Bools


@dataclass(frozen=True, slots=True)
class _Crop:
    """The accepted lines of one kind: (n,) places, the line feed included, and (n, length) bodies."""

    start: IntArray
    end: IntArray
    bodies: Bytes


@dataclass(frozen=True, slots=True)
class _Piece:
    """A part of a block: (n,) places of its lines, whether each is done with, and the accepted ones by kind."""

    start: IntArray
    end: IntArray
    done: Bools
    crops: dict[int, _Crop]


class LineTiles:
    """Decodes blocks of lines of one layout."""

    PADDING = bytes(8)  # behind a block, so that the eight bytes in front of every place can be had

    def __init__(self, layout: Layout, lines: TextLines, readers: Sequence[Mapping[int, RowReader]]) -> None:
        self._lines = lines
        self._longest = max(lines.longest, LONGEST_LINE)
        self._checksums = LineChecksums(layout, lines.checksum)
        self._order = layout.byte_order
        self._id_size = layout.id_bits // 8
        self._kinds = [
            _Kind(
                number,
                packet,
                tag_of(packet),
                lines.fields_of(packet),
                lines.slots_of(packet),
                by_length[packet.length],
            )
            for number, (packet, by_length) in enumerate(zip(layout.packets, readers, strict=True))
        ]

    @staticmethod
    def takes(layout: Layout, lines: TextLines) -> bool:
        """Whether this is the way for a layout."""
        if len(lines.separator) > 1 or lines.separator.isalpha() or layout.envelope != Envelope():
            return False
        if layout.address is not None or layout.id_first_bit:
            return False
        if not all(lines.fields_of(packet) for packet in layout.packets):
            return False
        if any("=" in item.name for packet in layout.packets for item in lines.fields_of(packet)):
            return False
        return not lines.is_tagged or _are_plain([tag_of(packet) for packet in layout.packets], lines)

    def decode(self, block: bytes, size: int) -> Harvested:
        """The packets in a block that starts with the start of a line; as `decoders.tiles.TileDecoder.decode`."""
        text = Text(block)
        found = [self._piece(text, *places) for places in pieces(block, size, _PIECE)]
        harvests = []
        for kind in self._kinds:
            mine = [piece.crops[kind.number] for piece in found if kind.number in piece.crops]
            if mine:
                columns = kind.reader.read(b"".join([crop.bodies.tobytes() for crop in mine]))
                start = np.concatenate([crop.start for crop in mine])
                end = np.concatenate([crop.end for crop in mine])
                harvests.append(Harvest(kind.number, start, end, columns))
        start = np.concatenate([piece.start for piece in found])
        end = np.concatenate([piece.end for piece in found])
        done = np.concatenate([piece.done for piece in found])
        return Harvested(tuple(harvests), tuple(left_over(start, end, done, size)))

    def _piece(self, text: Text, begin: int, stop: int) -> _Piece:
        """What can be read of the lines in a part of the block."""
        lines = self._found(text, begin, stop)
        done = lines.start == lines.end
        crops = {}
        for kind, mine, at in self._by_kind(text.bytes, lines):
            if mine.size < _LEAST_LINES:
                continue
            bodies = np.zeros((mine.size, kind.packet.length), dtype=np.uint8)
            if self._id_size:
                written = kind.packet.id.to_bytes(self._id_size, self._order.value)
                bodies[:, : self._id_size] = np.frombuffer(written, dtype=np.uint8)
            good = self._read(text, lines, kind, mine, at, bodies)
            if not good.all():
                mine, bodies = mine[good], bodies[good]
            done[mine] = True
            crops[kind.number] = _Crop(lines.start[mine], lines.end[mine] + 1, bodies)
        return _Piece(lines.start, lines.end + 1, done, crops)

    def _found(self, text: Text, begin: int, stop: int) -> _Lines:
        """The lines of a part of the block, and what is the same for every kind of packet."""
        data = text.bytes
        part = data[begin:stop]
        marks = np.flatnonzero((part == self._lines.separator[0]) | (part == _LINE_END))
        marks += begin
        of_ends = np.flatnonzero(data[marks] == _LINE_END)
        end = marks[of_ends]
        start, mark = np.full_like(end, begin), np.zeros_like(end)
        start[1:], mark[1:] = end[:-1] + 1, of_ends[:-1] + 1
        stop_of = end - (data[end - 1] == _RETURN)
        opening = self._lines.style.opening
        begins = start + len(opening)
        sound = (start >= FRONT) & (end - start <= self._longest) & (begins < stop_of)
        if opening:
            first = data[start]
            sound &= (first == opening[0]) | (first == ord("!"))
        if size := self._lines.checksum.size:
            stop_of = stop_of - (2 * size + 1)
            sound &= begins < stop_of
            some = np.flatnonzero(sound)
            sound[some] = self._checksums.are_right(text, begins[some], stop_of[some])
        return _Lines(start, end, begins, stop_of, marks, mark, of_ends - mark, sound)

    def _by_kind(self, data: Bytes, lines: _Lines) -> Iterator[tuple[_Kind, IntArray, IntArray]]:
        """The lines of each kind by their numbers, and where their values start."""
        if not self._lines.is_tagged:
            for kind in self._kinds:
                some = np.flatnonzero(lines.sound & (lines.separators == len(kind.fields) - 1))
                yield kind, some, lines.text[some]
            return
        for kind in self._kinds:
            some = np.flatnonzero(lines.sound & (lines.separators == len(kind.fields)))
            at = lines.text[some] + (len(kind.tag) + 1)
            mine = self._has_tag(data, lines, some, kind.tag, 0)
            if self._lines.style.talkers:
                talks = self._has_tag(data, lines, some, kind.tag, TALKER)
                at += TALKER * talks
                mine |= talks
            yield kind, some[mine], at[mine]

    def _has_tag(self, data: Bytes, lines: _Lines, some: IntArray, tag: bytes, skipped: int) -> Bools:
        """Which lines start with the tag, behind that many letters of a talker."""
        at = lines.text[some]
        same: Bools = lines.marks[lines.mark[some]] == at + (skipped + len(tag))
        for place in range(skipped):
            same &= (data[at + place] | 0x20) - np.uint8(ord("a")) < 26
        for place, letter in enumerate(tag, skipped):
            same &= data[at + place] == letter
        return same

    def _read(self, text: Text, lines: _Lines, kind: _Kind, mine: IntArray, begin: IntArray, bodies: Bytes) -> Bools:
        """Write the values of some lines into their bodies; which of them have the values of the packet."""
        good = np.ones(mine.size, dtype=np.bool_)
        mark = lines.mark[mine] + (1 if self._lines.is_tagged else 0)
        written = self._as_written(text, lines, kind, mine)
        for place, (item, slot) in enumerate(written):
            last = place == len(written) - 1
            end = lines.stop[mine] if last else lines.marks[mark + place]
            if self._lines.style.named:
                key = item.name.encode("ascii") + b"="
                good &= end - begin >= len(key)
                begin = np.minimum(begin, end - len(key))
                for number, letter in enumerate(key):
                    good &= text.bytes[begin + number] == letter
                begin = begin + len(key)
            self._put(text, item, slot, begin, end, bodies, good)
            begin = end + 1
        return good

    def _as_written(self, text: Text, lines: _Lines, kind: _Kind, mine: IntArray) -> list[tuple[Field, Slot]]:
        """The fields of a kind in the order that most of some lines have them in."""
        fields = list(zip(kind.fields, kind.slots, strict=True))
        if not self._lines.style.named:
            return fields
        by_key = {item.name.encode("ascii"): (item, slot) for item, slot in fields}
        orders: Counter[tuple[bytes, ...]] = Counter()
        for line in mine[:: max(mine.size // _SAMPLES, 1)].tolist():
            tokens = text.bytes[lines.text[line] : lines.stop[line]].tobytes().split(self._lines.separator)
            keys = [token.partition(b"=")[0] for token in tokens[-len(fields) :]]
            if set(keys) == by_key.keys():
                orders[tuple(keys)] += 1
        if not orders:
            return fields
        usual, _ = orders.most_common(1)[0]
        return [by_key[key] for key in usual]

    def _put(
        self, text: Text, item: Field, slot: Slot, begin: IntArray, end: IntArray, bodies: Bytes, good: Bools
    ) -> None:
        """Write one field; lines whose value is none of it are no longer good."""
        at, size = item.first_bit // 8, item.bits // 8
        order = "<" if self._order is ByteOrder.LITTLE else ">"
        if item.kind is WireKind.FLOAT:
            values, left = floats(text, begin, end)
            _column(bodies, f"{order}f{size}", at)[:] = values
        else:
            numbers, left = wholes(text, begin, end, item.bits, signed=item.kind is WireKind.SIGNED)
            if size in (1, 2, 4, 8):
                _column(bodies, f"{order}u{size}", at)[:] = numbers
            else:
                eight = numbers.astype("<u8").view(np.uint8).reshape(-1, 8)[:, :size]
                bodies[:, at : at + size] = eight if order == "<" else eight[:, ::-1]
        for line in left[good[left]].tolist():
            token = text.bytes[begin[line] : end[line]].tobytes()
            try:
                packed = slot.packed(token)
            except LineError:
                good[line] = False
            else:
                bodies[line, slot.place] = np.frombuffer(packed, dtype=np.uint8)


def _are_plain(tags: list[bytes], lines: TextLines) -> bool:
    """Whether each tag stands for one packet, with the letters of a talker in front or not, and for itself."""
    if len(set(tags)) < len(tags) or any(tag != tag.strip() or lines.separator in tag for tag in tags):
        return False
    return not (lines.style.talkers and any(tag[TALKER:] in tags for tag in tags))


def _column(bodies: Bytes, kind: str, at: int) -> NDArray[np.generic]:
    """The numbers that stand at one place of every body."""
    return np.ndarray(bodies.shape[0], dtype=kind, buffer=bodies, offset=at, strides=bodies.strides[:1])
