"""Links by URL, as they stand in the station file and on the command line."""

import re
from pathlib import Path
from urllib.parse import parse_qsl, unquote, urlsplit

from groundstation.clock import Clock
from groundstation.errors import GroundstationError
from groundstation.links.file import FileLink
from groundstation.links.link import Link
from groundstation.links.serial import SerialLink, SerialSettings
from groundstation.links.tcp import TcpLink
from groundstation.ports import UsbIdentity

FORMS = (
    "serial:/dev/ttyUSB0?baud=57600",
    "serial:COM3",
    "serial:usb-VID:PID or serial:usb-VID:PID:SERIAL-NUMBER (groundstation ports shows them)",
    "tcp://HOST:PORT",
    "file:PATH",
)
_USB = re.compile(r"usb-([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})(?::(.+))?")
_LEVELS = {"on": True, "off": False}


class LinkUrlError(GroundstationError, ValueError):
    """A link's URL cannot be understood; `url` is what was given."""

    def __init__(self, url: str, what: str) -> None:
        super().__init__(f"link {url!r}: {what}. Links are written as {', '.join(FORMS)}")
        self.url = url


def open_link(url: str, clock: Clock) -> Link:
    """The link a URL stands for; nothing is opened before it runs.

    Raises:
        LinkUrlError: The URL has none of the forms in `FORMS`.
    """
    scheme, colon, rest = url.partition(":")
    if colon:
        match scheme.lower():
            case "serial":
                return _serial(url, rest, clock)
            case "tcp":
                return _tcp(url, clock)
            case "file":
                return _file(url, rest, clock)
    raise LinkUrlError(url, "it begins with none of serial:, tcp:// and file:")


def _serial(url: str, rest: str, clock: Clock) -> SerialLink:
    place, _, query = rest.partition("?")
    if not place:
        raise LinkUrlError(url, "the port is missing")
    wanted: str | UsbIdentity = place
    if place.startswith("usb-"):
        match = _USB.fullmatch(place)
        if match is None:
            raise LinkUrlError(url, "after usb- come vendor and product as four hexadecimal digits each")
        wanted = UsbIdentity(int(match[1], 16), int(match[2], 16), unquote(match[3]) if match[3] else None)
    return SerialLink(wanted, clock, name=f"serial:{place}", settings=_settings(url, query))


def _settings(url: str, query: str) -> SerialSettings:
    settings = SerialSettings()
    try:
        options = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        raise LinkUrlError(url, f"{query!r} is not of the form baud=57600&dtr=off&rts=off") from None
    for key, value in options:
        match key:
            case "baud" if re.fullmatch(r"[1-9][0-9]{0,7}", value):
                settings = SerialSettings(int(value), settings.dtr, settings.rts)
            case "dtr" if value in _LEVELS:
                settings = SerialSettings(settings.baud, _LEVELS[value], settings.rts)
            case "rts" if value in _LEVELS:
                settings = SerialSettings(settings.baud, settings.dtr, _LEVELS[value])
            case "baud":
                raise LinkUrlError(url, f"baud is {value!r}, expected a whole number such as 57600")
            case "dtr" | "rts":
                raise LinkUrlError(url, f"{key} is {value!r}, expected on or off")
            case _:
                raise LinkUrlError(url, f"{key!r} is no setting of a serial port; there are baud, dtr and rts")
    return settings


def _tcp(url: str, clock: Clock) -> TcpLink:
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise LinkUrlError(url, str(error)) from None
    if not host or not port:
        raise LinkUrlError(url, "host or port is missing")
    if parts.path not in ("", "/") or parts.query or parts.fragment or parts.username:
        raise LinkUrlError(url, "there is more than host and port")
    return TcpLink(host, port, clock, name=f"tcp://{parts.netloc.lower()}")


def _file(url: str, rest: str, clock: Clock) -> FileLink:
    place = rest.removeprefix("//") if rest.startswith("///") else rest
    if not place:
        raise LinkUrlError(url, "the path is missing")
    return FileLink(Path(place), clock, name=f"file:{place}")
