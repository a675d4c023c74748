import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import PadAir
from groundstation.simulator.dynamics import Body, Motor, StateVector, Surroundings, step
from groundstation.simulator.rotation import leaning, to_local

G0 = 9.80665


class ConstantAir:
    def __init__(self, density_kgpm3: float) -> None:
        self.density_kgpm3 = density_kgpm3

    def density_at_kgpm3(self, height_m: float) -> float:
        return self.density_kgpm3


def rocket(
    vehicle: Vehicle,
    *,
    mass_kg: float,
    propellant_kg: float,
    curve: tuple[tuple[float, float], ...],
    k: float,
    gravity_mps2: float = G0,
    density_kgpm3: float = 1.225,
) -> Body:
    """A body whose axial drag is k·v² in air of constant density."""
    area_m2 = 2 * k / density_kgpm3 if density_kgpm3 else 0.0
    section_m2 = math.pi * vehicle.airframe.diameter_m**2 / 4
    airframe = vehicle.airframe.model_copy(
        update={"liftoff_mass_kg": mass_kg, "drag_coefficient": area_m2 / section_m2}
    )
    changed = vehicle.model_copy(update={"airframe": airframe})
    return Body(changed, Motor(curve, propellant_kg), ConstantAir(density_kgpm3), gravity_mps2=gravity_mps2)


