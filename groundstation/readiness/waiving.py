"""Waivers: which findings the operator may set aside, for how long, and when a waiver ends by itself.

A waiver is for one finding (a check and its pyro channel) as it stood when it was waived. While it is in force the
finding is `WAIVED` instead of what it is, and does not stand against GO. It ends at its time, when the operator takes
it back, and when the condition has become worse, which is:

- it was unknown and now fails;
- its value lies on the other side of its limit, or further outside than it did by more than a tenth of the limit's
  width (of the limit itself where only one side is given);
- where no value lies outside a limit, its sentence says something else, figures aside.

A failure that was waived and is now unknown is not covered while it is unknown: nobody has seen how it stands. A
finding that passes is a pass; its waiver goes on until its time.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass

from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import Key, TakeBack, Waiving, key_text, until_ns
from groundstation.readiness.finding import Finding, Status, Waiver

WORSE_SHARE = 0.1  # of the limit's width (common practice, no source)
NOT_WAIVABLE = {
    "pyro_energised": "a pyro channel that is on may fire: switch it off and keep away",
    "packet_age": "a vehicle that is not heard cannot be judged",
    "on_pad": "GO is for a vehicle that stands on the pad",
    "recording_running": "a waiver counts only where it is recorded",
    "layout_fingerprint": "no value can be believed while firmware and vehicle file differ in their layout",
}
_FIGURES = re.compile(r"[-−+]?\d[\d.,]*")


@dataclass(frozen=True, slots=True)
class _InForce:
    """A waiver and the finding as it stood when it was waived."""

    waiver: Waiver
    then: Finding


def refusal(key: Key, finding: Finding | None) -> str | None:
    """Why a finding cannot be waived as it stands, in a sentence; None where it can."""
    name = key_text(key).replace("_", " ")
    if key[0] in NOT_WAIVABLE:
        return f"The finding {name} cannot be waived: {NOT_WAIVABLE[key[0]]}."
    if finding is None:
        return f"There is no finding {name} to waive."
    if finding.status is Status.PASS:
        return f"The finding {name} passes: there is nothing to waive."
    return None


def worsened(then: Finding, now: Finding) -> bool:
    """Whether a condition has become worse than it was when it was waived; see the module."""
    if now.status is not Status.FAIL:
        return False
    if then.status is not Status.FAIL:
        return True
    before, after = _outside(then), _outside(now)
    if before is None or after is None:
        return _words(then) != _words(now)
    if (before < 0) != (after < 0):
        return True
    return abs(after) - abs(before) > WORSE_SHARE * _width(now, abs(before))


class Waivers:
    """The waivers of one session. Actions come in order of time, and so do the moments they are applied to.

    Args:
        tell: Called with the time [ns] and a sentence whenever a waiver begins, ends or is refused.
    """

    def __init__(self, tell: Callable[[int, str], None]) -> None:
        self._tell = tell
        self._asked: dict[Key, tuple[Waiving, int]] = {}
        self._in_force: dict[Key, _InForce] = {}
        self._shown: dict[Key, tuple[Finding, Finding]] = {}

    def take(self, action: Waiving | TakeBack, at_ns: int) -> None:
        """Take in what the operator did; it counts from the next moment that is judged."""
        if not isinstance(action, TakeBack):
            self._asked[action.key] = (action, at_ns)
            return
        asked = self._asked.pop(action.key, None)
        if self._in_force.pop(action.key, None) or asked:
            self._tell(at_ns, f"The waiver of {_name(action.key)} was taken back.")

    def applied(self, findings: tuple[Finding, ...], at_ns: int) -> tuple[Finding, ...]:
        """The findings with those waived that are waived at `at_ns`."""
        if not self._asked and not self._in_force:
            return findings
        standing = {finding.key: finding for finding in findings}
        for key, (action, asked_ns) in self._asked.items():
            self._begin(action, asked_ns, standing.get(key), at_ns)
        self._asked.clear()
        for key in list(self._in_force):
            self._end_where_due(key, standing.get(key), at_ns)
        shown = {}
        for key, held in self._in_force.items():
            finding = standing.get(key)
            if finding is not None and _covered(held.then, finding):
                shown[key] = self._waived(finding, held.waiver, at_ns)
        self._shown = {key: (standing[key], waived) for key, waived in shown.items()}
        return tuple(shown.get(finding.key, finding) for finding in findings)

    def _begin(self, action: Waiving, asked_ns: int, finding: Finding | None, at_ns: int) -> None:
        against = refusal(action.key, finding)
        if against is not None or finding is None:
            self._tell(at_ns, f"Not waived. {against}")
            return
        end_ns = until_ns(action, asked_ns)
        self._in_force[action.key] = _InForce(Waiver(action.reason, end_ns), finding)
        lasting = _minutes(round((end_ns - asked_ns) / NS_PER_S))
        self._tell(at_ns, f"Waived {_name(action.key)} for {lasting}: {action.reason}.")

    def _end_where_due(self, key: Key, finding: Finding | None, at_ns: int) -> None:
        held = self._in_force[key]
        if at_ns >= held.waiver.until_ns:
            why = "its time is over"
        elif finding is not None and worsened(held.then, finding):
            why = f"it is worse than when it was waived. {finding.text}"
        else:
            return
        del self._in_force[key]
        self._tell(at_ns, f"The waiver of {_name(key)} has ended: {why.removesuffix('.')}.")

    def _waived(self, finding: Finding, waiver: Waiver, at_ns: int) -> Finding:
        raw, shown = self._shown.get(finding.key, (None, None))
        if shown is not None and shown.waiver == waiver and raw is finding:
            return shown
        since_ns = at_ns if shown is None else shown.since_ns
        return finding._replace(status=Status.WAIVED, since_ns=since_ns, stale=False, waiver=waiver)


def _covered(then: Finding, now: Finding) -> bool:
    return now.status is Status.FAIL or (now.status is Status.UNKNOWN and then.status is Status.UNKNOWN)


def _outside(finding: Finding) -> float | None:
    """How far the value lies outside its limit, below it negative; None where it has none or does not lie outside."""
    value, limit = finding.value, finding.limit
    if value is None:
        return None
    if limit.least is not None and value < limit.least:
        return value - limit.least
    if limit.greatest is not None and value > limit.greatest:
        return value - limit.greatest
    return None


def _width(finding: Finding, otherwise: float) -> float:
    least, greatest = finding.limit.least, finding.limit.greatest
    if least is not None and greatest is not None:
        return greatest - least
    return abs(least or greatest or otherwise)


def _words(finding: Finding) -> str:
    return _FIGURES.sub("#", finding.text)


def _name(key: Key) -> str:
    return key_text(key).replace("_", " ")


def _minutes(seconds: int) -> str:
    minutes, rest = divmod(seconds, 60)
    return " ".join(part for part in (f"{minutes} min" if minutes else "", f"{rest} s" if rest else "") if part)
