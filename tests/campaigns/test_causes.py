import math
from dataclasses import replace

import pytest

from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle, parse_vehicle
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.simulate import Fate, SimulatedVehicle

from .causes import Flicker, Truth, cause
from .pad_watches import watch_of
from .watching import lossy, saltmarsh

VEHICLE = load_vehicle(EXAMPLE_VEHICLE)
LOST = math.nan
STALE = Flicker(1, 50.0, "pyro_circuit", "The resistance of pyro circuit 1 is 3.2 s old, 3.0 s allowed.", stale=True)
AGE = Flicker(1, 50.0, "packet_age", "No packet has come for 1.4 s, 1.2 s allowed.")
LOSS = Flicker(1, 50.0, "packet_loss", "45 % of the packets are lost, at most 40 % allowed.")


def truth(*, lost=lambda t_s, packet: False, wind_mps=3.0, camera=()) -> Truth:
    fates = [
        Fate(k / rate, packet, LOST if lost(k / rate, packet) else k / rate + 0.02, False, False, wind_mps)
        for packet, rate in (("motion", 10), ("health", 4))
        for k in range(60 * rate)
    ]
    return Truth(VEHICLE, PadPlan(camera_switches=camera), sorted(fates))


def test_silence_is_explained_by_the_packets_lost_in_a_row_up_to_then() -> None:
    said = cause(AGE, truth(lost=lambda t_s, packet: t_s > 48.5))
    assert said == "19 packets lost in a row, 1.5 s, from t = 48.6 s, none in a burst of the link"
    said = cause(STALE, truth(lost=lambda t_s, packet: packet == "health" and t_s > 46.6))
    assert said == "13 health packets lost in a row, 3.5 s, from t = 46.8 s, none in a burst of the link"


def test_what_was_lost_at_another_time_or_of_another_kind_explains_nothing() -> None:
    assert cause(AGE, truth()) == ""
    assert cause(AGE, truth(lost=lambda t_s, packet: 40.0 < t_s < 49.0)) == ""
    assert cause(AGE, truth(lost=lambda t_s, packet: packet == "health")) == ""
    assert cause(STALE, truth(lost=lambda t_s, packet: t_s > 49.8)) == ""


def test_a_share_is_explained_only_by_as_many_packets_truly_lost() -> None:
    half = truth(lost=lambda t_s, packet: int(t_s * 10) % 2 == 0)
    third = truth(lost=lambda t_s, packet: int(t_s * 10) % 4 == 0)
    assert "packets lost, 8.1 s" in cause(LOSS, half)
    assert cause(LOSS, third) == ""


def test_camera_and_gusts_explain_only_what_they_move() -> None:
    sag = replace(AGE, check="battery_sag")
    assert cause(sag, truth(camera=((48.0, True),))) == "the camera was switched on at t = 48.0 s"
    assert cause(sag, truth()) == cause(sag, truth(camera=((52.0, True),))) == ""
    tilt = replace(AGE, check="tilt")
    gusty = truth()
    fates = [f._replace(wind_mps=5.0 if 45.0 < f.t_s < 46.0 else 3.0) for f in gusty.fates]
    assert "a gust of 5.0 m/s at t = 45" in cause(tilt, replace(gusty, fates=fates))
    assert cause(tilt, gusty) == ""
    for check in ("firmware_version", "one_vehicle", "gnss_position"):
        assert cause(replace(AGE, check=check), replace(gusty, fates=fates)) == ""


def test_every_flicker_of_a_lossy_watch_is_explained() -> None:
    text = EXAMPLE_VEHICLE.read_text(encoding="utf-8").replace("rate_hz = 10", "rate_hz = 5")
    seldom = parse_vehicle(text.replace("packet_loss = 0.4 ", "packet_loss = 0.9 "), file_name="seldom")
    for vehicle, loss in ((VEHICLE, 0.35), (seldom, 0.6)):
        seen = watch_of(vehicle, 1, 300.0, loss)
        assert len(seen.flickers) >= 2
        assert [f for f in seen.flickers if not f.cause] == []


def test_fates_are_those_of_the_frames() -> None:
    simulated = SimulatedVehicle(VEHICLE, saltmarsh(), seed=4, radio=replace(lossy(0.2), damage=0.05))
    fates = list(simulated.fates(60.0))
    arrived = [f.arrived_s for f in fates if f.arrived_s == f.arrived_s]
    assert arrived == [frame.t_s for frame in simulated.frames(60.0)]
    assert 0.15 < 1.0 - len(arrived) / len(fates) < 0.25
    assert sum(f.damaged for f in fates) == pytest.approx(0.04 * len(fates), abs=15)
