import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.plots import GRID_NS, Line, clock_ticks, column_ns, line, nice_axis, span_s, thinned
from groundstation.inputs import NS_PER_S


@st.composite
def samples(draw: st.DrawFn) -> tuple[np.ndarray, np.ndarray]:
    steps = draw(st.lists(st.integers(0, 5 * NS_PER_S), min_size=1, max_size=200))
    times = np.cumsum(np.array(steps, np.int64))
    value = st.one_of(st.floats(-1e6, 1e6), st.just(math.nan), st.just(math.inf))
    values = draw(st.lists(value, min_size=len(steps), max_size=len(steps)))
    return times, np.array(values, np.float64)


COLUMN = st.integers(1, 400_000).map(lambda n: n * GRID_NS)


@given(samples(), COLUMN)
def test_thinning_keeps_the_least_and_greatest_of_every_column(taken, width):
    t_ns, values = taken
    out_t, out_v = thinned(t_ns, values, column_ns=width)
    for column in np.unique(t_ns // width):
        before = values[(t_ns // width == column) & np.isfinite(values)]
        after = out_v[(out_t // width == column) & np.isfinite(out_v)]
        if before.size:
            assert (after.min(), after.max()) == (before.min(), before.max())
        else:
            assert after.size == 0


@given(samples(), COLUMN)
def test_thinning_invents_no_point(taken, width):
    t_ns, values = taken
    out_t, out_v = thinned(t_ns, values, column_ns=width)
    known = set(zip(t_ns.tolist(), values.tolist(), strict=True))
    drawn = [(t, v) for t, v in zip(out_t.tolist(), out_v.tolist(), strict=True) if math.isfinite(v)]
    assert set(drawn) <= known


@given(samples(), COLUMN)
def test_thinning_leaves_a_columns_worth_of_points_in_order(taken, width):
    t_ns, values = taken
    out_t, _ = thinned(t_ns, values, column_ns=width)
    columns = np.unique(t_ns // width).size
    breaks = columns - 1  # at most one before each column but the first
    assert out_t.size <= 2 * columns + breaks
    assert np.all(np.diff(out_t) >= 0)


def test_a_spike_of_one_sample_in_an_hour_is_kept():
    t_ns = np.arange(36_000, dtype=np.int64) * (NS_PER_S // 10)
    values = np.zeros(36_000)
    values[20_123] = 7.0
    out_t, out_v = thinned(t_ns, values, column_ns=column_ns(3600, 600))
    assert out_t[out_v == 7.0].tolist() == [t_ns[20_123]]
    assert out_t.size <= 1200


def test_a_silence_breaks_the_line():
    t_ns = np.array([0, 1, 2, 30, 31], np.int64) * NS_PER_S
    _, out_v = thinned(t_ns, np.arange(5.0), column_ns=NS_PER_S)
    assert np.isnan(out_v).tolist() == [False, False, False, True, False, False]


def put_together(whole: Line, more: Line) -> list[tuple[float, float | None]]:
    assert more.from_s is not None
    kept = [(t, v) for t, v in zip(whole.t_s, whole.values, strict=True) if t < more.from_s]
    return kept + list(zip(more.t_s, more.values, strict=True))


@given(samples(), COLUMN, st.floats(0, 1), st.floats(0, 1))
def test_increments_add_up_to_the_whole_line(taken, width, first_share, second_share):
    t_ns, values = taken
    end = int(t_ns[-1])
    first, second = sorted((int(end * first_share), int(end * second_share)))
    start = -10 * NS_PER_S
    common = {"origin_ns": 0, "column_ns": width}
    began = line(t_ns, values, window_ns=(start, first), have_ns=None, **common)
    more = line(t_ns, values, window_ns=(start, second), have_ns=first, **common)
    whole = line(t_ns, values, window_ns=(start, second), have_ns=None, **common)
    assert put_together(began, more) == list(zip(whole.t_s, whole.values, strict=True))


@given(samples(), COLUMN, st.floats(0, 1))
def test_a_line_ends_with_its_window(taken, width, share):
    t_ns, values = taken
    end = int(t_ns[-1] * share)
    drawn = line(t_ns, values, origin_ns=0, window_ns=(0, end), column_ns=width, have_ns=None)
    assert all(t <= end / NS_PER_S + 1e-4 for t in drawn.t_s)


@given(samples(), COLUMN)
def test_lines_carry_no_nan(taken, width):
    t_ns, values = taken
    drawn = line(t_ns, values, origin_ns=0, window_ns=(0, int(t_ns[-1])), column_ns=width, have_ns=None)
    assert all(v is None or math.isfinite(v) for v in drawn.values)


@given(st.floats(-1e5, 1e5), st.floats(0, 1e5), st.sampled_from([0.4, 1.0, 10.0, 100.0]))
def test_an_axis_holds_its_values_with_few_round_ticks(low, span, least):
    axis = nice_axis(low, low + span, least_span=least)
    slack = 1e-8 * max(span, least)  # less than a pixel: an axis need not grow by a step for a rounding error
    assert axis.low <= low + slack
    assert axis.high >= low + span - slack
    assert 2 <= len(axis.ticks) <= 6
    assert len(set(axis.labels)) == len(axis.labels)


def test_an_axis_without_values_stands_at_zero():
    axis = nice_axis(math.nan, math.nan, least_span=10.0, unit="V")
    assert (axis.low, axis.high) == (0.0, 10.0)
    assert axis.labels[-1].endswith("\N{THIN SPACE}V")


@pytest.mark.parametrize(("wanted", "span"), [(1, 60), (61, 120), (601, 1200), (1e6, 86_400)])
def test_windows_grow_in_steps(wanted, span):
    assert span_s(wanted) == span


def test_a_time_axis_counts_back_from_now():
    axis = clock_ticks(0.0, 120.0, end="now")
    assert axis.labels[0] == "now"
    assert axis.ticks[0] == 120.0
    assert axis.labels[1].startswith("−")
