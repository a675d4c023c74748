"""The bench proofs of a vehicle as commands find them: where their file lies, and what a live session is told."""

from pathlib import Path

from groundstation.bench.store import ProofFileError, looks_at, proof_file_path, read_proofs
from groundstation.config.station import Station
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import EventKind
from groundstation.laptop import Look


def proofs_path(vehicle: Vehicle, station: Station, recordings: Path) -> Path:
    """The file of a vehicle's proofs: where the station file says, else beside the recordings."""
    stated = station.recording.proofs_folder
    folder = recordings if stated is None else Path(stated).expanduser()
    return proof_file_path(folder, vehicle.short_name)


def known_proofs(vehicle: Vehicle, station: Station, recordings: Path) -> tuple[Look, ...]:
    """What a session is told of the proofs when it begins; nothing for a vehicle file that asks for none."""
    if vehicle.bench is None or not vehicle.bench.proofs:
        return ()
    path = proofs_path(vehicle, station, recordings)
    try:
        return looks_at(read_proofs(path), path.name)
    except ProofFileError as error:
        return (Look(EventKind.BENCH_FILE, False, str(error)),)
