import math

import numpy as np
import pytest

from groundstation.config.vehicle import Limits, Place
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Status
from groundstation.state import Phase

from .test_bench_proofs import BENCH_FAULTS
from .test_camera import CAMERA_FAULTS
from .test_circuits import PYRO_FAULTS
from .test_computer import COMPUTER_FAULTS
from .test_gimbal import GIMBAL_FAULTS
from .test_launch_site import SITE_FAULTS
from .test_layout import LAYOUT_FAULTS
from .test_link import LINK_FAULTS
from .test_restart import RESTART_FAULTS
from .test_sensors import SENSOR_FAULTS
from .test_supply import SUPPLY_FAULTS

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


# name, what is done to the pad, the check, what its sentence must say
FAULTS = [
    *SUPPLY_FAULTS,
    *PYRO_FAULTS,
    *CAMERA_FAULTS,
    *SENSOR_FAULTS,
    *GIMBAL_FAULTS,
    *COMPUTER_FAULTS,
    *LAYOUT_FAULTS,
    *LINK_FAULTS,
    *RESTART_FAULTS,
    *BENCH_FAULTS,
    *SITE_FAULTS,
    ("low pack", lambda p: p.set("battery_voltage", 11.1), "battery_voltage", "3.70 V per cell"),
    ("overfull pack", lambda p: p.set("battery_voltage", 12.9), "battery_voltage", "number of cells"),
    ("igniter 1 open", lambda p: p.set("pyro_1_resistance", 655.35), "pyro_circuit", "open: above 655 ohm"),
    ("igniter 2 loose", lambda p: p.set("pyro_2_resistance", 71.0), "pyro_circuit", "open: 71 ohm"),
    ("igniter 1 shorted", lambda p: p.set("pyro_1_resistance", 0.05), "pyro_circuit", "shorted: 0.05 ohm"),
    ("igniter 1 odd", lambda p: p.set("pyro_1_resistance", 4.2), "pyro_circuit", "has 4.2 ohm"),
    ("camera unplugged", lambda p: p.set("pyro_3_resistance", 655.35), "pyro_circuit", "camera leads"),
    ("igniter 1 energised", lambda p: p.set("pyro_1_energised", 1.0), "pyro_energised", "switched on"),
    ("pin contact reversed", lambda p: p.set("pull_pin", 0.0), "pull_pin", "wired the wrong way round"),
    (
        "pin in, pyro dead",
        lambda p: p.set("pull_pin", 0.0).set("pyro_supply_voltage", 0.0),
        "pull_pin",
        "the board is powered and sends",
    ),
    (
        "pyro supply was live with the pin in",
        lambda p: p.hold("pull_pin", 0.0, 1.0, 4.0),
        "pyro_supply_history",
        "one is likely wired the wrong way round",
    ),
    ("pyro supply dead", lambda p: p.set("pyro_supply_voltage", 0.2), "pull_pin", "0.2 V"),
    ("accelerometer scale", lambda p: p.set("accel_z", 10.6), "accelerometer_gravity", "10.60 m/s²"),
    ("accelerometer upside down", lambda p: p.set("accel_z", -9.81), "accelerometer_gravity", "the nose points down"),
    ("gyro bias", lambda p: p.add("gyro_y", -math.radians(3.0)), "gyro_rest", "y axis shows 3.2 deg/s"),
    ("pressure off", lambda p: p.add("pressure", 800.0), "pressure_site", "1017.3 hPa"),
    ("too hot", lambda p: p.set("temperature", 340.0), "temperature_range", "shade it"),
    ("too cold", lambda p: p.set("temperature", 260.0), "temperature_range", "warm the vehicle"),
    ("tilted", lambda p: p.set("attitude_x", 0.1).set("attitude_w", 0.995), "tilt", "11.5 deg"),
    (
        "accelerometer stuck",
        lambda p: p.freeze("accel_x").freeze("accel_y").freeze("accel_z"),
        "accelerometer_stuck",
        "The accelerometer has not changed",
    ),
    ("gyro stuck", lambda p: p.freeze("gyro_x").freeze("gyro_y").freeze("gyro_z"), "gyro_stuck", "The gyro has not"),
    ("gyro axis stuck", lambda p: p.freeze("gyro_z"), "gyro_stuck", "gyro's z axis"),
    ("pressure stuck", lambda p: p.freeze("pressure"), "pressure_stuck", "The pressure sensor has not"),
    ("no position", lambda p: p.set("gnss_latitude", math.nan), "values_possible", "latitude is not a number"),
    ("pack temperature", lambda p: p.set("battery_temperature", 500.0), "values_possible", "outside its valid range"),
    ("link silent", lambda p: silent(p, 5.0), "packet_age", "No packet has come for 3."),
    ("far away", lambda p: lossy(p, 0.6), "packet_loss", "% of the packets are lost"),
    ("jammed", lambda p: damaged(p, 0.5), "frame_damage", "another transmitter"),
    ("disk full", lambda p: recording(p, (1.0, False, "the disk is full")), "recording_running", "the disk is full"),
    ("flying", lambda p: phases(p, (0.0, Phase.PAD), (4.0, Phase.BOOST)), "on_pad", "boost"),
    ("landed", lambda p: phases(p, (0.0, Phase.LANDED)), "on_pad", "landed"),
]


