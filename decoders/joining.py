"""Packets and the lines of text beside them, put together: each line's numbers become columns of its packet.

What decides is where a line stands: directly in front of a sound packet, or directly behind one. So a line whose
packet was lost or damaged belongs to nothing and stays a reject, and a packet whose line was lost has NaN.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from decoders.decoded import Decoded, IntArray, PacketTable, merged
from decoders.layout import Packet, Reason, Reject
from decoders.line_beside import LineBeside, Numbers, Sight
from decoders.status_lines import told

_NOTE = "; a line of the receiver's among them is its packet's"
Span = tuple[int, int]


class LineJoiner:
    """Gives packets the numbers of their lines; what cannot be told yet is held back.

    That is a packet whose line may be on its way behind it, with what came after, and rejects in which the line of
    the next packet may begin. Both are bounded by the longest line.

    Args:
        line: How lines are written.
        packets: Of the layout.
        held_back: Bytes that the cutter may hold back: no packet to come starts sooner than so many bytes ago.
    """

    def __init__(self, line: LineBeside, packets: tuple[Packet, ...], *, held_back: int) -> None:
        self._line = line
        self._packets = packets
        self._held_back = held_back
        self._raw = b""
        self._raw_at = 0  # of that, in the stream
        self._tables: list[PacketTable] = []
        self._rejects: list[Reject] = []
        self._lines: list[Span] = []  # found, while rejects may still come that take them in
        self._done = 0  # where the last packet ended: no line begins before that
        self._come = 0  # as far as all packets and rejects have come

    def taken(self, data: bytes, decoded: Decoded) -> Decoded:
        """What is certain after these bytes, of which `decoded` came."""
        self._raw += data
        return self._joined(decoded, is_end=False)

    def ended(self, decoded: Decoded) -> Decoded:
        """All that is left: the stream ends or breaks here."""
        joined = self._joined(decoded, is_end=True)
        self._raw_at += len(self._raw)
        self._raw, self._lines, self._done, self._come = b"", [], self._raw_at, self._raw_at
        return joined

    def _joined(self, decoded: Decoded, *, is_end: bool) -> Decoded:
        tables = merged(self._packets, [*self._tables, *decoded.tables])
        rejects = [*self._rejects, *decoded.rejects]
        offset = self._raw_at + len(self._raw)
        starts = np.concatenate([table.start for table in tables]) if tables else np.zeros(0, dtype=np.int64)
        ends = np.concatenate([table.end for table in tables]) if tables else starts
        order = np.argsort(starts, kind="stable")
        numbers, certain = self._numbers(starts[order], ends[order], [r.start for r in rejects], is_end=is_end)
        until = int(starts[order][certain]) if certain < order.size else None
        told_of = np.full((order.size, numbers.shape[1]), np.nan)
        told_of[order[:certain]] = numbers
        ready: list[PacketTable] = []
        self._tables = []
        first = 0
        for table in tables:
            mine = told_of[first : first + len(table)]
            first += len(table)
            count = len(table) if until is None else int(np.searchsorted(table.start, until))
            if count < len(table):
                self._tables.append(_part(table, slice(count, None)))
            if count:
                some = _part(table, slice(count))
                ready.append(replace(some, columns={**some.columns, **self._line.columns(mine[:count])}))
        if certain:
            self._done = int(ends[order][certain - 1])
        come = self._come = max(
            [self._come, self._done, offset - self._held_back, *ends.tolist(), *(reject.end for reject in rejects)]
        )
        settled = self._settled(rejects, until, come, is_end=is_end)
        past = min([come, *(reject.start for reject in self._rejects)])
        self._lines = [span for span in self._lines if span[1] > past]
        if self._line.is_in_front:
            keep = come - self._line.longest
        else:
            keep = come if until is None else int(ends[order][certain])
        keep = min(max(keep, self._raw_at), offset)
        self._raw, self._raw_at = self._raw[keep - self._raw_at :], keep
        return Decoded(tuple(ready), tuple(settled))

    def _numbers(
        self, starts: IntArray, ends: IntArray, edges: Sequence[int], *, is_end: bool
    ) -> tuple[NDArray[np.float64], int]:
        """The numbers of the lines of packets in their order, and of how many packets they are certain.

        `edges` are the places where rejects start.
        """
        line, raw, at, longest = self._line, self._raw, self._raw_at, self._line.longest
        missing = (np.nan,) * line.count
        rows: list[Numbers] = []
        done = self._done
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            row = missing
            if line.is_in_front:
                begin = max(start - longest, done, at)
                text = raw[begin - at : start - at]
                some = edges[bisect_left(edges, begin) : bisect_left(edges, start)]
                before = line.in_front(text, [edge - begin for edge in some])
                if before is not None:
                    row = before[1]
                    self._lines.append((begin + before[0], start))
            else:
                after = line.behind(raw[end - at : end - at + longest])
                if after is Sight.NOT_YET and not is_end:
                    break
                if not isinstance(after, Sight):
                    row = after[1]
                    self._lines.append((end, end + after[0]))
            rows.append(row)
            done = end
        return np.array(rows, dtype=np.float64).reshape(-1, line.count), len(rows)

    def _settled(self, rejects: Sequence[Reject], until: int | None, come: int, *, is_end: bool) -> list[Reject]:
        """The rejects of which it is certain what belongs to a line, without that; the others are held back."""
        settled: list[Reject] = []
        held: list[Reject] = []
        line_ends = [end for _, end in self._lines]
        for reject in rejects:
            if self._line.is_in_front:
                is_certain = reject.end <= max(self._done, come - self._line.longest)
            else:
                is_certain = until is None or reject.start < until
            if not is_certain and not is_end:
                held.append(reject)
                continue
            first = bisect_right(line_ends, reject.start)
            settled += (part for part in _without(reject, self._lines, first) if self._says_more(part, reject))
        self._rejects = held
        return settled

    def _says_more(self, part: Reject, whole: Reject) -> bool:
        """Whether a part that is left of a reject is more than the delimiter behind a line."""
        return part is whole or part.end - part.start > 1 or bool(part.raw.strip(self._line.delimiter))


def _without(reject: Reject, lines: Sequence[Span], first: int) -> Iterator[Reject]:
    """What is left of a reject when the lines that belong to packets, from a number on, are taken out."""
    left: Reject | None = reject
    while left is not None and first < len(lines) and lines[first][0] < reject.end:
        begin, end = lines[first]
        front = _cut(left, left.start, begin)
        if front is not None:
            yield front
        left = _cut(left, end, left.end)
        first += 1
    if left is not None:
        yield left


def _cut(reject: Reject, start: int, end: int) -> Reject | None:
    """A part of a reject; None where nothing is left."""
    if end <= start:
        return None
    raw = reject.raw[start - reject.start : end - reject.start]
    text = told(raw) if reject.reason is Reason.TEXT else reject.text.removesuffix(_NOTE) + _NOTE
    return Reject(reject.reason, start, end, text, raw)


def _part(table: PacketTable, which: slice) -> PacketTable:
    columns = {name: column[which] for name, column in table.columns.items()}
    return PacketTable(table.packet, table.start[which], table.end[which], columns)
