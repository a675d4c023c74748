"""What is wrong with a serial port, as a sentence that says what to do. Pure: what was met and seen comes in."""

import errno
import sys
from collections.abc import Sequence

from groundstation.ports import Port

_BUSY = {errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY}
_ABSENT = {errno.ENOENT, errno.ENXIO, errno.ENODEV}


def cannot_open(
    device: str,
    error: Exception,
    *,
    group: str | None,
    ports: Sequence[Port],
    platform: str = sys.platform,
) -> str:
    """Why `device` could not be opened.

    Args:
        device: The port's name.
        error: What opening it raised.
        group: The group that owns the device, where the system has such a thing.
        ports: The ports that exist.
        platform: As `sys.platform` names it.
    """
    number = getattr(error, "errno", None)
    text = str(error)
    if platform == "win32":
        # pyserial gives the number only inside its text there
        if "PermissionError" in text or "Access is denied" in text:
            return (
                f"{device} is in use: another program, or a previous run, still holds this port; "
                "close it, or unplug the receiver for a few seconds"
            )
        if "FileNotFoundError" in text:
            return absent(device, ports)
    if number in (errno.EACCES, errno.EPERM):
        return _no_permission(device, group)
    if number in _BUSY:
        return f"{device} is in use by another program; close that program"
    if number in _ABSENT:
        return absent(device, ports)
    if number == errno.EISDIR or "Could not configure port" in text:
        return f"{device} is not a serial port; {_existing(ports)}"
    if number == errno.EIO:
        return f"{device} does not answer: unplug the receiver for a few seconds"
    return f"{device} cannot be opened: {text}"


def absent(device: str, ports: Sequence[Port]) -> str:
    """There is no such port."""
    return f"{device} is not there: is the receiver plugged in? {_existing(ports)}"


def several_alike(wanted: str, ports: Sequence[Port]) -> str:
    """More than one port fits what was asked for."""
    return f"{wanted} fits several ports, name one of them: " + ", ".join(f"serial:{port.device}" for port in ports)


def lost(device: str, error: Exception, *, still_there: bool) -> str:
    """Why reading stopped."""
    if not still_there:
        return f"{device} was unplugged, or its connection failed; waiting for it to come back"
    if "returned no data" in str(error):
        return (
            f"{device} stopped answering: another program may be reading this port too, or the receiver is being "
            "unplugged; opening it again"
        )
    return f"{device} could not be read ({error}); opening it again"


def _no_permission(device: str, group: str | None) -> str:
    if group is None:
        return f"no permission to open {device}: allow your user to use it"
    if group == "root":
        return (
            f"no permission to open {device}: it belongs to the group root. Give serial ports a group of their own "
            'by a udev rule, such as SUBSYSTEM=="tty", GROUP="dialout", and join that group'
        )
    return (
        f"no permission to open {device}: it belongs to the group {group}. Join it "
        f"(sudo usermod -aG {group} YOUR-USER-NAME), then log out and in again"
    )


def _existing(ports: Sequence[Port]) -> str:
    if not ports:
        return "there is no serial port on this computer now"
    return "serial ports here: " + ", ".join(f"{port.device} ({port.text})" for port in ports)