def silent(pad, since, *packets):
    for packet in packets or ("motion", "health"):
        pad.silent[packet] = (since, math.inf)
    return pad


def lossy(pad, share):
    pad.loss = share
    return pad


def damaged(pad, share):
    pad.damage = (share, 0.0, math.inf)
    return pad


def recording(pad, *events):
    pad.recording = events
    return pad


def phases(pad, *phases):
    pad.phases = phases
    return pad


@pytest.mark.parametrize(("change", "check", "says"), [f[1:] for f in FAULTS], ids=[f[0] for f in FAULTS])
def test_fault_fails_the_check_it_belongs_to_and_says_where_to_look(pad, change, check, says) -> None:
    failed = [f for f in change(pad(seconds=8.0)).findings(check) if f.status is FAIL]
    assert len(failed) == 1
    assert says in failed[0].text
    assert "Look " in failed[0].text or "Stay clear" in failed[0].text


def test_every_check_has_a_fault_that_fails_it() -> None:
    assert {f[2] for f in FAULTS} == {c.name for c in CHECKS} - {"required_measurements", "gimbal_sweep"}


def test_every_check_says_what_it_asks_for_and_names_limits_that_exist() -> None:
    assert len({c.name for c in CHECKS}) == len(CHECKS)
    for check in CHECKS:
        assert len(check.text) > 20
        assert (check.rule.__doc__ or "").startswith(check.text[:20])
        assert set(check.limits) <= set(Limits.model_fields)


def test_every_limit_of_the_vehicle_file_is_gone_by() -> None:
    named = {limit for check in CHECKS for limit in check.limits}
    assert named | {"settling_time_s", "health_age_s"} == set(Limits.model_fields)


@pytest.mark.parametrize(
    ("measurement", "checks"),
    [
        ("battery_voltage", ["battery_voltage"]),
        ("pyro_1_resistance", ["pyro_circuit"]),
        ("pyro_2_energised", ["pyro_energised"]),
        ("pull_pin", ["pull_pin"]),
        ("pyro_supply_voltage", ["pull_pin"]),
        ("accel_y", ["accelerometer_gravity", "accelerometer_stuck"]),
        ("gyro_z", ["gyro_rest", "gyro_stuck"]),
        ("pressure", ["pressure_site", "pressure_stuck"]),
        ("temperature", ["temperature_range"]),
        ("attitude_z", ["tilt"]),
    ],
)
def test_missing_measurement_is_unknown_and_named(pad, measurement, checks) -> None:
    for check in checks:
        (finding,) = [f for f in pad().drop(measurement).findings(check) if f.status is not PASS]
        assert finding.status is UNKNOWN
        assert f"The vehicle does not send {measurement}" in finding.text
        assert not finding.stale

    (finding,) = [f for f in pad().set(measurement, math.nan).findings(checks[0]) if f.status is not PASS]
    assert finding.status is UNKNOWN
    assert "is not a number" in finding.text
    assert not finding.stale

    (finding,) = [f for f in pad().set(measurement, 1e9).findings(checks[0]) if f.status is not PASS][:1]
    assert finding.status in (UNKNOWN, FAIL)

    packet = "motion" if measurement[:4] in ("acce", "gyro", "pres", "atti") else "health"
    found = silent(pad(seconds=9.0), 5.0, packet).findings(checks[0])
    assert {f.status for f in found if measurement[:6] != "pyro_2" or f.channel == 2} == {UNKNOWN}
    assert all(f.stale and " old, " in f.text for f in found)

    found = silent(pad(), 0.0, packet).findings(checks[0])
    assert {f.status for f in found} == {UNKNOWN}
    assert all(f.stale and "has not come yet" in f.text for f in found)


