"""`groundstation ports`: the serial ports of this computer, and the link that opens each."""

import argparse

from groundstation.cli.command import Command
from groundstation.cli.failure import LINK, Failure
from groundstation.ports import candidate_ports


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    return None


def _run(arguments: argparse.Namespace) -> int:
    ports = candidate_ports()
    if not ports:
        raise Failure("found no serial port: plug in the receiver (a cable that carries data), then try again", LINK)
    print("Give one of these to: groundstation live VEHICLE --link LINK\n")
    rows = [("LINK", "PORT", "WHAT IT IS")]
    rows += [(port.url, port.device, port.text + ("" if port.likely else " (unlikely)")) for port in ports]
    widths = [max(len(row[k]) for row in rows) for k in range(2)]
    for link, device, text in rows:
        print(f"{link.ljust(widths[0])}  {device.ljust(widths[1])}  {text}")
    return 0


PORTS = Command(
    name="ports",
    summary="the serial ports, and what is plugged in",
    paragraph="""\
Lists the serial ports of this computer with what is plugged into each, those likely to be
a receiver first, and the link to give to `groundstation live`. The link names a USB
device by what it is, so that it is found again after being unplugged, under any name.""",
    examples=(
        ("groundstation ports", "list them"),
        ("groundstation live my-vehicle.toml --link serial:/dev/ttyUSB0?baud=57600", "listen to one of them"),
    ),
    never="It opens no port, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
