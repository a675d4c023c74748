"""Checks of the air in the avionics bay against the site."""

import numpy as np

from groundstation.config.vehicle import Place
from groundstation.estimation.atmosphere import PadAir, standard_air
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

MEAN_S = 1.0
STILL_WINDOW_S = 10.0
LEAST_VALUES = 6
MEANT_VALUES = 4
PARTS = 5  # of the window, each with a mean of its own
PA_PER_HPA = 100.0
ZERO_CELSIUS_K = 273.15
_SITE = (Figure("pressure at the site", "[site] pressure", "station file"),)


@check(Place.AVIONICS, limits=("pressure_error_pa",), needs=("pressure",), figures=_SITE, every_s=1.0)
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


@check(Place.AVIONICS, limits=("temperature_min_k", "temperature_max_k"), needs=("temperature",), every_s=1.0)
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


@check(Place.AVIONICS, limits=("height_still_m",), needs=("pressure",), every_s=4.0)
def pressure_still(window: Window) -> list[Outcome]:
    """The pressure height stands still: means over two seconds stray little within ten.

    Noise of some pascals and gusts over the vents of some tens move such a mean by a metre; a leaking port, a hatch
    that is opened or a sensor that drifts moves it further.

    Source:
        Height by the barometric formula of the U.S. Standard Atmosphere, 1976.
    """
    t_s, (pressure_pa,) = window.together(("pressure",), STILL_WINDOW_S)
    if t_s.size < LEAST_VALUES:
        raise Unknown(
            "Too few pressures have come to judge whether they stand still. Look at the radio link.", stale=True
        )
    means = [float(part.mean()) for part in np.array_split(pressure_pa, PARTS)]
    air = PadAir(sum(means) / PARTS, standard_air(0.0).temperature_k)
    moved_m = air.height_m(min(means)) - air.height_m(max(means))
    limit = Limit(None, window.limits.height_still_m)

    def good(value: float, decimals: int) -> str:
        return f"The pressure height moved by {number(value, decimals)} m in 10 s, {allowed(limit, 1, 'm')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look at the bay's hatch and vent holes, wind across them, and the sun on the "
            "sensor; nothing may blow into the bay."
        )

    return [judged(moved_m, limit, unit="m", decimals=1, good=good, bad=bad)]


@check(Place.AVIONICS, limits=("temperature_rate_kps",), needs=("temperature",), every_s=5.0)
def temperature_steady(window: Window) -> list[Outcome]:
    """No temperature that is sent jumps: those of bay and pack move far slower than the limit."""
    limit = Limit(None, window.limits.temperature_rate_kps)
    fastest, which = 0.0, "avionics bay"
    for name, what in (("temperature", "avionics bay"), ("battery_temperature", "pack")):
        if name == "temperature" or window.in_layout(name):
            t_s, (kelvins,) = window.together((name,), STILL_WINDOW_S)
            half = (t_s.size + 1) // 2
            moved = abs(float(kelvins[half:].mean() - kelvins[:half].mean())) if t_s.size >= MEANT_VALUES else 0.0
            if moved / (STILL_WINDOW_S / 2.0) > fastest:
                fastest, which = moved / (STILL_WINDOW_S / 2.0), what

    def good(value: float, decimals: int) -> str:
        return f"The {which}'s temperature moves by {number(value, decimals)} K/s, {allowed(limit, 1, 'K/s')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look at the thermometer's leads; if they are good, at what heats the {which}."
        )

    return [judged(fastest, limit, unit="K/s", decimals=1, good=good, bad=bad)]
