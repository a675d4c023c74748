"""The specific force in one sample, and the upward acceleration that follows from it.

The accelerometer shows specific force (everything but gravity) in the body frame. The attitude that came with it
turns it upright; lacking one, the long axis is taken to be vertical.
"""

import math

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.attitude import Quaternion, resting_tilt_rad, unit_quaternion, up_part
from groundstation.state import MotionSample

# An attitude is not believed where it turns a resting accelerometer's reading away from up by more than this.
REST_MISMATCH_MPS2 = 2.0
REST_GAIN = 0.05
STILL_FORCE_MPS2 = 1.5
STILL_RATE_RADPS = 0.3
CLIPPED_SHARE = 0.985  # of the accelerometer's range: beyond, the reading is only a bound


class Specific:
    """One sample's specific force and attitude, judged; open to read. NaN where not known."""

    __slots__ = ("attitude", "axial", "magnitude", "sideways", "still", "up", "upright")

    def __init__(
        self,
        axial: float,
        sideways: float,
        magnitude: float,
        up: float,
        attitude: Quaternion | None,
        still: bool,
        upright: float,
    ) -> None:
        self.axial = axial  # along the long axis
        self.sideways = sideways
        self.magnitude = magnitude
        self.up = up  # upward, gravity taken away: an acceleration
        self.attitude = attitude  # of length one; None where none was sent or it is not believed
        self.still = still  # whether force and rates are those of a vehicle at rest
        self.upright = upright  # the upward part by the attitude sent, gravity in it, whether it is believed or not


class ForceReader:
    """Reads `Specific` from samples, and learns on the pad whether the attitude can be believed."""

    def __init__(self, vehicle: Vehicle, gravity_mps2: float) -> None:
        self._gravity_mps2 = gravity_mps2
        range_mps2 = vehicle.sensors.accel_range_mps2
        self._clip_mps2 = CLIPPED_SHARE * range_mps2 if range_mps2 is not None else math.inf
        self._mismatch_mps2 = 0.0
        self.believes_attitude = True

    def read(self, sample: MotionSample) -> Specific:
        """The specific force in one sample. A clipped or missing axis makes all of it NaN."""
        fx, fy, fz = sample.accel_mps2
        square = fx * fx + fy * fy + fz * fz
        clip = self._clip_mps2
        if not (square < math.inf and abs(fz) < clip and abs(fx) < clip and abs(fy) < clip):
            fx = fy = fz = square = math.nan
        attitude = unit_quaternion(sample.attitude)
        gravity = self._gravity_mps2
        magnitude = math.sqrt(square)
        p, q, r = sample.gyro_radps
        turning = p * p + q * q + r * r > STILL_RATE_RADPS**2  # False where there is no gyroscope
        still = not (abs(magnitude - gravity) > STILL_FORCE_MPS2 or turning)
        up, upright = fz - gravity, math.nan
        if attitude is not None:
            upright = up_part(attitude, (fx, fy, fz))
            if self.believes_attitude:
                up = upright - gravity
            else:
                attitude = None
        return Specific(fz, math.hypot(fx, fy), magnitude, up, attitude, still, upright)

    def learn_at_rest(self, specific: Specific) -> None:
        """On the pad, at rest: see whether the attitude turns the reading upright."""
        if specific.upright != specific.upright or not specific.still:
            return
        wrong = abs(specific.upright - specific.magnitude)
        self._mismatch_mps2 += REST_GAIN * (wrong - self._mismatch_mps2)
        self.believes_attitude = self._mismatch_mps2 < REST_MISMATCH_MPS2

    def distrust_attitude(self) -> None:
        """The flight computer started anew in flight: what it takes for upright is not."""
        self.believes_attitude = False


def resting_tilt(sample: MotionSample) -> float:
    """Tilt by the accelerometer alone, for a vehicle at rest without an attitude."""
    return resting_tilt_rad(sample.accel_mps2)
