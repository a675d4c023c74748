import math

import numpy as np
import pytest

from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def noisier(name, factor):
    """The measurement strays about its mean by so many times as much."""

    def made(pad):
        pad.changes[name] = lambda t, v: v.mean() + factor * (v - v.mean())
        return pad

    return made


def all_frozen(pad):
    for part in "wxyz":
        pad.freeze(f"attitude_{part}", since=3.0)
    return pad


def moved(pad, *, north_m=0.0):
    pad.changes["gnss_latitude"] = lambda t, v: v + north_m / 6.37e6
    return pad


SENSOR_FAULTS = [
    ("accelerometer smoothed", noisier("accel_y", 0.01), "accelerometer_noise", "y axis has 0.00"),
    ("accelerometer rattles", noisier("accel_x", 15.0), "accelerometer_noise", "supply and mounting"),
    ("gyro smoothed", noisier("gyro_z", 0.01), "gyro_noise", "gyro's z axis has 0.00"),
    ("gyro rattles", noisier("gyro_x", 30.0), "gyro_noise", "0.005 to 1.500 deg/s allowed"),
    ("pressure smoothed", noisier("pressure", 0.01), "pressure_noise", "filter settings"),
    ("pressure noisy", noisier("pressure", 20.0), "pressure_noise", "0.1 to 25.0 Pa allowed"),
    (
        "accelerometer at its end",
        lambda p: p.set("accel_x", -155.9, since=7.5),
        "sensor_range",
        "accelerometer's x axis",
    ),
    ("gyro at its end", lambda p: p.set("gyro_z", 34.9, since=7.5), "sensor_range", "The gyro's z axis"),
    ("attitude frozen", all_frozen, "attitude_stuck", "The attitude has not changed"),
    (
        "attitude of another lean",
        lambda p: p.set("attitude_x", -0.05).set("attitude_w", 0.99875),
        "attitude_agrees",
        "Look at the attitude first",
    ),
    ("bay's pressure drifts", lambda p: drifting(p, "pressure", 20.0), "pressure_still", "hatch and vent holes"),
    ("thermometer jumps", lambda p: p.add("temperature", 15.0, since=5.0), "temperature_steady", "avionics bay's"),
    (
        "pack's thermometer jumps",
        lambda p: p.add("battery_temperature", 15.0, since=5.0),
        "temperature_steady",
        "pack's",
    ),
    ("no fix", lambda p: p.set("gnss_fix", 0.0), "gnss_position", "the receiver has no fix"),
    ("few satellites", lambda p: p.set("gnss_satellites", 3.0), "gnss_position", "(3 satellites)"),
    ("zeros for a place", lambda p: p.set("gnss_latitude", 0.0).set("gnss_longitude", 0.0), "gnss_position", "zero"),
    ("another field", lambda p: moved(p, north_m=250.0), "gnss_position", "250 m from the pad's"),
    ("wrong elevation", lambda p: p.add("gnss_height", 100.0), "gnss_position", "above the pad's elevation"),
]


def drifting(pad, name, per_s):
    pad.changes[name] = lambda t, v: v + per_s * t
    return pad


def test_noise_is_the_standard_deviation_and_a_drift_is_none(pad) -> None:
    assert pad(seconds=20.0).finding("pressure_noise").value == pytest.approx(2.5, abs=0.8)
    assert drifting(pad(seconds=20.0), "pressure", 5.0).finding("pressure_noise").value == pytest.approx(2.5, abs=0.8)
    assert drifting(pad(seconds=20.0), "pressure", 5.0).finding("pressure_noise").status is PASS


def test_axis_that_does_not_move_at_all_is_left_to_the_stuck_check(pad) -> None:
    p = pad(seconds=12.0).freeze("gyro_y", since=3.0)
    assert p.finding("gyro_noise").status is PASS
    assert p.finding("gyro_stuck").status is FAIL
    p = pad(seconds=12.0).freeze("pressure", since=3.0)
    assert "judged apart" in p.finding("pressure_noise").text


def test_range_is_judged_only_where_the_file_gives_one(pad) -> None:
    p = pad(seconds=8.0).set("accel_x", 155.9)
    del p.vehicle["sensors"]["accel_range"]
    assert p.finding("sensor_range").status is PASS
    del p.vehicle["sensors"]["gyro_range"]
    assert p.findings("sensor_range") == ()


def test_frozen_attitude_is_caught_though_the_vehicle_stands_and_when_it_then_leans(pad) -> None:
    p = all_frozen(pad(seconds=9.0))
    assert p.finding("attitude_stuck").status is FAIL
    assert p.finding("attitude_agrees").status is PASS
    lean = math.radians(7.0)
    p.changes["accel_y"] = lambda t, v: np.where(t > 5.0, 9.8 * math.sin(lean), v)
    p.changes["accel_z"] = lambda t, v: np.where(t > 5.0, 9.8 * math.cos(lean), v)
    assert p.finding("attitude_agrees").value == pytest.approx(5.0, abs=0.3)
    assert p.finding("attitude_agrees").status is FAIL


@pytest.mark.parametrize("axis", ["x", "y"])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_attitude_and_accelerometer_agree_whichever_way_the_vehicle_leans(pad, axis, sign) -> None:
    # A turn by +a about body x brings up to (0, sin a, cos a) in the body frame, about y to (-sin a, 0, cos a).
    a = sign * math.radians(6.0)
    p = pad().set("attitude_w", math.cos(a / 2)).set("attitude_x", 0.0).set("attitude_y", 0.0)
    p.set(f"attitude_{axis}", math.sin(a / 2)).set("accel_x", 0.0).set("accel_y", 0.0)
    p.set("accel_y" if axis == "x" else "accel_x", 9.8 * math.sin(a) * (1 if axis == "x" else -1))
    p.set("accel_z", 9.8 * math.cos(a))
    assert p.finding("attitude_agrees").value == pytest.approx(0.0, abs=0.05)


def test_vehicle_without_attitude_or_position_has_no_finding_of_them(pad) -> None:
    p = pad().drop(*(f"attitude_{part}" for part in "wxyz"))
    assert p.findings("attitude_stuck") == p.findings("attitude_agrees") == ()
    p = pad().drop("gnss_latitude", "gnss_longitude", "gnss_fix")
    assert p.findings("gnss_position") == ()
    assert "gnss_fix" in pad().drop("gnss_fix").finding("gnss_position").text


def test_position_needs_a_pad_to_be_held_against(pad) -> None:
    p = pad()
    p.site = p.site.model_copy(update={"latitude_rad": None})
    assert p.finding("gnss_position").status is UNKNOWN
    assert "Enter it there" in p.finding("gnss_position").text


def test_pressure_height_that_moves_by_metres_is_told_in_metres(pad) -> None:
    # 1 hPa is 8.3 m near sea level: 2 Pa a second over the eight seconds between the first and last means is 1.3 m.
    still = drifting(pad(seconds=20.0), "pressure", 2.0).finding("pressure_still")
    assert still.status is PASS
    assert still.value == pytest.approx(1.3, abs=0.5)
