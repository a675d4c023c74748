"""Lines of text among binary frames: receivers print their own status into the stream they pass on.

Such a line has no delimiter of the frames around it: it stands in front of the next frame as if it were part of it.
"""

_PRINTABLE = bytes([*range(0x20, 0x7F), 0x09, 0x0A, 0x0D, 0x1B])  # with the escape of coloured text (ECMA-48)
_FEWEST = 4  # bytes of a line that a damaged frame does not begin with by chance
_MOST_TRIED = 16  # ends of lines in front of one frame, the last ones: each costs an attempt to decode


LONGEST_LINE = 256  # bytes of a line, its end included


def first_line(held: bytes, longest: int) -> int:
    """Length of the line of text that these bytes begin with; 0 if none does, -1 if that is not to be seen yet.

    Args:
        held: Too many bytes for a frame.
        longest: Bytes of the longest frame; a line may be as long, too.
    """
    window = max(longest + 1, LONGEST_LINE)
    end = held.find(b"\n", 0, window) + 1
    if end:
        return 0 if held[:end].translate(None, _PRINTABLE) else end
    return -1 if len(held) < window and not held.translate(None, _PRINTABLE) else 0


def told(raw: bytes) -> str:
    """What to say of lines of text."""
    return f"found text, not a frame: {raw.decode('ascii').strip()[:80]!r}"


def is_printable(raw: bytes) -> bool:
    """Whether all of it could stand in a line of text."""
    return not raw.translate(None, _PRINTABLE)


def is_text(raw: bytes, length: int) -> bool:
    """Whether bytes of that length, of which `raw` are the first, are lines of printable ASCII as far as is known."""
    return (b"\n" in raw or length > len(raw)) and is_printable(raw)


def text_in_front(frame: bytes) -> int:
    """Bytes of the lines of text that a damaged frame begins with, something else behind them; 0 if it does not."""
    end = next(iter(ends_of_lines(frame)), 0)
    return end if _FEWEST <= end < len(frame) else 0


def ends_of_lines(frame: bytes) -> list[int]:
    """Where a frame may begin behind lines of text, the last place first; a frame's bytes may look like text too."""
    printable = len(frame) - len(frame.lstrip(_PRINTABLE))
    places: list[int] = []
    at = frame.rfind(b"\n", 0, printable)
    while at >= 0 and len(places) < _MOST_TRIED:
        places.append(at + 1)
        at = frame.rfind(b"\n", 0, at)
    return places
