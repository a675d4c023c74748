"""A growing table of numbers with bounded memory: rows in order of time, columns by name.

When the table is full, every second row of its older half goes, so that an ever longer past is kept ever more
coarsely, while the newer half stays complete.
"""

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# 65,536 rows: 109 minutes at 10 packets a second, 10 MB at 20 columns; the complete half is 54 minutes.
DEFAULT_CAPACITY = 1 << 16


class Table:
    """Rows of float64 with a receive time each.

    Args:
        columns: Names of the columns.
        capacity: Most rows kept, at least 4.
        keep: Given row times (n,) [ns], says (n,) which rows must not be thinned; it is disobeyed only when it would
            keep more than seven eighths of the older half.
    """

    def __init__(
        self,
        columns: Sequence[str],
        *,
        capacity: int = DEFAULT_CAPACITY,
        keep: Callable[[IntArray], BoolArray] | None = None,
    ) -> None:
        if capacity < 4:
            raise ValueError(f"found a capacity of {capacity} rows, expected at least 4")
        self.columns = tuple(columns)
        self._place = {name: k for k, name in enumerate(self.columns)}
        self._capacity = capacity
        self._keep = keep
        self._size = 0
        room = min(capacity, 1024)
        self._t_ns: IntArray = np.empty(room, np.int64)
        self._values: FloatArray = np.empty((len(self.columns), room), np.float64)
        self._shown_t_ns, self._shown_values = _read_only(self._t_ns), _read_only(self._values)
        self.dropped_rows = 0

    def __len__(self) -> int:
        return self._size

    @property
    def t_ns(self) -> IntArray:
        """(n,) receive times [ns], never decreasing; a read-only view."""
        return self._shown_t_ns[: self._size]

    def column(self, name: str) -> FloatArray:
        """(n,) values of one column; a read-only view. KeyError where there is no such column."""
        return self._shown_values[self._place[name], : self._size]

    def rows(self, start: int, end: int) -> FloatArray:
        """(columns, end - start) values of the rows from `start` to before `end`; a read-only view."""
        if not 0 <= start <= end <= self._size:
            raise IndexError(f"found rows {start} to {end}, expected some of 0 to {self._size}")
        return self._shown_values[:, start:end]

    def row(self, at: int) -> list[float]:
        """The values of one row, in the order of the columns; IndexError where there is none."""
        if not 0 <= at < self._size:
            raise IndexError(f"found row {at}, expected one of {self._size}")
        values: list[float] = self._values[:, at].tolist()
        return values

    def append(self, t_ns: IntArray, values: FloatArray) -> None:
        """Add rows: t_ns (n,) not before the last row's, values (columns, n)."""
        if values.shape != (len(self.columns), t_ns.shape[0]):
            raise ValueError(f"found values of shape {values.shape}, expected {(len(self.columns), t_ns.shape[0])}")
        at = 0
        while at < t_ns.shape[0]:
            if self._size == self._capacity:
                self._thin()
            take = min(t_ns.shape[0] - at, self._capacity - self._size)
            self._grow(self._size + take)
            self._t_ns[self._size : self._size + take] = t_ns[at : at + take]
            self._values[:, self._size : self._size + take] = values[:, at : at + take]
            self._size += take
            at += take

    def _grow(self, rows: int) -> None:
        room = self._t_ns.shape[0]
        if rows <= room:
            return
        room = min(self._capacity, max(rows, 2 * room))
        t_ns, values = self._t_ns, self._values
        self._t_ns = np.empty(room, np.int64)
        self._values = np.empty((len(self.columns), room), np.float64)
        self._t_ns[: self._size] = t_ns[: self._size]
        self._values[:, : self._size] = values[:, : self._size]
        self._shown_t_ns, self._shown_values = _read_only(self._t_ns), _read_only(self._values)

    def _thin(self) -> None:
        half = self._size // 2
        kept = np.zeros(self._size, np.bool_)
        kept[half:] = True
        kept[:half:2] = True
        if self._keep is not None:
            wanted = kept.copy()
            wanted[:half] |= self._keep(self._t_ns[:half])
            if np.count_nonzero(wanted[:half]) * 8 <= half * 7:
                kept = wanted
        size = int(np.count_nonzero(kept))
        self._t_ns[:size] = self._t_ns[: self._size][kept]
        self._values[:, :size] = self._values[:, : self._size][:, kept]
        self.dropped_rows += self._size - size
        self._size = size


def _read_only(array: NDArray[Any]) -> NDArray[Any]:
    """A view that cannot be written through; slices of it are so without being told, which costs each reader."""
    view = array.view()
    view.flags.writeable = False
    return view
