"""A receiver on a serial port: read only, and found again under whatever name it comes back.

Opening a port clears what the system had buffered, so the first bytes may be the middle of a frame. DTR and RTS are
released before opening, since many boards wire them to reset; on some systems a short pulse remains.
"""

import os
import threading
from dataclasses import dataclass

import serial
from serial.tools.list_ports import comports

from groundstation.clock import Clock
from groundstation.links import serial_faults
from groundstation.links.link import MAX_READ, Deliver, Report
from groundstation.links.reopening import LinkLostError, read_for_ever
from groundstation.ports import Listing, Port, UsbIdentity, candidate_ports, matching, prefer_callout

READ_TIMEOUT_S = 0.1
DEFAULT_BAUD = 57_600  # common practice of telemetry radios, no source


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """How a port is opened. `dtr` and `rts` are the levels these lines are set to."""

    baud: int = DEFAULT_BAUD
    dtr: bool = False
    rts: bool = False


class SerialLink:
    """Reads one serial port, given by its path or by its USB identity. See `groundstation.links.link.Link`."""

    def __init__(
        self,
        wanted: str | UsbIdentity,
        clock: Clock,
        *,
        name: str,
        settings: SerialSettings | None = None,
        listing: Listing = comports,
    ) -> None:
        self.name = name
        self._clock = clock
        self._source = _SerialSource(wanted, settings or SerialSettings(), listing)

    def run(self, deliver: Deliver, report: Report, stop: threading.Event) -> None:
        """Read until `stop` is set."""
        read_for_ever(self._source, self._clock, deliver, report, stop)


class _SerialSource:
    def __init__(self, wanted: str | UsbIdentity, settings: SerialSettings, listing: Listing) -> None:
        self._path = prefer_callout(wanted) if isinstance(wanted, str) else ""
        self._usb = wanted if isinstance(wanted, UsbIdentity) else None
        self._neighbours: frozenset[UsbIdentity] = frozenset()  # the other devices there when it was last opened
        self._settings = settings
        self._listing = listing
        self._port: serial.Serial | None = None
        self._device = ""

    @property
    def state(self) -> str:
        return f"reading {self._device} at {self._settings.baud} baud"

    def open(self) -> None:
        ports = candidate_ports(self._listing)
        device = self._find(ports)
        port = serial.Serial()  # built closed: the lines must be set before it opens
        port.port = device
        port.baudrate = self._settings.baud
        port.timeout = READ_TIMEOUT_S
        port.exclusive = True
        port.dtr = self._settings.dtr
        port.rts = self._settings.rts
        try:
            port.open()
        except Exception as error:
            group = _owning_group(device)
            raise LinkLostError(serial_faults.cannot_open(device, error, group=group, ports=ports)) from error
        self._port, self._device = port, device
        self._remember(device, ports)

    def read(self) -> bytes:
        if self._port is None:
            raise LinkLostError(f"{self._device or self._path} is not open")
        try:
            data: bytes = self._port.read(min(MAX_READ, max(1, self._port.in_waiting)))
            if len(data) == 1 and (waiting := self._port.in_waiting):
                data += self._port.read(min(MAX_READ, waiting))
        except Exception as error:  # unplugging raises SerialException, OSError, termios.error or TypeError
            still_there = os.path.exists(self._device) or any(
                p.device == self._device for p in candidate_ports(self._listing)
            )
            raise LinkLostError(serial_faults.lost(self._device, error, still_there=still_there)) from error
        return data

    def close(self) -> None:
        port, self._port = self._port, None
        if port is not None:
            try:
                port.close()
            except Exception:  # a vanished device may refuse even this; there is nothing left to close
                return

    def _find(self, ports: list[Port]) -> str:
        usb = self._usb
        if usb is not None:
            fitting = [p for p in matching(usb, ports) if p.usb not in self._neighbours]
            if self._path and len(fitting) > 1:
                fitting = [p for p in fitting if _same_device(p.device, self._path)] or fitting
            if len(fitting) == 1:
                return fitting[0].device
            if fitting:
                raise LinkLostError(serial_faults.several_alike(usb.text(), fitting))
            raise LinkLostError(self._not_there(usb, ports))
        return self._path

    def _not_there(self, usb: UsbIdentity, ports: list[Port]) -> str:
        # The system may have given the name that our device had to another one.
        stranger = next((p for p in ports if self._path and _same_device(p.device, self._path)), None)
        if stranger is None:
            return serial_faults.absent(usb.text(), ports)
        return (
            f"{self._path} is now another device ({stranger.text}); waiting for {usb.text()} to come back. "
            f"To use the new one, start again with {stranger.url}"
        )

    def _remember(self, device: str, ports: list[Port]) -> None:
        own = next((p.usb for p in ports if _same_device(p.device, device)), None)
        if own is not None and self._path:
            self._usb = own
            self._neighbours = frozenset(p.usb for p in ports if p.usb is not None and p.usb != own)


def _same_device(one: str, other: str) -> bool:
    return os.path.realpath(one) == os.path.realpath(other)


def _owning_group(device: str) -> str | None:
    try:
        import grp

        return grp.getgrgid(os.stat(device).st_gid).gr_name
    except (ImportError, OSError, KeyError):
        return None
