"""What estimation is given, sample by sample, and what it says: the vehicle's state, its phase, and events.

Local frame: east, north, up from the pad. Body frame: z along the long axis towards the nose, x and y the gimbal's
outer and inner axes. Heights are above the pad. NaN marks what is missing or not known.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

NAN = float("nan")


class Phase(StrEnum):
    """Where in its flight the vehicle is."""

    PAD = "pad"
    BOOST = "boost"
    COAST = "coast"
    DESCENT = "descent"
    LANDED = "landed"


class FlightEventKind(StrEnum):
    """The moments a flight is told by.

    An ejection that left no trace in what was received is not told. A ballistic descent is a fall much faster than
    under the canopy, told once.
    """

    LIFTOFF = "liftoff"
    BURNOUT = "burnout"
    APOGEE = "apogee"
    EJECTION = "ejection"
    BALLISTIC = "ballistic descent"
    LANDED = "landed"


class MotionSample(NamedTuple):
    """One packet's worth of motion, in the body frame and SI units; NaN where the packet has no such value.

    `measured_ns` is the time it was measured on the station's axis, as well as the vehicle's clock tells it; `boot`
    counts the flight computer's new starts since the session began.

    A tuple, not a dataclass, as is `State`: one is made of each packet.
    """

    received_ns: int
    measured_ns: int
    pressure_pa: float = NAN
    accel_mps2: tuple[float, float, float] = (NAN, NAN, NAN)
    gyro_radps: tuple[float, float, float] = (NAN, NAN, NAN)
    attitude: tuple[float, float, float, float] = (NAN, NAN, NAN, NAN)
    temperature_k: float = NAN  # of the bay: stands in for the air's on the pad where the site file has none
    boot: int = 0


class State(NamedTuple):
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


class RestartSign(StrEnum):
    """By what a new start of the flight computer was noticed."""

    CLOCK = "clock"  # its clock began again
    COUNTER = "counter"  # its packet counter began again
    RESET_COUNT = "reset count"  # its own count of starts changed


@dataclass(frozen=True, slots=True)
class Restart:
    """A sign that the flight computer started anew: in which packet, by its receive time, and which start it is."""

    at_ns: int
    boot: int  # the first new start since the session began is 1; signs of one start share the number
    sign: RestartSign
