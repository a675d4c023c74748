"""A recording read back into a timeline, as `assess` and `replay` need it."""

from pathlib import Path

from groundstation.cli.shown import Progress
from groundstation.config.load import parse_station, parse_vehicle
from groundstation.config.station import Station
from groundstation.pipeline import Pipeline
from groundstation.recording import open_recording
from groundstation.replay import run_through
from groundstation.timeline import Timeline


def timeline_of(path: Path) -> Timeline:
    """The whole timeline of a recording.

    Raises:
        RecordingError: It is no recording, or damaged.
        ConfigError: The vehicle or station file in it cannot be used by this version.
    """
    with open_recording(path) as recording:
        vehicle = parse_vehicle(recording.vehicle_text, file_name=f"{recording.vehicle_name} in {path.name}")
        station = Station()
        if recording.station_text:
            station = parse_station(recording.station_text, file_name=f"{recording.station_name} in {path.name}")
        pipeline = Pipeline(vehicle, station.site, started_ns=recording.started_ns, count=station.count)
        progress = Progress(f"reading {path.name}", recording.size)
        try:
            return run_through(pipeline, recording.items(), ended_ns=recording.ended_ns, progress=progress)
        finally:
            progress.end()
