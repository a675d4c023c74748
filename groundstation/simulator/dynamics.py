"""Rigid-body motion of a finless, gimballed rocket: forces, moments, and one step of Runge and Kutta's fourth order.

State vector (13 floats): position and velocity in the local frame [m, m/s], attitude quaternion body to local, body
rates [rad/s]. Left out, being small here: the Earth's turning, jet damping, the air carried along by the canopy.
All air force on the body acts at the vehicle file's centre of pressure.

Sources:
    Drag ½ρv²CdA: J. S. Fehskens and D. J. Malewicki in Mandell, Caporaso and Bengen, Topics in Advanced Model
    Rocketry (1973), chapter 4. Normal force of the nose, 2/rad on the body's cross-section, and damping by the local
    cross-wind: the same, chapter 3, after J. S. Barrowman. Cross-flow on the body at large angles: H. J. Allen and
    E. W. Perkins, NACA Report 1048 (1951). (Chapters from memory.) Rotation: Euler's equations of a symmetric body.
"""

import itertools
import math
from bisect import bisect_right
from dataclasses import dataclass
from typing import Protocol

from groundstation.config.vehicle import Place, Vehicle
from groundstation.simulator.rotation import Quaternion, Vector, normalised, to_body, to_local

StateVector = tuple[float, ...]

INSIDE_S = 1e-9
SEA_LEVEL_KGPM3 = 1.225
NOSE_SLOPE_PER_RAD = 2.0
CROSS_FLOW_DRAG = 0.8  # of a cylinder this short, on its side (common practice, no source)
ROLL_LENGTH_M = 25.0  # flown at sea level until roll follows the airframe's crookedness (common practice, no source)


class Air(Protocol):
    """The air above the pad."""

    def density_at_kgpm3(self, height_m: float) -> float:
        """Density at a height above the pad."""
        ...


@dataclass(frozen=True, slots=True)
class MotorState:
    """Thrust, and the propellant burnt so far."""

    thrust_n: float
    burnt_kg: float


