import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.config.vehicle import Place
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import TakeBack, Waive
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Finding, Limit, Status, Verdict
from groundstation.readiness.waiving import NOT_WAIVABLE, Waivers, refusal, worsened
from groundstation.readiness.window import Window

TICK_NS = 200_000_000
KEY = ("tilt", None)
PASS, FAIL, UNKNOWN, WAIVED = Status.PASS, Status.FAIL, Status.UNKNOWN, Status.WAIVED
AT_MOST_8 = Limit(None, 8.0)


def finding(status: Status, value: float | None = None, *, limit: Limit = AT_MOST_8, text: str = "It leans 9 deg."):
    return Finding("tilt", status, text, Place.VEHICLE, None, value, "deg", limit, since_ns=1)


def waivers() -> tuple[Waivers, list[str]]:
    told: list[str] = []
    return Waivers(lambda _at_ns, text: told.append(text)), told


def followed(findings: list[Finding], *, seconds: int = 600) -> list[Status]:
    """What becomes of a finding that is waived at the first of these ticks."""
    made, _ = waivers()
    made.take(Waive(KEY, seconds, "seen"), 0)
    return [made.applied((f,), k * TICK_NS)[0].status for k, f in enumerate(findings, 1)]


@pytest.mark.parametrize(
    ("then", "now", "is_worse"),
    [
        (finding(UNKNOWN), finding(FAIL, 9.0), True),
        (finding(UNKNOWN), finding(UNKNOWN, text="Another reason."), False),
        (finding(FAIL, 9.0), finding(FAIL, 9.7), False),  # a tenth of 8 is 0.8
        (finding(FAIL, 9.0), finding(FAIL, 9.81), True),
        (finding(FAIL, 9.0), finding(FAIL, 8.1), False),
        (finding(FAIL, 9.0), finding(PASS, 7.0), False),
        (finding(FAIL, 9.0), finding(UNKNOWN), False),
        (finding(FAIL, 0.7, limit=Limit(0.8, 3.0)), finding(FAIL, 3.1, limit=Limit(0.8, 3.0)), True),
        (finding(FAIL, 3.1, limit=Limit(0.8, 3.0)), finding(FAIL, 3.3, limit=Limit(0.8, 3.0)), False),
        (finding(FAIL, 3.1, limit=Limit(0.8, 3.0)), finding(FAIL, 3.4, limit=Limit(0.8, 3.0)), True),
        (finding(FAIL, text="It dropped out 2 times."), finding(FAIL, text="It dropped out 3 times."), False),
        (finding(FAIL, text="The pin is in."), finding(FAIL, text="The pin is wired wrong."), True),
        (finding(FAIL, 9.0), finding(FAIL, text="The sensor is stuck."), True),
    ],
)
def test_worse_is_unknown_to_fail_or_further_outside_or_another_fault(then, now, is_worse) -> None:
    assert worsened(then, now) is is_worse


def test_waiver_covers_the_finding_until_its_time_and_not_a_tick_longer() -> None:
    statuses = followed([finding(FAIL, 9.0)] * 12, seconds=2)
    assert statuses == [WAIVED] * 9 + [FAIL] * 3


def test_waiver_ends_when_the_condition_worsens_and_does_not_come_back() -> None:
    assert followed([finding(FAIL, 9.0), finding(FAIL, 11.0), finding(FAIL, 9.0)]) == [WAIVED, FAIL, FAIL]


def test_waiver_of_a_failure_does_not_cover_what_is_not_known() -> None:
    assert followed([finding(FAIL, 9.0), finding(UNKNOWN), finding(FAIL, 9.0)]) == [WAIVED, UNKNOWN, WAIVED]


def test_waiver_of_an_unknown_covers_it_while_it_is_unknown() -> None:
    assert followed([finding(UNKNOWN), finding(UNKNOWN), finding(PASS), finding(UNKNOWN)]) == [
        WAIVED,
        WAIVED,
        PASS,
        WAIVED,
    ]


def test_waiver_taken_back_ends_at_once() -> None:
    made, told = waivers()
    made.take(Waive(KEY, 600, "seen"), 0)
    assert made.applied((finding(FAIL, 9.0),), 1)[0].status is WAIVED
    made.take(TakeBack(KEY), 2)
    assert made.applied((finding(FAIL, 9.0),), 3)[0].status is FAIL
    assert told[-1] == "The waiver of tilt was taken back."


