"""The standard measurements: what a field of a packet can mean, and the unit it has inside.

A vehicle file ties a field to one of these names with `meaning = "battery_voltage"`. Estimation, readiness and the
pages look for measurements only under these names. Pyro measurements carry their channel: `pyro_1_resistance`.
"""

import re
from dataclasses import dataclass

MAX_PYRO_CHANNEL = 16
CALLSIGN = "callsign"
"""What a field of text can mean: whose packets these are, as the radio licence names them."""


@dataclass(frozen=True, slots=True)
class Measurement:
    """One standard measurement: its name, its unit inside the program (pint notation) and what it is."""

    name: str
    unit: str
    text: str


_PLAIN = [
    Measurement("sequence", "1", "packet counter, one more with each packet"),
    Measurement("vehicle_time", "s", "the flight computer's own clock, from its start"),
    Measurement("reset_count", "1", "how often the flight computer has started"),
    Measurement("reset_cause", "1", "why the flight computer last started, as it numbers the causes"),
    Measurement("vehicle_phase", "1", "the phase the flight computer believes in, as it numbers them"),
    Measurement("firmware_version", "1", "number of the firmware"),
    Measurement("layout_fingerprint", "1", "number computed from the packet layout the firmware was built with"),
    Measurement("vehicle_address", "1", "number that tells vehicles on one channel apart"),
    Measurement("storage_recording", "1", "1 while the flight computer stores its own record"),
    Measurement("storage_free", "byte", "free space for the flight computer's own record"),
    Measurement("battery_voltage", "V", "voltage of the whole pack"),
    Measurement("battery_current", "A", "current drawn from the pack, positive while discharging"),
    Measurement("battery_temperature", "K", "temperature of the pack"),
    Measurement("servo_voltage", "V", "supply of the gimbal servos"),
    Measurement("board_voltage", "V", "regulated supply of the flight computer"),
    Measurement("pyro_supply_voltage", "V", "supply of the pyro channels behind the pull-pin"),
    Measurement("pull_pin", "1", "level read at the pull-pin's contact, 0 or 1"),
    Measurement("camera_on", "1", "1 while the camera's channel is switched on"),
    Measurement("pressure", "Pa", "static pressure in the avionics bay"),
    Measurement("temperature", "K", "temperature of the avionics bay"),
    Measurement("accel_x", "m/s^2", "specific force along the sensor's x axis"),
    Measurement("accel_y", "m/s^2", "specific force along the sensor's y axis"),
    Measurement("accel_z", "m/s^2", "specific force along the sensor's z axis"),
    Measurement("gyro_x", "rad/s", "rate about the sensor's x axis"),
    Measurement("gyro_y", "rad/s", "rate about the sensor's y axis"),
    Measurement("gyro_z", "rad/s", "rate about the sensor's z axis"),
    Measurement("attitude_w", "1", "scalar part of the unit quaternion from body to local (east, north, up)"),
    Measurement("attitude_x", "1", "x part of the attitude quaternion"),
    Measurement("attitude_y", "1", "y part of the attitude quaternion"),
    Measurement("attitude_z", "1", "z part of the attitude quaternion"),
    Measurement("gimbal_x_command", "rad", "commanded deflection about the gimbal's outer axis (body x)"),
    Measurement("gimbal_y_command", "rad", "commanded deflection about the gimbal's inner axis (body y)"),
    Measurement("gimbal_x_angle", "rad", "measured deflection about the gimbal's outer axis (body x)"),
    Measurement("gimbal_y_angle", "rad", "measured deflection about the gimbal's inner axis (body y)"),
    Measurement("gnss_fix", "1", "0 without a position, 1 or more with one"),
    Measurement("gnss_latitude", "rad", "WGS 84 latitude, north positive"),
    Measurement("gnss_longitude", "rad", "WGS 84 longitude, east positive"),
    Measurement("gnss_height", "m", "height above mean sea level as the receiver gives it"),
    Measurement("gnss_satellites", "1", "satellites used"),
    Measurement("gnss_hdop", "1", "horizontal dilution of precision"),
    Measurement("rssi", "dBm", "received signal strength of the packet"),
    Measurement("snr", "dB", "signal-to-noise ratio of the packet"),
]

_PYRO = {
    "resistance": ("ohm", "resistance of the circuit on the channel"),
    "sense": ("V", "sense voltage of the channel"),
    "continuity": ("1", "1 while the flight computer sees a closed circuit on the channel"),
    "energised": ("1", "1 while the channel is switched on"),
}

_BY_NAME = {m.name: m for m in _PLAIN}
_PYRO_NAME = re.compile(r"pyro_([1-9][0-9]?)_([a-z]+)")


def names() -> list[str]:
    """Every plain name, and the pyro names with `N` for the channel, for listings and suggestions."""
    return [*_BY_NAME, *(f"pyro_N_{kind}" for kind in _PYRO)]


def measurement(name: str) -> Measurement | None:
    """The standard measurement of that name, or None where there is none."""
    if plain := _BY_NAME.get(name):
        return plain
    match = _PYRO_NAME.fullmatch(name)
    if match is None or match[2] not in _PYRO or int(match[1]) > MAX_PYRO_CHANNEL:
        return None
    unit, text = _PYRO[match[2]]
    return Measurement(name, unit, f"{text} {match[1]}")
