import math

import numpy as np
import pytest
import scipy.stats
from scipy.spatial.transform import Rotation

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import PadAir
from groundstation.estimation.gimbal import (
    Action,
    control_moment_nm,
    deflection_rad,
    following,
    lag,
    leans_rad,
    restoring,
    saturation_share,
    side_force_n,
)
from groundstation.simulator.control import AttitudeControl
from groundstation.simulator.dynamics import Body, Motor, Surroundings

DEG = math.pi / 180.0


def test_line_through_the_deflections_agrees_with_a_reference_library() -> None:
    draws = np.random.default_rng(1)
    command = draws.normal(0.0, 3.0, 200)
    angle = 0.4 + 0.95 * command + draws.normal(0.0, 0.1, 200)
    found = following(command, angle)
    expected = scipy.stats.linregress(command, angle)
    assert found is not None
    assert found.gain == pytest.approx(expected.slope, abs=1e-12)
    assert found.gain_sigma == pytest.approx(expected.stderr, abs=1e-12)
    assert found.offset_rad == pytest.approx(expected.intercept, abs=1e-12)
    assert found.offset_sigma_rad == pytest.approx(expected.intercept_stderr, abs=1e-12)


def test_a_gimbal_that_is_not_moved_says_nothing() -> None:
    still = np.zeros(50)
    assert following(still, still) is None
    assert following(np.arange(5.0), np.arange(5.0)) is None
    assert lag(np.arange(50.0), still, still) is None
    assert restoring(still, still, still) is None
    assert math.isnan(saturation_share(np.full(3, np.nan), 0.1))


def test_deflection_is_counted_from_neutral_with_the_sign(curlew: Vehicle) -> None:
    assert curlew.gimbal is not None
    gimbal = curlew.gimbal.model_copy(update={"neutral_rad": (0.01, -0.02), "signs": (1, -1)})
    assert deflection_rad(np.array([0.03]), gimbal, 0)[0] == pytest.approx(0.02)
    assert deflection_rad(np.array([0.03]), gimbal, 1)[0] == pytest.approx(-0.05)


def test_side_force_and_moment_by_hand() -> None:
    # 40 N deflected by 30° pushes 20 N sideways; at half a metre that turns the body by -10 N m.
    assert side_force_n(np.array([40.0]), np.array([30 * DEG]))[0] == pytest.approx(20.0)
    assert control_moment_nm(np.array([40.0]), np.array([30 * DEG]), 0.5)[0] == pytest.approx(-10.0)


def test_share_of_time_at_the_stops() -> None:
    deflection = np.array([0.0, 5.95, -6.0, 3.0, np.nan]) * DEG
    assert saturation_share(deflection, 6 * DEG) == pytest.approx(0.5)


@pytest.mark.parametrize("true_lag_s", [0.0, 0.02, 0.05, 0.08])
def test_lag_behind_the_command_is_found(true_lag_s: float) -> None:
    draws = np.random.default_rng(2)
    t = np.arange(0.0, 20.0, 0.05)

    def wanted(at: np.ndarray) -> np.ndarray:
        return 3.0 * np.sin(1.7 * at) + 1.5 * np.sin(4.1 * at + 1.0)

    angle = wanted(t - true_lag_s) + draws.normal(0.0, 0.03, t.size)
    found = lag(t, wanted(t), angle)
    assert found is not None
    assert found.seconds == pytest.approx(true_lag_s, abs=0.005)


def test_leans_are_about_the_bodys_own_axes() -> None:
    about_x = Rotation.from_euler("ZX", [50.0, 7.0], degrees=True).as_quat()
    about_y = Rotation.from_euler("ZY", [-20.0, 4.0], degrees=True).as_quat()
    rows = np.array([[q[3], q[0], q[1], q[2]] for q in (about_x, about_y)])
    assert leans_rad(rows) / DEG == pytest.approx(np.array([[7.0, 0.0], [0.0, 4.0]]), abs=1e-9)


