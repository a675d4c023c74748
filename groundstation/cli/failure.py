"""Expected failures: one line for the person, and an exit code for scripts. Whatever else is raised is a bug."""

from groundstation.bench.store import ProofFileError
from groundstation.config.errors import ConfigError
from groundstation.errors import GroundstationError
from groundstation.importing import ImportingError
from groundstation.links.url import LinkUrlError
from groundstation.mqtt import BrokerAddressError
from groundstation.recording import RecordingError
from groundstation.simulator.errors import FaultError, FlightError, PacketError, SimulatorError

USAGE, LINK, FILE, OTHER = 2, 3, 4, 5
INTERRUPTED = 130  # 128 + SIGINT, as shells say it


class Failure(Exception):  # noqa: N818 - not an error of the program's
    """Something expected went wrong; `line` says what, and what to do next."""

    def __init__(self, line: str, exit_code: int) -> None:
        super().__init__(line)
        self.line = line
        self.exit_code = exit_code


EXPECTED = (Failure, GroundstationError, RecordingError, LinkUrlError, SimulatorError)


def failure_of(error: Exception) -> Failure:
    """One of `EXPECTED` as a line and an exit code."""
    match error:
        case Failure():
            return error
        case ConfigError():
            return Failure(_config_line(error), USAGE)
        case LinkUrlError() | BrokerAddressError() | FaultError() | FlightError() | PacketError():
            return Failure(str(error), USAGE)
        case RecordingError() | ImportingError() | ProofFileError():
            return Failure(str(error), FILE)
    return Failure(str(error), OTHER)


def _config_line(error: ConfigError) -> str:
    more = len(error.faults) - 1
    if more == 0:
        return str(error.faults[0])
    others = "1 more fault" if more == 1 else f"{more} more faults"
    return f"{error.faults[0]} (and {others}: groundstation vehicle FILE lists all of a vehicle file)"
