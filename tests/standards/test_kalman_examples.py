import math
import random

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter

from groundstation.estimation.vertical import GATE_SIGMAS, REJECTED_FOR_S, VerticalFilter


def test_heights_of_a_building_agree_with_the_published_example() -> None:
    # A. Becker, Kalman Filter from the Ground Up, "height of a building": x0 60, P0 225, R 25, no process noise.
    measured = [48.54, 47.11, 55.01, 55.15, 49.89, 40.85, 46.72, 50.05, 51.27, 49.95]
    printed = [49.69, 48.47, 50.57, 51.68, 51.33, 49.62, 49.21, 49.31, 49.53, 49.57]
    f = VerticalFilter(60.0, 0.0, 0.0, h_sigma=15.0, v_sigma=0.0, b_sigma=0.0)
    for z, expected in zip(measured, printed, strict=True):
        assert f.update(z, 25.0)
        assert f.h == pytest.approx(expected, abs=0.006)
    assert f.p_hh == pytest.approx(2.4725, abs=0.0001)
    assert (f.v, f.b) == (0.0, 0.0)


def test_filter_agrees_with_a_reference_library_at_uneven_steps() -> None:
    draws = random.Random(7)
    f = VerticalFilter(2.0, -1.0, 0.3, h_sigma=3.0, v_sigma=4.0, b_sigma=0.5)
    reference = KalmanFilter(dim_x=3, dim_z=1, dim_u=2)
    reference.x = np.array([[2.0], [-1.0], [0.3]])
    reference.P = np.diag([9.0, 16.0, 0.25])
    reference.H = np.array([[1.0, 0.0, 0.0]])
    for _ in range(200):
        dt, s, q_b = draws.choice([0.05, 0.1, 0.7, 3.0]), draws.uniform(0.1, 4.0), draws.uniform(0.0, 0.1)
        a0, a1 = draws.gauss(0.0, 5.0), draws.gauss(0.0, 5.0)
        drive = np.array([[dt * dt / 2.0], [dt], [0.0]])
        reference.F = np.array([[1.0, dt, -dt * dt / 2.0], [0.0, 1.0, -dt], [0.0, 0.0, 1.0]])
        reference.B = np.array([[dt * dt / 3.0, dt * dt / 6.0], [dt / 2.0, dt / 2.0], [0.0, 0.0]])
        reference.Q = s * drive @ drive.T + np.diag([0.0, 0.0, q_b * dt])
        reference.predict(u=np.array([[a0], [a1]]))
        f.predict(dt, a0, a1, s=s, q_b=q_b)
        if draws.random() < 0.7:
            z, r = f.h + draws.gauss(0.0, f.h_sigma), draws.uniform(0.1, 3.0)
            reference.update(np.array([[z]]), R=np.array([[r]]))
            assert f.update(z, r)
        scale = max(1.0, float(np.abs(reference.P).max()))
        assert [f.h, f.v, f.b] == pytest.approx(reference.x[:, 0].tolist(), abs=1e-8)
        ours = [[f.p_hh, f.p_hv, f.p_hb], [f.p_hv, f.p_vv, f.p_vb], [f.p_hb, f.p_vb, f.p_bb]]
        assert np.abs(np.array(ours) - reference.P).max() < 1e-10 * scale


def test_errors_are_as_large_as_the_covariance_says() -> None:
    # Normalised squared error of (h, v, b), mean over runs: chi-squared with 3 degrees of freedom over 400 runs.
    total = 0.0
    runs = 400
    for seed in range(runs):
        draws = random.Random(seed)
        h, v, b = draws.gauss(0.0, 2.0), draws.gauss(0.0, 3.0), draws.gauss(0.0, 0.4)
        f = VerticalFilter(0.0, 0.0, 0.0, h_sigma=2.0, v_sigma=3.0, b_sigma=0.4)
        for _ in range(60):
            dt = draws.choice([0.05, 0.1, 0.4])
            push, wrong = draws.gauss(0.0, 4.0), draws.gauss(0.0, 0.7)
            h += v * dt + (push + wrong) * dt * dt / 2.0
            v += (push + wrong) * dt
            f.predict(dt, push + b, push + b, s=0.49, q_b=0.0)
            f.update(h + draws.gauss(0.0, 0.5), 0.25)
        error = np.array([f.h - h, f.v - v, f.b - b])
        p = np.array([[f.p_hh, f.p_hv, f.p_hb], [f.p_hv, f.p_vv, f.p_vb], [f.p_hb, f.p_vb, f.p_bb]])
        total += float(error @ np.linalg.solve(p, error))
    assert total / runs == pytest.approx(3.0, abs=3.0 * math.sqrt(6.0 / runs))


def test_impossible_heights_are_rejected_until_they_have_lasted() -> None:
    f = VerticalFilter(0.0, 0.0, 0.0, h_sigma=0.5, v_sigma=0.1, b_sigma=0.1)
    before_m = f.h
    waited_s = 0.0
    while True:
        f.predict(0.1, 0.0, 0.0, s=0.01, q_b=0.0)
        waited_s += 0.1
        if f.update(40.0, 0.25):
            break
        assert abs(f.h - before_m) < 1e-9
        assert f.h_sigma < 40.0 / GATE_SIGMAS
    assert waited_s == pytest.approx(REJECTED_FOR_S, abs=0.11)
    for _ in range(30):
        f.predict(0.1, 0.0, 0.0, s=0.01, q_b=0.0)
        assert f.update(40.0, 0.25)
    assert f.h == pytest.approx(40.0, abs=1.0)