def upright(*, height_m: float = 0.0, speed_mps: float = 0.0) -> StateVector:
    return (0.0, 0.0, height_m, 0.0, 0.0, speed_mps, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def run(body: Body, y: StateVector, *, until_s: float, dt_s: float = 0.005, **around: object) -> StateVector:
    surroundings = Surroundings(**around)  # type: ignore[arg-type]
    for n in range(round(until_s / dt_s)):
        y = step(body, n * dt_s, y, dt_s, surroundings)
    return y


def top(body: Body, y: StateVector, *, from_s: float, dt_s: float = 0.005) -> tuple[float, float]:
    """Height and time of the top, from a state on the way up."""
    t_s = from_s
    while y[5] > 0.0:
        before, y = y, step(body, t_s, y, dt_s, Surroundings())
        t_s += dt_s
    share = before[5] / (before[5] - y[5])
    return before[2] + 0.5 * before[5] * share * dt_s, t_s - dt_s + share * dt_s


# Fehskens and Malewicki's closed form (Mandell, Caporaso and Bengen, Topics in Advanced Model Rocketry, 1973, chapter
# 4, eqs. 20, 21, 67): 1.500 kg, 60 g of propellant, 120 N s in 2 s, k = 1.352971e-3, mean mass while burning.
K_CASE = 1.352971e-3


def test_boost_agrees_with_the_closed_form_at_constant_mass(vehicle: Vehicle) -> None:
    body = rocket(vehicle, mass_kg=1.470, propellant_kg=1e-9, curve=((0.0, 60.0), (2.0, 60.0)), k=K_CASE)
    end = run(body, upright(), until_s=2.0)
    assert end[5] == pytest.approx(59.762248, abs=2e-5)  # [m/s]
    assert end[2] == pytest.approx(60.874017, abs=2e-5)  # [m]


def test_coast_agrees_with_the_closed_form(vehicle: Vehicle) -> None:
    body = rocket(vehicle, mass_kg=1.440, propellant_kg=1e-9, curve=((0.0, 0.0), (0.1, 1e-9)), k=K_CASE)
    height_m, time_s = top(body, upright(height_m=60.874017, speed_mps=59.762248), from_s=1.0)
    assert height_m == pytest.approx(217.488189, abs=1e-4)  # [m]
    assert time_s - 1.0 == pytest.approx(5.514053, abs=1e-5)  # [s]


def test_coast_of_the_second_worked_case(vehicle: Vehicle) -> None:
    body = rocket(vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=((0.0, 0.0), (0.1, 1e-9)), k=0.0015)
    height_m, time_s = top(body, upright(speed_mps=100.0), from_s=1.0)
    assert height_m == pytest.approx(309.350345, abs=1e-4)  # [m]
    assert time_s - 1.0 == pytest.approx(7.345155, abs=1e-5)  # [s]


def test_falling_mass_gives_the_referees_apogee(vehicle: Vehicle) -> None:
    # the same case with linearly falling mass, solved once with scipy's solve_ivp at rtol 1e-12
    body = rocket(vehicle, mass_kg=1.5, propellant_kg=0.060, curve=((0.0, 60.0), (2.0, 60.0)), k=K_CASE)
    end = run(body, upright(), until_s=2.0)
    assert end[5] == pytest.approx(59.7795, abs=1e-4)  # [m/s]
    assert end[2] == pytest.approx(60.3490, abs=1e-4)  # [m]
    assert top(body, end, from_s=2.0)[0] == pytest.approx(217.0414, abs=1e-3)  # [m]


def test_published_flight_of_a_small_rocket_is_reproduced(vehicle: Vehicle) -> None:
    # Topics in Advanced Model Rocketry (1973), chapter 4, table 2: printed v_b 111.4, y_b 78.1, t_c 6.46, y_max 343.6
    curve = ((0.0, 0.0), (0.14, 13.0), (0.22, 3.5), (1.20, 3.5))
    body = rocket(vehicle, mass_kg=0.040, propellant_kg=0.00833, curve=curve, k=0.92e-4, gravity_mps2=9.8)
    assert body.motor.impulse_ns == pytest.approx(5.0, abs=0.02)  # [N s]
    end = run(body, upright(), until_s=1.2, rod=(0.0, 0.0, 1.0))
    assert end[5] == pytest.approx(111.4, abs=0.1)  # [m/s]
    assert end[2] == pytest.approx(78.1, abs=0.1)  # [m]
    height_m, time_s = top(body, end, from_s=1.2)
    assert time_s - 1.2 == pytest.approx(6.46, abs=0.01)  # [s]
    assert height_m == pytest.approx(343.6, abs=0.3)  # [m]


@pytest.mark.parametrize(("drag_coefficient", "terminal_mps"), [(1.5, 4.91536), (0.75, 6.95137)])
def test_descent_under_canopy_reaches_terminal_speed(
    vehicle: Vehicle, drag_coefficient: float, terminal_mps: float
) -> None:
    # v = √(2mg/(ρCdA)): 1.44 kg, canopy of 0.9 m, ρ 1.225 kg/m³
    body = rocket(vehicle, mass_kg=1.44, propellant_kg=1e-9, curve=((0.0, 0.0), (0.1, 1e-9)), k=0.0)
    end = run(body, upright(height_m=500.0), until_s=10.0, canopy_m2=math.pi / 4 * 0.9**2 * drag_coefficient)
    assert end[5] == pytest.approx(-terminal_mps, abs=1e-4)


def test_energy_is_kept_without_air_and_thrust(vehicle: Vehicle) -> None:
    body = rocket(
        vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=((0.0, 0.0), (0.1, 1e-12)), k=0.0, density_kgpm3=0.0
    )
    start = (0.0, 0.0, 10.0, 3.0, -2.0, 50.0, *leaning(0.1, 1.0), 0.0, 0.0, 0.0)
    end = run(body, start, until_s=8.0)

    def energy_j(y: StateVector) -> float:
        return 0.5 * (y[3] ** 2 + y[4] ** 2 + y[5] ** 2) + G0 * y[2]

    assert energy_j(end) == pytest.approx(energy_j(start), abs=1e-9)


def test_free_turning_keeps_angular_momentum_and_energy(vehicle: Vehicle) -> None:
    body = rocket(
        vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=((0.0, 0.0), (0.1, 1e-12)), k=0.0, density_kgpm3=0.0
    )
    mass = body.mass_at(0.0)
    pitch, roll = mass.pitch_inertia_kg_m2, mass.roll_inertia_kg_m2
    start = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, *leaning(0.3, 2.0), 1.0, -0.5, 20.0)

    def momentum(y: StateVector) -> np.ndarray:
        return np.array(to_local((y[6], y[7], y[8], y[9]), (pitch * y[10], pitch * y[11], roll * y[12])))

    end = run(body, start, until_s=5.0)
    np.testing.assert_allclose(momentum(end), momentum(start), atol=5e-6)  # [kg m²/s]
    # the axis of a symmetric body circles in body axes at (C - A)/A times the spin
    angle = (roll - pitch) / pitch * 20.0 * 5.0
    turned = complex(1.0, -0.5) * complex(math.cos(angle), math.sin(angle))
    assert complex(end[10], end[11]) == pytest.approx(turned, abs=2e-3)


