import itertools
import math
import random

import numpy as np
import pytest

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import FlightError
from groundstation.simulator.flight import Flight, fly
from groundstation.simulator.rotation import to_local
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.truth import PHASES
from groundstation.state import Phase

SEEDS = range(20)


@pytest.fixture(scope="module")
def windy_flights(vehicle: Vehicle, site: Site) -> list[Flight]:
    flights = []
    for seed in SEEDS:
        windy = site.model_copy(update={"wind_mps": 8.0 * seed / max(SEEDS), "wind_from_rad": 0.3 * seed})
        scatter = Scatter.drawn(random.Random(seed))
        flights.append(fly(vehicle, windy, ignition_s=20.0, scatter=scatter, seed=seed))
    return flights


@pytest.fixture(scope="module")
def calm_flight(vehicle: Vehicle, calm_site: Site) -> Flight:
    return fly(vehicle, calm_site)


def test_control_keeps_the_boost_upright_in_wind(windy_flights: list[Flight]) -> None:
    for flight in windy_flights:
        truth = flight.truth
        boost = (truth.t_s > truth.times.liftoff_s) & (truth.t_s < truth.times.burnout_s)
        assert np.degrees(truth.tilt_rad[boost].max()) < 6.0
        assert np.degrees(np.abs(truth.gimbal_x_rad).max()) <= 6.0 + 1e-9
        # the last half second of the boost is steady, not swinging from stop to stop
        late = boost & (truth.t_s > truth.times.burnout_s - 0.8)
        assert np.degrees(np.abs(truth.gimbal_x_rad[late]).max()) < 3.0


def test_example_tops_out_between_250_and_600_m(windy_flights: list[Flight]) -> None:
    assert all(250.0 < flight.truth.apogee_m < 600.0 for flight in windy_flights)


def test_moments_of_every_flight_come_in_order(windy_flights: list[Flight]) -> None:
    for flight in windy_flights:
        t = flight.truth.times
        moments = [t.ignition_s, t.liftoff_s, t.burnout_s, t.apogee_s, t.ejection_s, t.landed_s]
        assert moments[0] == 20.0
        assert all(a < b for a, b in itertools.pairwise(moments))
        phases = [PHASES[k] for k, _ in itertools.groupby(flight.truth.phase.tolist())]
        assert phases == [Phase.PAD, Phase.BOOST, Phase.COAST, Phase.DESCENT, Phase.LANDED]


def test_apogee_is_the_greatest_height(windy_flights: list[Flight]) -> None:
    for flight in windy_flights:
        truth = flight.truth
        assert truth.apogee_m == pytest.approx(truth.height_m.max(), abs=0.01)  # [m]
        assert truth.t_s[truth.height_m.argmax()] == pytest.approx(truth.times.apogee_s, abs=0.01)  # [s]


def test_vehicle_lands_at_terminal_speed_under_its_canopy(vehicle: Vehicle, calm_flight: Flight) -> None:
    truth = calm_flight.truth
    mass_kg = vehicle.airframe.liftoff_mass_kg - vehicle.motor.propellant_mass_kg
    body_m2 = math.pi / 4 * vehicle.airframe.diameter_m**2 * vehicle.airframe.drag_coefficient
    area_m2 = vehicle.recovery.parachute_area_m2 * vehicle.recovery.drag_coefficient + body_m2
    density = 100930.0 / (287.053 * 290.15)
    expected = math.sqrt(2 * mass_kg * 9.808 / (density * area_m2))
    near_ground = np.searchsorted(truth.t_s, truth.times.landed_s - 0.5)
    assert truth.speed_mps[near_ground] == pytest.approx(-expected, abs=0.02)  # [m/s]


def test_vertical_flight_without_wind_agrees_with_a_point_mass(vehicle: Vehicle, calm_flight: Flight) -> None:
    # an independent integration: forward steps of 0.1 ms of m·dv/dt = F - mg - ½ρCdAv², air from the 1976 standard
    # atmosphere's formula with the site's pressure and temperature, thrust by straight lines
    times, thrusts = (np.array(c) for c in zip(*vehicle.motor.curve, strict=True))
    dt_s = 1e-4
    t_s = np.arange(0.0, 20.0, dt_s)
    thrust = np.interp(t_s, times, thrusts, right=0.0)
    impulse = np.cumsum(thrust) * dt_s
    mass = vehicle.airframe.liftoff_mass_kg - vehicle.motor.propellant_mass_kg * impulse / impulse[-1]
    area_m2 = math.pi / 4 * vehicle.airframe.diameter_m**2 * vehicle.airframe.drag_coefficient
    height, speed, g = 0.0, 0.0, 9.80842
    for k in range(len(t_s)):
        temperature = 290.15 - 0.0065 * height
        density = 100930.0 / (287.053 * 290.15) * (temperature / 290.15) ** (g / (287.053 * 0.0065) - 1)
        a = (thrust[k] - 0.5 * density * area_m2 * speed * abs(speed)) / mass[k] - g
        if height <= 0.0 and a < 0.0:
            continue
        height, speed = height + speed * dt_s, speed + a * dt_s
        if speed < 0.0:
            break
    assert calm_flight.truth.apogee_m == pytest.approx(height, abs=0.15)  # [m]
    assert calm_flight.truth.times.apogee_s == pytest.approx(t_s[k], abs=0.005)  # [s]


