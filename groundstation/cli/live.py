"""`groundstation live`: listen to a receiver."""

import argparse
from pathlib import Path

from groundstation.cli.command import Command, port_number
from groundstation.cli.files import given
from groundstation.cli.living import Listening, folders_of, links_of, listen
from groundstation.cli.pages import Serving


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file")
    parser.add_argument(
        "--link",
        metavar="URL",
        action="append",
        default=[],
        help="serial:PORT?baud=N, tcp://HOST:PORT or file:PATH; may be given again; else those of the station file",
    )
    parser.add_argument("--station", metavar="FILE", type=Path, help="the station file: the pad's place and air")
    parser.add_argument(
        "--record", metavar="FOLDER", type=Path, help="where to record; else as the station file says"
    )
    parser.add_argument("--mqtt", metavar="mqtt://HOST/PREFIX", help="publish to this broker too")
    parser.add_argument("--host", metavar="H", help="address to serve the pages at (127.0.0.1: this laptop alone)")
    parser.add_argument("--port", metavar="P", type=port_number, help="port of the pages (8050)")
    parser.add_argument("--open", action="store_true", help="open a browser on the pages")
    parser.add_argument("--verdicts", metavar="FILE", type=Path, help="append each verdict to this file")


def _run(arguments: argparse.Namespace) -> int:
    files = given(arguments.vehicle, arguments.station)
    station = files.station
    links, folders = links_of(station, arguments.link), folders_of(station, arguments.record)
    serving = Serving(
        arguments.host or station.pages.host,
        station.pages.port if arguments.port is None else arguments.port,
        station.pages.trusted_hosts,
        arguments.open,
    )
    broker = arguments.mqtt or station.mqtt.broker
    return listen(files, Listening(links, folders, serving, broker, arguments.verdicts))


LIVE = Command(
    name="live",
    summary="listen to a receiver",
    paragraph="""\
Listens to one or more receivers, records every byte before anything is made of it, says
GO or HOLD with the reasons on its pages, and follows the flight. A receiver that is
unplugged is found again. Unknown is HOLD: without a station file the checks that need the
site cannot pass. Each change of the verdict is printed here too.""",
    examples=(
        (
            "groundstation live my-vehicle.toml --link serial:/dev/ttyUSB0?baud=57600 --station my-site.toml --open",
            "on the field",
        ),
        (
            "groundstation live my-vehicle.toml --link tcp://192.168.4.1:7007 --mqtt mqtt://192.168.4.2/rocket",
            "a receiver behind TCP, and others following by MQTT",
        ),
    ),
    never="Nothing is ever sent to the vehicle: no link has a way to write, and it arms, fires and commands nothing.",
    add_arguments=_add_arguments,
    run=_run,
)