def test_integrator_agrees_with_a_referee_on_the_whole_rigid_body(vehicle: Vehicle) -> None:
    air = PadAir(100_930.0, 290.15)
    motor = Motor(vehicle.motor.curve, vehicle.motor.propellant_mass_kg)
    body = Body(vehicle, motor, air, gravity_mps2=9.808, roll_rad_per_m=0.02)
    around = Surroundings(wind_mps=(4.0, -2.0), gimbal_rad=(math.radians(0.02), math.radians(-0.03)))
    start = (0.0, 0.0, 0.0, 0.0, 0.0, 20.0, *leaning(0.02, 0.5), 0.01, 0.0, 0.1)
    ours = run(body, start, until_s=3.0, wind_mps=around.wind_mps, gimbal_rad=around.gimbal_rad)
    referee = solve_ivp(
        lambda t, y: body.derivative(t, tuple(y), around),
        (0.0, 3.0),
        start,
        method="DOP853",
        rtol=1e-10,
        atol=1e-12,
        max_step=0.01,
    )
    end = referee.y[:, -1]
    np.testing.assert_allclose(ours[:3], end[:3], atol=1e-3)  # [m]
    np.testing.assert_allclose(ours[3:6], end[3:6], atol=1e-3)  # [m/s]
    np.testing.assert_allclose(ours[6:10], end[6:10], atol=1e-5)
    np.testing.assert_allclose(ours[10:], end[10:], atol=1e-4)  # [rad/s]


@pytest.mark.parametrize("axis", [0, 1])
def test_deflecting_the_motor_turns_the_body_the_other_way(vehicle: Vehicle, axis: int) -> None:
    body = rocket(vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=((0.0, 20.0), (5.0, 20.0)), k=0.0)
    deflection = math.radians(2.0)
    gimbal_rad = (deflection, 0.0) if axis == 0 else (0.0, deflection)
    d = body.derivative(1.0, upright(), Surroundings(gimbal_rad=gimbal_rad))
    mass = body.mass_at(0.0)
    # moment = thrust · lever arm · sin δ
    assert vehicle.gimbal is not None
    expected = -20.0 * vehicle.gimbal.lever_arm_m * math.sin(deflection) / mass.pitch_inertia_kg_m2
    assert d[10 + axis] == pytest.approx(expected, abs=1e-6)
    assert d[11 - axis] == pytest.approx(0.0, abs=1e-12)


def test_air_ahead_of_the_centre_of_mass_turns_the_nose_away_from_the_wind(vehicle: Vehicle) -> None:
    curve = ((0.0, 0.0), (0.1, 1e-12))
    body = rocket(vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=curve, k=0.0)
    d = body.derivative(1.0, upright(speed_mps=50.0), Surroundings(wind_mps=(-5.0, 0.0)))
    # wind blows to the west, so the air force pushes west at a point nearer the nose: the nose goes west (-y turning)
    assert d[3] < 0.0
    assert d[11] < 0.0


def test_clamp_holds_until_thrust_exceeds_weight(vehicle: Vehicle) -> None:
    body = rocket(vehicle, mass_kg=1.0, propellant_kg=1e-9, curve=((0.0, 0.0), (1.0, 20.0)), k=0.0)
    rod = Surroundings(rod=(0.0, 0.0, 1.0))
    assert body.derivative(0.45, upright(), rod)[5] == 0.0
    assert body.specific_force_mps2(0.45, upright(), rod) == pytest.approx((0.0, 0.0, G0), abs=1e-12)
    assert body.derivative(0.55, upright(), rod)[5] == pytest.approx(11.0 - G0, abs=1e-6)


def test_mass_falls_in_step_with_impulse() -> None:
    motor = Motor(((0.0, 0.0), (1.0, 10.0), (2.0, 0.0)), 0.1)
    assert motor.impulse_ns == pytest.approx(10.0, abs=1e-12)
    assert motor.at(0.5).burnt_kg == pytest.approx(0.1 * 1.25 / 10.0, abs=1e-12)
    assert motor.at(1.0).burnt_kg == pytest.approx(0.05, abs=1e-12)
    assert motor.at(2.0).burnt_kg == pytest.approx(0.1, abs=1e-12)
    assert motor.at(-1.0).thrust_n == 0.0
