import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from groundstation.estimation.attitude import (
    Quaternion,
    angle_between_rad,
    conjugate,
    continuous_signs,
    lean,
    mean_rate_radps,
    nearer_sign,
    product,
    resting_tilt_rad,
    to_local,
    unit_quaternion,
    up_part,
)

angles = st.floats(-math.pi, math.pi)


def of(rotation: Rotation) -> Quaternion:
    x, y, z, w = rotation.as_quat().tolist()
    return (w, x, y, z)


def yaw_pitch_roll(yaw_deg: float, pitch_deg: float, roll_deg: float) -> Quaternion:
    return of(Rotation.from_euler("ZYX", [yaw_deg, pitch_deg, roll_deg], degrees=True))


def test_product_agrees_with_the_worked_example() -> None:
    # J. B. Kuipers, Quaternions and Rotation Sequences (1999), chapter 5: (3+i-2j+k)(2-i+2j+3k) = 8-9i-2j+11k.
    assert product((3.0, 1.0, -2.0, 1.0), (2.0, -1.0, 2.0, 3.0)) == (8.0, -9.0, -2.0, 11.0)


def test_a_third_of_a_turn_about_the_diagonal_carries_x_to_y_to_z() -> None:
    # Kuipers, the same chapter: q = ½(1, 1, 1, 1).
    q = (0.5, 0.5, 0.5, 0.5)
    assert to_local(q, (1.0, 0.0, 0.0)) == pytest.approx((0.0, 1.0, 0.0), abs=1e-15)
    assert to_local(q, (0.0, 1.0, 0.0)) == pytest.approx((0.0, 0.0, 1.0), abs=1e-15)


def test_euler_angles_give_the_published_rotation() -> None:
    # J. Diebel, Representing Attitude (2006), formulas for yaw 30°, pitch 20°, roll 10°.
    q = (0.9515485246, 0.0381345765, 0.1893078574, 0.2392983377)
    assert yaw_pitch_roll(30.0, 20.0, 10.0) == pytest.approx(q, abs=1e-9)
    assert to_local(q, (1.0, 0.0, 0.0)) == pytest.approx((0.8137976813, 0.4698463104, -0.3420201433), abs=1e-9)
    assert to_local(q, (0.0, 0.0, 1.0)) == pytest.approx((0.3785223064, 0.0180283112, 0.9254165784), abs=1e-9)


@pytest.mark.parametrize(("pitch_deg", "roll_deg", "tilt_deg"), [(3.0, 4.0, 4.998537), (5.0, 5.0, 7.066574)])
@pytest.mark.parametrize("yaw_deg", [0.0, 77.0, -140.0])
def test_tilt_of_small_angles(pitch_deg: float, roll_deg: float, tilt_deg: float, yaw_deg: float) -> None:
    # cos(tilt) = cos(pitch)·cos(roll), worked out by hand; turning about the vertical has no effect.
    q = yaw_pitch_roll(yaw_deg, pitch_deg, roll_deg)
    assert math.degrees(lean(q).tilt_rad) == pytest.approx(tilt_deg, abs=1e-6)


@given(angles, st.floats(-1.5, 1.5), angles, st.tuples(angles, angles, angles))
@settings(max_examples=200)
def test_turning_vectors_agrees_with_a_reference_library(
    yaw: float, pitch: float, roll: float, body: tuple[float, float, float]
) -> None:
    rotation = Rotation.from_euler("ZYX", [yaw, pitch, roll])
    expected = rotation.apply(body)
    q = of(rotation)
    assert to_local(q, body) == pytest.approx(expected.tolist(), abs=1e-12)
    assert up_part(q, body) == pytest.approx(float(expected[2]), abs=1e-12)
    nose = rotation.apply([0.0, 0.0, 1.0])
    assert lean(q).tilt_rad == pytest.approx(math.acos(np.clip(nose[2], -1.0, 1.0)), abs=1e-7)
    if math.hypot(nose[0], nose[1]) > 1e-3:
        assert math.sin(lean(q).heading_rad) == pytest.approx(nose[0] / math.hypot(nose[0], nose[1]), abs=1e-9)


