"""Faults of gimbal and flight computer, and of how the vehicle stands."""

import math
from functools import partial

from groundstation.config.vehicle import Vehicle
from groundstation.simulator.fault import Context, Fault, fixed, shifted
from groundstation.simulator.rotation import from_rotation_vector, product, to_body, to_local
from groundstation.simulator.sensors import Values
from groundstation.simulator.truth import BodyState

EXCESSIVE_TILT_RAD = math.radians(20.0)
FALLEN_RAD = math.radians(86.0)
ROCKING_RAD = math.radians(3.0)
ROCKING_HZ = 1.1
MOVED_M = 90.0
OFF_CENTRE_RAD = math.radians(2.0)
COMMAND_SHARE = 0.5  # of the gimbal's limit
SLACK_RAD = math.radians(0.6)  # either way
SWEEP_HZ = 0.25
SLACK_HZ = 0.5
STANDING = ("accel_x", "accel_y", "accel_z", "attitude_x", "attitude_y")
_X_AXIS = ("gimbal_x_command", "gimbal_x_angle")


def _leant(by_rad: float, state: BodyState, since_s: float) -> BodyState:
    turn = from_rotation_vector(by_rad, 0.0, 0.0)
    attitude = product(turn, state.attitude)
    return state._replace(attitude=attitude, force_mps2=to_body(attitude, to_local(state.attitude, state.force_mps2)))


def _rocking(state: BodyState, since_s: float) -> BodyState:
    turn = 2 * math.pi * ROCKING_HZ
    leant = _leant(ROCKING_RAD * math.sin(turn * since_s), state, since_s)
    p, q, r = state.rate_radps
    return leant._replace(rate_radps=(p + ROCKING_RAD * turn * math.cos(turn * since_s), q, r))


def _moved(state: BodyState, since_s: float) -> BodyState:
    east, north, up = state.position_m
    return state._replace(position_m=(east, north + MOVED_M, up))


def _command_rad(vehicle: Vehicle) -> float:
    return COMMAND_SHARE * vehicle.gimbal.limit_rad if vehicle.gimbal is not None else 0.0


def _sticks(values: Values, context: Context) -> Values:
    return {
        "gimbal_x_command": values["gimbal_x_command"] + _command_rad(context.vehicle),
        "gimbal_x_angle": values["gimbal_x_angle"],
    }


def _slack(values: Values, context: Context) -> Values:
    side = math.copysign(SLACK_RAD, math.sin(2 * math.pi * SLACK_HZ * context.since_s))
    return {"gimbal_y_angle": values["gimbal_y_angle"] + side}


def _turns_the_other_way(values: Values, context: Context) -> Values:
    swept = _command_rad(context.vehicle) * math.sin(2 * math.pi * SWEEP_HZ * context.since_s)
    return {
        "gimbal_x_command": values["gimbal_x_command"] + swept,
        "gimbal_x_angle": values["gimbal_x_angle"] - swept,
    }


def _the_wrong_way(values: Values, context: Context) -> Values:
    gimbal = context.vehicle.gimbal
    neutral = 0.0 if gimbal is None else gimbal.neutral_rad[0]
    return {name: 2.0 * neutral - values[name] for name in _X_AXIS}


def _other_firmware(values: Values, context: Context) -> Values:
    return {"firmware_version": values["firmware_version"] + 1.0}


def _other_layout(values: Values, context: Context) -> Values:
    return {"layout_fingerprint": values["layout_fingerprint"] + 1.0}


def _clock_back(values: Values, context: Context) -> Values:
    return {"vehicle_time": max(0.0, values["vehicle_time"] - 30.0)}


def _clock_stuck(values: Values, context: Context) -> Values:
    return {"vehicle_time": context.before["vehicle_time"]}


def _clock_fast(values: Values, context: Context) -> Values:
    return {"vehicle_time": values["vehicle_time"] + 0.08 * context.since_s}


def _believes_it_flies(values: Values, context: Context) -> Values:
    return {"vehicle_phase": 2.0 if values["vehicle_phase"] != 2.0 else 3.0}


def _has_gimbal(vehicle: Vehicle) -> str | None:
    return None if vehicle.gimbal is not None else "which has no gimbal"


def _states_firmware(vehicle: Vehicle) -> str | None:
    return None if vehicle.computer.firmware_version is not None else "whose file states no firmware version"


def _states_address(vehicle: Vehicle) -> str | None:
    if vehicle.computer.address is None and vehicle.telemetry.address is None:
        return "whose file states no address"
    return None


def _states_pad_state(vehicle: Vehicle) -> str | None:
    return None if vehicle.computer.pad_state is not None else "whose file states no pad_state"


def _records(vehicle: Vehicle) -> str | None:
    return None if vehicle.computer.records else "whose file says of no record on board"


