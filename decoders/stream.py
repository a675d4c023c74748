"""Bytes of one link in, packets in columns out: the one door to this package.

`StreamDecoder(layout).feed(data)` may be given bytes cut anywhere; what it returns over all calls is the same. Places
are byte offsets in the whole stream. There is no time here: whoever feeds it knows when which byte came.
"""

from collections.abc import Iterator, Sequence
from operator import itemgetter

import numpy as np

from decoders.contents import NO_PACKET, Verdict
from decoders.cutting import Cut, Stretch
from decoders.decoded import Decoded, PacketTable, merged
from decoders.delimited import Delimited, DelimitedCutter
from decoders.enveloped import readers_of
from decoders.errors import FrameError, LineError
from decoders.framing import BINARY, contents_of, framing
from decoders.joining import LineJoiner
from decoders.layout import Layout, Reason, Reject
from decoders.line_beside import LineBeside, without_line
from decoders.room import BlockMemory, Room
from decoders.status_lines import LONGEST_LINE, ends_of_lines, is_text, text_in_front, told
from decoders.synchronised import HuntingCutter, Synchronised
from decoders.text import TextLines
from decoders.text_status import status_test
from decoders.text_tiles import LineTiles
from decoders.tiles import LEAST_BLOCK, Harvest, TileDecoder
from decoders.trailing import Trailed, TrailedCutter
from decoders.trailing_tiles import TrailedTiles

__all__ = ["Decoded", "PacketTable", "StreamDecoder"]


