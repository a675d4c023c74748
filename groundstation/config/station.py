"""The station file: where the station stands, what it listens to, where it records."""

from pydantic import Field

from groundstation.config.filetable import FileTable
from groundstation.config.quantities import Kelvins, Metres, MetresPerSecond, Pascals, Radians


class Site(FileTable):
    """The pad's place and air. What is not known is left out, and the checks that need it say so."""

    name: str = ""
    latitude_rad: Radians | None = Field(alias="latitude", default=None)
    longitude_rad: Radians | None = Field(alias="longitude", default=None)
    elevation_m: Metres | None = Field(alias="elevation", default=None, description="above mean sea level")
    pressure_pa: Pascals | None = Field(
        alias="pressure", default=None, description="at the pad, not reduced to sea level"
    )
    temperature_k: Kelvins | None = Field(alias="temperature", default=None)
    wind_mps: MetresPerSecond | None = Field(alias="wind", default=None)
    wind_from_rad: Radians | None = Field(alias="wind_from", default=None)


class Recording(FileTable):
    """Where sessions are recorded."""

    folder: str = "."
    fallback_folder: str | None = None


class Mqtt(FileTable):
    """The broker measurements go to, if any."""

    broker: str | None = None


class Pages(FileTable):
    """Where the pages are served."""

    host: str = "127.0.0.1"
    port: int = Field(default=8050, ge=0, le=65535)
    trusted_hosts: tuple[str, ...] = ()


class Station(FileTable):
    """Everything the station file says."""

    links: tuple[str, ...] = Field(default=(), description="such as serial:/dev/ttyUSB0?baud=57600, tcp://host:port")
    site: Site = Site()
    recording: Recording = Recording()
    mqtt: Mqtt = Mqtt()
    pages: Pages = Pages()
