import math

import numpy as np
import pytest

from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def between(name, low_s, high_s, change):
    """A change of one measurement for a while."""

    def made(pad):
        pad.changes[name] = lambda t, v: np.where((t >= low_s) & (t < high_s), v + change, v)
        return pad

    return made


def supplied(name, change):
    """The example with its flight computer's and servos' supplies sent and stated."""

    def made(pad):
        pad.vehicle["supplies"] = {"board": ["3.2 V", "3.4 V"], "servo": ["4.7 V", "5.3 V"]}
        pad.mean("gnss_height", "board_voltage").mean("gnss_longitude", "servo_voltage")
        return between(name, 5.0, 5.4, change)(pad)

    return made


def stepped(pad, *, ohm, step_a=0.3, at_s=5.0):
    """The camera is switched on: current up, voltage down by the pack's resistance."""
    on = lambda t: t >= at_s  # noqa: E731
    pad.changes["battery_current"] = lambda t, v: np.where(on(t), v + step_a, v)
    pad.changes["battery_voltage"] = lambda t, v: np.where(on(t), v - step_a * ohm, v)
    pad.changes["camera_on"] = lambda t, v: on(t).astype(float)
    return pad


def heavy_igniter(pad):
    pad.vehicle["loads"]["igniter"] = "25 A"
    return pad


SUPPLY_FAULTS = [
    ("pack sags", between("battery_voltage", 5.0, 5.6, -0.9), "battery_sag", "0.3"),
    ("worn pack", lambda p: stepped(p, ohm=0.5), "battery_resistance", "by 1 load step, at most 300 mohm"),
    ("pack nearly at its limit", lambda p: p.set("battery_voltage", 11.28), "battery_minutes", "at least 20 min"),
    ("pack too small", heavy_igniter, "supply_left", "25.0 A for an igniter and 1.8 A for stalled servos"),
    ("cold pack", lambda p: p.set("battery_temperature", 275.0), "pack_temperature", "keep it in a pocket"),
    ("hot pack", lambda p: p.set("battery_temperature", 330.0), "pack_temperature", "shade it"),
    ("board browns out", supplied("board_voltage", -0.5), "board_supply", "fell to 2.80 V"),
    ("servo supply dips", supplied("servo_voltage", -1.2), "servo_supply", "servos' supply fell to 3.8"),
]


def test_minutes_left_are_the_charge_above_the_limit_over_the_current(pad) -> None:
    # 3.95 V per cell at rest is 80.6 % of charge, 3.75 V 31.1 %, by Chen and Rincón-Mora's curve: (0.806 - 0.311) of
    # 850 mAh at 0.2 A is 126 min; its interval takes off a fifth at most.
    finding = pad(seconds=8.0).set("battery_voltage", 3 * 3.95 - 0.2 * 0.12).finding("battery_minutes")
    assert finding.status is PASS
    assert 100.0 < finding.value < 126.0
    low = pad(seconds=8.0).set("battery_voltage", 11.0).finding("battery_minutes")
    assert (low.status, low.value) == (FAIL, 0.0)
    assert low.text.startswith("The pack lasts less than a minute at 0.2 A")


def test_minutes_left_need_a_plan_and_a_current(pad) -> None:
    p = pad()
    del p.vehicle["pad"]["planned_hold"]
    assert p.findings("battery_minutes") == ()
    assert "does not send battery_current" in pad().drop("battery_current").finding("battery_minutes").text
    found = pad().set("battery_current", 0.0).finding("battery_minutes")
    assert found.status is UNKNOWN
    assert "Look at the current sensor" in found.text


def test_resistance_is_that_of_the_load_step_and_unknown_only_where_asked_for(pad) -> None:
    assert pad().findings("battery_resistance") == ()
    finding = stepped(pad(seconds=12.0), ohm=0.2).finding("battery_resistance")
    assert finding.status is PASS
    assert finding.value == pytest.approx(200.0, abs=15.0)
    p = pad()
    p.vehicle["pad"]["load_step"] = True
    assert p.finding("battery_resistance").status is UNKNOWN
    assert "switch the camera on and off" in p.finding("battery_resistance").text
    assert p.drop("battery_current").finding("battery_resistance").status is UNKNOWN
    p.vehicle["pad"]["load_step"] = False
    assert p.findings("battery_resistance") == ()


def test_slow_fall_of_the_voltage_is_no_sag(pad) -> None:
    p = pad(seconds=60.0)
    p.changes["battery_voltage"] = lambda t, v: v - 0.01 * t
    assert p.finding("battery_sag").value < 0.03


def test_supply_under_load_is_open_circuit_less_current_times_resistance(pad) -> None:
    # (0.2 + 1.5 + 1.8) A through 0.12 ohm takes 0.42 V off the pack's 12.224 V at no load: 3.93 V per cell.
    assert pad().set("battery_voltage", 12.2).finding("supply_left").value == pytest.approx(3.93, abs=0.011)
    p = pad()
    p.vehicle["loads"] = {}
    assert p.findings("supply_left") == ()


def test_supplies_that_the_file_states_but_the_vehicle_does_not_send_are_unknown(pad) -> None:
    assert pad().findings("board_supply") == ()
    p = pad()
    p.vehicle["supplies"] = {"board": ["3.2 V", "3.4 V"]}
    assert p.finding("board_supply").status is UNKNOWN
    assert "board_voltage" in p.finding("required_measurements").text
    assert supplied("gyro_x", 0.0)(pad()).finding("board_supply").status is PASS


def test_pack_without_a_thermometer_has_no_finding_of_it(pad) -> None:
    p = pad().drop("battery_temperature")
    assert p.finding("pack_temperature").status is UNKNOWN
    p.vehicle["pad"]["must_come"] = []
    assert p.findings("pack_temperature") == ()
    assert pad().set("battery_temperature", math.nan).finding("pack_temperature").status is UNKNOWN
