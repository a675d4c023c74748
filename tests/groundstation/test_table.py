import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.table import Table


def _fill(table: Table, rows: int, *, at_once: int) -> None:
    for first in range(0, rows, at_once):
        t = np.arange(first, min(rows, first + at_once), dtype=np.int64)
        table.append(t, np.stack([t * 1.0, -t * 1.0]))


@settings(max_examples=50)
@given(st.integers(0, 500), st.integers(1, 90), st.integers(4, 64))
def test_table_never_holds_more_than_its_capacity_and_keeps_rows_whole(
    rows: int, at_once: int, capacity: int
) -> None:
    table = Table(("a", "b"), capacity=capacity)
    _fill(table, rows, at_once=at_once)
    assert len(table) <= capacity
    assert len(table) + table.dropped_rows == rows
    assert np.all(np.diff(table.t_ns) > 0)
    assert np.array_equal(table.column("a"), table.t_ns)
    assert np.array_equal(table.column("b"), -table.t_ns.astype(float))


def test_newest_half_is_complete_after_thinning() -> None:
    table = Table(("a", "b"), capacity=64)
    _fill(table, 1000, at_once=1)
    assert np.array_equal(table.t_ns[-32:], np.arange(968, 1000))
    assert table.t_ns[0] == 0


def test_rows_to_keep_survive_thinning() -> None:
    table = Table(("a", "b"), capacity=64, keep=lambda t: (t >= 10) & (t < 20))
    _fill(table, 1000, at_once=7)
    assert set(range(10, 20)) <= set(table.t_ns.tolist())


def test_keep_is_disobeyed_when_nothing_could_be_thinned() -> None:
    table = Table(("a", "b"), capacity=64, keep=lambda t: np.ones(t.shape, bool))
    _fill(table, 1000, at_once=7)
    assert len(table) <= 64


def test_views_cannot_be_written_through() -> None:
    table = Table(("a", "b"))
    _fill(table, 3, at_once=3)
    with pytest.raises(ValueError, match="read-only"):
        table.column("a")[0] = 5.0


def test_wrong_shape_is_refused() -> None:
    with pytest.raises(ValueError, match="expected"):
        Table(("a", "b")).append(np.zeros(3, np.int64), np.zeros((3, 2)))