def test_missing_packet_counter_leaves_the_loss_unknown(pad) -> None:
    finding = pad().drop("sequence").finding("packet_loss")
    assert (finding.status, finding.stale) == (UNKNOWN, False)
    assert "does not send sequence" in finding.text


@pytest.mark.parametrize("check", ["packet_age", "packet_loss", "frame_damage", "on_pad"])
def test_before_the_first_packet_nothing_of_the_link_is_known(pad, check) -> None:
    assert pad().finding(check, 0.0).status is UNKNOWN


def test_value_of_a_packet_sent_seldom_is_stale_only_after_the_health_age(pad) -> None:
    p = silent(pad(seconds=9.0), 4.0, "health")
    assert p.finding("battery_voltage", 6.5).status is PASS
    assert p.finding("battery_voltage", 7.3).status is UNKNOWN
    p = silent(pad(seconds=9.0), 4.0, "motion")
    assert p.finding("gyro_rest", 5.0).status is PASS
    assert p.finding("gyro_rest", 5.3).status is UNKNOWN
    p.vehicle["telemetry"]["packet"][1]["rate_hz"] = 0.5
    assert p.window().allowed_age_s("battery_voltage") == pytest.approx(6.0, abs=1e-12)
    for rate_hz, age_s in ((4, 3.0), (5, 2.4), (10, 1.2), (50, 1.2)):
        p.vehicle["telemetry"]["packet"][1]["rate_hz"] = rate_hz
        assert p.window().allowed_age_s("battery_voltage") == pytest.approx(age_s, abs=1e-12)


def test_each_pyro_channel_has_its_own_finding_at_its_own_place(pad) -> None:
    found = pad().set("pyro_2_resistance", 655.35).set("pyro_3_resistance", 24.0).findings("pyro_circuit")
    assert [(f.channel, f.status, f.place) for f in found] == [
        (1, PASS, Place.PARACHUTE),
        (2, FAIL, Place.PARACHUTE),
        (3, PASS, Place.CAMERA),
    ]
    assert found[2].text == "Auxiliary circuit 3 (camera) has 24.0 ohm, 12.0 to 60.0 ohm allowed."
    found = pad().set("pyro_2_resistance", math.nan).findings("pyro_circuit")
    assert [(f.channel, f.status) for f in found] == [(1, PASS), (2, UNKNOWN), (3, PASS)]


def test_open_igniter_reads_as_a_person_says_it(pad) -> None:
    found = pad().set("pyro_1_resistance", 655.35).findings("pyro_circuit")
    assert found[0].text == (
        "Igniter circuit 1 (parachute, first charge) is open: above 655 ohm, 0.8 to 3.0 ohm allowed. "
        "Look at the connector and the igniter leads."
    )
    assert (found[0].limit.least, found[0].limit.greatest, found[0].unit) == (0.8, 3.0, "ohm")


def test_pyro_circuit_is_judged_by_sense_voltage_where_resistance_is_not_sent(pad) -> None:
    def sensed(volts):
        p = pad().mean("pyro_1_resistance", "pyro_1_sense").set("pyro_1_sense", volts)
        p.vehicle["pyro"][0]["sense"] = ["0.9 V", "1.4 V"]
        return p.findings("pyro_circuit")[0]

    assert sensed(1.1).status is PASS
    assert (
        sensed(1.1).text == "Igniter circuit 1 (parachute, first charge) reads 1.10 V sense, 0.90 to 1.40 V allowed."
    )
    assert sensed(0.02).status is FAIL
    p = pad().mean("pyro_1_resistance", "pyro_1_sense")
    assert "gives no sense voltage for pyro channel 1" in p.findings("pyro_circuit")[0].text
    del p.vehicle["pyro"][1]["resistance"]
    assert "gives no resistance for pyro channel 2" in p.findings("pyro_circuit")[1].text
    assert p.findings("pyro_circuit")[1].status is UNKNOWN


