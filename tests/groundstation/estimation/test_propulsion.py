import math
from collections.abc import Callable, Iterator

import numpy as np
import pytest

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.ascent import ExpectedAscent
from groundstation.estimation.propulsion import Burn, MassBudget, burn_of, impulse_letter
from groundstation.simulator.truth import Truth
from groundstation.state import FlightEventKind, MotionSample


@pytest.mark.parametrize(
    ("impulse_ns", "letter"),
    [
        (0.3, "¼A"),
        (0.625, "¼A"),
        (0.63, "½A"),
        (1.25, "½A"),
        (1.26, "A"),
        (2.5, "A"),
        (10.0, "C"),
        (110.0, "G"),
        (160.0, "G"),
        (160.004, "G"),
        (160.01, "H"),
        (320.0, "H"),
        (640.01, "J"),
        (40960.0, "O"),
        (40960.01, "above O"),
    ],
)
def test_impulse_classes_are_the_published_ones(impulse_ns: float, letter: str) -> None:
    # National Association of Rocketry, table of motor classes; NFPA 1125.
    assert impulse_letter(impulse_ns) == letter


@pytest.mark.parametrize("impulse_ns", [0.0, -1.0, math.nan])
def test_no_impulse_has_no_letter(impulse_ns: float) -> None:
    with pytest.raises(ValueError, match="expected above zero"):
        impulse_letter(impulse_ns)


def test_constant_thrust_is_found_again() -> None:
    t = np.arange(0.025, 5.0, 0.05)
    left = np.clip(1.0 - t / 2.0, 0.0, 1.0)
    mass = 1.44 + 0.06 * left
    speed = np.where(t < 2.0, 30.0 * t, 60.0 - 10.0 * (t - 2.0))
    drag = 1.35e-3 * speed**2
    axial = (np.where(t < 2.0, 60.0, 0.0) - drag) / mass
    burn = burn_of(t, axial, speed, liftoff_s=0.0, mass=MassBudget(1.5, 0.06), drag_kgpm=1.35e-3)
    assert burn.impulse_ns == pytest.approx(120.0, abs=0.2)
    assert burn.peak_n == pytest.approx(60.0, abs=0.05)
    assert burn.time_s == pytest.approx(2.0, abs=0.001)
    assert burn.average_n == pytest.approx(60.0, abs=0.2)
    assert burn.designation == "G60"
    assert burn.thrust_to_weight == pytest.approx(60.0 / (1.5 * 9.80665), abs=0.01)
    assert burn.mass_kg[-1] == pytest.approx(1.44)
    assert abs(burn.impulse_ns - 120.0) < 2 * burn.impulse_sigma_ns


def test_missing_samples_are_left_out() -> None:
    t = np.arange(0.05, 4.0, 0.05)
    axial = np.where(t < 2.0, 40.0, 0.0)
    axial[::3] = np.nan
    burn = burn_of(t, axial, np.zeros_like(t), liftoff_s=0.0, mass=MassBudget(1.0, 0.0), drag_kgpm=0.0)
    assert burn.impulse_ns == pytest.approx(80.0, abs=4.0)


def test_columns_without_a_burn_are_refused() -> None:
    t = np.arange(0.0, 1.0, 0.1)
    with pytest.raises(ValueError, match="expected a burn"):
        burn_of(t, -np.ones_like(t), t, liftoff_s=0.0, mass=MassBudget(1.0, 0.1), drag_kgpm=0.0)
    with pytest.raises(ValueError, match="expected equal columns"):
        burn_of(t, t[:-1], t, liftoff_s=0.0, mass=MassBudget(1.0, 0.1), drag_kgpm=0.0)


def burnt(fly: Callable, vehicle: Vehicle, seed: int) -> tuple[Burn, Truth]:
    taken: list[MotionSample] = []

    def keep(samples: Iterator[MotionSample], _: Truth) -> Iterator[MotionSample]:
        for sample in samples:
            taken.append(sample)
            yield sample

    flown = fly(seed, rate_hz=20.0, change=keep)
    rising = [k for k, s in enumerate(flown.states) if s.at_ns <= flown.events[FlightEventKind.APOGEE].at_ns]
    t = np.array([flown.states[k].at_ns for k in rising]) / 1e9
    axial = np.array([taken[k].accel_mps2[2] for k in rising])
    speed = np.array([flown.states[k].speed_mps for k in rising])
    liftoff_s = flown.events[FlightEventKind.LIFTOFF].at_ns / 1e9
    ascent = ExpectedAscent(vehicle, density_kgpm3=1.21, gravity_mps2=9.81)
    bias = float(np.mean(axial[t < liftoff_s - 1.0])) - 9.809
    mass = MassBudget(vehicle.airframe.liftoff_mass_kg, vehicle.motor.propellant_mass_kg)
    return burn_of(t, axial - bias, speed, liftoff_s=liftoff_s, mass=mass, drag_kgpm=ascent.drag_kgpm), flown.truth


def check_burn(burn: Burn, truth: Truth) -> None:
    assert burn.impulse_ns == pytest.approx(truth.impulse_ns, rel=0.03)
    assert burn.time_s == pytest.approx(truth.burn_s, abs=0.1)
    assert burn.letter == "G"


def test_a_simulated_motor_is_measured(fly: Callable, curlew: Vehicle) -> None:
    check_burn(*burnt(fly, curlew, 20))


@pytest.mark.campaign
@pytest.mark.timeout(0)
def test_forty_simulated_motors_are_measured_within_their_sigma(fly: Callable, curlew: Vehicle) -> None:
    off = []
    for seed in range(40):
        burn, truth = burnt(fly, curlew, seed)
        check_burn(burn, truth)
        off.append((burn.impulse_ns - truth.impulse_ns) / burn.impulse_sigma_ns)
    assert np.mean(np.abs(off) < 1.96) >= 0.9