class StreamDecoder:
    """Decodes one link's stream, remembering an unfinished frame between calls (bounded by the longest legal one).

    Args:
        layout: Says how the bytes are to be read.
        rooms: One for each packet of the layout: the columns of a call may be written there, and what is not added
            to its room before the next call is then lost. See `decoders.recording`.
    Raises:
        LayoutError: On construction: the layout names no known framing or checksum, or a field cannot be read.
    """

    def __init__(self, layout: Layout, rooms: Sequence[Room] = ()) -> None:
        line = LineBeside.of(layout)
        layout = without_line(layout)
        self._layout = layout
        self._framing = framing(layout)
        self._contents = contents_of(layout, self._framing)
        self._cutter = self._framing.cutter(self._contents)
        self._is_binary = layout.framing in BINARY
        self._is_status = status_test(layout, self._framing, self._contents)
        self._readers = readers_of(layout, self._contents, self._framing.head_size)
        sync = self._framing.sync if isinstance(self._framing, Synchronised) else None
        self._tiles: TileDecoder | TrailedTiles | LineTiles | None = None
        if TileDecoder.takes(layout):
            held_back = line is not None  # packets whose line is yet to come: past the next call
            self._tiles = TileDecoder(layout, self._contents, self._readers, sync, () if held_back else rooms)
        elif isinstance(self._framing, Trailed) and TrailedTiles.takes(layout):
            self._tiles = TrailedTiles(layout, self._framing, self._contents)
        elif isinstance(self._framing, TextLines) and LineTiles.takes(layout, self._framing):
            self._tiles = LineTiles(layout, self._framing, self._readers)
        self._memory = BlockMemory()
        self._joiner: LineJoiner | None = None
        if line is not None:
            longest = self._contents.longest
            if isinstance(self._framing, Delimited):
                longest = self._framing.longest(longest)
            self._joiner = LineJoiner(line, layout.packets, held_back=max(longest, LONGEST_LINE) + 2)
        self._opened_at = 0  # a frame that starts right here may be torn

    def feed(self, data: bytes) -> Decoded:
        """Take in the next bytes; never raises on their account."""
        decoded = self._fed(data)
        return decoded if self._joiner is None else self._joiner.taken(data, decoded)

    def finish(self) -> Decoded:
        """The stream has ended: what is left of an unfinished frame is a reject."""
        decoded = self._decoded(self._cutter.end(), ())
        return decoded if self._joiner is None else self._joiner.ended(decoded)

    def restart(self) -> Decoded:
        """The link broke and came back: an unfinished frame is a reject, and the next may be torn at its start."""
        decoded = self.finish()
        self._opened_at = self._cutter.offset
        return decoded

    def _fed(self, data: bytes) -> Decoded:
        """What came of the next bytes, without the receiver's lines of text beside packets."""
        if self._tiles is not None and len(data) >= LEAST_BLOCK:
            if isinstance(self._cutter, DelimitedCutter | TrailedCutter):
                return self._feed_block(self._tiles, self._cutter, data)
            if isinstance(self._cutter, HuntingCutter) and isinstance(self._tiles, TileDecoder):
                return self._feed_hunted(self._tiles, self._cutter, data)
        return self._decoded(self._cutter.take(data), ())

    def _feed_block(
        self, tiles: TileDecoder | TrailedTiles | LineTiles, cutter: DelimitedCutter | TrailedCutter, data: bytes
    ) -> Decoded:
        """The fast way for many bytes: tiles first, and what they leave over as any other bytes."""
        cut = Cut()
        data = cutter.align(cut, data)
        # one copy, so that the frame which the last block broke off comes into the same table as all others
        parts = (cutter.reclaim(), data, tiles.PADDING)
        is_plain = self._is_binary and isinstance(tiles, TileDecoder)
        block = self._memory.joined(parts) if is_plain else b"".join(parts)
        size = len(block) - len(tiles.PADDING)
        harvested = tiles.decode(block, size)
        base = at = cutter.offset
        for start, end in harvested.rest:
            cutter.pass_over(base + start - at)
            cutter.take_into(cut, bytes(block[start:end]))
            at = base + end
        cutter.pass_over(base + size - at)
        return self._decoded(cut, [self._table(h, base) for h in harvested.harvests])

    def _feed_hunted(self, tiles: TileDecoder, cutter: HuntingCutter, data: bytes) -> Decoded:
        """The fast way for frames without a delimiter: what is sound at once, then what lies between as ever."""
        base = cutter.offset
        held = cutter.reclaim()
        base -= len(held)
        block = b"".join((held, data))
        frames = tiles.find(block + tiles.PADDING, len(block))
        done, harvests = tiles.harvest(frames)
        cut = Cut()
        starts = frames.start[done]
        taken = cutter.take_among(cut, block, starts, frames.end[done])
        if not taken.all():
            harvests = [h.only(np.isin(h.start, starts[taken], assume_unique=True)) for h in harvests]
        return self._decoded(cut, [self._table(h, base) for h in harvests if h.start.size])

    def _table(self, harvest: Harvest, base: int) -> PacketTable:
        """A harvest as a table; places count from the stream's start."""
        packet = self._layout.packets[harvest.kind]
        return PacketTable(packet, harvest.start + base, harvest.end + base, harvest.columns)

    def _decoded(self, cut: Cut, harvests: Sequence[PacketTable]) -> Decoded:
        contents = self._framing.decode_each(cut.frames)
        kinds = self._contents.kinds_of(contents)
        rejects = [self._lost(stretch) for stretch in cut.stretches]
        if self._is_binary and NO_PACKET in kinds:
            rejects += self._without_text(cut, contents, kinds)
        tables: list[PacketTable] = []
        by_kind: dict[int, list[int]] = {}
        for place, kind in enumerate(kinds):
            if kind in by_kind:
                by_kind[kind].append(place)
            else:
                by_kind[kind] = [place]
        for kind, mine in sorted(by_kind.items()):
            if kind == NO_PACKET:
                rejects.extend(self._reject(cut, place, contents[place]) for place in mine)
            else:
                tables.extend(self._tables(cut, kind, mine, contents))
        if len(rejects) > 1:
            rejects.sort(key=lambda reject: reject.start)
        if harvests or len(tables) > len({table.packet.id for table in tables}):
            tables = merged(self._layout.packets, [*harvests, *tables])
        return Decoded(tuple(tables), tuple(rejects))

    def _tables(
        self, cut: Cut, kind: int, mine: list[int], contents: Sequence[bytes | None]
    ) -> Iterator[PacketTable]:
        """The candidates that are packets of one kind, a table for each length that they have."""
        readers = self._readers[kind]
        for length, reader in readers.items():
            some = mine if len(readers) == 1 else [place for place in mine if len(contents[place] or b"") == length]
            if some:
                chosen = itemgetter(*some) if len(some) > 1 else itemgetter(slice(some[0], some[0] + 1))
                yield PacketTable(
                    packet=self._layout.packets[kind],
                    start=np.array(chosen(cut.starts), dtype=np.int64),
                    end=np.array(chosen(cut.ends), dtype=np.int64),
                    columns=reader.read(b"".join(chosen(contents))),
                )

    def _without_text(self, cut: Cut, contents: list[bytes | None], kinds: list[int]) -> Iterator[Reject]:
        """Put candidates that are packets behind lines of text in their place; the lines are rejects.

        Where what is behind the lines is damaged, they are told apart from that, too.
        """
        for place, frame in enumerate(cut.frames):
            if kinds[place] != NO_PACKET or b"\n" not in frame:
                continue
            for at in ends_of_lines(frame):
                behind = self._framing.decode_each([frame[at:]])
                kind = self._contents.kinds_of(behind)[0]
                if kind != NO_PACKET:
                    start = cut.starts[place]
                    yield Reject(Reason.TEXT, start, start + at, told(frame[:at]), frame[:at])
                    cut.frames[place], cut.starts[place] = frame[at:], start + at
                    contents[place], kinds[place] = behind[0], kind
                    break
            else:
                at, start = text_in_front(frame), cut.starts[place]
                if at and start != self._opened_at and self._is_damaged(contents[place]):
                    yield Reject(Reason.TEXT, start, start + at, told(frame[:at]), frame[:at])
                    cut.frames[place], cut.starts[place], contents[place] = frame[at:], start + at, None

    def _is_damaged(self, contents: bytes | None) -> bool:
        """Whether a frame without a mark at its start is not as it was sent: text may be part of it then."""
        is_delimited = isinstance(self._framing, Delimited)
        return is_delimited and (contents is None or self._contents.verdict(contents) is Verdict.DAMAGED)

    def _lost(self, stretch: Stretch) -> Reject:
        """A stretch as a reject."""
        reason, text = stretch.reason, stretch.text
        if reason is Reason.FRAMING and self._is_binary and is_text(stretch.raw, stretch.end - stretch.start):
            reason, text = Reason.TEXT, told(stretch.raw)
        elif stretch.start == self._opened_at and reason in (Reason.FRAMING, Reason.CHECKSUM):
            reason, text = _torn(text)
        return Reject(reason, stretch.start, stretch.end, text, stretch.raw)

    def _reject(self, cut: Cut, place: int, contents: bytes | None) -> Reject:
        """Why a candidate frame, of these contents if it has any, is no packet."""
        frame, start = cut.frames[place], cut.starts[place]
        try:
            reason, text = self._contents.fault(self._framing.decode(frame) if contents is None else contents)
        except FrameError as fault:
            reason, text = fault.reason if isinstance(fault, LineError) else Reason.FRAMING, str(fault)
        if self._is_status(frame):
            reason, text = Reason.TEXT, told(frame)
        elif start == self._opened_at:
            reason, text = _torn(text)
        return Reject(reason, start, cut.ends[place], text, frame)


def _torn(text: str) -> tuple[Reason, str]:
    return Reason.TORN_START, f"the first frame after the link opened: {text}"
