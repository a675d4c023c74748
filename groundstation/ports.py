"""Serial ports of this computer: what they are, and a URL for each that still fits when it is plugged in again."""

import glob
import os
import re
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from urllib.parse import quote

from serial.tools.list_ports import comports
from serial.tools.list_ports_common import ListPortInfo

SCAN_TRIES = 3
_PAUSE_BETWEEN_SCANS_S = 0.05


@dataclass(frozen=True, slots=True)
class UsbIdentity:
    """What tells one USB device from another, whatever name the system gives it. None: the device does not say."""

    vid: int
    pid: int
    serial_number: str | None = None
    location: str | None = None  # the socket it is plugged into

    def text(self) -> str:
        """Such as USB 10C4:EA60, serial number 0001."""
        number = f", serial number {self.serial_number}" if self.serial_number else ""
        return f"USB {self.vid:04X}:{self.pid:04X}{number}"


@dataclass(frozen=True, slots=True)
class Port:
    """One serial port. `url` opens it, and opens it again under whatever name it comes back."""

    device: str
    text: str
    url: str
    likely: bool  # whether a receiver is likely to be behind it
    usb: UsbIdentity | None = None


Listing = Callable[[], Iterable[ListPortInfo]]  # some systems leave most of its fields None


def candidate_ports(listing: Listing = comports) -> list[Port]:
    """Every serial port there is, those likely to be a receiver first. Never raises, even while one is unplugged."""
    found = [info for info in _scan(listing) if isinstance(info.device, str) and not _hidden(info.device)]
    identities = [_identity(info) for info in found]
    ports = []
    for info, usb in zip(found, identities, strict=True):
        device = prefer_callout(info.device)
        ports.append(Port(device, _what_it_is(info, usb), _stable_url(device, usb, identities), usb is not None, usb))
    return sorted(set(ports), key=lambda port: (not port.likely, port.device))


def matching(wanted: UsbIdentity, ports: Iterable[Port]) -> list[Port]:
    """The ports that may be the wanted device: by its serial number; where several have it, by the socket."""
    alike = [
        p
        for p in ports
        if p.usb is not None
        and (p.usb.vid, p.usb.pid) == (wanted.vid, wanted.pid)
        and (wanted.serial_number is None or p.usb.serial_number == wanted.serial_number)
    ]
    here = [p for p in alike if p.usb is not None and wanted.location and p.usb.location == wanted.location]
    return here or alike


def prefer_callout(
    device: str, *, platform: str = sys.platform, exists: Callable[[str], bool] = os.path.exists
) -> str:
    """On macOS the cu. name of a port: opening its tty. name may wait for a carrier that never comes."""
    callout = re.sub(r"^/dev/tty\.", "/dev/cu.", device)
    return callout if platform == "darwin" and exists(callout) else device


def _scan(listing: Listing) -> list[ListPortInfo]:
    for _ in range(SCAN_TRIES):
        try:
            return list(listing())
        except Exception:  # pyserial raises what it meets, such as TypeError, when a device goes during the scan
            time.sleep(_PAUSE_BETWEEN_SCANS_S)
    return []


def _hidden(device: str) -> bool:
    # Pseudo-terminals are no hardware; macOS lists a port for incoming Bluetooth on every computer.
    return device.startswith(("/dev/pts/", "/dev/pty")) or "Bluetooth-Incoming" in device


def _identity(info: ListPortInfo) -> UsbIdentity | None:
    if info.vid is None or info.pid is None:
        return None
    return UsbIdentity(info.vid, info.pid, info.serial_number or None, info.location or None)


def _what_it_is(info: ListPortInfo, usb: UsbIdentity | None) -> str:
    said = [text for text in (info.manufacturer, info.product or info.description) if text and text != "n/a"]
    if usb is None:
        return ", ".join([*said, "not a USB device"])
    return ", ".join([*said, usb.text()])


def _stable_url(device: str, usb: UsbIdentity | None, all_usb: list[UsbIdentity | None]) -> str:
    if usb is not None:
        kind = (usb.vid, usb.pid)
        same_kind = [u for u in all_usb if u is not None and (u.vid, u.pid) == kind]
        if usb.serial_number and sum(u.serial_number == usb.serial_number for u in same_kind) == 1:
            return f"serial:usb-{usb.vid:04X}:{usb.pid:04X}:{quote(usb.serial_number, safe='')}"
        if len(same_kind) == 1:
            return f"serial:usb-{usb.vid:04X}:{usb.pid:04X}"
        # Several alike, as with cheap adapters that all carry one serial number: only the socket tells them apart.
        for link in sorted(glob.glob("/dev/serial/by-path/*")):
            if os.path.realpath(link) == os.path.realpath(device):
                return f"serial:{link}"
    return f"serial:{device}"
