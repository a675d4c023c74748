import logging
import math

import pytest

from groundstation.config.vehicle import Place
from groundstation.inputs import NS_PER_S
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.check import Check, Outcome, check
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Status, Verdict
from groundstation.readiness.window import Unknown, Window

TICK_NS = 200_000_000


def told_by(outcomes, pad, **limits):
    """Assessments of one check that says these statuses (or raises what is no status), tick after tick."""
    said = iter(outcomes)

    @check(Place.VEHICLE)
    def scripted(window: Window) -> list[Outcome]:
        """Says what it is told to."""
        status = next(said)
        if isinstance(status, Exception):
            raise status
        return [Outcome(status, f"It is {status}.")]

    made = pad(seconds=1.0).timeline()
    assessor = Assessor(made.vehicle, [scripted])
    return [assessor.assess(Window(made, made.started_ns + k * TICK_NS)) for k in range(len(outcomes))]


PASS, FAIL, UNKNOWN, WAIVED = Status.PASS, Status.FAIL, Status.UNKNOWN, Status.WAIVED


def test_go_comes_after_the_settling_time_and_not_a_tick_sooner(pad) -> None:
    told = told_by([PASS] * 60, pad)
    verdicts = [a.verdict for a in told]
    assert verdicts == [Verdict.HOLD] * 50 + [Verdict.GO] * 10
    assert told[50].reasons == ()
    assert told[50].settled_in_s is None
    assert told[55].since_ns == told[50].at_ns


def test_settling_says_how_long_it_lasts(pad) -> None:
    told = told_by([FAIL] + [PASS] * 60, pad)
    assert [f.check for f in told[1].reasons] == ["settling"]
    assert told[1].settled_in_s == pytest.approx(10.0, abs=1e-9)
    assert told[1].reasons[0].text == "All checks pass; GO in 10 s if they go on passing."
    assert told[22].settled_in_s == pytest.approx(5.8, abs=1e-9)
    assert told[22].reasons[0].text == "All checks pass; GO in 6 s if they go on passing."
    assert told[22].reasons[0].since_ns == told[1].at_ns
    assert "settling" not in {f.check for f in told[22].findings}
    assert len({a.reasons[0].text for a in told[1:51]}) == 10


@pytest.mark.parametrize("break_with", [FAIL, UNKNOWN])
def test_one_tick_that_does_not_pass_holds_at_once_and_starts_the_settling_anew(pad, break_with) -> None:
    told = told_by([PASS] * 55 + [break_with] + [PASS] * 55, pad)
    verdicts = [a.verdict for a in told]
    assert verdicts[50:55] == [Verdict.GO] * 5
    assert verdicts[55] is Verdict.HOLD
    assert [f.status for f in told[55].reasons] == [break_with]
    assert verdicts[56:106] == [Verdict.HOLD] * 50
    assert verdicts[106] is Verdict.GO


def test_break_during_settling_starts_it_anew(pad) -> None:
    told = told_by([PASS] * 40 + [FAIL] + [PASS] * 51, pad)
    assert [a.verdict for a in told[:91]] == [Verdict.HOLD] * 91
    assert told[91].verdict is Verdict.GO


def test_waived_finding_does_not_stand_against_go(pad) -> None:
    told = told_by([WAIVED] * 60, pad)
    assert told[-1].verdict is Verdict.GO
    assert told[-1].findings[0].status is WAIVED