def test_specific_force_does_the_work_that_height_and_speed_show(windy_flights: list[Flight]) -> None:
    # d(½v² + gh) = f·v dt, f being what an ideal accelerometer reads; from liftoff to touching the ground
    for flight in windy_flights[:5]:
        times = flight.truth.times
        t_s = np.arange(times.liftoff_s, times.landed_s - 0.01, 0.002)
        states = [flight.state_at(float(t)) for t in t_s]
        v = np.array([s.velocity_mps for s in states])
        f = np.array([to_local(s.attitude, s.force_mps2) for s in states])
        power = np.sum(f * v, axis=1)
        work = np.concatenate([[0.0], np.cumsum(0.002 * (power[1:] + power[:-1]) / 2)])
        height = np.array([s.position_m[2] for s in states])
        energy = 0.5 * np.sum(v * v, axis=1) + 9.80842 * height
        # the greatest energy of these flights is about 4,000 J/kg
        assert np.abs(energy - energy[0] - work).max() < 8.0  # [J/kg]


def test_impulse_is_the_vehicle_files_without_scatter(vehicle: Vehicle, calm_flight: Flight) -> None:
    assert calm_flight.truth.impulse_ns == pytest.approx(vehicle.motor.impulse_ns, abs=1e-9)
    assert calm_flight.truth.burn_s == pytest.approx(vehicle.motor.burn_s, abs=1e-9)


def test_canopy_drifts_with_the_wind(vehicle: Vehicle, site: Site) -> None:
    # wind from the west carries the canopy east at very nearly the wind's own speed
    westerly = site.model_copy(update={"wind_mps": 5.0, "wind_from_rad": math.radians(270.0)})
    truth = fly(vehicle, westerly, gust_share=0.0).truth
    a, b = np.searchsorted(truth.t_s, [truth.times.ejection_s + 10.0, truth.times.ejection_s + 30.0])
    seconds = truth.t_s[b] - truth.t_s[a]
    wind = float(truth.wind_east_mps[a:b].mean())
    assert wind > 5.0
    assert (truth.east_m[b] - truth.east_m[a]) / seconds == pytest.approx(wind, abs=0.1)  # [m/s]
    assert (truth.north_m[b] - truth.north_m[a]) / seconds == pytest.approx(0.0, abs=0.1)


def test_vehicle_lies_still_after_landing(calm_flight: Flight) -> None:
    rest = calm_flight.at_rest
    assert rest.velocity_mps == (0.0, 0.0, 0.0)
    assert rest.position_m[2] == 0.0
    assert math.hypot(*rest.force_mps2) == pytest.approx(9.80842, abs=1e-4)
    assert abs(rest.force_mps2[2]) < 1.0


def test_a_motor_too_weak_to_lift_is_an_error(vehicle: Vehicle, site: Site) -> None:
    with pytest.raises(FlightError, match="never exceeds the vehicle's weight"):
        fly(vehicle, site, scatter=Scatter(thrust_factor=0.1))


@pytest.mark.campaign
def test_two_hundred_days_of_flying_all_end_well(vehicle: Vehicle, site: Site) -> None:
    for seed in range(200):
        draws = random.Random(f"day {seed}")
        day = site.model_copy(
            update={
                "wind_mps": draws.uniform(0.0, 8.9),  # the safety code's 20 mph
                "wind_from_rad": draws.uniform(0.0, 2 * math.pi),
                "temperature_k": draws.uniform(268.0, 308.0),
                "pressure_pa": draws.uniform(85_000.0, 103_500.0),
            }
        )
        truth = fly(vehicle, day, scatter=Scatter.drawn(draws), seed=seed).truth
        boost = (truth.t_s > truth.times.liftoff_s) & (truth.t_s < truth.times.burnout_s)
        assert np.degrees(truth.tilt_rad[boost].max()) < 8.0
        assert 250.0 < truth.apogee_m < 600.0
        assert -7.0 < truth.speed_mps[np.searchsorted(truth.t_s, truth.times.landed_s - 1.0)] < -4.0
