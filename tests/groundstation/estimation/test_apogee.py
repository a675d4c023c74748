import math

import pytest
from scipy.integrate import solve_ivp

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.apogee import boost, coast
from groundstation.estimation.ascent import ExpectedAscent

G = 9.80665
# Closed forms of Fehskens and Malewicki in Mandell, Caporaso and Bengen, Topics in Advanced Model Rocketry (1973),
# chapter 4; figures worked out with them, and again by scipy's integrator, for a 1.5 kg rocket with 120 N s in 2 s.
DRAG = 0.5 * 1.225 * 0.5 * math.pi * 0.075**2 / 4.0
MEAN_KG, BURNT_KG, THRUST_N, BURN_S = 1.47, 1.44, 60.0, 2.0


def test_boost_and_coast_agree_with_the_worked_example() -> None:
    burn = boost(0.0, THRUST_N, BURN_S, MEAN_KG, DRAG, G)
    assert burn.end_mps == pytest.approx(59.762248, abs=1e-5)
    assert burn.height_m == pytest.approx(60.874017, abs=1e-5)
    rest = coast(burn.end_mps, BURNT_KG, DRAG, G)
    assert rest.height_m == pytest.approx(156.614172, abs=1e-4)
    assert rest.time_s == pytest.approx(5.514053, abs=1e-5)


def test_coast_alone() -> None:
    rest = coast(100.0, 1.0, 0.0015, G)
    assert rest.height_m == pytest.approx(309.350345, abs=1e-5)
    assert rest.time_s == pytest.approx(7.345155, abs=1e-5)


@pytest.mark.parametrize("speed_mps", [0.0, 10.0, 40.0, 130.0, 260.0])
@pytest.mark.parametrize(("thrust_n", "burn_s"), [(60.0, 2.0), (25.0, 0.4)])
def test_boost_from_any_speed_agrees_with_an_integrator(speed_mps: float, thrust_n: float, burn_s: float) -> None:
    def rates(_: float, y: list[float]) -> list[float]:
        return [y[1], (thrust_n - DRAG * y[1] * abs(y[1])) / MEAN_KG - G]

    end = solve_ivp(rates, (0.0, burn_s), [0.0, speed_mps], rtol=1e-10, atol=1e-10).y[:, -1]
    burn = boost(speed_mps, thrust_n, burn_s, MEAN_KG, DRAG, G)
    assert burn.height_m == pytest.approx(end[0], abs=1e-6)
    assert burn.end_mps == pytest.approx(end[1], abs=1e-6)


def test_without_drag_the_rise_is_a_parabola() -> None:
    assert coast(30.0, 1.0, 0.0, G).height_m == pytest.approx(30.0**2 / (2 * G), abs=1e-9)
    assert boost(0.0, 30.0, 2.0, 1.0, 0.0, 10.0).height_m == pytest.approx(40.0, abs=1e-9)
    assert coast(-5.0, 1.0, 0.001, G).height_m == 0.0
    assert boost(12.0, 30.0, 0.0, 1.0, 0.001, G).end_mps == 12.0


def test_a_closed_form_misses_a_published_varying_thrust_by_little(curlew: Vehicle) -> None:
    # The same book, table 2: 40 g, thrust 0 → 13 N at 0.14 s → 3.5 N at 0.22 s, then constant to 1.20 s (5.0 N s);
    # printed burnout speed 111.4 m/s, burnout height 78.1 m, apogee 343.6 m.
    motor = curlew.motor.model_copy(
        update={
            "propellant_mass_kg": 0.00833,
            "thrust_curve": ((0.0, 0.0), (0.14, 13.0), (0.22, 3.5), (1.20, 3.5)),
        }
    )
    area = math.pi * curlew.airframe.diameter_m**2 / 4.0
    frame = curlew.airframe.model_copy(update={"liftoff_mass_kg": 0.040, "drag_coefficient": 0.92e-4 * 2 / area})
    vehicle = curlew.model_copy(update={"motor": motor, "airframe": frame})
    ascent = ExpectedAscent(vehicle, density_kgpm3=1.0, gravity_mps2=9.8)
    burnout_s = 1.20 - ascent.delay_s
    assert ascent.speed_at_mps(burnout_s) == pytest.approx(111.4, abs=0.5)
    assert ascent.time_at_height_s(78.1) == pytest.approx(burnout_s, abs=0.02)
    assert 78.1 + ascent.rise_from(111.4, burnout_s, 0.92e-4).height_m == pytest.approx(343.6, abs=0.5)
    assert ascent.rise_from(0.0, 0.0, 0.92e-4).height_m == pytest.approx(343.6, rel=0.01)


def test_expected_ascent_of_the_example_vehicle_conserves_impulse_and_mass(curlew: Vehicle) -> None:
    ascent = ExpectedAscent(curlew, density_kgpm3=1.2, gravity_mps2=G)
    assert ascent.impulse_left_ns(-1.0) == pytest.approx(curlew.motor.impulse_ns)
    assert ascent.impulse_left_ns(curlew.motor.burn_s) == 0.0
    steps = [ascent.impulse_left_ns(k * 0.05) for k in range(80)]
    assert steps == sorted(steps, reverse=True)
    assert ascent.mass_kg(10.0) == pytest.approx(ascent.burnout_mass_kg)
    assert ascent.mass_kg(-1.0) == pytest.approx(curlew.airframe.liftoff_mass_kg)
    half = sum(ascent.thrust_n(k * 0.001) * 0.001 for k in range(1000))
    assert ascent.impulse_left_ns(0.0) - ascent.impulse_left_ns(1.0) == pytest.approx(half, abs=0.05)
