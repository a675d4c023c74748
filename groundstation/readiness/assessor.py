"""From findings to a verdict: HOLD at once, GO only after everything has passed without a break for a while."""

import logging
import math
from collections.abc import Sequence
from dataclasses import replace

from groundstation.config.vehicle import Place, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.readiness.check import Check
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Assessment, Finding, Limit, Status, Verdict
from groundstation.readiness.window import Window

_log = logging.getLogger(__name__)
_GOOD = (Status.PASS, Status.WAIVED)
_LINK = "packet_age"


class Assessor:
    """Runs every check on each tick of a session and remembers since when each finding, and the verdict, is so.

    Args:
        vehicle: The vehicle file.
        checks: What to run, gravest first.
    """

    def __init__(self, vehicle: Vehicle, checks: Sequence[Check] = CHECKS) -> None:
        self._settling_s = vehicle.limits.settling_time_s
        self._checks = tuple(checks)
        self._findings: dict[tuple[str, int | None], Finding] = {}
        self._logged: set[str] = set()
        self._passing_since_ns: int | None = None
        self._verdict: Verdict | None = None
        self._since_ns = 0

    def assess(self, window: Window) -> Assessment:
        """The assessment of one tick; windows must come in order of time."""
        at_ns = window.at_ns
        findings = tuple(
            self._remembered(finding, at_ns) for check in self._checks for finding in self._run(check, window)
        )
        self._findings = {finding.key: finding for finding in findings}
        against = [finding for finding in findings if finding.status not in _GOOD]
        settled_in_s = None
        if against or not findings:
            self._passing_since_ns = None
            reasons = _reasons(against)
        else:
            if self._passing_since_ns is None:
                self._passing_since_ns = at_ns
            left_s = self._settling_s - (at_ns - self._passing_since_ns) / NS_PER_S
            reasons = ()
            if left_s > 0.0:
                settled_in_s = left_s
                reasons = (self._remembered(_settling(left_s, self._settling_s), at_ns),)
                self._findings[reasons[0].key] = reasons[0]
        go = bool(findings) and not reasons
        verdict = Verdict.GO if go else Verdict.HOLD
        if verdict is not self._verdict:
            self._verdict, self._since_ns = verdict, at_ns
        return Assessment(at_ns, verdict, findings, reasons, self._since_ns, settled_in_s)

    def _run(self, check: Check, window: Window) -> tuple[Finding, ...]:
        try:
            return check.run(window)
        except Exception:  # the edge: a fault in one check must neither stop the others nor let the verdict be GO
            if check.name not in self._logged:
                self._logged.add(check.name)
                _log.exception("the check %s failed to run", check.name)
            text = f"The check {check.name} failed to run: a fault in this program. Look at the station's log."
            return (Finding(check.name, Status.UNKNOWN, text, check.place),)

    def _remembered(self, finding: Finding, at_ns: int) -> Finding:
        """The finding with the time its status last changed; the one before where nothing has changed."""
        before = self._findings.get(finding.key)
        if before is None or before.status is not finding.status:
            return replace(finding, since_ns=at_ns)
        same = before.text == finding.text and before.value == finding.value and before.limit == finding.limit
        return before if same and before.stale == finding.stale else replace(finding, since_ns=before.since_ns)


def _reasons(against: list[Finding]) -> tuple[Finding, ...]:
    """The findings against GO, gravest first: failures, then what is not known; each in the checks' order.

    While no packet comes, that is the reason: what is unknown only because of it is left out, and it comes first
    but for failures seen before the silence that stand before it in the checks' order.
    """
    silent = any(finding.check == _LINK for finding in against)
    kept = [f for f in against if not (silent and f.stale and f.check != _LINK)]
    return tuple(sorted(kept, key=lambda f: f.status is not Status.FAIL and f.check != _LINK))


def _settling(left_s: float, settling_s: float) -> Finding:
    left = math.ceil(left_s)
    text = f"All checks pass; GO in {left} s if they go on passing."
    return Finding(
        "settling", Status.UNKNOWN, text, Place.VEHICLE, value=float(left), unit="s", limit=Limit(settling_s)
    )
