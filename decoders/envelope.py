"""What a receiver puts around each packet that it heard: signal strength and the like, as bytes or as text.

It belongs to the packet it came with, so it is read into columns of that packet's table.
"""

import re
import struct
from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from decoders import stuffing
from decoders.columns import Column, ColumnReader
from decoders.contents import Contents
from decoders.delimited import Delimited
from decoders.errors import FrameError, LayoutError
from decoders.layout import Envelope, Layout, Packet, Sync, WireKind

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_MARK = re.compile(r"\{([A-Za-z0-9_-]*)\}")
_LONGEST_NUMBER = 24  # characters
LONGEST_OTHER = 40  # characters of what stands for {}


class EnvelopeReader:
    """Reads the columns of what a receiver has put around packets; rows are whole contents of one length."""

    def __init__(self, layout: Layout, contents: Contents) -> None:
        envelope = layout.envelope
        self._before, self._after = contents.envelope
        packet = Packet("receiver", 0, envelope.before + envelope.after, envelope.fields)
        self.columns = ColumnReader(packet, layout.byte_order, row_length=packet.length)
        for other in layout.packets:
            if both := sorted(set(packet.columns) & set(other.columns)):
                raise LayoutError("found the name in the receiver's envelope too", where=f"{other.name}.{both[0]}")

    def read(self, rows: bytes, length: int) -> dict[str, Column]:
        """The columns, from rows of that length that lie one after the other."""
        whole = np.frombuffer(rows, dtype=np.uint8).reshape(-1, length)
        around = np.concatenate([whole[:, self._before], whole[:, length - self._after :]], axis=1)
        return self.columns.read(around.tobytes())

    def place(self, at: int, length: int) -> int:
        """Where byte `at` of the run of the receiver's bytes stands in rows of that length."""
        before = self._before.stop - self._before.start
        return self._before.start + at if at < before else length - self._after + at - before


def put_around(contents: bytearray, layout: Layout, places: Contents, run: bytes) -> None:
    """Write a receiver's bytes into contents that have room for them."""
    where, after = places.envelope
    contents[where] = run[: layout.envelope.before]
    if after:
        contents[-after:] = run[layout.envelope.before :]


def enveloped(sync: Sync, envelope: Envelope) -> Sync:
    """The framing's own description with the receiver's bytes, which no stated length counts."""
    if sync.length is None:
        return sync
    return replace(sync, length=replace(sync.length, adds=sync.length.adds + envelope.before + envelope.after))


def hexadecimal_lines_around(layout: Layout) -> Delimited:
    """The framing of lines that hold a packet in hexadecimal digits among the receiver's own words and numbers.

    Raises:
        LayoutError: The line does not name the packet and each field once, or a field is no 64-bit float.
    """
    envelope = layout.envelope
    names = [item.name for item in envelope.fields]
    marks = line_marks(envelope.line)
    named = [mark for mark in marks if mark]
    if sorted(named) != sorted([*names, "packet"]):
        expected = ", ".join(f"{{{name}}}" for name in ("packet", *names))
        raise LayoutError(f"found {envelope.line!r}, expected each of {expected} in it once", where="receiver")
    floats = all(item.kind is WireKind.FLOAT and item.bits == 64 for item in envelope.fields)
    if layout.framing != "hexadecimal lines" or not floats or envelope.before or envelope.after != 8 * len(names):
        raise LayoutError("found other fields, expected 64-bit floats in hexadecimal lines", where="receiver")
    order: Literal["<", ">"] = "<" if layout.byte_order.value == "little" else ">"
    code = f"{order}{len(names)}d"
    pattern = line_pattern(envelope.line, names)

    def decode(frame: bytes) -> bytes:
        found = pattern.fullmatch(frame.rstrip(b"\r"))
        if found is None:
            raise FrameError(f"found {frame[:60]!r}, expected a line such as {envelope.line!r}", offset=0)
        return stuffing.hex_decode(found["packet"]) + struct.pack(
            code, *(float(found[f"v{k}"]) for k in range(len(names)))
        )

    def encode(contents: bytes) -> bytes:
        at = len(contents) - envelope.after
        numbers = dict(zip(names, struct.unpack(code, contents[at:]), strict=True))
        return written_line(envelope.line, numbers, stuffing.hex_encode(contents[:at])) + b"\r"

    longest_text = longest_line(envelope.line, len(names)) + 1
    return Delimited(
        layout.framing, b"\n", encode, decode, lambda contents: stuffing.longest_hex(contents) + longest_text
    )


def line_marks(line: str) -> list[str]:
    """The names in braces of a line, in their order; empty for what stands for anything."""
    return _MARK.findall(line)


def line_texts(line: str) -> list[str]:
    """What stands in front of, between and behind the braces of a line."""
    return _MARK.split(line)[::2]


def written_line(line: str, numbers: Mapping[str, float], packet: bytes = b"") -> bytes:
    """The line with these numbers and a packet's digits in their places."""
    told = {name: f"{number:g}" for name, number in numbers.items()}
    told |= {"packet": packet.decode("ascii"), "": "0"}
    return _MARK.sub(lambda mark: told[mark[1]], line).encode("ascii")


def longest_line(line: str, numbers: int) -> int:
    """Characters of the longest line of that form, without a packet's digits and the line's end."""
    return len(line) + _LONGEST_NUMBER * numbers + LONGEST_OTHER * line_marks(line).count("")


def line_pattern(line: str, names: list[str]) -> re.Pattern[bytes]:
    """What a line must be; the group `v0` and so on for each of the names."""
    text, at = "", 0
    for mark in _MARK.finditer(line):
        text += re.escape(line[at : mark.start()])
        at = mark.end()
        if mark[1] == "packet":
            text += "(?P<packet>[0-9A-Fa-f ]*)"
        elif mark[1]:
            text += f"(?P<v{names.index(mark[1])}>{_NUMBER})"
        else:
            text += rf"[^\s,]{{0,{LONGEST_OTHER}}}"
    return re.compile((text + re.escape(line[at:])).encode("ascii"))
