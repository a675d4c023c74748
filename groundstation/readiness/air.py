"""Checks of the air in the avionics bay against the site."""

from groundstation.config.vehicle import Place
from groundstation.readiness.check import Outcome, check, judged
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

MEAN_S = 1.0
PA_PER_HPA = 100.0
ZERO_CELSIUS_K = 273.15


@check(Place.AVIONICS, limits=("pressure_error_pa",), needs=("pressure",))
def pressure_site(window: Window) -> list[Outcome]:
    """The pressure sensor shows the site's pressure.

    The mean over a second is judged: a sensor's noise of some pascals, and gusts of some tens, are small against a
    limit that has to leave room for the weather since the station file was written.
    """
    mean_hpa = window.mean("pressure", MEAN_S) / PA_PER_HPA
    if window.site.pressure_pa is None:
        raise Unknown("The station file has no site pressure, so the vehicle's cannot be judged. Enter it there.")
    site_hpa = window.site.pressure_pa / PA_PER_HPA
    error_hpa = window.limits.pressure_error_pa / PA_PER_HPA
    limit = Limit(site_hpa - error_hpa, site_hpa + error_hpa)

    def good(value: float, decimals: int) -> str:
        return f"The pressure is {number(value, decimals)} hPa, {allowed(limit, 1, 'hPa')} at this site."

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look at the site's pressure in the station file (at the pad, not reduced to "
            "sea level), then at the sensor and the bay's vent holes."
        )

    return [judged(mean_hpa, limit, unit="hPa", decimals=1, good=good, bad=bad)]


@check(Place.AVIONICS, limits=("temperature_min_k", "temperature_max_k"), needs=("temperature",))
def temperature_range(window: Window) -> list[Outcome]:
    """The avionics bay is neither too cold nor too hot; its temperature moves far too slowly to flicker."""
    celsius = window.need("temperature") - ZERO_CELSIUS_K
    most = window.limits.temperature_max_k - ZERO_CELSIUS_K
    limit = Limit(window.limits.temperature_min_k - ZERO_CELSIUS_K, most)

    def good(value: float, decimals: int) -> str:
        return f"The avionics bay is at {number(value, decimals)} °C, {allowed(limit, 0, '°C')}."

    def bad(value: float, decimals: int) -> str:
        hot = "Look at the sun on the vehicle: shade it and air the bay."
        cold = "Look at how long it has stood in the cold: warm the vehicle and its pack."
        return f"{good(value, decimals)} {hot if celsius > most else cold}"

    return [judged(celsius, limit, unit="°C", decimals=1, good=good, bad=bad)]
