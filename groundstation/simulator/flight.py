"""A whole flight, from ignition to rest after landing, computed at once.

Ascent and free fall go in steps of 5 ms, the descent under canopy in steps of 20 ms. The ground is level with
the pad.
"""

import math
import random
from bisect import bisect_right
from dataclasses import dataclass

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.control import SAMPLE_S, AttitudeControl, Servos
from groundstation.simulator.dynamics import Body, Motor, StateVector, Surroundings, step
from groundstation.simulator.errors import FlightError
from groundstation.simulator.pad import gravity_mps2, mean_wind_mps, pad_air, standing
from groundstation.simulator.rotation import Vector, leaning, normalised, to_body, to_local
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.truth import BodyState, FlightTimes, Truth
from groundstation.simulator.wind import GUST_SHARE, Wind

STEP_S = 0.005
CANOPY_STEP_S = 0.02
ROD_LENGTH_M = 1.0
OPENING_S = 0.5  # from ejection until the canopy stands full (common practice, no source)
LONGEST_S = 1800.0
TOPPLE_S = 0.6
LYING_RAD = math.radians(87.0)
IMPACT_MPS2 = 80.0
IMPACT_S = 0.02


class Flight:
    """A finished flight: its states in order of time, and the truth in columns."""

    def __init__(self, states: list[BodyState], truth: Truth) -> None:
        self._states = states
        self._times = [s.t_s for s in states]
        self.truth = truth
        self.begins_s = self._times[0]
        self.at_rest = states[-1]

    def contains(self, t_s: float) -> bool:
        """Whether a time lies between ignition and rest."""
        return self._times[0] <= t_s < self._times[-1]

    def state_at(self, t_s: float) -> BodyState:
        """The state at a time within the flight, on straight lines between the steps."""
        k = bisect_right(self._times, t_s) - 1
        return _between(self._states[k], self._states[k + 1], t_s)


def fly(
    vehicle: Vehicle,
    site: Site,
    *,
    ignition_s: float = 0.0,
    scatter: Scatter | None = None,
    seed: int = 0,
    gust_share: float = GUST_SHARE,
) -> Flight:
    """The flight of a vehicle from a site.

    Args:
        vehicle: The vehicle file.
        site: The pad's place, air and wind.
        ignition_s: When the motor is lit, on the simulation's clock.
        scatter: How this flight differs from the vehicle file; none where left out.
        seed: The gusts come from it.
        gust_share: Gust standard deviation over mean wind; 0 for steady air.
    Raises:
        FlightError: Thrust never exceeds weight, or the flight does not end.
    """
    scatter = Scatter() if scatter is None else scatter
    wind = Wind(
        mean_wind_mps(site), random.Random(f"{seed}/flight wind"), gust_share, random.Random(f"{seed}/rising air")
    )
    return _Flying(vehicle, site, scatter, wind, ignition_s).run()


@dataclass(slots=True)
class _Moments:
    liftoff_s: float = math.nan
    apogee_s: float = math.nan
    ejection_s: float = math.nan
    landed_s: float = math.nan
    apogee_m: float = math.nan


