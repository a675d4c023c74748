"""What a check is: a rule over a window, with its name, its place on the vehicle, and the limits it goes by.

A rule yields `Outcome`s and raises `Unknown` where it cannot say; `Check.run` makes findings of them. To add a check,
write a rule under `@check(...)` and name it in `groundstation.readiness.checks`.
"""

import inspect
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from groundstation.config.vehicle import Place, Pyro, Vehicle
from groundstation.readiness.finding import NO_LIMIT, Finding, Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import telling, within


class Outcome(NamedTuple):
    """What a rule says of one thing it judged; `place` only where it is not the check's.

    A tuple, not a dataclass: some two dozen are made a tick, and most of them say what was said before.
    """

    status: Status
    text: str
    value: float | None = None
    unit: str = ""
    limit: Limit = NO_LIMIT
    channel: int | None = None
    place: Place | None = None
    stale: bool = False


Rule = Callable[[Window], Iterable[Outcome]]
Needs = Callable[[Vehicle], Iterable[tuple[str, ...]]]


class Figure(NamedTuple):
    """A figure a rule goes by that no file sets: what it is, as people read it, and where it comes from."""

    what: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class Check:
    """A rule with what is known of it without running it.

    `text` says what the rule asks for; `limits` names the attributes of the vehicle file's limits it goes by;
    `needs` says which measurements it cannot do without, each as a tuple of alternatives of which one is enough;
    `figures` are the fixed ones it goes by, each with its source; `every_s` is how often it is run anew at the least,
    for a rule over many seconds whose answer changes slowly (0: on each tick).
    """

    name: str
    place: Place
    text: str
    rule: Rule
    limits: tuple[str, ...]
    needs: Needs
    figures: tuple[Figure, ...] = ()
    every_s: float = 0.0

    def outcomes(self, window: Window) -> tuple[Outcome, ...]:
        """What the rule says at the window's moment; one unknown outcome where it cannot say."""
        try:
            return tuple(self.rule(window))
        except Unknown as unknown:
            return (Outcome(Status.UNKNOWN, unknown.text, stale=unknown.stale),)

    def finding(self, outcome: Outcome, *, since_ns: int = 0) -> Finding:
        """The outcome as a finding of this check."""
        status, text, value, unit, limit, channel, place, stale = outcome
        return Finding(
            self.name, status, text, place or self.place, channel, value, unit, limit, since_ns=since_ns, stale=stale
        )

    def run(self, window: Window) -> tuple[Finding, ...]:
        """The findings at the window's moment; `since_ns` is left 0."""
        return tuple(map(self.finding, self.outcomes(window)))


def check(
    place: Place,
    *,
    limits: tuple[str, ...] = (),
    needs: tuple[str, ...] | Needs = (),
    figures: tuple[Figure, ...] = (),
    every_s: float = 0.0,
) -> Callable[[Rule], Check]:
    """Make a check of a rule: the function's name is the check's, its docstring's first paragraph the check's text.

    A rule with `every_s` is run again once that long has passed, and at once when a packet goes stale or comes back
    or the station has something to say.
    """

    def register(rule: Rule) -> Check:
        text = " ".join((inspect.getdoc(rule) or "").split("\n\n")[0].split())
        name = getattr(rule, "__name__", "")
        alternatives = needs if callable(needs) else _each(needs)
        return Check(name, place, text, rule, limits, alternatives, figures, every_s)

    return register


def judged(
    value: float,
    limit: Limit,
    *,
    unit: str,
    decimals: int,
    good: Callable[[float, int], str],
    bad: Callable[[float, int], str],
) -> Outcome:
    """Pass where the value lies within the limit, fail otherwise (NaN fails).

    `good` and `bad` make the sentence from the rounded value and the decimals it has: more of them where rounding
    would hide the failure.
    """
    if within(value, limit):
        rounded = round(value, decimals)
        return Outcome(Status.PASS, good(rounded, decimals), rounded, unit, limit)
    rounded, places = telling(value, limit, decimals)
    return Outcome(Status.FAIL, bad(rounded, places), rounded, unit, limit)


def each(channels: Iterable[Pyro], rule: Callable[[Pyro], Outcome]) -> list[Outcome]:
    """One outcome a pyro channel, at the channel's place: what is not known of one says nothing of the others."""
    outcomes = []
    for pyro in channels:
        try:
            status, text, value, unit, limit, _, _, stale = rule(pyro)
        except Unknown as unknown:
            status, text, value, unit, limit, stale = Status.UNKNOWN, unknown.text, None, "", NO_LIMIT, unknown.stale
        outcomes.append(Outcome(status, text, value, unit, limit, pyro.channel, pyro.place, stale))
    return outcomes


def _each(names: tuple[str, ...]) -> Needs:
    def alternatives(vehicle: Vehicle) -> Iterable[tuple[str, ...]]:
        return [(name,) for name in names]

    return alternatives
