"""`groundstation import`: a raw byte dump into a recording."""

import argparse
from importlib.metadata import version
from pathlib import Path

from groundstation.cli.command import Command
from groundstation.cli.failure import FILE, Failure
from groundstation.cli.files import given
from groundstation.cli.shown import Progress, amount, minutes
from groundstation.importing import timed, write_recording
from groundstation.inputs import NS_PER_S
from groundstation.recording import SessionHeader


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file of the firmware that sent it")
    parser.add_argument("raw", metavar="RAW", type=Path, help="the bytes as the receiver gave them, nothing else")
    parser.add_argument("--out", metavar="RECORDING", type=Path, required=True, help="the recording to write")
    parser.add_argument(
        "--station", metavar="FILE", type=Path, help="the station file: where the pad was, and its air"
    )


def _run(arguments: argparse.Namespace) -> int:
    raw, out = arguments.raw, arguments.out
    files = given(arguments.vehicle, arguments.station)
    if out.exists():
        raise Failure(f"{out} exists already and is not overwritten: choose another name after --out", FILE)
    try:
        data = raw.read_bytes()
        written_ns = raw.stat().st_mtime_ns
    except OSError as error:
        raise Failure(f"cannot read {raw}: {error.strerror}", FILE) from error
    if not data:
        raise Failure(f"{raw} is empty: there is nothing to import", FILE)
    progress = Progress("decoding", len(data))
    try:
        times = timed(data, files.vehicle, progress=progress)
    finally:
        progress.end()
    found = times.summary
    header = SessionHeader(
        # The dump has no date. Its file was last written when the session ended, unless it was copied since.
        started_ns=written_ns - round(found.duration_s * NS_PER_S),
        program_version=version("groundstation"),
        vehicle_name=files.vehicle_name,
        vehicle_text=files.vehicle_text,
        station_name=files.station_name,
        station_text=files.station_text,
    )
    write_recording(out, data, times, header, link=f"file:{raw.name}", source=raw.name)
    print(
        f"{amount(found.n_bytes)}: {found.n_packets} packets over {minutes(found.duration_s)}, "
        f"{found.n_rejects} stretches of bytes not decoded; recorded in {out}"
    )
    if found.restarts or found.wraps:
        print(f"The vehicle's clock started anew {found.restarts} times and wrapped {found.wraps} times.")
    return 0


IMPORT = Command(
    name="import",
    summary="a raw byte dump into a recording",
    paragraph="""\
Makes a recording from the bare bytes of a receiver, as a terminal program or a logger
stored them. The bytes carry no times, so each packet gets the time of the vehicle's own
clock in it (the field with meaning = "vehicle_time"), through wraps of the counter and
restarts of the flight computer. The session is dated to end when the file was written.""",
    examples=(
        ("groundstation import my-vehicle.toml capture.bin --out session.sqlite", "make the recording"),
        ("groundstation assess session.sqlite", "then see each change of its verdict"),
    ),
    never="It changes neither the dump nor an existing recording, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