def test_since_is_when_the_status_last_changed(pad) -> None:
    told = told_by([PASS, PASS, FAIL, FAIL, UNKNOWN, PASS, PASS], pad)
    since = [(a.findings[0].since_ns - told[0].at_ns) // TICK_NS for a in told]
    assert since == [0, 0, 2, 2, 4, 5, 5]


def test_finding_that_stays_the_same_is_the_same_object(pad) -> None:
    told = told_by([PASS] * 3, pad)
    assert told[0].findings[0] is told[2].findings[0]


def test_check_that_breaks_is_unknown_and_logged_once_and_never_go(pad, caplog) -> None:
    with caplog.at_level(logging.ERROR):
        told = told_by([PASS] * 51 + [ZeroDivisionError("by nothing")] * 3, pad)
    assert told[50].verdict is Verdict.GO
    assert [a.verdict for a in told[51:]] == [Verdict.HOLD] * 3
    assert told[51].findings[0].status is UNKNOWN
    assert "scripted failed to run" in told[51].findings[0].text
    assert len(caplog.records) == 1
    assert "scripted" in caplog.text
    assert "by nothing" in caplog.text


def test_other_checks_run_where_one_breaks(pad) -> None:
    def broken(window):
        raise KeyError("gone")

    made = pad().timeline()
    bad = Check("broken", Place.VEHICLE, "A check that breaks.", broken, (), lambda vehicle: [])
    told = Assessor(made.vehicle, [bad, *CHECKS]).assess(Window(made, made.now_ns + 5 * NS_PER_S))
    assert [f.check for f in told.reasons] == ["broken"]
    assert {c.name for c in CHECKS if c.name.endswith("stuck")} < {f.check for f in told.findings}


def test_unknown_raised_by_a_rule_is_its_finding(pad) -> None:
    told = told_by([Unknown("Nobody has looked.", stale=True)], pad)
    assert (told[0].findings[0].status, told[0].findings[0].text) == (UNKNOWN, "Nobody has looked.")
    assert told[0].findings[0].stale


def test_no_checks_at_all_is_hold(pad) -> None:
    made = pad(seconds=1.0).timeline()
    assessor = Assessor(made.vehicle, [])
    told = [assessor.assess(Window(made, made.started_ns + k * NS_PER_S)) for k in range(20)]
    assert {a.verdict for a in told} == {Verdict.HOLD}


def test_failures_come_before_what_is_unknown_each_in_the_order_of_the_checks(pad) -> None:
    p = pad().set("pyro_1_resistance", math.nan).set("battery_voltage", 11.0).set("temperature", 340.0)
    told = p.assessments()[-1]
    assert [(f.check, f.status) for f in told.reasons] == [
        ("battery_voltage", FAIL),
        ("battery_minutes", FAIL),
        ("temperature_range", FAIL),
        ("values_possible", FAIL),
        ("pyro_circuit", UNKNOWN),
    ]


def test_silence_is_the_first_reason_and_what_is_stale_behind_it_is_no_reason(pad) -> None:
    p = pad(seconds=30.0).drop("gyro_y")
    p.silent = {"motion": (20.0, math.inf), "health": (20.0, math.inf)}
    told = p.assessments()[-1]
    assert [f.check for f in told.reasons] == ["packet_age", "required_measurements"]
    assert told.reasons[0].text.startswith("No packet has come for 10 s, 1.2 s allowed.")
    stale = [f for f in told.findings if f.stale]
    assert len(stale) >= 15
    assert all(f.status is UNKNOWN for f in stale)


def test_what_is_stale_behind_damaged_frames_is_no_reason(pad) -> None:
    told = pad(seconds=20.0, damage=(0.97, 14.0, 99.0), seed=3).assessments()[-1]
    assert {f.check for f in told.findings if f.stale} >= {"gyro_rest", "tilt"}
    assert {f.check for f in told.reasons} <= {"packet_age", "packet_loss", "frame_damage"}
    assert "frame_damage" in {f.check for f in told.reasons}


def test_before_the_first_packet_the_link_is_the_only_reason(pad) -> None:
    told = pad(seconds=2.0, silent={"motion": (0.0, 9.0), "health": (0.0, 9.0)}).assessments()[-1]
    assert [f.check for f in told.reasons] == ["packet_age"]
    assert told.reasons[0].status is UNKNOWN


def test_one_kind_of_packet_that_stops_is_named_while_the_link_is_up(pad) -> None:
    told = pad(seconds=12.0, silent={"health": (6.0, 99.0)}).assessments()[-1]
    assert "packet_age" not in {f.check for f in told.reasons}
    assert "battery_voltage" in {f.check for f in told.reasons}
    assert all("health packet" in f.text for f in told.reasons)


def test_silence_holds_within_its_limit_and_go_returns_after_settling(pad) -> None:
    p = pad(seconds=40.0, silent={"motion": (20.0, 24.0), "health": (20.0, 24.0)})
    told = p.assessments()
    at = {round(k * 0.2 + 0.2, 1): a for k, a in enumerate(told)}
    assert at[21.0].verdict is Verdict.GO
    assert at[21.4].verdict is Verdict.HOLD
    back = next(t for t, a in at.items() if t > 24.0 and a.verdict is Verdict.GO)
    assert 34.0 <= back <= 36.0


def test_since_starts_anew_for_a_finding_that_had_gone(pad) -> None:
    said = iter([[1, 2], [1], [1, 2]])

    @check(Place.VEHICLE)
    def channels(window: Window) -> list[Outcome]:
        """One outcome a channel."""
        return [Outcome(PASS, "Well.", channel=n) for n in next(said)]

    made = pad(seconds=1.0).timeline()
    assessor = Assessor(made.vehicle, [channels])
    told = [assessor.assess(Window(made, made.started_ns + k * TICK_NS)) for k in range(3)]
    assert [f.since_ns - made.started_ns for f in told[2].findings] == [0, 2 * TICK_NS]
