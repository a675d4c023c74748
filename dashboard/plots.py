"""Lines for the page's plots: a pixel column's worth of points, cut into increments that only append.

The time axis is divided into columns of equal width that start at multiples of that width, so that a column has the
same bounds in every frame. Of each column the least and the greatest value are kept, at their own times: a
spike one sample wide stays on the screen however long the window is.
"""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.inputs import NS_PER_S
from groundstation.table import FloatArray, IntArray

# Spans a growing window steps through [s]. Within one step the columns keep their width and frames only append.
SPANS_S = (60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 28800, 86400)
# A line is broken where nothing came for this long, or for three columns: twice the slowest usual packet's rest.
# Common practice, no source.
BREAK_NS = 2_500_000_000
# Times are sent in tenths of a millisecond; columns begin on that grid, so that rounding moves no point across.
GRID_NS = 100_000


@dataclass(frozen=True, slots=True)
class Line:
    """Points of one line: seconds since the session's start, and values; None breaks the line.

    A page that has the line already drops its points at and after `from_s` and appends these; `from_s` None means
    the whole line.
    """

    from_s: float | None
    t_s: tuple[float, ...]
    values: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis from `low` to `high` with labelled ticks."""

    low: float
    high: float
    ticks: tuple[float, ...]
    labels: tuple[str, ...]


def span_s(wanted_s: float) -> float:
    """The least span of the steps that holds `wanted_s`; the longest where none does."""
    return next((float(span) for span in SPANS_S if span >= wanted_s), float(SPANS_S[-1]))


def column_ns(window_s: float, columns: int) -> int:
    """Width of one of `columns` pixel columns of a window [ns], a multiple of `GRID_NS`."""
    return GRID_NS * max(1, math.ceil(window_s * NS_PER_S / columns / GRID_NS))


def thinned(t_ns: IntArray, values: FloatArray, *, column_ns: int) -> tuple[IntArray, FloatArray]:
    """At most two points a column: its least and its greatest value, at their own times, in order of time.

    Args:
        t_ns: (n,) times, never decreasing.
        values: (n,) values; NaN and infinities count as missing.
        column_ns: Width of a column.
    Returns:
        (m,) times and values, m <= 2 * columns + breaks. A NaN stands where the line breaks: after a gap of more
        than `BREAK_NS` and three columns, and in place of a column that holds missing values only.
    """
    if t_ns.shape[0] == 0:
        return t_ns, values
    good = np.isfinite(values)
    column = t_ns // column_ns
    starts = np.flatnonzero(np.r_[True, column[1:] != column[:-1]])
    low = np.minimum.reduceat(np.where(good, values, np.inf), starts)
    high = np.maximum.reduceat(np.where(good, values, -np.inf), starts)
    counts = np.diff(np.r_[starts, t_ns.shape[0]])
    at_low = _first(values == np.repeat(low, counts), starts)
    at_high = _first(values == np.repeat(high, counts), starts)
    missing = ~np.isfinite(low)
    first = np.where(missing, starts, np.minimum(at_low, at_high))
    second = np.where(missing, starts, np.maximum(at_low, at_high))
    keep = np.unique(np.r_[first, second])
    out_t, out_v = t_ns[keep], np.where(good[keep], values[keep], np.nan)
    gaps = np.flatnonzero(np.diff(out_t) > max(BREAK_NS, 3 * column_ns)) + 1
    return np.insert(out_t, gaps, out_t[gaps]), np.insert(out_v, gaps, np.nan)


def _first(matches: np.ndarray, starts: IntArray) -> IntArray:
    """Index of the first match at or after each start; the start itself where its column has none."""
    places = np.flatnonzero(matches)
    if places.shape[0] == 0:
        return starts
    found = places[np.minimum(np.searchsorted(places, starts), places.shape[0] - 1)]
    ends = np.r_[starts[1:], matches.shape[0]]
    return np.where((found >= starts) & (found < ends), found, starts)


def line(
    t_ns: IntArray,
    values: FloatArray,
    *,
    origin_ns: int,
    window_ns: tuple[int, int],
    column_ns: int,
    have_ns: int | None,
) -> Line:
    """What a page needs to bring its line up to the window's end.

    Args:
        t_ns: (n,) times; may reach beyond the window on both sides.
        values: (n,) values.
        origin_ns: The session's start, from which the page counts.
        window_ns: First and last moment shown; nothing later is looked at.
        column_ns: Width of a pixel column.
        have_ns: How far the page has the line with this column width; None for not at all.
    """
    start_ns, end_ns = window_ns[0] - origin_ns, window_ns[1] - origin_ns
    from_ns = start_ns - start_ns % column_ns
    partial = False
    if have_ns is not None and window_ns[0] <= have_ns <= window_ns[1]:
        # The column before as well: whether the line breaks after it is known only when the next point has come.
        partial, had_ns = True, have_ns - origin_ns
        from_ns = max(from_ns, had_ns - had_ns % column_ns - column_ns)
    low, high = np.searchsorted(t_ns, (from_ns + origin_ns, end_ns + origin_ns + 1), side="left")
    before = 1 if partial and low > 0 else 0  # one point more, so that a gap is seen; it is taken off again below
    out_t, out_v = thinned(t_ns[low - before : high] - origin_ns, values[low - before : high], column_ns=column_ns)
    kept = out_t >= from_ns
    return Line(
        from_s=from_ns / NS_PER_S if partial else None,
        t_s=tuple((out_t[kept] // GRID_NS / (NS_PER_S // GRID_NS)).tolist()),
        values=tuple(None if math.isnan(v) else float(f"{v:.7g}") for v in out_v[kept].tolist()),
    )


def nice_axis(low: float, high: float, *, least_span: float, unit: str = "", parts: int = 3) -> Axis:
    """An axis around [low, high] with about `parts` round steps, so that it moves seldom while values wander.

    Args:
        low: Least value; NaN or infinite for none.
        high: Greatest value.
        least_span: Range the axis has at the least, so that noise is not blown up.
        unit: Written behind the topmost label.
        parts: Steps wanted.
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        low, high = 0.0, least_span
    middle, span = (low + high) / 2, max(high - low, least_span)
    low, high = min(low, middle - span / 2), max(high, middle + span / 2)
    raw = span / parts
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = [k * step for k in range(first, last + 1)]
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    labels = [f"{tick:.{digits}f}".replace("-", "−") for tick in ticks]
    if unit and labels:
        labels[-1] = f"{labels[-1]}\N{THIN SPACE}{unit}"
    return Axis(ticks[0], ticks[-1], tuple(ticks), tuple(labels))


def clock_ticks(low_s: float, high_s: float, *, end: str) -> Axis:
    """A time axis with ticks at round times before its end, which is called `end`."""
    span = high_s - low_s
    step = next((s for s in (10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400) if span / s <= 5), 28800)
    ticks, labels = [], []
    back = 0.0
    while back <= span * 0.97:  # a label at the left edge would lie on the value axis
        ticks.append(high_s - back)
        labels.append(end if back == 0 else _ago(back))
        back += step
    return Axis(low_s, high_s, tuple(ticks), tuple(labels))


def _ago(seconds: float) -> str:
    if seconds < 120:
        return f"−{seconds:.0f}\N{THIN SPACE}s"
    if seconds < 7200:
        return f"−{seconds / 60:.0f}\N{THIN SPACE}min"
    return f"−{seconds / 3600:.0f}\N{THIN SPACE}h"