def test_continuity_is_never_worded_as_safe(pad) -> None:
    p = pad().mean("pyro_1_resistance", "pyro_1_continuity").set("pyro_1_continuity", 1.0)
    finding = p.findings("pyro_circuit")[0]
    assert finding.status is PASS
    assert finding.text.endswith("is closed; its resistance is not measured.")
    assert p.set("pyro_1_continuity", 0.0).findings("pyro_circuit")[0].status is FAIL
    assert p.set("pyro_1_continuity", 0.5).findings("pyro_circuit")[0].status is FAIL
    p = pad().drop("pyro_1_resistance")
    assert "pyro_1_resistance, pyro_1_sense or pyro_1_continuity" in p.findings("pyro_circuit")[0].text


def test_camera_channel_may_be_energised(pad) -> None:
    assert [f.channel for f in pad().findings("pyro_energised")] == [1, 2]


@pytest.mark.parametrize(
    ("reads", "powers_board", "supply_v", "status", "says"),
    [
        (1.0, True, 12.1, PASS, "is out and the pyro supply has 12.1 V"),
        (1.0, True, 6.0, FAIL, "reads pulled but the pyro supply has 6.0 V"),
        (1.0, False, 12.1, PASS, "is out"),
        (1.0, False, 0.0, FAIL, "pyro switch"),
        (0.0, True, 12.1, FAIL, "stay clear. Look at the pin's contact"),
        (0.0, True, 0.0, FAIL, "bypassed"),
        (0.0, False, 12.1, FAIL, "pyro supply is live at 12.1 V: stay clear"),
        (0.0, False, 0.0, FAIL, "still to be pulled"),
    ],
)
def test_pull_pin_follows_its_truth_table(pad, reads, powers_board, supply_v, status, says) -> None:
    p = pad().set("pull_pin", reads).set("pyro_supply_voltage", supply_v)
    p.vehicle["pull_pin"]["powers_board"] = powers_board
    finding = p.finding("pull_pin")
    assert finding.status is status
    assert says in finding.text


def test_pull_pin_is_judged_by_the_sense_the_vehicle_file_gives(pad) -> None:
    p = pad()
    p.vehicle["pull_pin"] |= {"inserted_reads": 1, "enables_pyro": []}
    assert p.finding("pull_pin").status is FAIL
    finding = p.drop("pyro_supply_voltage").set("pull_pin", 0.0).finding("pull_pin")
    assert (finding.status, finding.text) == (PASS, "The pull-pin is out.")
    del p.vehicle["pull_pin"]
    assert p.findings("pull_pin") == ()
    assert p.drop("pull_pin").finding("required_measurements").status is PASS
    p = pad()
    p.vehicle["telemetry"]["packet"][1]["fields"][10]["bits"][0]["width"] = 1
    assert "0 or 1 expected" in p.set("pull_pin", 0.5).finding("pull_pin").text


def test_gravity_is_the_sites_or_standard_where_the_site_is_not_known(pad) -> None:
    # 47.5 degrees north at 12 m: 9.8084 by Somigliana's form (NGA.STND.0036), less 0.00004 for the height.
    finding = pad().finding("accelerometer_gravity")
    assert (finding.limit.least + finding.limit.greatest) / 2 == pytest.approx(9.80838, abs=2e-4)
    assert "(local gravity)" in finding.text
    p = pad()
    p.site = p.site.model_copy(update={"latitude_rad": None})
    finding = p.finding("accelerometer_gravity")
    assert (finding.limit.least + finding.limit.greatest) / 2 == pytest.approx(9.80665, abs=1e-9)
    assert "the station file has no latitude" in finding.text
    assert finding.status is PASS


