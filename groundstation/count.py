"""The count: a T-minus clock that the operator starts and resumes, and that holds by itself.

It runs only while the verdict is GO. It holds by itself at a planned hold, when the verdict turns HOLD, and when its
window is over, and says why; it never starts or resumes by itself. At T−0 it stands until liftoff, from which on it
counts T+. It is moved by recorded actions and by the ticks of the assessment alone, so a replay counts alike.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from groundstation.config.count_plan import CountPlan
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import CountAction, CountOrder
from groundstation.readiness.finding import Assessment, Verdict


class CountPhase(StrEnum):
    """How the count stands."""

    NOT_STARTED = "not started"
    RUNNING = "running"
    HOLDING = "holding"
    AT_ZERO = "at zero"
    FLOWN = "flown"


@dataclass(frozen=True, slots=True)
class CountState:
    """The count from `since_ns` on, when `to_go_ns` were to go to T−0 (negative after liftoff).

    `why` says in a sentence why it holds; `closes_ns` is when its window is over.
    """

    phase: CountPhase
    since_ns: int
    to_go_ns: int
    why: str = ""
    closes_ns: int | None = None

    def to_go(self, at_ns: int) -> int:
        """Time to T−0 at a moment of this state [ns]; negative since liftoff."""
        passed_ns = at_ns - self.since_ns
        if self.phase is CountPhase.RUNNING:
            return max(0, self.to_go_ns - passed_ns)
        return self.to_go_ns - passed_ns if self.phase is CountPhase.FLOWN else self.to_go_ns


def clock_text(to_go_ns: int) -> str:
    """T−mm:ss before T−0 (a begun second counts whole), T+mm:ss after liftoff."""
    seconds = -(-to_go_ns // NS_PER_S) if to_go_ns >= 0 else -to_go_ns // NS_PER_S
    return f"T{'−' if to_go_ns >= 0 else '+'}{seconds // 60:02d}:{seconds % 60:02d}"


def refusal(
    order: CountOrder, plan: CountPlan | None, state: CountState, assessment: Assessment | None
) -> str | None:
    """Why the count does not take an order as things stand, in a sentence; None where it does."""
    phase = state.phase
    moves = phase in (CountPhase.RUNNING, CountPhase.AT_ZERO)
    if plan is None:
        return "There is no count: neither the vehicle file nor the station file has a [count]."
    if phase is CountPhase.FLOWN:
        return "The vehicle has lifted off: the count takes no more orders."
    if order is CountOrder.HOLD:
        return None if moves else f"The count is {phase}: it does not run."
    if order is CountOrder.RESET:
        held = phase in (CountPhase.HOLDING, CountPhase.AT_ZERO)
        return None if held else f"The count is {phase}: it is set back only from a hold."
    if order is CountOrder.START and phase is not CountPhase.NOT_STARTED:
        return f"The count is {phase}: it has been started already."
    if order is CountOrder.RESUME and phase is not CountPhase.HOLDING:
        return f"The count is {phase}: only one that holds is resumed."
    if assessment is None or assessment.verdict is not Verdict.GO:
        return f"The verdict is HOLD: the count runs only at GO. {_first_reason(assessment)}".rstrip()
    if state.closes_ns is not None and assessment.at_ns >= state.closes_ns:
        return "The count's window is over: set it back and start anew."
    return None


class Count:
    """One session's count.

    Args:
        plan: From the station file or the vehicle file; None where neither has one, and then only T+ is counted.
        started_ns: The session's start.
        tell: Called with the time [ns] and a sentence whenever something becomes of the count.
    """

    def __init__(self, plan: CountPlan | None, started_ns: int, tell: Callable[[int, str], None]) -> None:
        self._plan = plan
        self._start_ns = 0 if plan is None else round(plan.start_s * NS_PER_S)
        self._window_ns = 0 if plan is None else round(plan.window_s * NS_PER_S)
        self._holds = () if plan is None else tuple((round(h.at_s * NS_PER_S), h.text) for h in plan.holds)
        self._tell = tell
        self._assessment: Assessment | None = None
        self.state = CountState(CountPhase.NOT_STARTED, started_ns, self._start_ns)

    def take(self, action: CountAction, at_ns: int) -> None:
        """Take the operator's order at `at_ns`, by the verdict of the newest tick."""
        state, order = self.state, action.order
        against = refusal(order, self._plan, state, self._assessment)
        to_go_ns = state.to_go(at_ns)
        if against is not None:
            self._tell(at_ns, f"Count not changed ({order}). {against}")
        elif order is CountOrder.START:
            self._become(CountPhase.RUNNING, at_ns, self._start_ns, closes_ns=at_ns + self._window_ns)
            self._tell(at_ns, f"The count was started at {clock_text(self._start_ns)}.")
        elif order is CountOrder.RESUME:
            self._become(CountPhase.RUNNING, at_ns, to_go_ns, closes_ns=state.closes_ns)
            self._tell(at_ns, f"The count was resumed at {clock_text(to_go_ns)}.")
        elif order is CountOrder.HOLD:
            self._hold(at_ns, to_go_ns, f"By the operator: {action.text}" if action.text else "By the operator")
        else:
            self._become(CountPhase.NOT_STARTED, at_ns, self._start_ns)
            self._tell(at_ns, f"The count was set back to {clock_text(self._start_ns)}.")

    def tick(self, assessment: Assessment, liftoff_ns: int | None) -> None:
        """What the tick of an assessment makes of the count; `liftoff_ns` once a liftoff has been called."""
        self._assessment = assessment
        state, at_ns = self.state, assessment.at_ns
        to_go_ns = state.to_go(at_ns)
        if liftoff_ns is not None:
            if state.phase is not CountPhase.FLOWN:
                self._become(CountPhase.FLOWN, at_ns, liftoff_ns - at_ns)
                self._tell(at_ns, f"Liftoff, with the count {state.phase} at {clock_text(to_go_ns)}.")
            return
        if state.phase not in (CountPhase.RUNNING, CountPhase.AT_ZERO):
            return
        planned = [hold for hold in self._holds if state.to_go_ns > hold[0] >= to_go_ns]
        why = [f"Planned: {text}" for _, text in planned[:1]]
        if assessment.verdict is not Verdict.GO:
            why.append(f"The verdict turned HOLD. {_first_reason(assessment)}".rstrip())
        if state.closes_ns is not None and at_ns >= state.closes_ns:
            why.append("The count's window is over")
        if why:
            self._hold(at_ns, planned[0][0] if planned else to_go_ns, ". ".join(w.rstrip(".") for w in why))
        elif to_go_ns == 0 and state.phase is CountPhase.RUNNING:
            self._become(CountPhase.AT_ZERO, at_ns, 0, closes_ns=state.closes_ns)
            self._tell(at_ns, "The count reached T−0.")

    def stop(self, at_ns: int, why: str) -> None:
        """Hold because nothing can be judged any more."""
        if self.state.phase in (CountPhase.RUNNING, CountPhase.AT_ZERO):
            self._hold(at_ns, self.state.to_go(at_ns), why)

    def _hold(self, at_ns: int, to_go_ns: int, why: str) -> None:
        why = why.rstrip(".") + "."
        self._become(CountPhase.HOLDING, at_ns, to_go_ns, why=why, closes_ns=self.state.closes_ns)
        self._tell(at_ns, f"The count holds at {clock_text(to_go_ns)}. {why}")

    def _become(
        self, phase: CountPhase, at_ns: int, to_go_ns: int, *, why: str = "", closes_ns: int | None = None
    ) -> None:
        self.state = CountState(phase, at_ns, to_go_ns, why, closes_ns)


def _first_reason(assessment: Assessment | None) -> str:
    return assessment.reasons[0].text if assessment is not None and assessment.reasons else ""
