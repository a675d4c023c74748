"""A vehicle and a station as the files of a session describe them, and the recording that keeps those files."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from groundstation.config.station import Station
from groundstation.config.vehicle import Vehicle
from groundstation.recording import SessionHeader
from groundstation.session_recording import SessionRecording


@dataclass(frozen=True, slots=True)
class Described:
    """A vehicle and a station, each with its file's name and text; no station file is an empty name and text."""

    vehicle: Vehicle
    vehicle_name: str
    vehicle_text: str
    station: Station
    station_name: str = ""
    station_text: str = ""

    def recording(self, folders: Sequence[Path], *, started_ns: int, program_version: str) -> SessionRecording:
        """A new recording of a session of this vehicle, with the files in it.

        Args:
            folders: Where to record, and where to go on if that fails.
            started_ns: The session's start.
            program_version: Goes into the recording.
        """
        header = SessionHeader(
            started_ns=started_ns,
            program_version=program_version,
            vehicle_name=self.vehicle_name,
            vehicle_text=self.vehicle_text,
            station_name=self.station_name,
            station_text=self.station_text,
        )
        return SessionRecording(folders, header, vehicle=self.vehicle.short_name)
