import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.config.count_plan import CountPlan
from groundstation.config.vehicle import Place
from groundstation.count import Count, CountPhase, clock_text, refusal
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import CountAction, CountOrder
from groundstation.readiness.finding import Assessment, Finding, Status, Verdict

PLAN = CountPlan.model_validate(
    {"start": "60 s", "window": "5 min", "holds": [{"at": "30 s", "text": "clear the pad"}]}
)
START, HOLD, RESUME, RESET = CountOrder.START, CountOrder.HOLD, CountOrder.RESUME, CountOrder.RESET
LOW = Finding("battery_voltage", Status.FAIL, "3.70 V per cell, at least 3.75 V allowed.", Place.BATTERY)


def at(seconds: float) -> int:
    return round(seconds * NS_PER_S)


class Staged:
    """A count that is ticked at will."""

    def __init__(self, plan: CountPlan | None = PLAN) -> None:
        self.plan = plan
        self.told: list[str] = []
        self.now_s = 0.0
        self.count = Count(plan, 0, lambda _at_ns, text: self.told.append(text))
        self.tick(0.2)

    def order(self, order: CountOrder, text: str = "") -> "Staged":
        self.count.take(CountAction(order, text), at(self.now_s))
        return self

    def tick(self, until_s: float, verdict: Verdict = Verdict.GO, liftoff_s: float | None = None) -> "Staged":
        while self.now_s < until_s - 1e-6:
            self.now_s = round(self.now_s + 0.2, 1)
            reasons = () if verdict is Verdict.GO else (LOW,)
            self.assessment = Assessment(at(self.now_s), verdict, reasons, reasons, 0)
            self.count.tick(self.assessment, None if liftoff_s is None else at(liftoff_s))
        return self

    @property
    def phase(self) -> CountPhase:
        return self.count.state.phase

    @property
    def clock(self) -> str:
        return clock_text(self.count.state.to_go(at(self.now_s)))


def test_count_stands_at_its_start_until_the_operator_starts_it() -> None:
    made = Staged().tick(10)
    assert (made.phase, made.clock) == (CountPhase.NOT_STARTED, "T−01:00")
    made.order(START).tick(15)
    assert (made.phase, made.clock) == (CountPhase.RUNNING, "T−00:55")


def test_count_holds_by_itself_at_a_planned_hold_and_goes_on_only_when_resumed() -> None:
    made = Staged().order(START).tick(50)
    assert (made.phase, made.clock) == (CountPhase.HOLDING, "T−00:30")
    assert made.count.state.why == "Planned: clear the pad."
    made.order(RESUME).tick(60)
    assert (made.phase, made.clock) == (CountPhase.RUNNING, "T−00:20")


def test_count_holds_when_the_verdict_turns_and_says_why_and_does_not_resume_at_go() -> None:
    made = Staged().order(START).tick(10).tick(11, Verdict.HOLD)
    assert made.phase is CountPhase.HOLDING
    assert made.count.state.why == f"The verdict turned HOLD. {LOW.text}"
    assert made.told[-1] == f"The count holds at T−00:50. The verdict turned HOLD. {LOW.text}"
    made.tick(40)
    assert (made.phase, made.clock) == (CountPhase.HOLDING, "T−00:50")


def test_count_is_not_started_or_resumed_at_hold() -> None:
    made = Staged().tick(1, Verdict.HOLD).order(START)
    assert made.phase is CountPhase.NOT_STARTED
    assert made.told == [f"Count not changed (start). The verdict is HOLD: the count runs only at GO. {LOW.text}"]


def test_count_held_by_the_operator_says_what_the_operator_said() -> None:
    made = Staged().order(START).tick(10).order(HOLD, "a gust").tick(20)
    assert (made.phase, made.clock) == (CountPhase.HOLDING, "T−00:51")
    assert made.count.state.why == "By the operator: a gust."