def test_waived_finding_keeps_its_words_and_says_why_and_until_when() -> None:
    made, told = waivers()
    made.take(Waive(KEY, 120, "leans with the wind"), 5)
    raw = finding(FAIL, 9.0)
    first = made.applied((raw,), 7)[0]
    assert first == raw._replace(status=WAIVED, since_ns=7, waiver=first.waiver)
    assert first.waiver is not None
    assert (first.waiver.reason, first.waiver.until_ns) == ("leans with the wind", 5 + 120 * NS_PER_S)
    assert made.applied((raw,), 8)[0] is first
    assert told == ["Waived tilt for 2 min: leans with the wind."]


@pytest.mark.parametrize("name", sorted(NOT_WAIVABLE))
def test_what_cannot_be_waived_is_refused_with_a_sentence(name) -> None:
    key, stood = (name, None), finding(FAIL, 9.0)._replace(check=name)
    assert str(refusal(key, stood)).startswith(f"The finding {name.replace('_', ' ')} cannot be waived: ")
    made, told = waivers()
    made.take(Waive(key, 600, "in a hurry"), 0)
    assert made.applied((stood,), 1) == (stood,)
    assert told[0].startswith("Not waived. ")


def test_what_passes_or_is_not_there_is_not_waived() -> None:
    assert refusal(KEY, finding(PASS, 7.0)) == "The finding tilt passes: there is nothing to waive."
    assert refusal(("tlit", None), None) == "There is no finding tlit to waive."
    assert followed([finding(PASS, 7.0), finding(FAIL, 9.0)]) == [PASS, FAIL]


steps = st.lists(
    st.tuples(
        st.sampled_from([PASS, FAIL, UNKNOWN]),
        st.floats(0.0, 20.0),
        st.sampled_from(["", "waive", "take back"]),
        st.integers(1, 30),
    ),
    max_size=60,
)


@given(steps, st.sampled_from(["tilt", *NOT_WAIVABLE]))
def test_no_waiver_outlives_its_time_or_covers_what_cannot_be_waived(given_steps, name) -> None:
    made, _ = waivers()
    key, until_ns = (name, None), 0
    for k, (status, value, act, seconds) in enumerate(given_steps, 1):
        at_ns = k * NS_PER_S
        if act == "waive":
            made.take(Waive(key, seconds, "so"), at_ns)
            until_ns = max(until_ns, at_ns + seconds * NS_PER_S)
        elif act == "take back":
            made.take(TakeBack(key), at_ns)
            until_ns = 0
        raw = finding(status, value)._replace(check=name)
        (told,) = made.applied((raw,), at_ns)
        if told.status is WAIVED:
            assert at_ns < until_ns
            assert name not in NOT_WAIVABLE
            assert status is not PASS
        else:
            assert told == raw


@pytest.mark.parametrize("name", sorted(NOT_WAIVABLE))
def test_verdict_is_never_go_on_what_cannot_be_waived(pad, name) -> None:
    def always(window: Window) -> list[Outcome]:
        """Fails."""
        return [Outcome(FAIL, "It fails.")]

    always.__name__ = name
    made = pad(seconds=1.0).timeline()
    assessor, (held, _) = Assessor(made.vehicle, [check(Place.VEHICLE)(always)]), waivers()
    for k in range(100):
        held.take(Waive((name, None), 600, "please"), made.started_ns + k * TICK_NS)
        told = assessor.assess(Window(made, made.started_ns + k * TICK_NS), held)
        assert told.verdict is Verdict.HOLD


def test_verdict_settles_to_go_with_a_waiver_and_holds_at_once_without_it(pad) -> None:
    @check(Place.VEHICLE)
    def tilt(window: Window) -> list[Outcome]:
        """Leans."""
        return [Outcome(FAIL, "It leans 9 deg.", 9.0, "deg", AT_MOST_8)]

    made = pad(seconds=1.0).timeline()
    assessor, (held, _) = Assessor(made.vehicle, [tilt]), waivers()
    held.take(Waive(KEY, 20, "seen"), made.started_ns)
    told = [assessor.assess(Window(made, made.started_ns + k * TICK_NS), held) for k in range(120)]
    verdicts = [a.verdict for a in told]
    assert verdicts == [Verdict.HOLD] * 50 + [Verdict.GO] * 50 + [Verdict.HOLD] * 20
    assert [f.key for f in told[60].waived] == [KEY]
    assert told[60].reasons == ()
