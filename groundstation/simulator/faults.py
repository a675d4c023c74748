"""Named faults of the simulated vehicle, its sensors and its link, each beginning at a chosen time.

The rows stand in one file a group; here they are registered, and `parse` reads `NAME@T`, `NAME:CHANNEL@T` and
`NAME@T-U` for a fault that ends again.
"""

import difflib
import re
from collections.abc import Mapping
from types import MappingProxyType

from groundstation.config.telemetry import columns
from groundstation.config.vehicle import Load, Vehicle
from groundstation.simulator.errors import FaultError
from groundstation.simulator.fault import Context, Fault, TimedFault
from groundstation.simulator.faults_circuits import CIRCUIT_FAULTS
from groundstation.simulator.faults_power import POWER_FAULTS
from groundstation.simulator.faults_radio import RADIO_FAULTS
from groundstation.simulator.faults_sensors import SENSOR_FAULTS
from groundstation.simulator.faults_vehicle import VEHICLE_FAULTS

__all__ = ["FAULTS", "Context", "Fault", "TimedFault", "parse", "refusal"]

FAULTS: Mapping[str, Fault] = MappingProxyType(
    {fault.name: fault for fault in (*POWER_FAULTS, *CIRCUIT_FAULTS, *SENSOR_FAULTS, *VEHICLE_FAULTS, *RADIO_FAULTS)}
)

_SECONDS = r"[0-9]+(\.[0-9]+)?"
_ASKED = re.compile(rf"(?P<name>[a-z0-9-]+)(:(?P<channel>[0-9]+))?@(?P<at>{_SECONDS})(-(?P<until>{_SECONDS}))?")
_LOADS = {Load.IGNITER: "an igniter", Load.AUXILIARY: "an auxiliary load"}


def parse(text: str, vehicle: Vehicle) -> TimedFault:
    """The fault that `text` asks for, such as "battery-low@30", "igniter-open:2@12.5" or "gyro-bias@30-45".

    Raises:
        FaultError: Not of that form, no fault of that name, one that ends before it begins, a channel the vehicle has
            no such load on, or a fault that cannot happen to this vehicle.
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
    at_s = float(match["at"])
    until_s = float("inf") if match["until"] is None else float(match["until"])
    if until_s <= at_s:
        raise FaultError(f'found "{text}", which ends at {until_s:g} s, expected an end after {at_s:g} s', text=text)
    channel = 0
    if fault.load is not None:
        channel = _channel(text, fault.load, vehicle, match["channel"])
    if reason := refusal(fault, vehicle, channel):
        raise FaultError(f'found "{fault.name}" for {vehicle.name}, {reason}', text=text)
    return TimedFault(fault, at_s, channel, until_s)


def refusal(fault: Fault, vehicle: Vehicle, channel: int) -> str | None:
    """Why a fault cannot happen to a vehicle, as the end of a sentence; None where it can."""
    if fault.load is not None and all(p.load is not fault.load for p in vehicle.pyro):
        return f"which has no channel with {_LOADS[fault.load]}"
    sent = {column.meaning for column in columns(vehicle)}
    changed = sorted(fault.changed(channel))
    if changed and not sent.intersection(changed):
        *most, last = changed
        return f"which does not send {' or '.join((', '.join(most), last)) if most else last}"
    return None if fault.asks is None else fault.asks(vehicle)


def _channel(text: str, load: Load, vehicle: Vehicle, asked: str | None) -> int:
    fitting = [p.channel for p in vehicle.pyro if p.load is load]
    channel = int(asked or next(iter(fitting), 0))
    if fitting and channel not in fitting:
        there = ", ".join(map(str, fitting))
        raise FaultError(
            f'found channel {channel} in "{text}", expected a channel with {_LOADS[load]} ({there})', text=text
        )
    return channel
