"""A block of lines in pieces of whole lines, each small enough for the processor's cache."""

from collections.abc import Iterator


def pieces(block: bytes, size: int, most: int) -> Iterator[tuple[int, int]]:
    """The places of some lines at a time, of about `most` bytes; what may be unfinished comes last."""
    begin = 0
    while size - begin > most:
        end = block.rfind(b"\n", begin, begin + most) + 1 or block.find(b"\n", begin, size) + 1
        if not end:
            break
        yield begin, end
        begin = end
    yield begin, size
