"""The station file: where the station stands, what it listens to, where it records."""

import math
from collections.abc import Iterator

from pydantic import Field

from groundstation.config.count_plan import CountPlan
from groundstation.config.filetable import Count, FileTable, Found
from groundstation.config.quantities import Kelvins, Metres, MetresPerSecond, Pascals, Radians
from groundstation.estimation.atmosphere import geopotential_m, standard_air

LEAST_ELEVATION_M = -450.0  # the lowest dry land, at the Dead Sea, lies near -430 m (from memory)
GREATEST_ELEVATION_M = 6000.0  # higher than any place people live at, 5100 m (from memory)
PRESSURE_MARGIN_PA = 6000.0
"""How far weather may take the pressure from the standard atmosphere: more than any storm (common practice, no
source), less than reducing it to sea level does from some 500 m of elevation on."""


class Site(FileTable):
    """The pad's place and air. What is not known is left out, and the checks that need it say so."""

    name: str = Field(default="", description="what pages and reports call the site")
    latitude_rad: Radians | None = Field(alias="latitude", default=None, description="WGS 84, north positive")
    longitude_rad: Radians | None = Field(alias="longitude", default=None, description="WGS 84, east positive")
    elevation_m: Metres | None = Field(alias="elevation", default=None, description="above mean sea level")
    pressure_pa: Pascals | None = Field(
        alias="pressure", default=None, gt=0, description="at the pad, not reduced to sea level"
    )
    temperature_k: Kelvins | None = Field(
        alias="temperature", default=None, gt=0, description="of the air at the pad"
    )
    wind_mps: MetresPerSecond | None = Field(
        alias="wind", default=None, ge=0, description="mean speed near the ground"
    )
    wind_from_rad: Radians | None = Field(
        alias="wind_from", default=None, description="where the wind comes from, clockwise from true north"
    )

    people_distance_m: Metres | None = Field(
        alias="people_distance",
        default=None,
        gt=0,
        description="from the pad to whoever stands nearest",
    )
    rod_tilt_rad: Radians | None = Field(
        alias="rod_tilt", default=None, ge=0, description="of the launch rod or rail from vertical, as measured there"
    )

    def faults(self) -> Iterator[Found]:
        """A place that is not on the globe, and a pressure that is not the pad's."""
        for key, angle_rad, limit in (
            ("latitude", self.latitude_rad, 90),
            ("longitude", self.longitude_rad, 180),
            ("wind_from", self.wind_from_rad, 360),
        ):
            if angle_rad is not None and abs(angle_rad) > math.radians(limit) * (1 + 1e-12):
                yield Found((key,), f"found {math.degrees(angle_rad):.9g} deg, expected -{limit} deg to {limit} deg")
        if self.elevation_m is None:
            return
        if not LEAST_ELEVATION_M <= self.elevation_m <= GREATEST_ELEVATION_M:
            expected = f"{LEAST_ELEVATION_M:g} m to {GREATEST_ELEVATION_M:g} m above mean sea level"
            yield Found(("elevation",), f"found {self.elevation_m:g} m, expected {expected}")
            return
        if self.pressure_pa is None:
            return
        standard_pa = standard_air(geopotential_m(self.elevation_m)).pressure_pa
        if abs(self.pressure_pa - standard_pa) > PRESSURE_MARGIN_PA:
            text = (
                f"found {self.pressure_pa / 100:.1f} hPa, expected within {PRESSURE_MARGIN_PA / 100:.0f} hPa of "
                f"{standard_pa / 100:.1f} hPa, the standard atmosphere's at {self.elevation_m:g} m: "
                "at the pad, not reduced to sea level"
            )
            yield Found(("pressure",), text)


class Recording(FileTable):
    """Where sessions are recorded."""

    folder: str = Field(
        default=".", description="where recordings go; a relative one counts from where the command runs"
    )
    fallback_folder: str | None = Field(default=None, description="where they go if that folder cannot be written")
    proofs_folder: str | None = Field(
        default=None, description="where the file of bench proofs lies; beside the recordings if absent"
    )


class Mqtt(FileTable):
    """The broker measurements go to, if any."""

    broker: str | None = Field(
        default=None, description="such as mqtt://192.168.1.20/pad; none is published to if absent"
    )


class Pages(FileTable):
    """Where the pages are served."""

    host: str = Field(default="127.0.0.1", description="address to listen at; the default is this machine alone")
    port: Count = Field(default=8050, ge=0, le=65535, description="0 takes any free one")
    trusted_hosts: tuple[str, ...] = Field(default=(), description="names by which other machines may ask for pages")


class Station(FileTable):
    """Everything the station file says."""

    links: tuple[str, ...] = Field(default=(), description="such as serial:/dev/ttyUSB0?baud=57600, tcp://host:port")
    site: Site = Field(default_factory=Site)
    count: CountPlan | None = Field(
        default=None, description="the T-minus count as it is kept at this site, instead of the vehicle file's"
    )
    recording: Recording = Recording()
    mqtt: Mqtt = Mqtt()
    pages: Pages = Pages()
