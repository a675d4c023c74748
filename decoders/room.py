"""Memory for columns: in one piece, and for a whole recording made once. And for blocks, used again and again.

The system gives out one large piece of memory with far fewer page faults than many small ones.
"""

import itertools
from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

Column = NDArray[Any]

_ALIGNED = 64  # bytes: a line of the processor's cache
_MORE = 1.02  # times as many packets as the part that is done lets expect
_GROWTH = 1.5  # times as much room, where that was too little


def empty_columns(types: Sequence[np.dtype[Any]], count: int) -> list[Column]:
    """Columns of that many places, to be filled."""
    sizes = [-(-count * kind.itemsize // _ALIGNED) * _ALIGNED for kind in types]
    whole = np.empty(sum(sizes), dtype=np.uint8)
    places = itertools.accumulate(sizes, initial=0)
    return [np.ndarray(count, kind, whole, place) for kind, place in zip(types, places, strict=False)]


class BlockMemory:
    """Joins the parts of one block after the other in the same memory, without page faults."""

    def __init__(self) -> None:
        self._bytes = bytearray()

    def joined(self, parts: Sequence[bytes]) -> bytes:
        """The parts as one, to be read until the next are joined; slices of it must be copied to be bytes."""
        size = sum(map(len, parts))
        try:
            del self._bytes[size:]
            self._bytes.extend(bytes(size - len(self._bytes)))
        except BufferError:  # somebody still looks at the last block
            self._bytes = bytearray(size)
        at = 0
        for part in parts:
            self._bytes[at : at + len(part)] = part
            at += len(part)
        return cast(bytes, self._bytes)  # what reads blocks does so through numpy


class Room:
    """Columns of one kind of packet that grow from block to block.

    The next block's may be written to their places at once (`offered`); `add` then finds them there. All others it
    copies.
    """

    def __init__(self) -> None:
        self._columns: dict[str, Column] = {}
        self._size = 0
        self._is_offered = False
        self._share = 0.0

    def __len__(self) -> int:
        return self._size

    def expect(self, share: float) -> None:
        """The next block ends at that share of the recording, 0 to 1: so much room is made as all may need."""
        self._share = share
        self._is_offered = False

    def offered(self, types: Mapping[str, np.dtype[Any]], count: int) -> list[Column] | None:
        """Places for so many packets behind those that there are; None if the columns have become others.

        They stay free if nothing is added, and are given only once a block.
        """
        if self._is_offered or (self._columns and types != self._types):
            return None
        self._is_offered = True
        end = self._size + count
        self._make_room(types, end)
        return [column[self._size : end] for column in self._columns.values()]

    def add(self, columns: Mapping[str, Column]) -> None:
        """The columns of the next packets, of the same names and types as before."""
        count = len(next(iter(columns.values())))
        end = self._size + count
        types = {name: column.dtype for name, column in columns.items()}
        self._make_room(types, end)
        for name, column in columns.items():
            place = self._columns[name][self._size : end]
            if not _is_same_memory(column, place):
                place[:] = column
        self._size = end

    def columns(self) -> dict[str, Column]:
        """What has been added so far."""
        return {name: column[: self._size] for name, column in self._columns.items()}

    @property
    def _types(self) -> dict[str, np.dtype[Any]]:
        return {name: column.dtype for name, column in self._columns.items()}

    def _make_room(self, types: Mapping[str, np.dtype[Any]], end: int) -> None:
        """Have so many places at least."""
        there = len(next(iter(self._columns.values()))) if self._columns else 0
        if end <= there:
            return
        likely = int(_MORE * end / self._share) if self._share else 0
        before = self.columns()
        made = empty_columns(list(types.values()), max(end, likely, int(_GROWTH * there)))
        self._columns = dict(zip(types, made, strict=True))
        for name, column in before.items():
            self._columns[name][: self._size] = column


def _is_same_memory(column: Column, place: Column) -> bool:
    ours, theirs = column.__array_interface__, place.__array_interface__
    return bool(ours["data"] == theirs["data"] and ours["strides"] == theirs["strides"])
