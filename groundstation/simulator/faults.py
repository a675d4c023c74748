"""Named faults of the simulated vehicle, its sensors and its link, each beginning at a chosen time.

A fault is a row of `FAULTS`: what it does in a sentence, the check that must notice, and one pure function on the
true attitude, on the measured values, or on the frames. `parse` reads `NAME@T` and `igniter-open:CHANNEL@T`.
"""

import difflib
import math
import random
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from groundstation.config.vehicle import Load, Vehicle
from groundstation.simulator.errors import FaultError
from groundstation.simulator.radio import damaged
from groundstation.simulator.rotation import from_rotation_vector, product, to_body, to_local
from groundstation.simulator.sensors import Values
from groundstation.simulator.truth import BodyState

LOW_CELL_V = 3.55
OPEN_OHM = 1e6  # saturates to the field's greatest value, as an open circuit does
GYRO_BIAS_RADPS = math.radians(12.0)
EXCESSIVE_TILT_RAD = math.radians(20.0)
CORRUPTED_SHARE = 0.85


@dataclass(frozen=True, slots=True)
class Context:
    """What a fault on the values may look at: the vehicle file, the channel it is about, and how the values were
    when the fault began.
    """

    vehicle: Vehicle
    channel: int
    before: Values


OnState = Callable[[BodyState], BodyState]
OnValues = Callable[[Values, Context], Values]
OnFrame = Callable[[bytes, random.Random], bytes | None]


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault; exactly one of the three functions is there."""

    name: str
    text: str
    check: str  # the readiness check that must notice
    on_state: OnState | None = None
    on_values: OnValues | None = None
    on_frame: OnFrame | None = None
    takes_channel: bool = False


@dataclass(frozen=True, slots=True)
class TimedFault:
    """A fault that begins at `at_s` and stays; `channel` is 0 for a fault that is about no channel."""

    fault: Fault
    at_s: float
    channel: int = 0


def _battery_low(values: Values, context: Context) -> Values:
    drop_v = context.before["battery_voltage"] - LOW_CELL_V * context.vehicle.battery.cells
    names = ("battery_voltage", "pyro_supply_voltage")
    return values | {name: max(0.0, values[name] - drop_v) for name in names}


def _igniter_open(values: Values, context: Context) -> Values:
    return values | {
        f"pyro_{context.channel}_resistance": OPEN_OHM,
        f"pyro_{context.channel}_sense": 0.0,
        f"pyro_{context.channel}_continuity": 0.0,
    }


def _pin_reversed(values: Values, context: Context) -> Values:
    return values | {"pull_pin": 1.0 - values["pull_pin"]}


def _frozen(names: tuple[str, ...]) -> OnValues:
    def freeze(values: Values, context: Context) -> Values:
        return values | {name: context.before[name] for name in names}

    return freeze


def _gyro_bias(values: Values, context: Context) -> Values:
    return values | {"gyro_x": values["gyro_x"] + GYRO_BIAS_RADPS}


def _leant(state: BodyState) -> BodyState:
    turn = from_rotation_vector(EXCESSIVE_TILT_RAD, 0.0, 0.0)
    attitude = product(turn, state.attitude)
    return state._replace(attitude=attitude, force_mps2=to_body(attitude, to_local(state.attitude, state.force_mps2)))


def _silent(frame: bytes, draws: random.Random) -> None:
    return None


def _corrupted(frame: bytes, draws: random.Random) -> bytes:
    return damaged(frame, draws) if draws.random() < CORRUPTED_SHARE else frame


_ACCEL = ("accel_x", "accel_y", "accel_z")

_FAULTS = (
    Fault(
        "battery-low",
        f"the pack drops to {LOW_CELL_V} V a cell",
        "battery_voltage",
        on_values=_battery_low,
    ),
    Fault(
        "igniter-open",
        "an igniter's circuit opens; channel 1, or igniter-open:CHANNEL",
        "pyro_circuit",
        on_values=_igniter_open,
        takes_channel=True,
    ),
    Fault(
        "pin-reversed",
        "the pull-pin's contact reads the other way round",
        "pull_pin",
        on_values=_pin_reversed,
    ),
    Fault(
        "accel-stuck",
        "the accelerometer repeats its last values",
        "accelerometer_stuck",
        on_values=_frozen(_ACCEL),
    ),
    Fault(
        "gyro-bias",
        f"the gyro's x axis reads {math.degrees(GYRO_BIAS_RADPS):.0f} deg/s too much",
        "gyro_rest",
        on_values=_gyro_bias,
    ),
    Fault(
        "pressure-stuck",
        "the pressure sensor repeats its last value",
        "pressure_stuck",
        on_values=_frozen(("pressure",)),
    ),
    Fault(
        "tilt-excessive",
        f"the vehicle leans over by {math.degrees(EXCESSIVE_TILT_RAD):.0f} deg",
        "tilt",
        on_state=_leant,
    ),
    Fault(
        "link-silent",
        "no frame arrives any more",
        "packet_age",
        on_frame=_silent,
    ),
    Fault(
        "corrupted-frames",
        f"{CORRUPTED_SHARE:.0%} of the frames arrive with a changed byte",
        "frame_damage",
        on_frame=_corrupted,
    ),
)

FAULTS: Mapping[str, Fault] = MappingProxyType({fault.name: fault for fault in _FAULTS})

_ASKED = re.compile(r"(?P<name>[a-z0-9-]+)(:(?P<channel>[0-9]+))?@(?P<at>[0-9]+(\.[0-9]+)?)")


def parse(text: str, vehicle: Vehicle) -> TimedFault:
    """The fault that `text` asks for, such as "battery-low@30" or "igniter-open:2@12.5".

    Raises:
        FaultError: Not of that form, no fault of that name, or a channel the vehicle has no igniter on.
    """
    match = _ASKED.fullmatch(text)
    if match is None:
        raise FaultError(f'found the fault "{text}", expected NAME@SECONDS such as battery-low@30', text=text)
    fault = FAULTS.get(match["name"])
    if fault is None:
        near = difflib.get_close_matches(match["name"], FAULTS, n=1, cutoff=0.0)[0]
        raise FaultError(
            f'found the fault "{match["name"]}", which there is not; the nearest is {near} '
            f"(all: {', '.join(FAULTS)})",
            text=text,
        )
    if match["channel"] is not None and not fault.takes_channel:
        raise FaultError(f'found a channel in "{text}", but {fault.name} is about no channel', text=text)
    channel = 0
    if fault.takes_channel:
        igniters = [p.channel for p in vehicle.pyro if p.load is Load.IGNITER]
        channel = int(match["channel"] or 1)
        if channel not in igniters:
            there = ", ".join(str(c) for c in igniters) or "none"
            raise FaultError(
                f'found channel {channel} in "{text}", expected a channel with an igniter ({there})', text=text
            )
    return TimedFault(fault, float(match["at"]), channel)