def wiggle(draws: np.random.Generator, degrees: float, sign: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A vehicle rocked by hand about one axis, its gimbal answering: lean, rate and deflection, at 10 Hz."""
    t = np.arange(0.0, draws.uniform(4.0, 10.0), 0.1)
    hz, start = draws.uniform(0.2, 0.8), 0.6
    moving = t > start
    lean = np.where(moving, degrees * DEG * np.sin(math.tau * hz * (t - start)), 0.0)
    rate = np.where(moving, degrees * DEG * math.tau * hz * np.cos(math.tau * hz * (t - start)), 0.0)
    gain, damping, late_s = draws.uniform(0.15, 1.5), draws.uniform(0.0, 0.15), draws.uniform(0.0, 0.08)
    answer = sign * np.interp(t - late_s, t, np.clip(gain * lean + damping * rate, -6 * DEG, 6 * DEG))
    noisy = [
        (lean + draws.normal(0.0, 0.1 * DEG, t.size) + draws.normal(0.0, 0.5) * DEG),
        rate + draws.normal(0.0, 0.3 * DEG, t.size),
        answer + draws.normal(0.0, 0.15 * DEG, t.size) + draws.normal(0.0, 0.3) * DEG,
    ]
    return noisy[0], noisy[1], noisy[2]


def test_restoring_sign_is_right_in_a_thousand_bench_wiggles() -> None:
    draws = np.random.default_rng(3)
    for k in range(1000):
        sign = 1 if k % 2 else -1
        found = restoring(*wiggle(draws, draws.uniform(5.0, 20.0), sign))
        assert found is not None
        assert found.action is (Action.RESTORING if sign > 0 else Action.DIVERGING), k


def test_smaller_wiggles_and_dead_gimbals_cannot_tell() -> None:
    draws = np.random.default_rng(4)
    for _ in range(200):
        small = restoring(*wiggle(draws, draws.uniform(0.5, 4.0), 1))
        assert small is not None
        assert small.action is Action.CANNOT_TELL
        lean, rate, _ = wiggle(draws, 10.0, 1)
        dead = restoring(lean, rate, draws.normal(0.0, 0.15 * DEG, lean.size))
        assert dead is not None
        assert dead.action is Action.CANNOT_TELL


def test_a_vehicle_without_a_gyroscope_is_judged_by_its_lean_alone() -> None:
    lean, rate, deflection = wiggle(np.random.default_rng(5), 12.0, 1)
    found = restoring(lean, np.full_like(rate, np.nan), deflection)
    assert found is not None
    assert found.action is Action.RESTORING
    assert math.isnan(found.damping_s)


def test_what_is_called_restoring_rights_the_simulated_vehicle(curlew: Vehicle) -> None:
    # An independent statement of the sign: the simulator's equations of motion, not its control law.
    motor = Motor(curlew.motor.curve, curlew.motor.propellant_mass_kg)
    body = Body(curlew, motor, PadAir(100930.0, 290.0), gravity_mps2=9.81)
    control = AttitudeControl(curlew)
    for axis in (0, 1):
        turn = [0.0, 0.0, 0.0]
        turn[axis] = 5 * DEG
        x, y, z, w = Rotation.from_rotvec(turn).as_quat().tolist()
        state = (0.0, 0.0, 50.0, 0.0, 0.0, 1.0, w, x, y, z, 0.0, 0.0, 0.0)
        lean = leans_rad(np.array([[w, x, y, z]]))[0]
        assert lean[axis] == pytest.approx(5 * DEG)
        gimbal = [0.0, 0.0]
        gimbal[axis] = 3 * DEG  # deflection and lean of the same sign: restoring
        pushed = body.derivative(1.0, state, Surroundings(gimbal_rad=(gimbal[0], gimbal[1])))[10 + axis]
        assert pushed < 0.0
        assert control.command_rad(1.0, (w, x, y, z), (0.0, 0.0, 0.0))[axis] > 0.0
