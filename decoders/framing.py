"""Framings by name: how a frame's contents (body and checksum) lie in the stream.

A framing turns contents into the bytes sent, cuts a stream into candidate frames in a buffer of bounded size, and
turns one candidate back into contents. Whether contents are a packet is left to `decoders.contents`.
"""

from collections.abc import Sequence
from typing import Protocol

from decoders import cobs, stuffing
from decoders.checksums import checksum, checksum_of
from decoders.contents import Contents
from decoders.cutting import Cutter
from decoders.delimited import Delimited
from decoders.envelope import enveloped, hexadecimal_lines_around
from decoders.errors import LayoutError
from decoders.layout import ByteOrder, Layout, LengthField, Sync
from decoders.synchronised import Synchronised
from decoders.text import DELIMITED_VALUES, KEY_VALUE, NMEA, TextLines
from decoders.trailing import trailed


class Framing(Protocol):
    """One way to put contents into a stream."""

    @property
    def name(self) -> str:
        """As layouts call it."""

    @property
    def head_size(self) -> int:
        """Bytes of the contents before checksum and body."""

    def prepare(self, contents: bytearray) -> None:
        """Write what the framing has to say into contents with room for it, before the checksum is computed."""

    def encode(self, contents: bytes) -> bytes:
        """The bytes to send, delimiters included."""

    def decode(self, frame: bytes) -> bytes:
        """The contents of one candidate as the cutter gave it; FrameError where the framing's rules are broken."""

    def decode_each(self, frames: Sequence[bytes]) -> list[bytes | None]:
        """The contents of many candidates, None for those that `decode` refuses."""

    def cutter(self, contents: Contents) -> Cutter:
        """A cutter for a stream of such contents."""


_STUFFED = {
    found.name: found
    for found in (
        Delimited("cobs", b"\0", cobs.encode, cobs.decode, cobs.longest, unstuff_each=cobs.decode_each),
        Delimited(
            "slip",
            stuffing.SLIP_END,
            stuffing.slip_encode,
            stuffing.slip_decode,
            stuffing.longest,
            opening=stuffing.SLIP_END,
        ),
        Delimited(
            "rfc 1662",
            stuffing.FLAG,
            stuffing.rfc1662_encode,
            stuffing.rfc1662_decode,
            stuffing.longest,
            opening=stuffing.FLAG,
        ),
        Delimited("hexadecimal lines", b"\n", stuffing.hex_encode, stuffing.hex_decode, stuffing.longest_hex),
    )
}

_LINES = {style.name: style for style in (DELIMITED_VALUES, KEY_VALUE, NMEA)}

BINARY = frozenset({"cobs", "slip", "rfc 1662", "sync", "fixed length", "ccsds"})
"""Framings of bytes, among which lines of text are no frames."""

TRAILED = ("cobs", "slip", "rfc 1662")
"""Framings behind whose delimiter a receiver's bytes may stand."""

# CCSDS space packets (133.0-B) behind the attached sync marker (131.0-B): the body starts with the primary header,
# whose bytes 4 and 5 hold the length of what follows it, less one
_CCSDS = Sync(bytes.fromhex("1ACFFC1D"), LengthField(16, at=4, adds=7, byte_order=ByteOrder.BIG))


def framing(layout: Layout) -> Framing:
    """The framing of a layout.

    Raises:
        LayoutError: There is none of that name, or it lacks its sync word.
    """
    if layout.envelope.line:
        return hexadecimal_lines_around(layout)
    if layout.envelope.behind:
        if layout.framing not in TRAILED or not 0 < layout.envelope.behind <= layout.envelope.after:
            expected = f"expected them among those after a packet, with framing {', '.join(sorted(TRAILED))}"
            raise LayoutError(
                f"found {layout.envelope.behind} bytes behind a delimiter, {expected}", where="receiver"
            )
        return trailed(_STUFFED[layout.framing], layout.envelope.behind)
    if layout.framing in _STUFFED:
        return _STUFFED[layout.framing]
    if layout.framing == "sync":
        if layout.sync is None or not layout.sync.word:
            raise LayoutError("found no sync word, expected one of at least a byte", where="framing")
        return Synchronised("sync", enveloped(layout.sync, layout.envelope))
    if layout.framing in _LINES:
        return TextLines(layout, _LINES[layout.framing], checksum_of(layout))
    if layout.framing == "fixed length":
        return Synchronised("fixed length", Sync(b""))
    if layout.framing == "ccsds":
        return Synchronised("ccsds", enveloped(_CCSDS, layout.envelope))
    raise LayoutError(f"found {layout.framing!r}, expected one of {', '.join(names())}", where="framing")


def names() -> list[str]:
    """The name of every framing."""
    return [*_STUFFED, *_LINES, "sync", "fixed length", "ccsds"]


def contents_of(layout: Layout, framed: Framing) -> Contents:
    """The contents of the layout's frames; those of lines come without checksum, which the framing has checked."""
    inner = checksum("none") if isinstance(framed, TextLines) else checksum_of(layout)
    return Contents(layout, inner, framed.head_size)