def test_accelerometer_axes_follow_the_vehicle_file(pad) -> None:
    p = pad().set("accel_x", -9.8).set("accel_z", 0.1)
    p.vehicle["sensors"]["accel"] = ["+y", "+z", "-x"]
    assert p.finding("accelerometer_gravity").status is PASS
    p = p.drop("attitude_w", "attitude_x", "attitude_y", "attitude_z")
    assert p.finding("tilt").status is PASS
    p.vehicle["sensors"]["accel"] = ["+y", "+z", "+x"]
    assert p.finding("accelerometer_gravity").status is FAIL
    assert p.finding("tilt").status is FAIL


def test_tilt_comes_from_the_accelerometer_where_no_attitude_is_sent(pad) -> None:
    p = pad().drop("attitude_w", "attitude_x", "attitude_y", "attitude_z")
    finding = p.finding("tilt")
    assert finding.status is PASS
    assert "by its accelerometer" in finding.text
    finding = p.set("accel_x", 9.8 * math.tan(math.radians(12.0))).finding("tilt")
    assert (finding.status, finding.value) == (FAIL, pytest.approx(12.0, abs=0.11))
    for axis in "xyz":
        p.set(f"accel_{axis}", 0.0)
    assert p.finding("tilt").status is UNKNOWN


@pytest.mark.parametrize(
    ("quaternion", "tilt_deg"),
    [
        ((1.0, 0.0, 0.0, 0.0), 0.0),
        ((math.cos(math.radians(45.0)), 0.0, 0.0, math.sin(math.radians(45.0))), 0.0),  # a turn about the long axis
        ((math.cos(math.radians(15.0)), math.sin(math.radians(15.0)), 0.0, 0.0), 30.0),
        ((math.cos(math.radians(15.0)), 0.0, -math.sin(math.radians(15.0)), 0.0), 30.0),
        ((0.0, 1.0, 0.0, 0.0), 180.0),
    ],
)
def test_tilt_of_known_attitudes(pad, quaternion, tilt_deg) -> None:
    p = pad()
    for part, value in zip("wxyz", quaternion, strict=True):
        p.set(f"attitude_{part}", value)
    assert p.finding("tilt").value == pytest.approx(tilt_deg, abs=0.05)


def test_tilt_does_not_mind_a_quaternion_that_changes_its_sign(pad) -> None:
    p = pad()
    for part in "wxyz":
        p.changes[f"attitude_{part}"] = lambda t, v: np.where(np.arange(len(t)) % 2, v, -v)
    assert p.finding("tilt").value == pytest.approx(2.0, abs=0.2)


@pytest.mark.parametrize("scale", [0.0, 0.97, 1.03])
def test_attitude_that_is_no_unit_quaternion_leaves_the_tilt_unknown(pad, scale) -> None:
    p = pad()
    for part in "wxyz":
        p.changes[f"attitude_{part}"] = lambda t, v: v * scale
    p.vehicle["telemetry"]["packet"][0]["fields"][9]["valid"] = [-2, 2]
    finding = p.finding("tilt")
    assert finding.status is UNKNOWN
    assert "not a unit quaternion" in finding.text


def test_site_without_a_pressure_leaves_the_pressure_unknown(pad) -> None:
    p = pad()
    p.site = p.site.model_copy(update={"pressure_pa": None})
    finding = p.finding("pressure_site")
    assert (finding.status, finding.stale) == (UNKNOWN, False)
    assert "The station file has no site pressure" in finding.text


def test_one_bad_value_within_the_mean_is_not_averaged_away(pad) -> None:
    p = pad(seconds=8.0)
    p.changes["pressure"] = lambda t, v: np.where((t > 7.2) & (t < 7.3), math.nan, v)
    assert p.finding("pressure_site", 7.7).status is UNKNOWN
    assert p.finding("pressure_site", 7.15).status is PASS


def test_sensor_with_noise_as_small_as_its_step_is_not_stuck(pad) -> None:
    for seed in range(5):
        p = pad(seconds=60.0, seed=seed, loss=0.1)
        p.changes["gyro_x"] = lambda t, v: np.round(v / 0.003) * 0.003
        assert {a.verdict for a in p.assessments()[80:]} == {"GO"}


def test_stuck_needs_eight_values_as_well_as_the_time(pad) -> None:
    p = pad(seconds=5.0).freeze("pressure", since=3.0)
    p.vehicle["telemetry"]["packet"][0]["rate_hz"] = 5
    assert p.finding("pressure_stuck", 4.3).status is PASS
    assert p.finding("pressure_stuck", 4.7).status is FAIL