def test_count_stands_at_zero_until_liftoff_and_then_counts_up() -> None:
    made = Staged().order(START).tick(31).order(RESUME).tick(70)
    assert (made.phase, made.clock) == (CountPhase.AT_ZERO, "T−00:00")
    made.tick(72, liftoff_s=71.0)
    assert (made.phase, made.clock) == (CountPhase.FLOWN, "T+00:01")
    made.tick(171, Verdict.HOLD, liftoff_s=71.0)
    assert made.clock == "T+01:40"


def test_count_holds_when_its_window_is_over_and_must_be_set_back() -> None:
    made = Staged().order(START).tick(31).tick(320).order(RESUME)
    assert made.phase is CountPhase.HOLDING
    assert made.told[-1].endswith("The count's window is over: set it back and start anew.")
    made.order(RESET).order(START).tick(321)
    assert made.phase is CountPhase.RUNNING


def test_running_count_holds_at_the_end_of_its_window() -> None:
    made = Staged().order(START).tick(31).tick(290).order(RESUME).tick(301)
    assert made.phase is CountPhase.HOLDING
    assert made.count.state.why == "The count's window is over."


def test_without_a_plan_only_the_flight_is_counted() -> None:
    made = Staged(None).order(START)
    assert made.phase is CountPhase.NOT_STARTED
    assert made.told == [
        "Count not changed (start). There is no count: neither the vehicle file nor the station file has a [count]."
    ]
    assert made.tick(5, liftoff_s=3.0).clock == "T+00:02"


def test_fault_of_the_program_holds_the_count() -> None:
    made = Staged().order(START).tick(5)
    made.count.stop(at(6), "A fault stopped the station")
    assert made.phase is CountPhase.HOLDING


@pytest.mark.parametrize(
    ("to_go_s", "text"),
    [(600, "T−10:00"), (599.9, "T−10:00"), (0.1, "T−00:01"), (0, "T−00:00"), (-0.5, "T+00:00"), (-61.9, "T+01:01")],
)
def test_clock_counts_begun_seconds_before_and_whole_ones_after_liftoff(to_go_s, text) -> None:
    assert clock_text(at(to_go_s)) == text


moves = st.lists(
    st.one_of(
        st.sampled_from(CountOrder),
        st.tuples(st.floats(0.2, 60.0), st.sampled_from(Verdict)),
    ),
    max_size=40,
)


@given(moves)
def test_count_never_runs_by_itself_and_never_under_hold(given_moves) -> None:
    made = Staged()
    for move in given_moves:
        before = made.phase
        if isinstance(move, CountOrder):
            refused = refusal(move, PLAN, made.count.state, made.assessment)
            state = made.count.state
            made.order(move)
            assert (made.count.state is state) == (refused is not None)
            if made.phase is CountPhase.RUNNING and before is not CountPhase.RUNNING:
                assert move in (START, RESUME)
            continue
        seconds, verdict = move
        end_s = made.now_s + seconds
        while made.now_s < end_s:
            before, clock = made.phase, made.count.state.to_go(at(made.now_s))
            made.tick(made.now_s + 0.2, verdict)
            assert made.phase is not CountPhase.RUNNING or (before is CountPhase.RUNNING and verdict is Verdict.GO)
            assert 0 <= made.count.state.to_go(at(made.now_s)) <= clock


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"window": "30 s"}, "expected at least the count's 60 s"),
        ({"holds": [{"at": "60 s", "text": "late"}]}, "expected less than the start, 60 s"),
        ({"holds": [{"at": "9 s", "text": "a"}, {"at": "9 s", "text": "b"}]}, "expected each once"),
        ({"point": [{"from": "2 min"}]}, "expected less than the start, 60 s"),
    ],
)
def test_plan_that_does_not_fit_is_refused(change, text) -> None:
    with pytest.raises(ValueError, match=text):
        CountPlan.model_validate({"start": "60 s", "window": "5 min"} | change)
