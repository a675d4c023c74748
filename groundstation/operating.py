"""Whether what the operator wants to do can be done as a session stands; the same rules the core goes by."""

from groundstation import count
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import (
    GREATEST_WAIVER_S,
    LEAST_WAIVER_S,
    Action,
    CountAction,
    Note,
    TakeBack,
    Waiving,
    key_text,
    plain,
    until_ns,
)
from groundstation.readiness import waiving
from groundstation.readiness.finding import Status
from groundstation.timeline import Timeline


def refusal(action: Action, timeline: Timeline) -> str | None:
    """Why an action is refused at the timeline's present, in a sentence; None where it is taken."""
    assessment = timeline.assessment_at(timeline.now_ns)
    findings = {} if assessment is None else {finding.key: finding for finding in assessment.findings}
    if isinstance(action, CountAction):
        return count.refusal(action.order, timeline.count_plan, timeline.counts[-1], assessment)
    if isinstance(action, Note):
        return None if plain(action.text) else "The note is empty."
    finding = findings.get(action.key)
    if isinstance(action, TakeBack):
        waived = finding is not None and finding.status is Status.WAIVED
        return None if waived else f"The finding {key_text(action.key).replace('_', ' ')} is not waived now."
    return _waiving(action, timeline.now_ns) or waiving.refusal(action.key, finding)


def _waiving(action: Waiving, now_ns: int) -> str | None:
    seconds = (until_ns(action, now_ns) - now_ns) / NS_PER_S
    if not LEAST_WAIVER_S <= seconds <= GREATEST_WAIVER_S:
        return f"A waiver is for 1 s to {GREATEST_WAIVER_S // 3600} h, found {seconds:.0f} s."
    return None if plain(action.reason) else "A waiver needs a reason: say why the finding may be set aside."