def test_stuck_sensor_is_called_within_its_time_and_let_go_when_it_moves(pad) -> None:
    p = pad(seconds=12.0)
    p.changes["pressure"] = lambda t, v: np.where((t > 4.0) & (t < 9.0), 100_930.0, v)
    assert p.finding("pressure_stuck", 4.7).status is PASS
    assert p.finding("pressure_stuck", 5.4).status is FAIL
    assert p.finding("pressure_stuck", 8.9).status is FAIL
    assert p.finding("pressure_stuck", 9.2).status is PASS


def test_sensor_stuck_since_the_start_is_called(pad) -> None:
    assert pad(seconds=40.0).set("pressure", 100_930.0).finding("pressure_stuck").status is FAIL
    assert pad(seconds=0.7).set("pressure", 100_930.0).finding("pressure_stuck").status is PASS


def test_impossible_values_are_named_first_three_by_name(pad) -> None:
    p = pad()
    for name in ("temperature", "gyro_x", "accel_x", "gnss_height", "battery_current"):
        p.set(name, math.nan)
    finding = p.finding("values_possible")
    assert finding.text.startswith(
        "The accelerometer's x axis is not a number; the pack's current is not a number; "
        "the position receiver's height is not a number; and 2 more. Look "
    )
    assert finding.value == 5.0


def test_field_without_a_meaning_is_held_to_its_valid_range(pad) -> None:
    p = pad().drop("battery_current")
    p.vehicle["telemetry"]["packet"][1]["fields"][3]["valid"] = [0, 20_000]
    p.changes["health.ibat"] = lambda t, v: v + 30_000.0
    assert p.finding("values_possible").text.startswith("The field health.ibat is outside its valid range.")


def test_infinite_value_is_not_a_number(pad) -> None:
    p = pad().mean("battery_current", "battery_current").set("battery_current", math.inf)
    assert p.finding("values_possible").text.startswith("The pack's current is not a number")
    assert pad().set("pressure", math.inf).finding("pressure_site").status is UNKNOWN


def test_largest_value_a_field_can_carry_counts_as_valid(pad) -> None:
    assert pad().set("pyro_1_resistance", 65535 * 10 * 0.001).finding("values_possible").status is PASS


def test_required_measurements_are_named_when_absent_or_not_come(pad) -> None:
    finding = pad().drop("battery_voltage", "pull_pin", "temperature", "gyro_x").finding("required_measurements")
    assert (finding.status, finding.stale) == (UNKNOWN, False)
    assert "does not send pull_pin, battery_voltage, gyro_x and 1 more" in finding.text
    finding = silent(pad(), 0.0, "health").finding("required_measurements")
    assert (finding.status, finding.stale) == (UNKNOWN, True)
    assert finding.text.startswith("Not come yet: pyro_1_energised, pyro_2_energised, pull_pin and ")
    assert pad().finding("required_measurements").status is PASS


def test_two_damaged_frames_are_no_fault(pad) -> None:
    p = pad(seconds=8.0, damage=(1.0, 7.85, 8.0))
    assert p.finding("frame_damage").status is PASS


def test_recording_that_was_never_reported_is_unknown(pad) -> None:
    assert pad(recording=()).finding("recording_running").status is UNKNOWN
    stopped_later = pad(recording=((0.0, True, "running"), (4.0, False, "the disk is gone")))
    assert stopped_later.finding("recording_running", 3.9).status is PASS
    assert stopped_later.finding("recording_running", 4.1).status is FAIL


def test_estimate_that_stopped_leaves_the_phase_unknown(pad) -> None:
    p = silent(pad(seconds=9.0), 5.0, "motion")
    assert p.finding("on_pad", 6.0).status is PASS
    finding = p.finding("on_pad", 6.5)
    assert (finding.status, finding.stale) == (UNKNOWN, True)


def test_battery_text_changes_only_with_its_rounded_value(pad) -> None:
    p = pad(seconds=20.0)
    texts = {p.finding("battery_voltage", 5.0 + 0.2 * k).text for k in range(20)}
    assert len(texts) <= 3
