"""The count and the operator's panel at a cursor, in words: what can be done now, what is waived, what was done."""

from dataclasses import dataclass
from datetime import tzinfo

from dashboard import wording
from groundstation.count import CountPhase, clock_text, refusal
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import CountOrder, key_text
from groundstation.readiness import waiving
from groundstation.readiness.finding import Assessment, Finding
from groundstation.timeline import Timeline

LOG_LINES = 12


@dataclass(frozen=True, slots=True)
class CountText:
    """The count's clock, empty where none is kept; how it stands, in a word and, where it holds, a sentence."""

    clock: str
    word: str
    why: str
    ahead: str
    orders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Named:
    """A finding that can be waived or is waived: its name as it is recorded, its label, and what is to be said."""

    check: str
    channel: int | None
    label: str
    text: str


@dataclass(frozen=True, slots=True)
class OperatorText:
    """All words of the operator's panel."""

    count: CountText
    waivable: tuple[Named, ...]
    waived: tuple[Named, ...]
    log: tuple[str, ...]


def operator_text(timeline: Timeline, assessment: Assessment | None, at_ns: int, zone: tzinfo | None) -> OperatorText:
    """The panel's words at `at_ns`."""
    findings = () if assessment is None else assessment.findings
    log = timeline.log_until(at_ns)[-LOG_LINES:]
    return OperatorText(
        count=count_text(timeline, assessment, at_ns),
        waivable=tuple(_named(f, f.text) for f in findings if f.waiver is None and not waiving.refusal(f.key, f)),
        waived=tuple(_named(f, waived_text(f, at_ns, zone)) for f in findings if f.waiver is not None),
        log=tuple(f"{wording.clock(line.at_ns, zone)}  {line.text}" for line in reversed(log)),
    )


def count_text(timeline: Timeline, assessment: Assessment | None, at_ns: int) -> CountText:
    """The count's words at `at_ns`."""
    plan, state = timeline.count_plan, timeline.count_at(at_ns)
    if state is None or (plan is None and state.phase is not CountPhase.FLOWN):
        return CountText("", "", "", "", ())
    to_go_ns = state.to_go(at_ns)
    orders = tuple(order.value for order in CountOrder if refusal(order, plan, state, assessment) is None)
    ahead = ""
    if plan is not None and state.phase in (CountPhase.NOT_STARTED, CountPhase.RUNNING, CountPhase.HOLDING):
        holds = [hold for hold in plan.holds if hold.at_s * NS_PER_S < to_go_ns]
        if holds:
            nearest = max(holds, key=lambda hold: hold.at_s)
            ahead = f"Next hold at {clock_text(round(nearest.at_s * NS_PER_S))}: {nearest.text}."
    if state.phase is CountPhase.NOT_STARTED and not orders:
        ahead = "The count starts at GO."
    word = "since liftoff" if state.phase is CountPhase.FLOWN else state.phase.value
    return CountText(clock_text(to_go_ns), word, state.why, ahead, orders)


def waived_text(finding: Finding, at_ns: int, zone: tzinfo | None) -> str:
    """Until when a finding is waived, for how long yet, and why."""
    if finding.waiver is None:
        return ""
    until = wording.clock(finding.waiver.until_ns, zone)
    left = wording.duration(max(0, finding.waiver.until_ns - at_ns) / NS_PER_S)
    return f"The waiver ends in {left}, at {until}: {finding.waiver.reason.removesuffix('.')}."


def _named(finding: Finding, text: str) -> Named:
    check, channel = finding.key
    return Named(check, channel, key_text(finding.key).replace("_", " "), text)
