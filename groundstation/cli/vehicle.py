"""`groundstation vehicle`: where the example lies, what a vehicle file says, or what is wrong with it."""

import argparse
import math
import sys
from collections.abc import Iterator

from groundstation.bench.standing import DAY_S
from groundstation.cli.command import Command
from groundstation.cli.failure import USAGE
from groundstation.cli.files import add_vehicle_argument
from groundstation.cli.shown import quantity
from groundstation.cli.vehicle_keys import key_lines
from groundstation.config.errors import ConfigError
from groundstation.config.load import load_vehicle
from groundstation.config.telemetry import layout_of, sources_of
from groundstation.config.vehicle import Pyro, Vehicle

COULOMBS_PER_MAH = 3.6


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    add_vehicle_argument(parser)
    parser.add_argument("--path", action="store_true", help="print where the file lies, and nothing else")
    parser.add_argument("--keys", action="store_true", help="print every key a vehicle file may have")


def _run(arguments: argparse.Namespace) -> int:
    if arguments.path:
        print(arguments.vehicle.resolve())
        return 0
    if arguments.keys:
        for line in key_lines():
            print(line)
        return 0
    try:
        vehicle = load_vehicle(arguments.vehicle)
    except ConfigError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return USAGE
    for line in summary_lines(vehicle):
        print(line)
    return 0


def summary_lines(vehicle: Vehicle) -> Iterator[str]:
    """What a vehicle file says, for a person to hold against the vehicle."""
    frame, battery, motor = vehicle.airframe, vehicle.battery, vehicle.motor
    yield vehicle.name
    yield (
        f"  airframe  {quantity(frame.length_m, 2, 'm')} long, {quantity(frame.diameter_m * 1e3, 0, 'mm')} across, "
        f"{quantity(frame.liftoff_mass_kg, 3, 'kg')} at liftoff"
    )
    yield (
        f"  battery   {battery.cells} cells, {battery.chemistry}, "
        f"{quantity(battery.capacity_c / COULOMBS_PER_MAH, 0, 'mAh')}, "
        f"HOLD below {quantity(vehicle.limits.cell_voltage_min_v, 2, 'V')} a cell"
    )
    yield (
        f"  motor     {quantity(motor.impulse_ns, 0, 'N s')} over {quantity(motor.burn_s, 2, 's')}, "
        f"{quantity(motor.propellant_mass_kg * 1e3, 0, 'g')} of propellant"
    )
    for channel in vehicle.pyro:
        yield f"  pyro {channel.channel:<4} {channel.purpose} ({channel.load.value}){_band(channel)}"
    if vehicle.pull_pin is not None:
        yield f"  pull-pin  reads {vehicle.pull_pin.inserted_reads} with the pin in"
    if vehicle.gimbal is not None:
        limit = quantity(math.degrees(vehicle.gimbal.limit_rad), 1, "deg")
        yield f"  gimbal    up to {limit}, {quantity(vehicle.gimbal.lever_arm_m, 2, 'm')} below the centre of mass"
    if vehicle.bench is not None and vehicle.bench.proofs:
        asked = [f"{proof.name} ({quantity(proof.fresh_s / DAY_S, 0, 'days')})" for proof in vehicle.bench.proofs]
        yield f"  bench     HOLD until proven: {', '.join(asked)}"
    telemetry = vehicle.telemetry
    layout = layout_of(vehicle)
    yield f"  telemetry {layout.framing} with {layout.checksum}, {telemetry.byte_order}-endian"
    rate_bytes = 0.0
    for entry, packet in zip(telemetry.packets, layout.packets, strict=True):
        rate_bytes += entry.rate_hz * packet.length
        yield (
            f"    packet {entry.name} (id {entry.id}): {packet.length} bytes, "
            f"{quantity(entry.rate_hz, 1, 'Hz')}, {len(packet.fields)} fields"
        )
    standard = [name for name in sources_of(vehicle) if "." not in name]
    yield f"    together {quantity(rate_bytes, 0, 'bytes/s')} before framing; {len(standard)} standard measurements"


def _band(channel: Pyro) -> str:
    if channel.resistance_ohm is not None:
        least, greatest = channel.resistance_ohm
        return f", {least:.1f} to {quantity(greatest, 1, 'ohm')}"
    if channel.sense_v is not None:
        least, greatest = channel.sense_v
        return f", {least:.2f} to {quantity(greatest, 2, 'V')}"
    return ""


VEHICLE = Command(
    name="vehicle",
    summary="check or explain a vehicle file",
    paragraph="""\
Reads a vehicle file, which describes a vehicle and its packets once for all, and says what
it found, to hold against the vehicle on the bench. What is wrong is listed with file, line,
key, what was found and what was expected, and the nearest key for a misspelt one. Without a
file it speaks of the example vehicle, our own invention, to copy and change.""",
    examples=(
        ("groundstation vehicle --path", "where the example vehicle file lies"),
        ("groundstation vehicle my-vehicle.toml", "check your own"),
        ("groundstation vehicle --keys", "every key, its unit and its default, and where limits come from"),
    ),
    never="It changes no file, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
