"""What can be wrong with a vehicle file or station file: faults with their line and key, collected in one error."""

from collections.abc import Sequence
from dataclasses import dataclass

from groundstation.errors import GroundstationError


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a file.

    `line` counts from 1 and is None where the fault belongs to no line; `key` is the path of the key at fault, such
    as `battery.cells` or `telemetry.packet[health].fields[vbat].unit`, empty where the fault belongs to no key;
    `text` says what was found and what was expected.
    """

    file_name: str
    line: int | None
    key: str
    text: str

    def __str__(self) -> str:
        place = self.file_name if self.line is None else f"{self.file_name}:{self.line}"
        return f"{place}: {self.key}: {self.text}" if self.key else f"{place}: {self.text}"


class ConfigError(GroundstationError, ValueError):
    """A vehicle file or station file cannot be used; `faults` holds every fault of it, in the order of its lines."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = tuple(faults)