class _Flying:
    """One flight under way; times here are since ignition."""

    def __init__(self, vehicle: Vehicle, site: Site, scatter: Scatter, wind: Wind, ignition_s: float) -> None:
        curve = tuple(
            (t * scatter.burn_factor, f * scatter.thrust_factor / scatter.burn_factor) for t, f in vehicle.motor.curve
        )
        motor = Motor(curve, vehicle.motor.propellant_mass_kg)
        self._gravity_mps2 = gravity_mps2(site)
        self._body = Body(
            vehicle,
            motor,
            pad_air(site, scatter.lapse_k_per_m, scatter.thermometer_error_k),
            gravity_mps2=self._gravity_mps2,
            drag_factor=scatter.drag_factor,
            roll_rad_per_m=scatter.roll_rad_per_m,
        )
        self._vehicle = vehicle
        self._scatter = scatter
        self._wind = wind
        self._ignition_s = ignition_s
        self._control = AttitudeControl(vehicle)
        self._servos = Servos(vehicle.gimbal)
        start = standing(vehicle, site, tilt_rad=scatter.rod_tilt_rad, heading_rad=scatter.rod_heading_rad)
        self._y: StateVector = (*start.position_m, *start.velocity_mps, *start.attitude, *start.rate_radps)
        self._rod: Vector | None = to_local(start.attitude, (0.0, 0.0, 1.0))
        self._command = (0.0, 0.0)
        self._moments = _Moments()
        self._states: list[BodyState] = []
        self._canopy_m2 = (
            vehicle.recovery.parachute_area_m2 * vehicle.recovery.drag_coefficient * scatter.canopy_factor
        )

    def run(self) -> Flight:
        """Fly it."""
        moments, burn_s = self._moments, self._body.motor.burn_s
        t_s, sampled_s = 0.0, -math.inf
        while math.isnan(moments.landed_s):
            if math.isnan(moments.liftoff_s) and t_s >= burn_s:
                raise FlightError(
                    "found a thrust that never exceeds the vehicle's weight, expected a motor that lifts it"
                )
            if t_s > LONGEST_S:
                raise FlightError(f"found no landing within {LONGEST_S:.0f} s of ignition, expected one")
            if t_s - sampled_s >= SAMPLE_S - 1e-9:
                sampled_s = t_s
                if not math.isnan(moments.liftoff_s) and t_s < burn_s:
                    self._command = self._control.command_rad(t_s, _attitude(self._y), self._y[10:13])
                else:
                    self._command = (0.0, 0.0)
            dt_s = CANOPY_STEP_S if t_s > moments.ejection_s + OPENING_S else STEP_S
            if t_s < burn_s < t_s + dt_s:
                dt_s = burn_s - t_s  # a thrust that ends at once must end between two steps
            t_s = self._step(t_s, dt_s)
        self._come_to_rest(t_s)
        times = FlightTimes(
            ignition_s=self._ignition_s,
            liftoff_s=self._ignition_s + moments.liftoff_s,
            burnout_s=self._ignition_s + burn_s,
            apogee_s=self._ignition_s + moments.apogee_s,
            ejection_s=self._ignition_s + moments.ejection_s,
            landed_s=self._ignition_s + moments.landed_s,
        )
        truth = Truth.of(self._states, times, apogee_m=moments.apogee_m, impulse_ns=self._body.motor.impulse_ns)
        return Flight(self._states, truth)

    def _step(self, t_s: float, dt_s: float) -> float:
        self._wind.advance(dt_s)
        around = self._surroundings(t_s)
        self._states.append(self._state(t_s, around))
        before, after = self._y, step(self._body, t_s, self._y, dt_s, around)
        self._servos.follow(self._command, dt_s)
        self._y = after
        end_s = t_s + dt_s
        moments = self._moments
        if math.isnan(moments.liftoff_s):
            if after[5] > 0.0:
                moments.liftoff_s = t_s
            return end_s
        if self._rod is not None and math.dist(after[:3], (0.0, 0.0, 0.0)) > ROD_LENGTH_M:
            self._rod = None
        if math.isnan(moments.apogee_s) and before[5] > 0.0 >= after[5]:
            share = before[5] / (before[5] - after[5])
            moments.apogee_s = t_s + share * dt_s
            moments.ejection_s = moments.apogee_s + self._scatter.recognition_s
            # vertical speed is a straight line over the step, so height is a parabola with its top here
            moments.apogee_m = before[2] + 0.5 * before[5] * share * dt_s
        if after[2] <= 0.0 and after[5] < 0.0:
            share = before[2] / (before[2] - after[2])
            moments.landed_s = t_s + share * dt_s
            self._y = tuple(a + share * (b - a) for a, b in zip(before, after, strict=True))
            return moments.landed_s
        return end_s

    def _surroundings(self, t_s: float) -> Surroundings:
        opened = (t_s - self._moments.ejection_s) / OPENING_S
        misaligned, angle = self._scatter.misalignment_rad, self._servos.angle_rad
        return Surroundings(
            wind_mps=self._wind.at(self._y[2]),
            rising_mps=self._wind.rising_mps if self._rod is None else 0.0,
            gimbal_rad=(angle[0] + misaligned[0], angle[1] + misaligned[1]),
            canopy_m2=self._canopy_m2 * min(1.0, opened) if opened > 0.0 else 0.0,
            rod=self._rod,
        )

    def _state(self, t_s: float, around: Surroundings) -> BodyState:
        y = self._y
        motor = self._body.motor.at(t_s)
        return BodyState(
            t_s=self._ignition_s + t_s,
            position_m=(y[0], y[1], y[2]),
            velocity_mps=(y[3], y[4], y[5]),
            attitude=_attitude(y),
            rate_radps=(y[10], y[11], y[12]),
            force_mps2=self._body.specific_force_mps2(t_s, y, around),
            gimbal_rad=self._servos.angle_rad,
            command_rad=self._command,
            thrust_n=motor.thrust_n,
            mass_kg=self._vehicle.airframe.liftoff_mass_kg - motor.burnt_kg,
            wind_mps=around.wind_mps,
        )

    def _come_to_rest(self, t_s: float) -> None:
        """Touch down, topple over, lie still."""
        at = self._ignition_s + t_s
        touching = self._state(t_s, self._surroundings(t_s))
        self._states.append(touching)
        x, y, z = touching.force_mps2
        still = touching._replace(
            position_m=(touching.position_m[0], touching.position_m[1], 0.0),
            velocity_mps=(0.0, 0.0, 0.0),
            rate_radps=(0.0, 0.0, 0.0),
        )
        weight = (0.0, 0.0, self._gravity_mps2)
        lying = leaning(LYING_RAD, self._scatter.landing_heading_rad)
        self._states += [
            still._replace(t_s=at + IMPACT_S / 2, force_mps2=(x, y, z + IMPACT_MPS2)),
            still._replace(t_s=at + IMPACT_S, force_mps2=to_body(still.attitude, weight)),
            still._replace(t_s=at + TOPPLE_S, attitude=lying, force_mps2=to_body(lying, weight)),
            still._replace(t_s=at + 2 * TOPPLE_S, attitude=lying, force_mps2=to_body(lying, weight)),
        ]


