"""`groundstation layout`: the packet layout checked, explained byte by byte, written for the firmware, exchanged."""

import argparse
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from groundstation.cli.command import Command
from groundstation.cli.failure import FILE, USAGE, Failure
from groundstation.config.errors import ConfigError
from groundstation.config.load import load_vehicle
from groundstation.layout_tools.c_header import c_header
from groundstation.layout_tools.checking import Weight, remarks
from groundstation.layout_tools.described import Description, described
from groundstation.layout_tools.explained_text import explained_lines
from groundstation.layout_tools.explaining import explain
from groundstation.layout_tools.tabulating import table_lines
from groundstation.layout_tools.telemetry_toml import telemetry_toml
from groundstation.layout_tools.xtce_export import xtce
from groundstation.layout_tools.xtce_import import layout_from_xtce

_MOST_BYTES = 4096  # of a file that are looked at; no frame is longer
_NOT_SOUND = 1
_IMPORTED = (
    "Telemetry from an XTCE document. XTCE does not say how packets are framed: check framing, checksum and rates, "
    "and add meanings."
)


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    tools = parser.add_subparsers(
        title="tools", metavar="TOOL", required=True, help="check, explain, header or xtce; each has its own --help"
    )

    def tool(name: str, summary: str, run: Callable[[argparse.Namespace], int]) -> argparse.ArgumentParser:
        own = tools.add_parser(name, help=summary, description=summary, allow_abbrev=False)
        own.set_defaults(tool=run)
        return own

    check = tool(
        "check", "faults and risks of the description, each with its fix, and a table of every field", _check
    )
    check.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file")

    why = tool("explain", "one frame byte by byte, and what would have fitted if it does not decode", _explain)
    why.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file")
    source = why.add_mutually_exclusive_group(required=True)
    source.add_argument("--hex", metavar="BYTES", type=_bytes, help="the frame's bytes in hexadecimal digits")
    source.add_argument("--file", metavar="RAW", type=Path, help="a file of bytes as the receiver gave them")
    why.add_argument("--at", metavar="OFFSET", type=_offset, default=0, help="where in the file to start; else at 0")

    header = tool("header", "a C99 header for the firmware: structures, pack, checksum and framing", _header)
    header.add_argument("vehicle", metavar="VEHICLE", type=Path, help="the vehicle file")
    header.add_argument("--out", metavar="FILE", type=Path, help="the header to write; else it is printed")

    xtce_tool = tool("xtce", "the layout as an XTCE document, or a vehicle file's telemetry from one", _xtce)
    given = xtce_tool.add_mutually_exclusive_group(required=True)
    given.add_argument("vehicle", metavar="VEHICLE", nargs="?", type=Path, help="the vehicle file to export")
    given.add_argument(
        "--import", dest="document", metavar="FILE", type=Path, help="the XTCE document to read instead"
    )
    xtce_tool.add_argument("--out", metavar="FILE", type=Path, help="what to write; else it is printed")


def _run(arguments: argparse.Namespace) -> int:
    code: int = arguments.tool(arguments)
    return code


def _described(path: Path) -> Description:
    return described(load_vehicle(path))


def _check(arguments: argparse.Namespace) -> int:
    try:
        description = _described(arguments.vehicle)
    except ConfigError as error:
        for fault in error.faults:
            print(fault, file=sys.stderr)
        return USAGE
    found = remarks(description)
    for line in table_lines(description):
        print(line)
    print()
    for remark in found:
        print(remark)
    if not found:
        print("no fault, no risk and nothing to do better was found")
    return USAGE if any(remark.weight is Weight.FAULT for remark in found) else 0


def _explain(arguments: argparse.Namespace) -> int:
    description = _described(arguments.vehicle)
    data: bytes = arguments.hex if arguments.file is None else _read(arguments.file, arguments.at)
    found = explain(description, data)
    for line in explained_lines(description, found):
        print(line)
    return 0 if found.is_sound else _NOT_SOUND


def _header(arguments: argparse.Namespace) -> int:
    _give(c_header(_described(arguments.vehicle)), arguments.out)
    return 0


def _xtce(arguments: argparse.Namespace) -> int:
    if arguments.document is None:
        _give(xtce(_described(arguments.vehicle)), arguments.out)
        return 0
    try:
        data = arguments.document.read_bytes()
    except OSError as error:
        raise Failure(f"cannot read {arguments.document}: {error.strerror}", FILE) from error
    description = layout_from_xtce(data, name=arguments.document.name)
    _give(f"# {_IMPORTED}\n{telemetry_toml(description)}", arguments.out)
    return 0


def _give(text: str, out: Path | None) -> None:
    """Print a text, or write it to a file that is not there yet or was written by this command."""
    if out is None:
        print(text, end="")
        return
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise Failure(f"cannot write {out}: {error.strerror}", FILE) from error


def _read(path: Path, at: int) -> bytes:
    try:
        with path.open("rb") as file:
            file.seek(at)
            data = file.read(_MOST_BYTES)
    except OSError as error:
        raise Failure(f"cannot read {path}: {error.strerror}", FILE) from error
    if not data:
        raise Failure(f"{path} has no byte at {at}: choose another place with --at", FILE)
    return data


def _bytes(text: str) -> bytes:
    """Bytes from hexadecimal digits, with blanks, commas, colons and 0x as people paste them."""
    digits = text.lower().replace("0x", " ").replace(",", " ").replace(":", " ")
    try:
        data = bytes.fromhex("".join(_padded(digits.split())))
    except ValueError:
        raise argparse.ArgumentTypeError(f"found {text[:40]!r}, expected pairs of hexadecimal digits") from None
    if not data:
        raise argparse.ArgumentTypeError("found no byte, expected at least one")
    return data


def _padded(words: Iterable[str]) -> Iterable[str]:
    for word in words:
        yield f"0{word}" if len(word) == 1 else word


def _offset(text: str) -> int:
    try:
        value = int(text, 0)
    except ValueError:
        value = -1
    if value < 0:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a number of bytes, such as 1024 or 0x400")
    return value


LAYOUT = Command(
    name="layout",
    summary="check, explain, share the packet layout",
    paragraph="""\
Works on the packet layout in a vehicle file. check lists what is wrong or risky and shows
every field with its place, range and resolution. explain takes one frame apart byte by byte;
if it does not decode, it lists what would have fitted (another byte order, another checksum,
a field wider, a length counted otherwise and more), each with the evidence there is and no
more. header writes the layout as C for the firmware. xtce exchanges it with other systems
(XTCE 1.2, CCSDS 660.0-B).""",
    examples=(
        ("groundstation layout check my-vehicle.toml", "faults with their fix, and a table of all packets"),
        ('groundstation layout explain my-vehicle.toml --hex "03 02 01 03 e8 03 00"', "one frame, byte by byte"),
        ("groundstation layout explain my-vehicle.toml --file capture.bin --at 0x400", "the frame there in a dump"),
        ("groundstation layout header my-vehicle.toml --out telemetry.h", "the layout for the firmware"),
        ("groundstation layout xtce my-vehicle.toml --out layout.xml", "the layout for other systems"),
        ("groundstation layout xtce --import layout.xml", "a vehicle file's telemetry from another's document"),
    ),
    never="It changes no vehicle file, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
    notes="explain exits with 1 where the frame is no sound packet.",
)
