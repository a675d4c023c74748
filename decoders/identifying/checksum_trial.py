"""Which checksum stands at the end of these frames: found by trying the published catalogue, sums and Fletcher's.

A checksum of 16 bits is right by chance once in 65,536 frames, one of 8 bits once in 256. Frames that repeat count
once, and a checksum that never changes proves nothing.

Tried are those of `decoders.checksums` up to 32 bits, and three that firmware computes as well: the sum of the bytes
negated or inverted (common practice, no source), and Fletcher's sums modulo 256 (RFC 1145).
"""

from collections.abc import Callable, Iterable, Sequence
from functools import cache

import numpy as np

from decoders.checksums import checksum, names
from decoders.identifying.evidence import ChecksumFound
from decoders.layout import ByteOrder

Of = Callable[[bytes], int]
FIRST_LOOK = 12  # frames for a first look at every checksum
FULL_COUNT = 400  # frames for the count that is stated
_GLANCE = 5  # of them, one of which must be right
_FIRST_HITS = 4
_CLEAR_SHARE = 0.95  # of 16 bits or more: nothing else could be as good
_WIDEST = 4  # bytes


def find_checksum(
    contents: Sequence[bytes], *, starts: Iterable[int] = (0,), trailing: Iterable[int] = (0,)
) -> ChecksumFound | None:
    """The checksum that is right in most of these frames.

    Args:
        contents: Frames, the checksum among their last bytes.
        starts: Places the sum may begin at, in order of preference.
        trailing: Numbers of bytes that may follow the checksum, in order of preference.
    Returns:
        The one with the most hits; of those with as many the widest, then the one preferred. None where no checksum
        is right in a third of a first sample, or where it never changes.
    """
    frames = list(dict.fromkeys(contents))
    if len(frames) < _FIRST_HITS:
        return None
    look, full = _spread(frames, FIRST_LOOK), _spread(frames, FULL_COUNT)
    best: ChecksumFound | None = None
    for after in trailing:
        for start in starts:
            for name, size, of in _candidates():
                for order in ByteOrder if size > 1 else (ByteOrder.BIG,):
                    if not _right(look[:_GLANCE], of, size, order, start, after):
                        continue
                    if len(_right(look, of, size, order, start, after)) < _FIRST_HITS:
                        continue
                    values = _right(full, of, size, order, start, after)
                    if len(set(values)) < _FIRST_HITS:
                        continue
                    found = ChecksumFound(name, size, order, start, after, len(values), len(full))
                    if best is None or (found.hits, found.size) > (best.hits, best.size):
                        best = found
                    if best.size > 1 and best.hits >= _CLEAR_SHARE * best.of:
                        return best
    return best


def checks(frame: bytes, found: ChecksumFound) -> bool:
    """Whether a frame's checksum is right; True for a sum whose name is not known."""
    if not found.named:
        return True
    of = found.own.of if found.own is not None else next(of for name, _, of in _candidates() if name == found.name)
    return bool(_right([frame], of, found.size, found.order, found.start, found.trailing))


def _right(frames: Sequence[bytes], of: Of, size: int, order: ByteOrder, start: int, after: int) -> list[bytes]:
    """The checksums, as they stand in the frames, that are right."""
    right = []
    for frame in frames:
        end = len(frame) - after - size
        if end <= start:
            continue
        stated = frame[end : end + size]
        if of(frame[start:end]) == int.from_bytes(stated, order.value):
            right.append(stated)
    return right


def _spread(frames: list[bytes], count: int) -> list[bytes]:
    """At most that many frames, from everywhere; not the first, which is often torn."""
    frames = frames[1:] if len(frames) > count else frames
    return [frames[place] for place in np.linspace(0, len(frames) - 1, min(count, len(frames))).astype(int)]


@cache
def _candidates() -> tuple[tuple[str, int, Of], ...]:
    named = [checksum(name) for name in names()]
    return (*((c.name, c.size, c.of) for c in named if 0 < c.size <= _WIDEST), *_UNNAMED)


def _fletcher_modulo_256(data: bytes) -> int:
    numbers = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    first = int(numbers.sum()) & 0xFF
    second = int((numbers * np.arange(numbers.size, 0, -1)).sum()) & 0xFF
    return second << 8 | first


_UNNAMED: tuple[tuple[str, int, Of], ...] = (
    ("sum-8, negated", 1, lambda data: -sum(data) & 0xFF),
    ("sum-8, inverted", 1, lambda data: ~sum(data) & 0xFF),
    ("Fletcher-16, modulo 256", 2, _fletcher_modulo_256),
)