def _attitude(y: StateVector) -> tuple[float, float, float, float]:
    return (y[6], y[7], y[8], y[9])


def _between(a: BodyState, b: BodyState, t_s: float) -> BodyState:
    share = (t_s - a.t_s) / (b.t_s - a.t_s)

    def mix(p: tuple[float, ...], q: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(x + share * (y - x) for x, y in zip(p, q, strict=True))

    turned = b.attitude
    if sum(x * y for x, y in zip(a.attitude, b.attitude, strict=True)) < 0.0:
        turned = (-turned[0], -turned[1], -turned[2], -turned[3])
    w, x, y, z = mix(a.attitude, turned)
    e, n, u = mix(a.position_m, b.position_m)
    ve, vn, vu = mix(a.velocity_mps, b.velocity_mps)
    p, q, r = mix(a.rate_radps, b.rate_radps)
    fx, fy, fz = mix(a.force_mps2, b.force_mps2)
    gx, gy = mix(a.gimbal_rad, b.gimbal_rad)
    return BodyState(
        t_s,
        (e, n, u),
        (ve, vn, vu),
        normalised((w, x, y, z)),
        (p, q, r),
        (fx, fy, fz),
        (gx, gy),
        a.command_rad,
        a.thrust_n + share * (b.thrust_n - a.thrust_n),
        a.mass_kg + share * (b.mass_kg - a.mass_kg),
        a.wind_mps,
    )
