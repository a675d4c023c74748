"""The example vehicle and site, as the simulator is given them."""

import pytest

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle


@pytest.fixture(scope="session")
def vehicle() -> Vehicle:
    return load_vehicle(EXAMPLE_VEHICLE)


@pytest.fixture(scope="session")
def site() -> Site:
    return load_station(EXAMPLE_STATION).site


@pytest.fixture(scope="session")
def calm_site(site: Site) -> Site:
    return site.model_copy(update={"wind_mps": 0.0})