class Motor:
    """A thrust curve, as points joined by straight lines, with mass falling in step with the impulse delivered."""

    def __init__(self, curve: tuple[tuple[float, float], ...], propellant_kg: float) -> None:
        self._times = [t for t, _ in curve]
        self._thrusts = [f for _, f in curve]
        steps = ((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in itertools.pairwise(curve))
        self._impulses = list(itertools.accumulate(steps, initial=0.0))
        self._kg_per_ns = propellant_kg / self._impulses[-1]
        self.propellant_kg = propellant_kg

    @property
    def impulse_ns(self) -> float:
        """Total impulse [N s]."""
        return self._impulses[-1]

    @property
    def burn_s(self) -> float:
        """From ignition to the end of the curve [s]."""
        return self._times[-1]

    def at(self, t_s: float) -> MotorState:
        """The motor `t_s` after ignition."""
        if t_s <= self._times[0]:
            return MotorState(0.0, 0.0)
        if t_s >= self._times[-1]:
            return MotorState(0.0, self.propellant_kg)
        k = bisect_right(self._times, t_s) - 1
        since = t_s - self._times[k]
        slope = (self._thrusts[k + 1] - self._thrusts[k]) / (self._times[k + 1] - self._times[k])
        thrust = self._thrusts[k] + slope * since
        impulse = self._impulses[k] + since * (self._thrusts[k] + thrust) / 2
        return MotorState(thrust, impulse * self._kg_per_ns)


@dataclass(frozen=True, slots=True)
class Mass:
    """Mass, pitch inertia about the centre of mass, and where that is."""

    mass_kg: float
    pitch_inertia_kg_m2: float
    roll_inertia_kg_m2: float
    centre_m: float  # behind the nose's tip
    lever_arm_m: float  # from the gimbal's pivot to the centre of mass


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is held constant over one step: wind (east, north), rising air, gimbal deflections, the canopy's drag
    area, and whether the rod still guides (along `rod`, the local unit vector).
    """

    wind_mps: tuple[float, float] = (0.0, 0.0)
    rising_mps: float = 0.0
    gimbal_rad: tuple[float, float] = (0.0, 0.0)
    canopy_m2: float = 0.0
    rod: Vector | None = None


class Body:
    """The vehicle's constants, and the right-hand side of its equations of motion.

    Args:
        vehicle: The vehicle file.
        motor: The motor as it burns today.
        air: The air above the pad.
        gravity_mps2: At the pad.
        drag_factor: On the drag coefficient.
        roll_rad_per_m: Roll that the airframe's crookedness causes a metre of flight.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        motor: Motor,
        air: Air,
        *,
        gravity_mps2: float,
        drag_factor: float = 1.0,
        roll_rad_per_m: float = 0.0,
    ) -> None:
        frame = vehicle.airframe
        self.motor = motor
        self.air = air
        self.gravity_mps2 = gravity_mps2
        self._frame = frame
        self._roll_rad_per_m = roll_rad_per_m
        self._section_m2 = math.pi * frame.diameter_m**2 / 4
        self._side_m2 = frame.length_m * frame.diameter_m
        self.drag_area_m2 = self._section_m2 * frame.drag_coefficient * drag_factor
        self._half_length_m = frame.length_m / 2
        self._lever_arm_m = vehicle.gimbal.lever_arm_m if vehicle.gimbal else frame.length_m - frame.centre_of_mass_m
        places = {part.place: (part.from_m + part.to_m) / 2 for part in frame.parts}
        self._propellant_m = places.get(Place.MOTOR, frame.length_m - 0.1)
        self._harness_m = places.get(Place.PARACHUTE, 0.25 * frame.length_m)

    def mass_at(self, burnt_kg: float) -> Mass:
        """Mass properties with some propellant burnt, by the parallel-axis theorem with the propellant at a point."""
        frame = self._frame
        left = frame.liftoff_mass_kg - burnt_kg
        arm = self._propellant_m - frame.centre_of_mass_m
        shift = burnt_kg * arm / left
        return Mass(
            mass_kg=left,
            pitch_inertia_kg_m2=frame.pitch_inertia_kg_m2 - burnt_kg * arm * arm * frame.liftoff_mass_kg / left,
            roll_inertia_kg_m2=left * frame.diameter_m**2 / 8,
            centre_m=frame.centre_of_mass_m - shift,
            lever_arm_m=self._lever_arm_m + shift,
        )

    def derivative(self, t_s: float, y: StateVector, around: Surroundings) -> StateVector:
        """d/dt of the state vector, `t_s` after ignition."""
        _, _, height, ve, vn, vu, qw, qx, qy, qz, p, q, r = y
        attitude: Quaternion = (qw, qx, qy, qz)
        motor = self.motor.at(t_s)
        mass = self.mass_at(motor.burnt_kg)
        density = self.air.density_at_kgpm3(height)
        wind_e, wind_n = around.wind_mps
        bx, by, bz = to_body(attitude, (ve - wind_e, vn - wind_n, vu - around.rising_mps))
        cross = math.hypot(bx, by)
        speed = math.sqrt(cross * cross + bz * bz)

        # thrust, turned about body x and then about the inner axis
        sx, cx = math.sin(around.gimbal_rad[0]), math.cos(around.gimbal_rad[0])
        sy, cy = math.sin(around.gimbal_rad[1]), math.cos(around.gimbal_rad[1])
        tx, ty, tz = motor.thrust_n * sy, -motor.thrust_n * sx * cy, motor.thrust_n * cx * cy

        # air on the body: along it, and across it at the centre of pressure
        side = (
            -0.5
            * density
            * (self._section_m2 * NOSE_SLOPE_PER_RAD * abs(bz) + self._side_m2 * CROSS_FLOW_DRAG * cross)
        )
        nx, ny = side * bx, side * by
        along = -0.5 * density * self.drag_area_m2 * speed * bz
        ahead = mass.centre_m - self._frame.centre_of_pressure_m
        turning = math.hypot(p, q)
        damping = (
            0.5
            * density
            * (
                self._section_m2 * NOSE_SLOPE_PER_RAD * speed * self._half_length_m**2
                + CROSS_FLOW_DRAG * self._frame.diameter_m * self._half_length_m**4 / 2 * turning
            )
        )
        mx = mass.lever_arm_m * ty - ahead * ny - damping * p
        my = -mass.lever_arm_m * tx + ahead * nx - damping * q
        fx, fy, fz = tx + nx, ty + ny, tz + along

        if around.canopy_m2 > 0.0:
            arm = mass.centre_m - self._harness_m
            # the harness moves with the body's turning, which is what damps the swing
            ax, ay, az = bx + q * arm, by - p * arm, bz
            drag = -0.5 * density * around.canopy_m2 * math.sqrt(ax * ax + ay * ay + az * az)
            fx, fy, fz = fx + drag * ax, fy + drag * ay, fz + drag * az
            mx, my = mx - arm * drag * ay, my + arm * drag * ax

        ae, an, au = to_local(attitude, (fx / mass.mass_kg, fy / mass.mass_kg, fz / mass.mass_kg))
        au -= self.gravity_mps2
        if around.rod is not None:
            # the rod takes what is across it; a clamp holds until thrust exceeds weight
            re, rn, ru = around.rod
            a = ae * re + an * rn + au * ru
            if a < 0.0 and vu <= 0.0:
                a = 0.0
            return (ve, vn, vu, a * re, a * rn, a * ru, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)

        rolling = density / SEA_LEVEL_KGPM3 * speed / ROLL_LENGTH_M * (self._roll_rad_per_m * bz - r)
        inertia, roll_inertia = mass.pitch_inertia_kg_m2, mass.roll_inertia_kg_m2
        return (
            ve,
            vn,
            vu,
            ae,
            an,
            au,
            0.5 * (-qx * p - qy * q - qz * r),
            0.5 * (qw * p + qy * r - qz * q),
            0.5 * (qw * q + qz * p - qx * r),
            0.5 * (qw * r + qx * q - qy * p),
            (mx - (roll_inertia - inertia) * q * r) / inertia,
            (my - (inertia - roll_inertia) * r * p) / inertia,
            rolling,
        )

    def specific_force_mps2(self, t_s: float, y: StateVector, around: Surroundings) -> Vector:
        """What an ideal accelerometer at the centre of mass reads, in the body frame."""
        d = self.derivative(t_s, y, around)
        return to_body((y[6], y[7], y[8], y[9]), (d[3], d[4], d[5] + self.gravity_mps2))


def step(body: Body, t_s: float, y: StateVector, dt_s: float, around: Surroundings) -> StateVector:
    """The state one step later (Runge and Kutta's classical method of fourth order), quaternion normalised.

    Thrust may jump at the step's ends, where it is taken from within the step.
    """
    h = dt_s / 2
    k1 = body.derivative(t_s + INSIDE_S, y, around)
    k2 = body.derivative(t_s + h, tuple([a + h * b for a, b in zip(y, k1, strict=True)]), around)
    k3 = body.derivative(t_s + h, tuple([a + h * b for a, b in zip(y, k2, strict=True)]), around)
    k4 = body.derivative(t_s + dt_s - INSIDE_S, tuple([a + dt_s * b for a, b in zip(y, k3, strict=True)]), around)
    sixth = dt_s / 6
    new = [a + sixth * (b + 2 * (c + d) + e) for a, b, c, d, e in zip(y, k1, k2, k3, k4, strict=True)]
    new[6:10] = normalised((new[6], new[7], new[8], new[9]))
    return tuple(new)
