import math
import random

import numpy as np
import pytest

from groundstation.simulator.pad import PadPlan
from groundstation.simulator.simulate import SimulatedVehicle
from groundstation.table import FloatArray

from .lively_pad import Hour, lively_hour, received
from .pad_hours import BAR_S, files, main, watch

SECONDS = 900.0
RATE_HZ = 10.0


@pytest.mark.parametrize("hour", range(6))
def test_nothing_on_a_lively_pad_is_taken_for_liftoff_and_the_liftoff_is(hour: int) -> None:
    seen = watch(hour, SECONDS)
    assert seen.false_s is None
    assert abs(seen.off_s) <= BAR_S
    assert seen.samples > 0.6 * SECONDS * seen.rate_hz


def test_a_liftoff_is_told_by_pressure_alone() -> None:
    seen = watch(9, SECONDS)
    assert seen.bare
    assert seen.false_s is None
    assert abs(seen.off_s) <= 1.0


def simulated_pad(seed: int) -> Hour:
    """The simulator's own pad, knocked every 20 s, as the generator's columns."""
    vehicle, site = files()
    draws = random.Random(seed)
    bumps = tuple((t, draws.uniform(5.0, 60.0)) for t in np.arange(5.0, SECONDS - 20.0, 20.0).tolist())
    simulated = SimulatedVehicle(vehicle, site, seed=seed, plan=PadPlan(bumps=bumps))
    rows = [(m.t_s, m.values) for m in simulated.moments(SECONDS) if m.packet == "motion"]

    def columns(*names: str) -> FloatArray:
        return np.array([[v[name] for name in names] for _, v in rows])

    return Hour(
        np.array([t for t, _ in rows]),
        columns("pressure")[:, 0],
        columns("accel_x", "accel_y", "accel_z"),
        columns("gyro_x", "gyro_y", "gyro_z"),
        columns("attitude_w", "attitude_x", "attitude_y", "attitude_z"),
    )


def liveliness(pad: Hour) -> dict[str, float]:
    """How much goes on: force and rates all the time and in the liveliest hundredth, the pressure fast and slow."""
    force = np.linalg.norm(pad.accel_mps2 - np.median(pad.accel_mps2, axis=0), axis=1)
    rate = np.linalg.norm(pad.gyro_radps - np.median(pad.gyro_radps, axis=0), axis=1)
    second = round(RATE_HZ)
    whole = pad.pressure_pa[: pad.pressure_pa.size // second * second].reshape(-1, second).mean(axis=1)
    return {
        "force": float(np.median(force)),
        "force of knocks": float(np.percentile(force, 99.0)),
        "axial force of knocks": float(np.percentile(np.abs(pad.accel_mps2[:, 2] - 9.81), 99.0)),
        "rate": float(np.median(rate)),
        "rate of knocks": float(np.percentile(rate, 99.0)),
        "pressure from sample to sample": float(np.std(np.diff(pad.pressure_pa))),
        "pressure from second to second": float(np.std(np.diff(whole))),
        "pressure over a minute": float(np.median(np.abs(whole[60:] - whole[:-60]))),
        "pressure in all": float(np.ptp(whole)),
    }


def test_the_lively_pad_is_at_least_as_lively_as_the_simulators() -> None:
    simulated = [liveliness(simulated_pad(seed)) for seed in range(3)]
    lively = [
        liveliness(lively_hour(np.random.default_rng(seed), RATE_HZ, seconds=SECONDS, accel_range_mps2=156.0))
        for seed in range(12)
    ]
    for what in simulated[0]:
        theirs, ours = (np.mean([s[what] for s in pads]) for pads in (simulated, lively))
        assert ours >= theirs, what


def test_specific_force_turned_by_the_attitude_is_upright() -> None:
    pad = lively_hour(np.random.default_rng(3), RATE_HZ, seconds=SECONDS)
    w, x, y, z = pad.attitude.T
    assert np.hypot(np.hypot(w, x), np.hypot(y, z)) == pytest.approx(1.0, abs=1e-12)
    up = np.stack([2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)], axis=1)
    turned = np.sum(up * pad.accel_mps2, axis=1)
    assert np.median(turned) == pytest.approx(9.81, abs=0.15)
    assert np.median(np.linalg.norm(pad.accel_mps2 - 9.81 * up, axis=1)) < 1.0


@pytest.mark.parametrize("loss", [0.0, 0.1, 0.3])
def test_samples_are_lost_in_bursts_of_half_a_second(loss: float) -> None:
    t_s = np.arange(0.0, 3600.0, 0.05)
    through = received(np.random.default_rng(1), t_s, loss)
    assert 1.0 - np.mean(through) == pytest.approx(loss, abs=0.015)
    if loss:
        after_lost = through[1:][~through[:-1]]
        assert np.mean(after_lost) == pytest.approx(0.1 + 0.9 * (1.0 - math.exp(-0.1)) * (1.0 - loss / 0.9), abs=0.04)


@pytest.mark.campaign
@pytest.mark.timeout(0)
def test_no_false_liftoff_in_a_thousand_pad_hours() -> None:
    assert main(["1000"]) == 0
