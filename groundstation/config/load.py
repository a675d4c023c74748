"""Vehicle files and station files read, checked and turned into what the program works with.

Every fault of a file is found in one go and reported with its line; see `groundstation.config.errors`.
"""

import re
import tomllib
from collections.abc import Iterable
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from groundstation.config.bench_faults import bench_faults
from groundstation.config.crosschecks import layout_faults, name_faults, table_faults
from groundstation.config.errors import ConfigError, Fault
from groundstation.config.filetable import FileTable, Found
from groundstation.config.lines import KeyPath, key_lines
from groundstation.config.shape import keys_of
from groundstation.config.station import Station
from groundstation.config.vehicle import Airframe, Gimbal, Motor, Vehicle
from groundstation.config.wording import found_in, key_text, line_of

_FOLDER = Path(str(files("groundstation.config")))
EXAMPLE_VEHICLE = _FOLDER / "curlew.toml"
EXAMPLE_STATION = _FOLDER / "saltmarsh.toml"

_T = TypeVar("_T", bound=FileTable)
_AT_LINE = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)")


def load_vehicle(path: Path) -> Vehicle:
    """The vehicle that the file at `path` describes.

    Raises:
        ConfigError: The file cannot be read or used.
    """
    return parse_vehicle(_text(path), file_name=path.name)


def load_station(path: Path) -> Station:
    """The station that the file at `path` describes.

    Raises:
        ConfigError: The file cannot be read or used.
    """
    return parse_station(_text(path), file_name=path.name)


def parse_vehicle(text: str, *, file_name: str) -> Vehicle:
    """The vehicle that `text` describes; `file_name` is what errors call it.

    Raises:
        ConfigError: The text cannot be used.
    """
    data, lines = _parsed(text, file_name)
    _recognised(Vehicle, data, file_name, "vehicle")
    found = [*found_in(Vehicle, data), *name_faults(data)]
    found += table_faults(
        _table(Airframe, data, "airframe"), _table(Motor, data, "motor"), _table(Gimbal, data, "gimbal")
    )
    if found:
        raise ConfigError(_faults(found, data, lines, file_name))
    vehicle = Vehicle.model_validate(data)
    if found := [*layout_faults(vehicle), *bench_faults(vehicle)]:
        raise ConfigError(_faults(found, data, lines, file_name))
    return vehicle


def parse_station(text: str, *, file_name: str) -> Station:
    """The station that `text` describes; `file_name` is what errors call it.

    Raises:
        ConfigError: The text cannot be used.
    """
    data, lines = _parsed(text, file_name)
    _recognised(Station, data, file_name, "station")
    found = found_in(Station, data)
    if found:
        raise ConfigError(_faults(found, data, lines, file_name))
    return Station.model_validate(data)


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ConfigError([Fault(str(path), None, "", f"cannot be read: {error.strerror}")]) from error
    try:
        return data.decode("utf-8-sig")  # some editors put a byte order mark first
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        text = f"found the byte 0x{data[error.start]:02x}, expected text in UTF-8"
        raise ConfigError([Fault(path.name, line, "", text)]) from error


def _parsed(text: str, file_name: str) -> tuple[dict[str, Any], dict[KeyPath, int]]:
    """The file's data and the line of each key."""
    try:
        return tomllib.loads(text), key_lines(text)
    except (ValueError, RecursionError) as error:
        raise ConfigError([_syntax_fault(text, file_name, error)]) from error


def _recognised(model: type[FileTable], data: dict[str, Any], file_name: str, kind: str) -> None:
    """Refuse a file that is about something else, rather than list all it lacks."""
    known = keys_of(model)
    if data and not known.keys() & data.keys():
        text = f"found {_listed(data)} and no key of a {kind} file, expected {_listed(known)}"
        raise ConfigError([Fault(file_name, None, "", text)])


def _listed(keys: Iterable[str]) -> str:
    names = list(keys)
    return ", ".join(names[:12]) + (" …" if len(names) > 12 else "")


def _read(model: type[_T], data: dict[str, Any]) -> _T | None:
    try:
        return model.model_validate(data)
    except ValidationError:
        return None


def _table(model: type[_T], data: dict[str, Any], key: str) -> _T | None:
    return _read(model, data[key]) if key in data else None


def _faults(found: Iterable[Found], data: dict[str, Any], lines: dict[KeyPath, int], file_name: str) -> list[Fault]:
    faults = [Fault(file_name, line_of(lines, f.path), key_text(data, f.path), f.text) for f in found]
    return sorted(faults, key=lambda f: f.line or 0)


def _syntax_fault(text: str, file_name: str, error: Exception) -> Fault:
    if isinstance(error, RecursionError):
        return Fault(file_name, None, "", "found arrays or tables nested too deeply, expected at most a few levels")
    message = str(error)
    match = _AT_LINE.search(message)
    line = text.count("\n") + 1 if match is None or match[1] is None else int(match[1])
    return Fault(file_name, line, "", f"is not TOML: {_AT_LINE.sub('', message)}")
