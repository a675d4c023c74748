"""Plots as a frame carries them: axes, lines, limits and marks, ready to be drawn."""

from dataclasses import dataclass

from dashboard.plots import Axis, Line


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit as a dashed line: only where a check has one."""

    value: float
    word: str


@dataclass(frozen=True, slots=True)
class Span:
    """A lettered band behind a plot, from `from_s` to `to_s`."""

    from_s: float
    to_s: float
    word: str


@dataclass(frozen=True, slots=True)
class Mark:
    """An open mark at a point of a plot, with its word; `low` and `high` give its uncertainty."""

    t_s: float
    value: float
    low: float
    high: float
    word: str


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot. `band` are the lower and the upper edge of the line's uncertainty, or nothing."""

    key: str
    line: Line
    x: Axis
    y: Axis
    band: tuple[Line, Line] | None = None
    limits: tuple[LimitLine, ...] = ()
    spans: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    nothing: str = ""  # why the plot is empty


@dataclass(frozen=True, slots=True)
class Plots:
    """All plots of a frame.

    A page that holds these plots under the same `signature` up to `have_s` was sent what is new since; any other
    signature means whole lines.
    """

    signature: str
    continues_s: float | None
    upto_s: float
    plots: tuple[Plot, ...]