def _record_has_a_size(vehicle: Vehicle) -> str | None:
    computer = vehicle.computer
    if computer.record_rate_bps is None or computer.record_length_s is None:
        return "whose file gives no rate and length of the record on board"
    return None


VEHICLE_FAULTS = (
    Fault(
        "gimbal-off-centre",
        f"the gimbal's outer axis stands {math.degrees(OFF_CENTRE_RAD):.0f} deg off neutral",
        ("gimbal_neutral",),
        5.0,
        ("gimbal_x_angle",),
        on_values=shifted("gimbal_x_angle", OFF_CENTRE_RAD),
        asks=_has_gimbal,
    ),
    Fault(
        "gimbal-sticks",
        "the gimbal's outer axis is commanded away and does not follow",
        ("gimbal_follows",),
        8.0,
        _X_AXIS,
        on_values=_sticks,
        asks=_has_gimbal,
    ),
    Fault(
        "gimbal-slack",
        f"the gimbal's inner axis strays by {math.degrees(SLACK_RAD):.1f} deg either way",
        ("gimbal_play",),
        10.0,
        ("gimbal_y_angle",),
        on_values=_slack,
        asks=_has_gimbal,
    ),
    Fault(
        "gimbal-reversed",
        "in a sweep the gimbal's outer axis turns the other way than commanded",
        ("gimbal_follows",),
        8.0,
        _X_AXIS,
        on_values=_turns_the_other_way,
        asks=_has_gimbal,
    ),
    Fault(
        "gimbal-wrong-way",
        "the gimbal's outer axis adds to a lean, which shows only when the vehicle is leant: on the bench",
        (),
        8.0,
        _X_AXIS,
        on_values=_the_wrong_way,
        asks=_has_gimbal,
    ),
    Fault(
        "storage-stopped",
        "the flight computer stores no record of its own",
        ("vehicle_record",),
        5.0,
        ("storage_recording",),
        on_values=fixed("storage_recording", 0.0),
        asks=_records,
    ),
    Fault(
        "storage-full",
        "the flight computer has 20 kB left for its record",
        ("vehicle_record",),
        5.0,
        ("storage_free",),
        on_values=fixed("storage_free", 20e3),
        asks=_record_has_a_size,
    ),
    Fault(
        "firmware-other",
        "the flight computer runs another firmware",
        ("firmware_version",),
        5.0,
        ("firmware_version",),
        on_values=_other_firmware,
        asks=_states_firmware,
    ),
    Fault(
        "layout-other",
        "the firmware was built with another packet layout",
        ("layout_fingerprint",),
        5.0,
        ("layout_fingerprint",),
        on_values=_other_layout,
    ),
    Fault(
        "address-other",
        "the packets carry another vehicle's address",
        ("vehicle_address", "packet_age"),
        5.0,
        ("vehicle_address",),
        on_values=lambda values, context: {"vehicle_address": values["vehicle_address"] + 1.0},
        asks=_states_address,
    ),
    Fault(
        "state-wrong",
        "the flight computer believes that it flies",
        ("vehicle_state",),
        5.0,
        ("vehicle_phase",),
        on_values=_believes_it_flies,
        asks=_states_pad_state,
    ),
    Fault(
        "clock-stuck",
        "the flight computer's clock stands still",
        ("vehicle_clock",),
        10.0,
        ("vehicle_time",),
        on_values=_clock_stuck,
    ),
    Fault(
        "clock-fast",
        "the flight computer's clock runs 8 % fast",
        ("vehicle_clock",),
        10.0,
        ("vehicle_time",),
        on_values=_clock_fast,
    ),
    Fault(
        "clock-back",
        "the flight computer's clock jumps back by 30 s",
        ("no_restart", "vehicle_clock"),
        5.0,
        ("vehicle_time",),
        on_values=_clock_back,
    ),
    Fault(
        "tilt-excessive",
        f"the vehicle leans over by {math.degrees(EXCESSIVE_TILT_RAD):.0f} deg",
        ("tilt",),
        4.0,
        STANDING,
        on_state=partial(_leant, EXCESSIVE_TILT_RAD),
    ),
    Fault(
        "vehicle-fallen",
        "the vehicle lies on its side",
        ("tilt",),
        4.0,
        STANDING,
        on_state=partial(_leant, FALLEN_RAD),
    ),
    Fault(
        "vehicle-rocking",
        f"wind rocks the vehicle by {math.degrees(ROCKING_RAD):.0f} deg",
        ("gyro_noise", "gyro_rest"),
        6.0,
        ("gyro_x", "gyro_y"),
        on_state=_rocking,
    ),
    Fault(
        "vehicle-moved",
        f"the vehicle stands {MOVED_M:.0f} m from the pad",
        ("gnss_position",),
        5.0,
        ("gnss_latitude",),
        on_state=_moved,
    ),
)
