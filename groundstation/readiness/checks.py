"""The register of checks, gravest first: the order findings are listed in, and reasons within one status.

A new check is one rule in a file of its group and one line here.
"""

from groundstation.readiness import air, motion, power, pull_pin, pyro, radio, sensors, station
from groundstation.readiness.check import Check
from groundstation.readiness.required import required

_CHECKS: tuple[Check, ...] = (
    pyro.pyro_energised,
    radio.packet_age,
    pull_pin.pull_pin,
    pyro.pyro_circuit,
    station.on_pad,
    power.battery_voltage,
    motion.tilt,
    sensors.accelerometer_stuck,
    sensors.gyro_stuck,
    sensors.pressure_stuck,
    motion.accelerometer_gravity,
    motion.gyro_rest,
    air.pressure_site,
    air.temperature_range,
    sensors.values_possible,
    radio.frame_damage,
    radio.packet_loss,
    station.recording_running,
)
CHECKS: tuple[Check, ...] = (*_CHECKS, required(_CHECKS))
