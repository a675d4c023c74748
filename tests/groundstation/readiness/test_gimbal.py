import math

import numpy as np
import pytest

from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN
DEG = math.radians(1.0)


def sweep(pad, *, axis="x", amplitude_deg=5.5, gain=1.0, lag_s=0.03, since=3.0, until=9.0):
    """A sweep of one axis between `since` and `until`, as a flight computer would run it."""

    def wave(t):
        inside = (t >= since) & (t < until)
        return np.where(inside, amplitude_deg * DEG * np.sin(2 * math.pi * (t - since) / 3.0), 0.0)

    pad.changes[f"gimbal_{axis}_command"] = lambda t, v: wave(t)
    pad.changes[f"gimbal_{axis}_angle"] = lambda t, v: v + gain * wave(t - lag_s)
    return pad


def loose(pad):
    pad.changes["gimbal_y_angle"] = lambda t, v: v + 0.5 * DEG * np.sign(np.sin(1.3 * t))
    return pad


def off_command(pad):
    pad.changes["gimbal_x_command"] = lambda t, v: v + 0.4 * DEG
    pad.changes["gimbal_x_angle"] = lambda t, v: v - 0.9 * DEG
    return pad


def leant(pad, gain, *, axis="x"):
    """Leant by hand to ten degrees and back, the gimbal deflecting by `gain` times the lean about the same axis."""

    def lean(t):
        return math.radians(10.0) * np.sin(2 * math.pi * (t - 4.0) / 8.0) * ((t >= 4.0) & (t < 20.0))

    pad.seconds = 24.0
    pad.changes["attitude_w"] = lambda t, v: np.cos(lean(t) / 2)
    pad.changes["attitude_x"] = lambda t, v: np.sin(lean(t) / 2) * (axis == "x")
    pad.changes["attitude_y"] = lambda t, v: np.sin(lean(t) / 2) * (axis == "y")
    pad.changes[f"gimbal_{axis}_angle"] = lambda t, v: v + gain * lean(t)
    return pad


GIMBAL_FAULTS = [
    ("gimbal off neutral", lambda p: p.add("gimbal_y_angle", 1.5 * DEG), "gimbal_neutral", "inner axis stands 1.5"),
    (
        "gimbal commanded away",
        lambda p: p.add("gimbal_x_command", 3 * DEG),
        "gimbal_neutral",
        "a sweep may be running",
    ),
    ("servo does not follow", off_command, "gimbal_follows", "outer axis is 1.2 deg from its command"),
    ("servo reversed", lambda p: sweep(p, gain=-1.0), "gimbal_follows", "the sign of its angle sensor"),
    ("servo dead in a sweep", lambda p: sweep(p, gain=0.0), "gimbal_follows", "that axis' servo and plug"),
    ("loose joint", loose, "gimbal_play", "one is loose"),
    ("gimbal adds to the lean", lambda p: leant(p, -0.4), "gimbal_restoring", "adds to a lean"),
]


def asked(pad, key):
    pad.vehicle["pad"][key] = True
    return pad


def test_every_axis_of_a_healthy_gimbal_passes_at_rest_and_after_a_sweep(pad) -> None:
    for p in (pad(seconds=30.0), sweep(pad(seconds=30.0))):
        for check in ("gimbal_neutral", "gimbal_follows", "gimbal_play"):
            assert p.finding(check).status is PASS, p.finding(check).text


def test_sweep_itself_is_not_neutral_but_follows(pad) -> None:
    p = sweep(pad(seconds=12.0), until=12.0)
    assert p.finding("gimbal_neutral", 11.0).status is FAIL
    assert p.finding("gimbal_follows", 11.0).status is PASS
    assert p.finding("gimbal_play", 11.0).status is PASS


def test_sweep_is_asked_for_only_by_the_vehicle_file_and_on_both_axes(pad) -> None:
    assert pad().findings("gimbal_sweep") == ()
    p = asked(pad(seconds=14.0), "gimbal_sweep")
    assert p.finding("gimbal_sweep").status is UNKNOWN
    sweep(p)
    assert "inner axis has only been seen to reach" in p.finding("gimbal_sweep").text
    assert sweep(p, axis="y").finding("gimbal_sweep").status is PASS
    assert sweep(p, axis="y", amplitude_deg=3.0).finding("gimbal_sweep").status is UNKNOWN


def test_gimbal_that_rights_a_lean_passes_and_is_remembered(pad) -> None:
    p = asked(leant(pad(), 0.4), "gimbal_wiggle")
    finding = p.finding("gimbal_restoring")
    assert finding.status is UNKNOWN
    assert "about its inner axis" in finding.text
    assert leant(pad(), 0.4).findings("gimbal_restoring") == ()


def test_gyro_turned_on_its_board_does_not_hide_a_gimbal_that_adds_to_a_lean(pad) -> None:
    # A lean that grows ever faster goes with its rate: only the right rate keeps damping apart from righting.
    def since(t):
        return np.clip(t - 4.0, 0.0, None)

    p = leant(pad(), 0.0)
    p.seconds = 14.0
    p.changes["attitude_w"] = lambda t, v: np.cos(0.05 * DEG * since(t) ** 2)
    p.changes["attitude_x"] = lambda t, v: np.sin(0.05 * DEG * since(t) ** 2)
    p.changes["gimbal_x_angle"] = lambda t, v: v - 0.2 * (0.1 * DEG * since(t) ** 2) + 2.0 * (0.2 * DEG * since(t))
    p.changes["gyro_y"] = lambda t, v: v - 0.2 * DEG * since(t)
    p.vehicle["sensors"]["gyro"] = ["-y", "+x", "+z"]
    assert "adds to a lean" in p.finding("gimbal_restoring").text


def test_restoring_is_unknown_only_where_the_vehicle_file_asks(pad) -> None:
    assert pad().findings("gimbal_restoring") == ()
    assert "lean the vehicle" in asked(pad(), "gimbal_wiggle").finding("gimbal_restoring").text


def test_vehicle_without_a_gimbal_has_no_finding_of_one(pad) -> None:
    p = asked(asked(pad(), "gimbal_sweep"), "gimbal_wiggle")
    del p.vehicle["gimbal"]
    p.drop(*(f"gimbal_{axis}_{what}" for axis in "xy" for what in ("command", "angle")))
    for check in ("gimbal_neutral", "gimbal_follows", "gimbal_play", "gimbal_sweep", "gimbal_restoring"):
        assert p.findings(check) == ()
    assert p.finding("required_measurements").status is PASS


@pytest.mark.parametrize("what", ["command", "angle"])
def test_gimbal_the_file_states_but_the_vehicle_does_not_send_is_unknown(pad, what) -> None:
    for check in ("gimbal_neutral", "gimbal_follows", "gimbal_play"):
        assert f"gimbal_x_{what}" in pad().drop(f"gimbal_x_{what}").finding(check).text


def test_angles_are_judged_from_the_neutral_the_file_gives(pad) -> None:
    p = pad()
    p.vehicle["gimbal"]["neutral"] = ["2 deg", "0 deg"]
    assert p.finding("gimbal_neutral").value == pytest.approx(2.0, abs=0.15)
    p.add("gimbal_x_angle", 2 * DEG)
    p.changes["gimbal_x_command"] = lambda t, v: v + 2 * DEG
    assert p.finding("gimbal_neutral").status is PASS
