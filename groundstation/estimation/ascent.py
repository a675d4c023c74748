"""The ascent the vehicle file promises: thrust, mass, height and speed against the time since liftoff.

Used to bridge what was not received: when liftoff fell into a gap, and how much of the burn is still to come.
"""

import itertools
import math
from bisect import bisect_left

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.apogee import Rise, boost, coast

STEP_S = 0.01
MOTOR_SPREAD = 0.03  # total impulse from motor to motor, one standard deviation; common practice, no source
DRAG_SPREAD = 0.12  # of the drag coefficient in a vehicle file; common practice, no source


class ExpectedAscent:
    """The vertical flight of this vehicle in still air, from liftoff to apogee."""

    def __init__(self, vehicle: Vehicle, *, density_kgpm3: float, gravity_mps2: float) -> None:
        airframe, motor = vehicle.airframe, vehicle.motor
        area_m2 = math.pi * airframe.diameter_m**2 / 4.0
        self.gravity_mps2 = gravity_mps2
        self.burn_s = motor.burn_s
        self.drag_kgpm = 0.5 * density_kgpm3 * airframe.drag_coefficient * area_m2
        self.burnout_mass_kg = airframe.liftoff_mass_kg - motor.propellant_mass_kg
        self._liftoff_mass_kg = airframe.liftoff_mass_kg
        self._impulse_ns = motor.impulse_ns
        self._curve = motor.curve
        self._curve_s = [t for t, _ in motor.curve]
        parts = [(b[0] - a[0]) * (a[1] + b[1]) / 2.0 for a, b in itertools.pairwise(motor.curve)]
        self._given_ns = list(itertools.accumulate(parts, initial=0.0))
        # From ignition to the moment thrust exceeds weight the vehicle stands; times below count from liftoff.
        self.delay_s = self._liftoff_delay_s()
        self._heights_m, self._speeds_mps = self._fly()
        self.first_accel_mps2 = max(
            self.thrust_n(k * STEP_S) / self._liftoff_mass_kg - gravity_mps2 for k in range(40)
        )

    @property
    def apogee_m(self) -> float:
        """The height of its top."""
        return self._heights_m[-1]

    def thrust_n(self, since_liftoff_s: float) -> float:
        """Thrust at a time since liftoff; zero outside the burn."""
        t = since_liftoff_s + self.delay_s
        k = bisect_left(self._curve_s, t)
        if k == 0 or k == len(self._curve):
            return self._curve[0][1] if t == self._curve_s[0] else 0.0
        (t0, f0), (t1, f1) = self._curve[k - 1], self._curve[k]
        return f0 + (f1 - f0) * (t - t0) / (t1 - t0)

    def impulse_left_ns(self, since_liftoff_s: float) -> float:
        """Impulse still to come at a time since liftoff."""
        t = since_liftoff_s + self.delay_s
        k = bisect_left(self._curve_s, t)
        if k == 0:
            return self._impulse_ns
        if k == len(self._curve):
            return 0.0
        t0, f0 = self._curve[k - 1]
        given = self._given_ns[k - 1] + (t - t0) * (f0 + self.thrust_n(since_liftoff_s)) / 2.0
        return max(self._impulse_ns - given, 0.0)

    def mass_kg(self, since_liftoff_s: float) -> float:
        """Mass at a time since liftoff; propellant goes as impulse does."""
        burnt = 1.0 - self.impulse_left_ns(since_liftoff_s) / self._impulse_ns
        return self._liftoff_mass_kg - burnt * (self._liftoff_mass_kg - self.burnout_mass_kg)

    def time_at_height_s(self, height_m: float) -> float:
        """Time since liftoff at which the ascent passes a height; at or above its top, the time of the top."""
        k = bisect_left(self._heights_m, height_m)
        if k == 0:
            return 0.0
        if k == len(self._heights_m):
            return (k - 1) * STEP_S
        below, above = self._heights_m[k - 1], self._heights_m[k]
        return (k - 1 + (height_m - below) / (above - below)) * STEP_S

    def speed_at_mps(self, since_liftoff_s: float) -> float:
        """Upward speed at a time since liftoff, up to the top."""
        k = min(max(int(since_liftoff_s / STEP_S), 0), len(self._speeds_mps) - 1)
        return self._speeds_mps[k]

    def rise_from(self, speed_mps: float, since_liftoff_s: float, drag_kgpm: float, share: float = 1.0) -> Rise:
        """From an upward speed during the burn to the top, in closed form.

        Args:
            speed_mps: Upward speed now.
            since_liftoff_s: Time since liftoff.
            drag_kgpm: Drag over speed squared.
            share: Of the impulse the file promises, how much this motor gives.
        """
        left_s = self.burn_s - self.delay_s - since_liftoff_s
        if left_s <= 0.0:
            return coast(speed_mps, self.burnout_mass_kg, drag_kgpm, self.gravity_mps2)
        thrust_n = share * self.impulse_left_ns(since_liftoff_s) / left_s
        mass_kg = (self.mass_kg(since_liftoff_s) + self.burnout_mass_kg) / 2.0
        burn = boost(speed_mps, thrust_n, left_s, mass_kg, drag_kgpm, self.gravity_mps2)
        rest = coast(burn.end_mps, self.burnout_mass_kg, drag_kgpm, self.gravity_mps2)
        return Rise(burn.height_m + rest.height_m, burn.time_s + rest.time_s, rest.end_mps)

    def _liftoff_delay_s(self) -> float:
        weight_n = self._liftoff_mass_kg * self.gravity_mps2
        for (t0, f0), (t1, f1) in itertools.pairwise(self._curve):
            if f0 > weight_n:
                return t0
            if f1 > weight_n:
                return t0 + (t1 - t0) * (weight_n - f0) / (f1 - f0)
        return 0.0

    def _fly(self) -> tuple[list[float], list[float]]:
        heights, speeds = [0.0], [0.0]
        height = speed = 0.0
        while len(heights) < 20000:
            t = (len(heights) - 0.5) * STEP_S
            accel = (self.thrust_n(t) - self.drag_kgpm * speed * abs(speed)) / self.mass_kg(t) - self.gravity_mps2
            if speed + accel * STEP_S <= 0.0:
                break
            height += speed * STEP_S + accel * STEP_S**2 / 2.0
            speed += accel * STEP_S
            heights.append(height)
            speeds.append(speed)
        return heights, speeds
