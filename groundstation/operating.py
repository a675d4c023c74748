"""Whether what the operator wants to do can be done as a session stands; the same rules the core goes by."""

from groundstation import count
from groundstation.operator_actions import (
    GREATEST_WAIVER_S,
    LEAST_WAIVER_S,
    Action,
    CountAction,
    Note,
    TakeBack,
    Waive,
    key_text,
    plain,
)
from groundstation.readiness import waiving
from groundstation.readiness.finding import Status
from groundstation.timeline import Timeline


def refusal(action: Action, timeline: Timeline) -> str | None:
    """Why an action is refused at the timeline's present, in a sentence; None where it is taken."""
    assessment = timeline.assessment_at(timeline.now_ns)
    findings = {} if assessment is None else {finding.key: finding for finding in assessment.findings}
    if isinstance(action, CountAction):
        return count.refusal(action.order, timeline.vehicle.count, timeline.counts[-1], assessment)
    if isinstance(action, Note):
        return None if plain(action.text) else "The note is empty."
    finding = findings.get(action.key)
    if isinstance(action, TakeBack):
        waived = finding is not None and finding.status is Status.WAIVED
        return None if waived else f"The finding {key_text(action.key).replace('_', ' ')} is not waived now."
    return _waiving(action) or waiving.refusal(action.key, finding)


def _waiving(action: Waive) -> str | None:
    if not LEAST_WAIVER_S <= action.seconds <= GREATEST_WAIVER_S:
        return f"A waiver is for 1 s to {GREATEST_WAIVER_S // 3600} h, found {action.seconds} s."
    return None if plain(action.reason) else "A waiver needs a reason: say why the finding may be set aside."
