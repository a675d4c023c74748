"""The file that keeps a vehicle's bench proofs: one JSON line a proof, only ever appended to.

A line that cannot be read is a fault by file and line; the others count all the same. A line is written whole or not
at all: what a full disk took of it is taken back, and after a line that was cut off a new one is begun.
"""

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from groundstation.bench.kept import MOST_CHARACTERS, KeptLineError, KeptProof, kept_of, line_of
from groundstation.bench.proof import ProofOutcome
from groundstation.bench.standing import that_count
from groundstation.errors import GroundstationError
from groundstation.inputs import EventKind
from groundstation.laptop import Look
from groundstation.recording_place import name_in_files

FAULTS_TOLD = 3
MOST_BYTES = 64 << 20  # some ten thousand proofs have a tenth of that


class ProofFileError(GroundstationError):
    """The file of proofs cannot be read or written; `path` is the file meant."""

    def __init__(self, message: str, *, path: Path) -> None:
        super().__init__(message)
        self.path = path


@dataclass(frozen=True, slots=True)
class LineFault:
    """A line that holds no proof: the file's name, the line from 1, and what was found and expected."""

    file_name: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.file_name}:{self.line}: {self.text}"


@dataclass(frozen=True, slots=True)
class ProofFile:
    """What a file of proofs holds: the proofs in the order they were kept, and the lines that hold none."""

    kept: tuple[KeptProof, ...]
    faults: tuple[LineFault, ...]


def proof_file_path(folder: Path, vehicle: str) -> Path:
    """Where the proofs of a vehicle of that name lie, such as curlew-bench.jsonl beside its recordings."""
    return folder / f"{name_in_files(vehicle)}-bench.jsonl"


def read_proofs(path: Path) -> ProofFile:
    """What a file holds; nothing where there is no such file.

    Raises:
        ProofFileError: It cannot be read, or is far too large to be one.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return ProofFile((), ())
    except OSError as error:
        raise ProofFileError(f"cannot read {path}: {error.strerror or error}", path=path) from error
    if len(data) > MOST_BYTES:
        raise ProofFileError(f"{path} has over {MOST_BYTES} bytes, too many for a file of bench proofs", path=path)
    kept: list[KeptProof] = []
    faults: list[LineFault] = []
    for k, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            kept.append(kept_of(_decoded(line)))
        except KeptLineError as error:
            faults.append(LineFault(path.name, k, str(error)))
    return ProofFile(tuple(kept), tuple(faults))


def keep_proof(path: Path, kept: KeptProof) -> None:
    """Append a proof; when this returns, it is on the disk.

    Raises:
        ProofFileError: It cannot be written; what the file held before is as it was.
    """
    line = line_of(kept).encode("utf-8")
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    except OSError as error:
        raise ProofFileError(f"cannot write {path}: {error.strerror or error}", path=path) from error
    try:
        size = os.fstat(descriptor).st_size
        _append(descriptor, (b"\n" if _is_cut_off(descriptor, size) else b"") + line + b"\n", size)
    except OSError as error:
        raise ProofFileError(f"cannot write {path}: {error.strerror or error}", path=path) from error
    finally:
        os.close(descriptor)


def looks_at(known: ProofFile, file_name: str) -> tuple[Look, ...]:
    """What is told of a file of proofs at a session's start: each proof that counts, then how the file stands."""
    proofs = [
        Look(EventKind.BENCH_PROOF, kept.proof.outcome is ProofOutcome.PASSED, line_of(kept))
        for kept in that_count(known.kept)
    ]
    text = f"{file_name} holds {_counted(len(known.kept), 'bench proof')}"
    if known.faults:
        first = "; ".join(map(str, known.faults[:FAULTS_TOLD]))
        more = f"; and {len(known.faults) - FAULTS_TOLD} more" if len(known.faults) > FAULTS_TOLD else ""
        text += f", and {_counted(len(known.faults), 'line')} that cannot be read: {first}{more}"
    return (*proofs, Look(EventKind.BENCH_FILE, not known.faults, text))


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _append(descriptor: int, data: bytes, size: int) -> None:
    try:
        if os.write(descriptor, data) != len(data):
            raise OSError(0, "the disk took only a part of it")
        os.fsync(descriptor)
    except OSError:
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, size)
        raise


def _is_cut_off(descriptor: int, size: int) -> bool:
    """Whether the file's last line has no end."""
    if size == 0:
        return False
    os.lseek(descriptor, size - 1, os.SEEK_SET)
    return os.read(descriptor, 1) != b"\n"


def _decoded(line: bytes) -> str:
    if len(line) > 4 * MOST_CHARACTERS:
        raise KeptLineError(f"found {len(line)} bytes, expected at most {MOST_CHARACTERS} characters")
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError as error:
        raise KeptLineError(f"found the byte 0x{line[error.start]:02x}, expected text in UTF-8") from error