def test_heading_of_tilt_is_clockwise_from_north() -> None:
    east = of(Rotation.from_rotvec([0.0, math.radians(10.0), 0.0]))  # about north: the nose goes east
    north = of(Rotation.from_rotvec([-math.radians(10.0), 0.0, 0.0]))
    assert math.degrees(lean(east).heading_rad) == pytest.approx(90.0, abs=1e-9)
    assert math.degrees(lean(north).heading_rad) % 360.0 == pytest.approx(0.0, abs=1e-9)
    assert math.isnan(lean((1.0, 0.0, 0.0, 0.0)).heading_rad)


def test_accelerometer_at_rest_shows_the_tilt() -> None:
    # atan2(√(0.1² + 0.2²), 0.97), worked out by hand.
    assert math.degrees(resting_tilt_rad((0.1, -0.2, 0.97))) == pytest.approx(12.981193, abs=1e-6)
    assert resting_tilt_rad((0.0, 0.0, -9.8)) == pytest.approx(math.pi)
    assert math.isnan(resting_tilt_rad((0.0, math.nan, 9.8)))


def test_angle_between_two_attitudes() -> None:
    # Agreed with scipy's Rotation.magnitude of the difference.
    a, b = yaw_pitch_roll(30.0, 20.0, 10.0), yaw_pitch_roll(35.0, 18.0, 12.0)
    assert math.degrees(angle_between_rad(a, b)) == pytest.approx(5.146173, abs=1e-6)
    negative = (-b[0], -b[1], -b[2], -b[3])
    assert angle_between_rad(a, negative) == pytest.approx(angle_between_rad(a, b), abs=1e-12)


@pytest.mark.parametrize(
    "sent",
    [(0.0, 0.0, 0.0, 0.0), (0.9, 0.0, 0.0, 0.0), (1.1, 0.0, 0.0, 0.0), (math.nan, 0.0, 0.0, 1.0), (math.inf,) * 4],
)
def test_what_is_no_attitude_is_refused(sent: Quaternion) -> None:
    assert unit_quaternion(sent) is None


def test_a_norm_off_by_rounding_is_put_right() -> None:
    q = unit_quaternion((0.72, 0.0, 0.72, 0.0))
    assert q is not None
    assert q == pytest.approx((math.sqrt(0.5), 0.0, math.sqrt(0.5), 0.0), abs=1e-12)


def test_signs_follow_the_row_before_and_skip_missing_rows() -> None:
    q = np.array([[1.0, 0.1, 0, 0], [-1.0, -0.1, 0, 0], [np.nan] * 4, [-0.9, -0.2, 0, 0], [0.9, 0.3, 0, 0]])
    out = continuous_signs(q)
    assert np.all(out[[0, 1, 3, 4], 0] > 0)
    assert np.isnan(out[2]).all()
    assert nearer_sign((-1.0, 0.0, 0.0, 0.0), (0.9, 0.1, 0.0, 0.0)) == (1.0, -0.0, -0.0, -0.0)
    with pytest.raises(ValueError, match=r"expected \(n, 4\)"):
        continuous_signs(np.zeros(4))


@given(st.tuples(*[st.floats(-2.0, 2.0)] * 3), angles, st.floats(0.05, 0.5))
def test_mean_rate_is_the_rate_that_was_turned_at(rate: tuple[float, float, float], yaw: float, dt_s: float) -> None:
    before = Rotation.from_euler("ZYX", [yaw, 0.3, -0.2])
    after = before * Rotation.from_rotvec(np.array(rate) * dt_s)
    assert mean_rate_radps(of(before), of(after), dt_s) == pytest.approx(rate, abs=1e-6)


def test_a_rate_over_no_time_is_refused() -> None:
    with pytest.raises(ValueError, match=r"0.0 s"):
        mean_rate_radps((1.0, 0.0, 0.0, 0.0), (1.0, 0.0, 0.0, 0.0), 0.0)


def test_conjugate_undoes_a_rotation() -> None:
    q = yaw_pitch_roll(30.0, 20.0, 10.0)
    assert to_local(conjugate(q), to_local(q, (1.0, 2.0, 3.0))) == pytest.approx((1.0, 2.0, 3.0), abs=1e-12)
