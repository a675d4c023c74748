"""The simulated vehicle's own attitude control: a proportional and derivative law, and the servos that follow it.

The law asks for an angular acceleration of a damped oscillator (natural frequency and damping below) and turns it
into deflection by the vehicle file's inertia and lever arm and the nominal thrust of the moment. Deflecting the motor
by +δ about a body axis turns the body the other way about it.
"""

import math
from dataclasses import dataclass

from groundstation.config.vehicle import Gimbal, Vehicle
from groundstation.simulator.dynamics import Motor
from groundstation.simulator.rotation import Quaternion, to_body

NATURAL_RADPS = 7.0
DAMPING = 0.8
SAMPLE_S = 0.01
SERVO_LAG_S = 0.02  # first order, within the rate limit
LEAST_THRUST_N = 5.0  # below it a deflection does nothing worth the servo's travel

Pair = tuple[float, float]


class AttitudeControl:
    """Deflection commands that bring the body's axis upright."""

    def __init__(self, vehicle: Vehicle) -> None:
        self._gimbal = vehicle.gimbal
        self._inertia = vehicle.airframe.pitch_inertia_kg_m2
        self._nominal = Motor(vehicle.motor.curve, vehicle.motor.propellant_mass_kg)

    def command_rad(self, since_ignition_s: float, attitude: Quaternion, rate_radps: tuple[float, ...]) -> Pair:
        """Commanded deflections about body x and y, within the gimbal's limit."""
        gimbal = self._gimbal
        thrust_n = self._nominal.at(since_ignition_s).thrust_n
        if gimbal is None or thrust_n < LEAST_THRUST_N:
            return (0.0, 0.0)
        up_x, up_y, _ = to_body(attitude, (0.0, 0.0, 1.0))
        gain = -self._inertia / (gimbal.lever_arm_m * thrust_n)
        stiffness, damping = NATURAL_RADPS**2, 2 * DAMPING * NATURAL_RADPS
        x = gain * (stiffness * -up_y - damping * rate_radps[0])
        y = gain * (stiffness * up_x - damping * rate_radps[1])
        limit = gimbal.limit_rad
        return (max(-limit, min(limit, x)), max(-limit, min(limit, y)))


@dataclass(slots=True)
class Servos:
    """The two servos: first-order lag, rate limit, stops at the gimbal's limit."""

    gimbal: Gimbal | None
    angle_rad: Pair = (0.0, 0.0)

    def follow(self, command_rad: Pair, seconds: float) -> None:
        """Move towards the commands for a while."""
        if self.gimbal is None:
            return
        share = 1.0 - math.exp(-seconds / SERVO_LAG_S)
        most = self.gimbal.rate_limit_radps * seconds
        limit = self.gimbal.limit_rad
        x, y = (
            max(-limit, min(limit, now + max(-most, min(most, share * (wanted - now)))))
            for now, wanted in zip(self.angle_rad, command_rad, strict=True)
        )
        self.angle_rad = (x, y)
