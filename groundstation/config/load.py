"""Vehicle files and station files read, checked and turned into what the program works with.

Every fault of a file is found in one go and reported with its line; see `groundstation.config.errors`.
"""

import re
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import TypeVar

from pydantic import ValidationError

from groundstation.config.errors import ConfigError, Fault
from groundstation.config.filetable import FileTable
from groundstation.config.lines import key_lines
from groundstation.config.station import Station
from groundstation.config.vehicle import Vehicle

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
    return _parse(Vehicle, text, file_name)


def parse_station(text: str, *, file_name: str) -> Station:
    """The station that `text` describes; `file_name` is what errors call it.

    Raises:
        ConfigError: The text cannot be used.
    """
    return _parse(Station, text, file_name)


def _text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except OSError as error:
        raise ConfigError([Fault(str(path), None, "", f"cannot be read: {error.strerror}")]) from error
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        text = f"found the byte 0x{data[error.start]:02x}, expected text in UTF-8"
        raise ConfigError([Fault(path.name, line, "", text)]) from error


def _parse(model: type[_T], text: str, file_name: str) -> _T:
    try:
        data = tomllib.loads(text)
        lines = key_lines(text)
    except (ValueError, RecursionError) as error:
        raise ConfigError([_syntax_fault(text, file_name, error)]) from error
    try:
        return model.model_validate(data)
    except ValidationError as error:
        faults = [
            Fault(file_name, lines.get(item["loc"]), ".".join(map(str, item["loc"])), item["msg"])
            for item in error.errors()
        ]
        raise ConfigError(faults) from error


def _syntax_fault(text: str, file_name: str, error: Exception) -> Fault:
    if isinstance(error, RecursionError):
        return Fault(file_name, None, "", "found arrays or tables nested too deeply, expected at most a few levels")
    message = str(error)
    match = _AT_LINE.search(message)
    line = text.count("\n") + 1 if match is None or match[1] is None else int(match[1])
    return Fault(file_name, line, "", f"is not TOML: {_AT_LINE.sub('', message)}")
