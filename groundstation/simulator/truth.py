"""What is true of the simulated vehicle: one moment's state, and the whole flight in columns.

Local frame: east, north, up from the pad. Body frame: z towards the nose, x and y the gimbal's outer and inner axes.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from groundstation.simulator.rotation import Quaternion, Vector, tilt_rad
from groundstation.state import Phase
from groundstation.table import FloatArray, IntArray

PHASES = tuple(Phase)


class BodyState(NamedTuple):
    """The vehicle at one moment.

    `force_mps2` is the specific force at the centre of mass in the body frame: what an ideal accelerometer reads.
    Gimbal angles are right-handed rotations of the motor about body x and y from the body's axis.
    """

    t_s: float
    position_m: Vector
    velocity_mps: Vector
    attitude: Quaternion
    rate_radps: Vector
    force_mps2: Vector
    gimbal_rad: tuple[float, float] = (0.0, 0.0)
    command_rad: tuple[float, float] = (0.0, 0.0)
    thrust_n: float = 0.0
    mass_kg: float = 0.0
    wind_mps: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class FlightTimes:
    """When the flight's moments were [s], on the simulation's clock; NaN for one that did not happen."""

    ignition_s: float
    liftoff_s: float
    burnout_s: float
    apogee_s: float
    ejection_s: float
    landed_s: float

    def phase_at(self, t_s: float) -> Phase:
        """The true phase at a time."""
        if not t_s >= self.liftoff_s:
            return Phase.PAD
        if t_s < self.burnout_s:
            return Phase.BOOST
        if t_s < self.apogee_s:
            return Phase.COAST
        return Phase.DESCENT if t_s < self.landed_s else Phase.LANDED


@dataclass(frozen=True, slots=True)
class Truth:
    """A flight from ignition to rest after landing; (n,) columns over time, some 5 ms apart in ascent.

    phase: index into `groundstation.timeline.PHASES`. impulse_ns and burn_s are those of the motor as it burnt.
    """

    times: FlightTimes
    t_s: FloatArray
    east_m: FloatArray
    north_m: FloatArray
    height_m: FloatArray
    east_mps: FloatArray
    north_mps: FloatArray
    speed_mps: FloatArray  # vertical, up positive
    tilt_rad: FloatArray
    thrust_n: FloatArray
    mass_kg: FloatArray
    gimbal_x_rad: FloatArray
    gimbal_y_rad: FloatArray
    wind_east_mps: FloatArray
    wind_north_mps: FloatArray
    phase: IntArray
    apogee_m: float
    impulse_ns: float
    burn_s: float

    @classmethod
    def of(cls, states: list[BodyState], times: FlightTimes, *, apogee_m: float, impulse_ns: float) -> "Truth":
        """The columns of a list of states."""

        def column(values: list[float]) -> FloatArray:
            return np.array(values, np.float64)

        return cls(
            times=times,
            t_s=column([s.t_s for s in states]),
            east_m=column([s.position_m[0] for s in states]),
            north_m=column([s.position_m[1] for s in states]),
            height_m=column([s.position_m[2] for s in states]),
            east_mps=column([s.velocity_mps[0] for s in states]),
            north_mps=column([s.velocity_mps[1] for s in states]),
            speed_mps=column([s.velocity_mps[2] for s in states]),
            tilt_rad=column([tilt_rad(s.attitude) for s in states]),
            thrust_n=column([s.thrust_n for s in states]),
            mass_kg=column([s.mass_kg for s in states]),
            gimbal_x_rad=column([s.gimbal_rad[0] for s in states]),
            gimbal_y_rad=column([s.gimbal_rad[1] for s in states]),
            wind_east_mps=column([s.wind_mps[0] for s in states]),
            wind_north_mps=column([s.wind_mps[1] for s in states]),
            phase=np.array([PHASES.index(times.phase_at(s.t_s)) for s in states], np.int64),
            apogee_m=apogee_m,
            impulse_ns=impulse_ns,
            burn_s=times.burnout_s - times.ignition_s,
        )
