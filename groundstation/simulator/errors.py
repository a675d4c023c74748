"""What the simulator can object to."""

from groundstation.errors import GroundstationError


class SimulatorError(GroundstationError):
    """Base of every exception the simulator raises on purpose."""


class FaultError(SimulatorError, ValueError):
    """A fault that does not exist, or cannot happen to this vehicle; `text` is what was asked for."""

    def __init__(self, message: str, *, text: str) -> None:
        super().__init__(message)
        self.text = text


class PacketError(SimulatorError, ValueError):
    """A packet's field cannot carry the value it was given; `field` names packet and field."""

    def __init__(self, message: str, *, field: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field


class FlightError(SimulatorError, ValueError):
    """The vehicle as described cannot fly, or its flight does not end."""


class WriterError(SimulatorError, OSError):
    """The simulated frames cannot be written where they were meant to go."""
