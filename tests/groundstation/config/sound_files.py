"""A vehicle file and a station file without a fault, to put faults in, and how a fault is told of them."""

import re

from groundstation.config.errors import ConfigError

VEHICLE = """\
name = "Bittern (invented)"
[airframe]
length = "1.5 m"
diameter = "80 mm"
liftoff_mass = "1.4 kg"
drag_coefficient = 0.6
pitch_inertia = "0.2 kg m^2"
centre_of_mass = "0.8 m"
centre_of_pressure = "0.9 m"
part = [
  { place = "nose", from = "0 m", to = "0.2 m" },
  { place = "motor", from = "1.2 m", to = "1.5 m" },
]
[battery]
chemistry = "lithium polymer"
cells = 4
capacity = "1.3 Ah"
internal_resistance = "90 mohm"
[[pyro]]
channel = 1
purpose = "parachute"
load = "igniter"
resistance = ["1 ohm", "2 ohm"]
[pull_pin]
inserted_reads = 1
powers_board = false
enables_pyro = [1]
[gimbal]
limit = "5 deg"
neutral = ["0 deg", "1 deg"]
signs = [1, -1]
lever_arm = "0.4 m"
rate_limit = "200 deg/s"
[motor]
propellant_mass = "90 g"
thrust_curve = [
  ["0 s", "0 N"],
  ["0.1 s", "60 N"],
  ["3 s", "0 N"],
]
[recovery]
parachute_area = "0.5 m^2"
drag_coefficient = 1.3
[sensors]
accel = ["+x", "+y", "+z"]
gyro = ["+x", "+y", "+z"]
[limits]
cell_voltage_min = "3.7 V"
temperature_min = "-5 degC"
packet_loss = 0.3
[telemetry]
framing = "cobs"
checksum = "CRC-16/IBM-3740"
byte_order = "big"
[[telemetry.packet]]
name = "fast"
id = 1
rate_hz = 10
fields = [
  { name = "n", type = "u16", meaning = "sequence" },
  { name = "p", type = "u24", unit = "Pa", valid = [1000, 2000], meaning = "pressure" },
  { name = "x", type = "i8", scale = 0.5 },
]
[[telemetry.packet]]
name = "slow"
id = 2
rate_hz = 1
fields = [
  { name = "n", type = "u16", meaning = "sequence" },
  { name = "v", type = "u16", unit = "mV", meaning = "battery_voltage" },
  { name = "r", type = "u8", unit = "ohm", meaning = "pyro_1_resistance" },
  { name = "flags", type = "u8", bits = [
      { name = "pin", at = 0, meaning = "pull_pin" },
      { name = "state", at = 1, width = 3 },
  ] },
  { name = "ok", type = "bool" },
]
"""

STATION = """\
links = ["tcp://127.0.0.1:4000"]
[site]
latitude = "47 deg"
longitude = "-15 deg"
elevation = "500 m"
pressure = "955 hPa"
wind = "2 m/s"
[pages]
port = 8050
"""


def messages(error: ConfigError) -> list[str]:
    """Every fault of file.toml, without the file's name."""
    return [re.sub(r"^file\.toml:", "", str(fault)) for fault in error.faults]
