import pytest

from groundstation.readiness.finding import Status, Verdict
from groundstation.state import RestartSign

from .conftest import Pad, example_pad

CLOCK, COUNTER, RESET_COUNT = RestartSign


def restarted(pad: Pad, *restarts: tuple[float, int, RestartSign]) -> Pad:
    pad.restarts = restarts
    return pad


RESTART_FAULTS = [
    (
        "started anew",
        lambda p: restarted(p, (3.0, 1, COUNTER), (3.2, 1, RESET_COUNT)),
        "no_restart",
        "anew 3.0 s after the session began: its packet counter began again and its count of starts changed.",
    ),
    (
        "started anew again and again",
        lambda p: restarted(p, (3.0, 1, CLOCK), (5.0, 2, CLOCK), (7.0, 3, CLOCK)),
        "no_restart",
        "anew 3 times, the last 7.0 s after the session began: its clock began again.",
    ),
]


def test_a_start_anew_holds_from_its_packet_on_and_does_not_pass_again() -> None:
    pad = restarted(example_pad(seconds=60.0), (7.0, 1, CLOCK))
    assert pad.finding("no_restart", 6.9).status is Status.PASS
    assert {pad.finding("no_restart", at_s).status for at_s in (7.0, 20.0, 59.0)} == {Status.FAIL}


def test_what_is_seen_later_is_not_in_the_sentence_yet() -> None:
    pad = restarted(example_pad(seconds=9.0), (7.0, 1, COUNTER), (7.2, 1, RESET_COUNT), (8.0, 2, CLOCK))
    assert "its packet counter began again. " in pad.finding("no_restart", 7.1).text


@pytest.mark.parametrize("left", [("sequence",), ("vehicle_time",), ("reset_count",), ()])
def test_any_of_clock_counter_and_count_of_starts_is_enough_and_none_is_unknown(left: tuple[str, ...]) -> None:
    gone = {"sequence", "vehicle_time", "reset_count"} - set(left)
    finding = example_pad(seconds=6.0).drop(*gone).finding("no_restart")
    assert finding.status is (Status.PASS if left else Status.UNKNOWN)
    assert left or "sends none of sequence, vehicle_time, reset_count" in finding.text


def test_before_the_first_packet_it_is_not_known() -> None:
    finding = example_pad(seconds=6.0).finding("no_restart", 0.01)
    assert (finding.status, finding.stale) == (Status.UNKNOWN, True)


def test_the_verdict_holds_for_it_alone() -> None:
    assert example_pad(seconds=20.0).assessments()[-1].verdict is Verdict.GO
    last = restarted(example_pad(seconds=20.0), (12.0, 1, RESET_COUNT)).assessments()[-1]
    assert (last.verdict, [r.check for r in last.reasons]) == (Verdict.HOLD, ["no_restart"])
