"""From findings to a verdict: HOLD at once, GO only after everything has passed without a break for a while."""

import logging
import math
from collections.abc import Hashable, Sequence
from itertools import chain

from groundstation.config.vehicle import Place, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.readiness.check import Check, Outcome
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Assessment, Finding, Limit, Status, Verdict
from groundstation.readiness.waiving import Waivers
from groundstation.readiness.window import Window

_log = logging.getLogger(__name__)
_GOOD = (Status.PASS, Status.WAIVED)
_SILENCE = "packet_age"
_LINK = (_SILENCE, "packet_loss", "frame_damage")


class _Found:
    """A check, what it found when it was last run, and until when that holds."""

    __slots__ = ("against", "check", "every_ns", "findings", "holds_from_ns", "holds_to_ns", "outcomes")

    def __init__(self, check: Check) -> None:
        self.check = check
        self.every_ns = round(check.every_s * NS_PER_S)
        self.outcomes: tuple[Outcome, ...] = ()
        self.findings: tuple[Finding, ...] = ()
        self.against: tuple[Finding, ...] = ()  # those that are not good
        self.holds_from_ns = self.holds_to_ns = 0  # runs at once

    def take(self, outcomes: tuple[Outcome, ...], at_ns: int) -> None:
        """Make findings of outcomes that are not those of the run before."""
        before = {finding.channel: finding for finding in self.findings}
        now = {o.channel: _remembered(before.get(o.channel), self.check, o, at_ns) for o in outcomes}
        self.outcomes = outcomes
        self.findings = tuple(now.values())
        self.against = tuple([finding for finding in self.findings if finding.status not in _GOOD])

    def hold(self, at_ns: int) -> None:
        """Not to be run again for as long as the check says; what is not known is asked again at once."""
        unknown = any(finding.status is Status.UNKNOWN for finding in self.against)
        self.holds_from_ns = at_ns
        self.holds_to_ns = at_ns if unknown else at_ns + self.every_ns


class Assessor:
    """Runs every check on each tick of a session and remembers since when each finding, and the verdict, is so.

    Args:
        vehicle: The vehicle file.
        checks: What to run, gravest first.
    """

    def __init__(self, vehicle: Vehicle, checks: Sequence[Check] = CHECKS) -> None:
        self._settling_s = vehicle.limits.settling_time_s
        self._found = [_Found(check) for check in checks]
        self._findings: tuple[Finding, ...] = ()
        self._against: list[Finding] = []  # those of them that are not good
        self._standing: Hashable = None
        self._logged: set[str] = set()
        self._passing_since_ns: int | None = None
        self._settling: Finding | None = None
        self._verdict: Verdict | None = None
        self._since_ns = 0

    def assess(self, window: Window, waivers: Waivers | None = None) -> Assessment:
        """The assessment of one tick; windows must come in order of time.

        Args:
            window: What was received up to the tick, with the vehicle file as it holds at this point of the count.
            waivers: What the operator set aside; None for nothing.
        """
        at_ns = window.at_ns
        self._run(window)
        findings, against = self._findings, self._against
        if waivers is not None and (applied := waivers.applied(findings, at_ns)) is not findings:
            findings, against = applied, [f for f in applied if f.status not in _GOOD]
        left_s = None if against or not findings else self._left_s(at_ns)
        if left_s is None:
            self._passing_since_ns = None
            reasons = _reasons(against)
        else:
            reasons = (self._still_settling(left_s, findings),) if left_s > 0.0 else ()
        verdict = Verdict.GO if left_s is not None and left_s <= 0.0 else Verdict.HOLD
        if verdict is not self._verdict:
            self._verdict, self._since_ns = verdict, at_ns
        settled_in_s = left_s if reasons and left_s is not None else None
        return Assessment(at_ns, verdict, findings, reasons, self._since_ns, settled_in_s)

    def _left_s(self, at_ns: int) -> float:
        """Seconds until everything has passed for the settling time; none or fewer when it has."""
        if self._passing_since_ns is None:
            self._passing_since_ns = at_ns
        return self._settling_s - (at_ns - self._passing_since_ns) / NS_PER_S

    def _run(self, window: Window) -> None:
        """Run the checks that are due; the findings stay the very same where nothing has changed."""
        at_ns = window.at_ns
        standing = window.standing, id(window.vehicle)
        moved = standing != self._standing
        self._standing = standing
        changed = for_or_against = False
        for found in self._found:
            if not moved and found.holds_from_ns <= at_ns < found.holds_to_ns:
                continue
            outcomes = self._outcomes(found.check, window)
            if outcomes != found.outcomes:
                against = found.against
                found.take(outcomes, at_ns)
                changed = True
                for_or_against = for_or_against or found.against != against
            if found.every_ns:
                found.hold(at_ns)
        if changed:
            self._findings = tuple(chain.from_iterable([found.findings for found in self._found]))
        if for_or_against:
            self._against = list(chain.from_iterable([found.against for found in self._found]))

    def _outcomes(self, check: Check, window: Window) -> tuple[Outcome, ...]:
        try:
            return check.outcomes(window)
        except Exception:  # the edge: a fault in one check must neither stop the others nor let the verdict be GO
            if check.name not in self._logged:
                self._logged.add(check.name)
                _log.exception("the check %s failed to run", check.name)
            text = f"The check {check.name} failed to run: a fault in this program. Look at the station's log."
            return (Outcome(Status.UNKNOWN, text),)

    def _still_settling(self, left_s: float, findings: tuple[Finding, ...]) -> Finding:
        left, since_ns, before = float(math.ceil(left_s)), self._passing_since_ns or 0, self._settling
        waived = any(finding.status is Status.WAIVED for finding in findings)
        pass_words = "All checks pass or are waived" if waived else "All checks pass"
        text = f"{pass_words}; GO in {left:.0f} s if they go on passing."
        if before is not None and before.text == text and before.since_ns == since_ns:
            return before
        limit = Limit(self._settling_s)
        self._settling = Finding("settling", Status.UNKNOWN, text, Place.VEHICLE, None, left, "s", limit, since_ns)
        return self._settling


def _remembered(before: Finding | None, check: Check, outcome: Outcome, at_ns: int) -> Finding:
    """The finding with the time its status last changed; the very one before where nothing has changed."""
    if before is None or before.status is not outcome.status:
        return check.finding(outcome, since_ns=at_ns)
    same = before.text == outcome.text and before.value == outcome.value and before.stale == outcome.stale
    if same and before.limit == outcome.limit:
        return before
    return check.finding(outcome, since_ns=before.since_ns)


def _reasons(against: list[Finding]) -> tuple[Finding, ...]:
    """The findings against GO, gravest first: failures, then what is not known; each in the checks' order.

    Where the link is at fault, that is the reason: what is unknown only because nothing comes any more is left out.
    What several checks do not know for the same reason is said once, by the gravest of them. Silence comes first even
    while it is only not known, before the first packet.
    """
    cut_off = any(f.check in _LINK and not f.stale for f in against)
    kept = [f for f in against if not (cut_off and f.stale)]
    kept.sort(key=lambda f: f.status is not Status.FAIL and f.check != _SILENCE)
    first = {f.text: f for f in reversed(kept)}
    return tuple(f for f in kept if f.status is Status.FAIL or first[f.text] is f)
