import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.config.vehicle import Vehicle
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Status, Verdict
from groundstation.readiness.words import spoken

from .conftest import example_pad

FAULT_S = 13.0
AXES = [f"{sensor}_{axis}" for sensor in ("accel", "gyro") for axis in "xyz"]
ATTITUDE = [f"attitude_{part}" for part in "wxyz"]
EXAMPLE = Vehicle.model_validate(example_pad().vehicle)
NEEDED = sorted({names[0] for check in CHECKS for names in check.needs(EXAMPLE)} | set(ATTITUDE))
VALUES = [name for name in NEEDED if name != "sequence"]  # a counter cannot stand in a packet of its own
SENT = sorted(set(NEEDED) | {"battery_current", "gnss_latitude", "gimbal_x_angle", "vehicle_time"})

# The sensors whose values move all the time. Of any other a value that stays is no sign of a fault.
LIVELY = [*AXES, "pressure"]

# Ends of the valid range, or levels, that are no way for a vehicle on the pad to be.
EXTREMES = [
    *((name, end) for name in AXES if name[0] == "a" for end in (-160.0, 160.0)),
    *((name, end) for name in AXES if name[0] == "g" for end in (-34.9, 34.9)),
    *((name, end) for name in ATTITUDE[1:] for end in (-1.01, 1.01)),
    ("pressure", 30_000.0),
    ("pressure", 110_000.0),
    ("battery_voltage", 6.0),
    ("battery_voltage", 13.0),
    ("temperature", 233.15),
    ("temperature", 363.15),
    ("pyro_supply_voltage", 0.0),
    ("pull_pin", 0.0),
    *((f"pyro_{n}_resistance", end) for n in (1, 2, 3) for end in (0.0, 655.35)),
    *((f"pyro_{n}_energised", 1.0) for n in (1, 2)),
]


def goes_then_holds(pad, *, within_s):
    """The reasons once the fault has shown; everything passed before it."""
    told = pad.assessments()
    before = [a for a in told if a.at_ns <= told[0].at_ns + (FAULT_S - 0.3) * 1e9]
    assert before[-1].verdict is Verdict.GO, [f.text for f in before[-1].reasons]
    after = [a for a in told if a.at_ns >= told[0].at_ns + (FAULT_S - 0.2 + within_s) * 1e9]
    assert {a.verdict for a in after} == {Verdict.HOLD}
    return after[-1].reasons


def names_it(reasons, measurement):
    sensor = {"accel": "accelerometer", "gyro": "gyro", "attitude": "attitude"}.get(measurement.split("_")[0])
    words = {measurement, spoken(measurement), sensor or spoken(measurement)}
    pyro = measurement.split("_")[1] if measurement.startswith("pyro_") else ""
    return any(
        any(word in f.text for word in words)
        or (pyro.isdigit() and f.channel == int(pyro))
        or f.check.startswith(measurement)
        or (measurement in ("pull_pin", "pyro_supply_voltage") and f.check == "pull_pin")
        or (measurement == "temperature" and f.check == "temperature_range")
        or (measurement == "accel_z" and f.check == "tilt")
        or (measurement in ATTITUDE and f.check == "tilt")
        for f in reasons
    )


@pytest.mark.parametrize("measurement", NEEDED)
def test_measurement_a_check_needs_that_is_not_sent_is_hold_and_named(measurement) -> None:
    told = example_pad(seconds=16.0).drop(measurement).assessments()
    assert {a.verdict for a in told} == {Verdict.HOLD}
    assert any(measurement in f.text for f in told[-1].reasons)
    assert all(f.status is Status.UNKNOWN for f in told[-1].reasons)


@pytest.mark.parametrize("measurement", VALUES)
def test_measurement_a_check_needs_that_no_longer_comes_is_hold_and_named(measurement) -> None:
    pad = example_pad(seconds=FAULT_S + 4.0).alone(measurement)
    pad.silent = {"alone": (FAULT_S, math.inf)}
    assert names_it(goes_then_holds(pad, within_s=1.4), measurement)


@pytest.mark.parametrize("measurement", VALUES)
def test_measurement_a_check_needs_that_never_comes_is_hold_and_named(measurement) -> None:
    pad = example_pad(seconds=14.0).alone(measurement)
    pad.silent = {"alone": (0.0, math.inf)}
    told = pad.assessments()
    assert {a.verdict for a in told} == {Verdict.HOLD}
    assert any(measurement in f.text or spoken(measurement) in f.text for f in told[-1].reasons)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("measurement", SENT)
def test_any_value_that_is_not_a_number_is_hold_and_named(measurement, bad) -> None:
    pad = example_pad(seconds=FAULT_S + 4.0).set(measurement, bad, since=FAULT_S)
    reasons = goes_then_holds(pad, within_s=0.6)
    assert any(f.check == "values_possible" and f"{spoken(measurement)} is not a number" in f.text for f in reasons)


@pytest.mark.parametrize("measurement", LIVELY)
def test_sensor_that_stands_still_is_hold_and_named(measurement) -> None:
    pad = example_pad(seconds=FAULT_S + 9.0).freeze(measurement, since=FAULT_S)
    reasons = goes_then_holds(pad, within_s=6.4)
    assert names_it(reasons, measurement)
    assert {f.check[-5:] for f in reasons} == {"stuck"}


@pytest.mark.parametrize(("measurement", "value"), EXTREMES)
def test_value_at_an_end_of_its_range_is_hold_and_named(measurement, value) -> None:
    pad = example_pad(seconds=FAULT_S + 4.0).set(measurement, value, since=FAULT_S)
    assert names_it(goes_then_holds(pad, within_s=1.3), measurement)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(NEEDED), min_size=1, max_size=4, unique=True),
    st.sampled_from(["dropped", "not a number", "frozen packet", "out of range"]),
    st.integers(0, 10_000),
    st.floats(0.0, 0.3),
)
def test_whatever_is_missing_together_the_verdict_is_never_go(names, how, seed, loss) -> None:
    pad = example_pad(seconds=20.0, seed=seed, loss=loss)
    for name in names:
        # A counter may have any value that it can carry.
        if how == "dropped" or (how == "out of range" and name == "sequence"):
            pad.drop(name)
        elif how == "not a number":
            pad.set(name, math.nan)
        elif how == "out of range":
            pad.set(name, 1e12)
        else:
            pad.silent = {"motion" if name in (*LIVELY, *ATTITUDE) else "health": (0.0, math.inf)}
    told = pad.assessments()
    assert {a.verdict for a in told} == {Verdict.HOLD}
    assert all(a.reasons for a in told)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 0.3), st.floats(0.0, 14.0), st.floats(0.1, 9.0))
def test_go_is_said_only_after_all_has_passed_for_the_settling_time(seed, loss, since, length) -> None:
    pad = example_pad(seconds=28.0, seed=seed, loss=loss, silent={"health": (since, since + length)})
    passing_since = None
    for a in pad.assessments():
        clear = all(f.status is Status.PASS for f in a.findings)
        passing_since = (passing_since or a.at_ns) if clear else None
        settled = passing_since is not None and a.at_ns - passing_since >= 10_000_000_000
        assert (a.verdict is Verdict.GO) == settled == (not a.reasons)
        assert (a.settled_in_s is not None) == (clear and not settled)
