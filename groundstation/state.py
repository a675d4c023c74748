"""What estimation is given, sample by sample, and what it says: the vehicle's state, its phase, and events.

Local frame: east, north, up from the pad. Body frame: z along the long axis towards the nose, x and y the gimbal's
outer and inner axes. Heights are above the pad. NaN marks what is missing or not known.
"""

from dataclasses import dataclass
from enum import StrEnum

NAN = float("nan")


class Phase(StrEnum):
    """Where in its flight the vehicle is."""

    PAD = "pad"
    BOOST = "boost"
    COAST = "coast"
    DESCENT = "descent"
    LANDED = "landed"


class FlightEventKind(StrEnum):
    """The moments a flight is told by."""

    LIFTOFF = "liftoff"
    BURNOUT = "burnout"
    APOGEE = "apogee"
    LANDED = "landed"


@dataclass(frozen=True, slots=True)
class MotionSample:
    """One packet's worth of motion, in the body frame and SI units; NaN where the packet has no such value."""

    received_ns: int
    vehicle_time_s: float = NAN
    pressure_pa: float = NAN
    accel_mps2: tuple[float, float, float] = (NAN, NAN, NAN)
    gyro_radps: tuple[float, float, float] = (NAN, NAN, NAN)
    attitude: tuple[float, float, float, float] = (NAN, NAN, NAN, NAN)
    temperature_k: float = NAN  # of the bay: stands in for the air's on the pad where the site file has none


@dataclass(frozen=True, slots=True)
class State:
    """The estimate after one sample. Sigmas are standard deviations."""

    at_ns: int
    phase: Phase
    height_m: float
    height_sigma_m: float
    speed_mps: float  # vertical, up positive
    speed_sigma_mps: float
    accel_up_mps2: float
    tilt_rad: float  # from vertical
    tilt_heading_rad: float  # direction the nose leans to, clockwise from north
    predicted_apogee_m: float  # NaN outside boost and coast
    predicted_apogee_sigma_m: float


@dataclass(frozen=True, slots=True)
class FlightEvent:
    """A moment of the flight: when it happened, when it was recognised, and at what height."""

    kind: FlightEventKind
    at_ns: int
    called_ns: int
    height_m: float
    height_sigma_m: float
