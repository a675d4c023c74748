"""Whole recordings of frames behind whose delimiter a receiver puts bytes of its own, fast.

The readable way (`decoders.trailing`) defines what comes out. Here the true delimiters of a block are found first,
then tiles take the frames as if nothing stood behind them (`decoders.tiles`), and the receiver's bytes are read from
where each frame ended.

A delimiter that is more than the receiver's bytes away from the one before it is true, whatever that one is. Only
where they are closer, or where lines of text or a run that is too long may end, one follows from the other in turn.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from decoders.columns import ColumnReader
from decoders.contents import Contents
from decoders.enveloped import is_in_one_run, readers_of
from decoders.layout import Envelope, Layout, Packet
from decoders.tile_frames import RFC_1662, SLIP, Bytes, Frames, places_of, unescaped
from decoders.tiles import Harvest, Harvested, TileDecoder, left_over
from decoders.trailing import Tails, Trailed

IntArray = NDArray[np.int64]

_LINE_FEED = 0x0A
_HARMLESS = 0x20  # neither a delimiter nor an escape of any framing


@dataclass(frozen=True, slots=True)
class _Cut:
    """The pieces of a block: (n,) where each starts, its delimiter, and where the next starts."""

    start: IntArray
    delimiter: IntArray
    following: IntArray


class TrailedTiles:
    """Decodes blocks of frames with bytes behind their delimiters; keeps only its working memory between them."""

    PADDING = TileDecoder.PADDING

    def __init__(self, layout: Layout, framing: Trailed, contents: Contents) -> None:
        self._delimiter = framing.delimiter[0]
        self._behind = framing.behind
        self._tails = Tails(framing, contents)
        self._escapes = {"slip": SLIP, "rfc 1662": RFC_1662}.get(layout.framing)
        inner = _inner(layout)
        inner_contents = Contents(inner, contents.checksum)
        self._tiles = TileDecoder(inner, inner_contents, readers_of(inner, inner_contents, 0), None)
        split = 8 * (layout.envelope.before + layout.envelope.after - self._behind)
        mine = tuple(
            replace(f, first_bit=f.first_bit - split) for f in layout.envelope.fields if f.first_bit >= split
        )
        self._reader = ColumnReader(
            Packet("receiver", 0, self._behind, mine), layout.byte_order, row_length=self._behind
        )

    @staticmethod
    def takes(layout: Layout) -> bool:
        """Whether this is the way for a layout: no number begins before the delimiter and ends behind it."""
        envelope = layout.envelope
        split = envelope.before + envelope.after - envelope.behind
        return is_in_one_run(envelope) and is_in_one_run(replace(envelope, before=split))

    def decode(self, block: bytes, size: int) -> Harvested:
        """The packets in a block that starts with the start of a frame; as `decoders.tiles.TileDecoder.decode`."""
        data = np.frombuffer(block, dtype=np.uint8)
        cut = self._cut(block, data, size)
        frames = self._frames(block, data, cut)
        done, inner = self._tiles.harvest(frames)
        done |= cut.start == cut.delimiter
        harvests = tuple(self._with_tails(data, harvest) for harvest in inner)
        return Harvested(harvests, tuple(left_over(cut.start, cut.following, done, size)))

    def _cut(self, block: bytes, data: Bytes, size: int) -> _Cut:
        """The whole pieces of a block."""
        found = places_of(self._delimiter, data[:size])
        following = found + (1 + self._behind)
        is_true = np.ones(found.shape, dtype=np.bool_)
        longest = self._tails.longest
        gap = np.diff(found, prepend=-1 - self._behind)
        after_text = data[found - 1] == _LINE_FEED
        doubtful = (gap <= self._behind + 1) | (gap > longest + self._behind + 1) | after_text
        doubtful[1:] |= doubtful[:-1] & (gap[1:] > longest)  # nothing of the receiver's may stand in front
        behind_certain = np.zeros_like(doubtful)
        behind_certain[1:] = ~doubtful[:-1]
        inside = np.flatnonzero(behind_certain & (gap <= self._behind))
        is_true[inside], following[inside] = False, following[inside - 1]
        empty = behind_certain & (gap == self._behind + 1)
        following[empty] = found[empty] + 1
        doubtful[inside] = doubtful[empty] = False
        for k in np.flatnonzero(doubtful).tolist():
            at, start = int(found[k]), int(following[k - 1]) if k else 0
            is_odd = after_text[k] or at - start > longest
            if at < start:
                is_true[k], following[k] = False, start
            elif at == start or (is_odd and not self._tails.follows(block[start:at])):
                following[k] = at + 1
        true = np.flatnonzero(is_true & (following <= size))
        ends = following[true]
        starts = np.zeros_like(ends)
        starts[1:] = ends[:-1]
        return _Cut(starts, found[true], ends)

    def _frames(self, block: bytes, data: Bytes, cut: _Cut) -> Frames:
        """The pieces without the receiver's bytes, as candidates for tiles."""
        length, plain = cut.delimiter - cut.start, cut.following > cut.delimiter + 1
        if self._escapes is None:
            return Frames(data, cut.start, length, cut.start, cut.following, plain)
        masked = data.copy()
        for place in range(1, self._behind + 1):
            masked[cut.delimiter[plain] + place] = _HARMLESS
        end = int(cut.following[-1]) if cut.following.size else 0
        found = unescaped(masked.tobytes(), end, self._escapes)
        front = cut.start - found.start  # of each piece, the receiver's bytes that belong to the one before
        return Frames(
            found.bytes, found.at + front, found.length - front, cut.start, cut.following, plain & found.plain
        )

    def _with_tails(self, data: Bytes, harvest: Harvest) -> Harvest:
        """The packets with the columns of what stands behind them."""
        rows = data[(harvest.end - self._behind)[:, None] + np.arange(self._behind)]
        return replace(harvest, columns=harvest.columns | self._reader.read(rows.tobytes()))


def _inner(layout: Layout) -> Layout:
    """The layout of the frames alone, without what stands behind their delimiters."""
    envelope = layout.envelope
    after = envelope.after - envelope.behind
    split = 8 * (envelope.before + after)
    fields = tuple(item for item in envelope.fields if item.first_bit < split)
    return replace(layout, envelope=Envelope(envelope.before, after, fields))
