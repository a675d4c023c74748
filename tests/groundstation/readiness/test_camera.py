import numpy as np
import pytest

from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def switched(pad, *, on_s=3.0, off_s=np.inf, draws_a=0.3):
    """The camera runs for a while."""
    pad.changes["camera_on"] = lambda t, v: ((t >= on_s) & (t < off_s)).astype(float)
    pad.changes["battery_current"] = lambda t, v: np.where((t >= on_s) & (t < off_s), v + draws_a, v)
    return pad


def planned(pad, plan):
    pad.vehicle["camera"]["on_pad"] = plan
    return pad


def long_on(pad):
    pad.seconds, pad.vehicle["camera"]["longest_on"] = 80.0, "60 s"
    return switched(pad)


def disagreeing(pad):
    pad.vehicle["telemetry"]["packet"][1]["fields"][10]["bits"].pop()
    pad.vehicle["telemetry"]["packet"][1]["fields"][10]["bits"].append(
        {"name": "ch3", "at": 6, "meaning": "pyro_3_energised"}
    )
    return switched(pad)


CAMERA_FAULTS = [
    ("camera on too early", lambda p: planned(switched(p), "off"), "camera_state", "on, off planned"),
    ("camera forgotten", lambda p: planned(p, "on"), "camera_state", "switch it on"),
    ("camera on too long", long_on, "camera_state", "on for 1.3 min"),
    ("camera's channel disagrees", disagreeing, "camera_state", "but channel 3 is off"),
    ("camera says on, draws nothing", lambda p: switched(p, draws_a=0.02), "camera_draw", "not running"),
    ("camera's leads short", lambda p: switched(p, draws_a=2.0), "camera_draw", "may be shorted"),
    ("camera runs although off", lambda p: p.add("battery_current", 0.3), "camera_draw", "may run all the same"),
]


def test_vehicle_without_a_camera_has_no_finding_of_one(pad) -> None:
    p = pad()
    del p.vehicle["camera"]
    p.drop("camera_on")
    assert p.findings("camera_state") == p.findings("camera_draw") == ()
    assert p.finding("required_measurements").status is PASS


def test_camera_the_file_states_but_the_vehicle_does_not_send_is_unknown(pad) -> None:
    assert "camera_on" in pad().drop("camera_on").finding("camera_state").text
    assert pad().drop("camera_on").finding("required_measurements").status is UNKNOWN
    assert "battery_current" in pad().drop("battery_current").finding("camera_draw").text


def test_draw_is_the_step_when_the_camera_was_switched(pad) -> None:
    on = switched(pad(seconds=12.0), draws_a=0.29).finding("camera_draw")
    assert (on.status, on.value) == (PASS, pytest.approx(0.29, abs=0.02))
    off = switched(pad(seconds=30.0), on_s=5.0, off_s=15.0, draws_a=0.29).finding("camera_draw")
    assert (off.status, off.value) == (PASS, pytest.approx(0.29, abs=0.02))
    never = pad(seconds=12.0).finding("camera_draw")
    assert never.text == "The camera is off; its draw has not been seen yet."


def test_camera_on_since_before_the_session_is_judged_by_the_boards_current(pad) -> None:
    p = switched(pad(seconds=9.0), on_s=-1.0, draws_a=0.29)
    assert p.finding("camera_draw").status is PASS
    assert switched(pad(seconds=9.0), on_s=-1.0, draws_a=0.05).finding("camera_draw").status is FAIL
    del p.vehicle["loads"]["board"]
    assert "not been seen yet" in p.finding("camera_draw").text


def test_camera_just_switched_on_is_not_yet_judged(pad) -> None:
    assert switched(pad(seconds=4.0), draws_a=0.02).finding("camera_draw").status is PASS


def test_camera_switched_off_after_a_long_time_on_is_not_taken_to_run_all_the_same(pad) -> None:
    for since_s in (1.0, 2.5, 4.5, 7.0):
        p = switched(pad(seconds=150.0 + since_s), on_s=-1.0, off_s=150.0, draws_a=0.29)
        assert p.finding("camera_draw").status is PASS


def test_leaving_the_camera_on_is_priced_in_minutes(pad) -> None:
    # 0.5 A with it, 0.2 A without: a minute on takes what two and a half minutes without it would.
    text = switched(pad(seconds=8.0)).finding("camera_state").text
    assert text == (
        "The camera has been on for 0 min, at most 10 min allowed. "
        "Each minute on costs 2.5 min of waiting without it."
    )
