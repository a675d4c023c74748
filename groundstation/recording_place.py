"""Where recordings lie: which folders will do, what a new file is called, and whether a path still names it."""

import os
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import psutil

from groundstation.errors import GroundstationError
from groundstation.inputs import NS_PER_S

# File systems shared over a network: the write-ahead log needs memory shared by all who open the file.
NETWORK_FILE_SYSTEMS = frozenset({
    "nfs", "nfs4", "cifs", "smb", "smb2", "smb3", "smbfs", "afpfs",
    "webdav", "davfs", "davfs2", "ncpfs", "afs", "ceph", "glusterfs", "lustre",
    "9p", "fuse.sshfs", "fuse.rclone", "fuse.davfs2", "fuse.glusterfs", "vboxsf", "fuse.vmhgfs-fuse", "prl_fs",
})  # fmt: skip


class RecordingError(GroundstationError):
    """A recording cannot be written or read; `path` is the file (or folder) meant."""

    def __init__(self, message: str, *, path: Path) -> None:
        super().__init__(message)
        self.path = path


@dataclass(frozen=True, slots=True)
class FileIdentity:
    """Which file on which volume a path names."""

    device: int
    inode: int

    @classmethod
    def of(cls, path: Path) -> "FileIdentity | None":
        """The identity of what `path` names now; None where it names nothing."""
        try:
            found = os.stat(path)
        except OSError:
            return None
        return cls(found.st_dev, found.st_ino)


def check_folder(folder: Path) -> None:
    """Refuse a folder in which no recording can be made.

    Raises:
        RecordingError: It does not exist, or lies on a network file system.
    """
    if not folder.is_dir():
        raise RecordingError(f"the folder {folder} does not exist", path=folder)
    if network := network_file_system(folder):
        raise RecordingError(
            f"the folder {folder} lies on a network file system ({network}), where a recording can be "
            "damaged: record to a local disk and copy afterwards",
            path=folder,
        )


def new_recording_path(folder: Path, started_ns: int, vehicle: str) -> Path:
    """A path not yet taken in `folder`, such as 20260816-143000-curlew.sqlite; the time is UTC."""
    when = datetime.fromtimestamp(started_ns // NS_PER_S, UTC).strftime("%Y%m%d-%H%M%S")
    name = name_in_files(vehicle)
    path = folder / f"{when}-{name}.sqlite"
    number = 2
    while path.exists():
        path = folder / f"{when}-{name}-{number}.sqlite"
        number += 1
    return path


def name_in_files(vehicle: str) -> str:
    """A vehicle's name as files are called after it."""
    return re.sub(r"[^\w-]+", "-", vehicle).strip("-")[:60] or "vehicle"


def network_file_system(folder: Path) -> str | None:
    """The kind of network file system `folder` lies on; None on a local one, or where it cannot be told."""
    resolved = folder.resolve()
    if str(resolved).startswith("\\\\"):
        return "Windows share"
    holding = [p for p in psutil.disk_partitions(all=True) if resolved.is_relative_to(p.mountpoint)]
    if not holding:
        return None
    nearest = max(holding, key=lambda p: len(p.mountpoint))
    if "remote" in nearest.opts.split(","):
        return nearest.fstype or "network drive"
    return nearest.fstype if nearest.fstype.lower() in NETWORK_FILE_SYSTEMS else None
