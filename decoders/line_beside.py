"""The line of text that a receiver prints in front of each binary packet that it heard, or behind it.

Such a line stands among the frames as any other text does, so the frames are found without it; here it is recognised
next to a frame, as the layout says it is written, and written. Line ends between line and frame belong to the line.
"""

import re
import struct
from collections.abc import Sequence
from dataclasses import replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from decoders.columns import Column, ColumnReader
from decoders.delimited import Delimited
from decoders.envelope import line_marks, line_pattern, longest_line, written_line
from decoders.errors import LayoutError
from decoders.framing import BINARY, framing
from decoders.layout import Envelope, Layout, Packet, WireKind

Numbers = tuple[float, ...]

_ENDS = 4  # carriage returns and line feeds that may stand between line and frame
_LAST_PRINTABLE = re.compile(rb"[\x20-\x7e\t]*\Z")
_PRINTABLE = bytes([*range(0x20, 0x7F), 0x09, 0x0A, 0x0D])


class Sight(Enum):
    """What there is to say of a place where a line should be, besides that one is there."""

    NO_LINE = "no line is there"
    NOT_YET = "the next bytes may make it one"


def is_beside(layout: Layout) -> bool:
    """Whether the receiver prints a line of text by itself beside each binary packet."""
    return bool(layout.envelope.line) and layout.framing in BINARY


def without_line(layout: Layout) -> Layout:
    """The layout of the frames alone: without a line that stands beside them, if there is one."""
    return replace(layout, envelope=Envelope()) if is_beside(layout) else layout


class LineBeside:
    """Recognises and writes the line of one layout.

    Raises:
        LayoutError: The line does not name each number once and nothing else, or a number is no 64-bit float.
    """

    def __init__(self, layout: Layout) -> None:
        envelope = layout.envelope
        names = [item.name for item in envelope.fields]
        marks = [mark for mark in line_marks(envelope.line) if mark]
        if sorted(marks) != sorted(names) or not names:
            expected = ", ".join(f"{{{name}}}" for name in names)
            raise LayoutError(f"found {envelope.line!r}, expected each of {expected} in it once", where="receiver")
        floats = all(item.kind is WireKind.FLOAT and item.bits == 64 for item in envelope.fields)
        if not floats or sorted((envelope.before, envelope.after)) != [0, 8 * len(names)] or envelope.behind:
            text = "found other fields, expected 64-bit floats, all of them before the packet or all of them after it"
            raise LayoutError(text, where="receiver")
        for packet in layout.packets:
            if both := sorted(set(packet.columns) & set(names)):
                raise LayoutError("found the name in the receiver's line too", where=f"{packet.name}.{both[0]}")
        self.count = len(names)
        self.is_in_front = envelope.before > 0
        framed = framing(without_line(layout))
        self.delimiter = framed.delimiter if isinstance(framed, Delimited) else b""
        self._line = envelope.line
        self._names = names
        self._pattern = line_pattern(envelope.line, names)
        self._behind = re.compile(rb"[\r\n]{0,%d}" % _ENDS + self._pattern.pattern + rb"\r?\n")
        self._head = envelope.line.partition("{")[0].encode("ascii")
        self._order = "<" if layout.byte_order.value == "little" else ">"
        self.longest = longest_line(envelope.line, len(names)) + 2 * _ENDS
        packet = Packet("receiver", 0, 8 * len(names), envelope.fields)
        self._reader = ColumnReader(packet, layout.byte_order, row_length=packet.length)

    @classmethod
    def of(cls, layout: Layout) -> "LineBeside | None":
        """The line of a layout; None where the receiver prints none beside its frames."""
        return cls(layout) if is_beside(layout) else None

    def columns(self, numbers: NDArray[np.float64]) -> dict[str, Column]:
        """The columns of (n, fields) numbers as they stood in lines, NaN where there was none."""
        return self._reader.read(numbers.astype(f"{self._order}f8").tobytes())

    def put_beside(self, frame: bytes, run: bytes) -> bytes:
        """A frame and its line; the numbers are packed as fields of the envelope."""
        numbers = struct.unpack(f"{self._order}{len(self._names)}d", run)
        line = written_line(self._line, dict(zip(self._names, numbers, strict=True))) + b"\r\n"
        return line + frame if self.is_in_front else frame + line

    def in_front(self, text: bytes, edges: Sequence[int]) -> tuple[int, Numbers] | None:
        """Where in some bytes a line begins that ends with them, and its numbers.

        It has to begin where a line can begin: behind a line end, a delimiter or what is no text, or at one of the
        `edges` of what is no packet. Where it begins with something else than a number, text may stand before it.
        """
        text = text.rstrip(self.delimiter)  # which may open a frame too
        body = text.rstrip(b"\r\n")
        if b"\n" not in text[len(body) :] or len(text) - len(body) > _ENDS:
            return None
        last = _LAST_PRINTABLE.search(body)
        first = last.start() if last else len(body)
        places = [first, *(edge for edge in edges if edge > first)]
        if self.delimiter:
            places.append(body.rfind(self.delimiter, first) + 1)
        if self._head:
            places.append(body.rfind(self._head, first))
        for place in places:
            found = self._pattern.fullmatch(body, place) if place >= first else None
            if found is not None:
                return place, self._numbers(found)
        return None

    def behind(self, text: bytes) -> tuple[int, Numbers] | Sight:
        """Where in some bytes a line ends that begins with them, and its numbers."""
        found = self._behind.match(text)
        if found is not None:
            return found.end(), self._numbers(found)
        begun = text.lstrip(b"\r\n")
        is_other = (
            len(text) - len(begun) > _ENDS
            or len(text) >= self.longest
            or b"\n" in begun
            or begun.translate(None, _PRINTABLE)
            or begun[: len(self._head)] != self._head[: len(begun)]
        )
        return Sight.NO_LINE if is_other else Sight.NOT_YET

    def _numbers(self, found: re.Match[bytes]) -> Numbers:
        return tuple(float(found[f"v{k}"]) for k in range(len(self._names)))
