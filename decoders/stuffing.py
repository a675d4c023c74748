"""Byte stuffing by escapes: SLIP (RFC 1055) and PPP's in HDLC-like framing (RFC 1662, section 4.2); hexadecimal.

One frame in, one out, delimiters not included. RFC 1055 leaves open what follows a broken escape; here the frame is
refused. RFC 1662 senders may escape more than they must (control characters); here only flag and escape are, and
whatever is escaped is taken back.
"""

from decoders.errors import FrameError

SLIP_END = b"\xc0"
_SLIP_ESC = b"\xdb"
_SLIP_ESCAPED_END = b"\xdb\xdc"
_SLIP_ESCAPED_ESC = b"\xdb\xdd"

FLAG = b"\x7e"
_ESCAPE = b"\x7d"
_TURNED = 0x20  # the bit that an escape turns over


def longest(contents: int) -> int:
    """Length of the longest stuffing of that many bytes: every one escaped."""
    return 2 * contents


def longest_hex(contents: int) -> int:
    """Length of the longest line for that many bytes: two digits and a blank each, and a carriage return."""
    return 3 * contents + 1


def slip_encode(contents: bytes) -> bytes:
    """The contents without END, every END and ESC in them escaped."""
    return contents.replace(_SLIP_ESC, _SLIP_ESCAPED_ESC).replace(SLIP_END, _SLIP_ESCAPED_END)


def slip_decode(frame: bytes) -> bytes:
    """The contents of one frame.

    Raises:
        FrameError: An END inside, or an ESC that is not followed by the code of END or ESC.
    """
    place = frame.find(SLIP_END)
    if place >= 0:
        raise FrameError(f"found an END at byte {place}, expected none inside a frame", offset=place)
    if frame.count(_SLIP_ESC) != frame.count(_SLIP_ESCAPED_END) + frame.count(_SLIP_ESCAPED_ESC):
        place = _broken_slip_escape(frame)
        found = frame[place + 1 : place + 2].hex() or "nothing"
        raise FrameError(f"found {found} after the ESC at byte {place}, expected dc or dd", offset=place)
    # an ESC is never the second byte of an escape, so the order is safe: END first, whose code needs a true ESC
    return frame.replace(_SLIP_ESCAPED_END, SLIP_END).replace(_SLIP_ESCAPED_ESC, _SLIP_ESC)


def _broken_slip_escape(frame: bytes) -> int:
    place = frame.find(_SLIP_ESC)
    while frame[place : place + 2] in (_SLIP_ESCAPED_END, _SLIP_ESCAPED_ESC):
        place = frame.find(_SLIP_ESC, place + 2)
    return place


def rfc1662_encode(contents: bytes) -> bytes:
    """The contents without the flag, every flag and escape in them escaped."""
    return contents.replace(_ESCAPE, b"\x7d\x5d").replace(FLAG, b"\x7d\x5e")


def rfc1662_decode(frame: bytes) -> bytes:
    """The contents of one frame.

    Raises:
        FrameError: A flag inside, or an escape at the end, by which a sender gives a frame up.
    """
    place = frame.find(FLAG)
    if place >= 0:
        raise FrameError(f"found a flag at byte {place}, expected none inside a frame", offset=place)
    place = frame.find(_ESCAPE)
    if place < 0:
        return frame
    contents = bytearray()
    start = 0
    while place >= 0:
        if place + 1 == len(frame):
            raise FrameError(
                f"found an escape at byte {place}, the frame's end: given up by its sender", offset=place
            )
        contents += frame[start:place]
        contents.append(frame[place + 1] ^ _TURNED)
        start = place + 2
        place = frame.find(_ESCAPE, start)
    contents += frame[start:]
    return bytes(contents)


def hex_encode(contents: bytes) -> bytes:
    """The contents as hexadecimal digits, for a line of text."""
    return contents.hex().upper().encode("ascii")


def hex_decode(line: bytes) -> bytes:
    """The contents of one line of hexadecimal digits; blanks, and a carriage return at its end, may be among them.

    Raises:
        FrameError: Anything else in the line, or an odd number of digits.
    """
    digits = line.translate(None, b" \t\r")
    for place, byte in enumerate(line):
        if byte not in b"0123456789abcdefABCDEF \t\r":
            raise FrameError(f"found byte {byte:#04x} at {place}, expected a hexadecimal digit", offset=place)
    if len(digits) % 2:
        raise FrameError(f"found {len(digits)} hexadecimal digits, expected an even number", offset=len(line))
    return bytes.fromhex(digits.decode("ascii"))
