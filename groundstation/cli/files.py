"""The files a command is given: a vehicle, a station, and what goes into a recording of them."""

import argparse
from pathlib import Path

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.station import Station
from groundstation.described import Described


def add_vehicle_argument(parser: argparse.ArgumentParser) -> None:
    """Let a command take one vehicle file as `vehicle`, the example's if none is named."""
    parser.add_argument(
        "vehicle",
        metavar="VEHICLE",
        nargs="?",
        type=Path,
        default=EXAMPLE_VEHICLE,
        help="a vehicle file; else the example's",
    )


def given(vehicle: Path, station: Path | None) -> Described:
    """Read both files.

    The example vehicle exists nowhere but at the example site: without a station file it stands there.

    Raises:
        ConfigError: One of them cannot be used.
    """
    loaded = load_vehicle(vehicle)
    text = vehicle.read_text(encoding="utf-8")
    if station is None and text == EXAMPLE_VEHICLE.read_text(encoding="utf-8"):
        station = EXAMPLE_STATION
    if station is None:
        return Described(loaded, vehicle.name, text, Station())
    return Described(
        loaded, vehicle.name, text, load_station(station), station.name, station.read_text(encoding="utf-8")
    )
