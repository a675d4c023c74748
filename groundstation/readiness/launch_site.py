"""Checks of the launch site and the motor against published codes. They apply where adopted; local rules decide."""

import math

from groundstation.config.vehicle import Place
from groundstation.estimation.gravity import STANDARD_MPS2
from groundstation.estimation.propulsion import impulse_letter
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.codes import least_distance
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

SLOW_S = 5.0
_LOCAL = "local rules decide"
_WIND = (Figure("mean wind", "[site] wind", "station file"),)
_ROD = (Figure("the rod's tilt", "[site] rod_tilt", "station file"),)
_DISTANCE = (
    Figure("to class D / larger models", "4.6 m / 9.1 m (15 ft / 30 ft)", "model rocket safety code (NAR, 2018)"),
    Figure("H to J / K / L", "30 m / 61 m / 91 m (100, 200, 300 ft)", "high power rocket safety code (NAR, 2012)"),
    Figure("M / N / O", "152 m / 305 m / 457 m (500, 1000, 1500 ft)", "high power rocket safety code (NAR, 2012)"),
    Figure("where people stand", "[site] people_distance", "station file"),
)


@check(Place.RANGE, limits=("wind_mps",), figures=_WIND, every_s=SLOW_S)
def wind(window: Window) -> list[Outcome]:
    """The wind in the station file is within the limit."""
    wind_mps = window.site.wind_mps
    if wind_mps is None:
        raise Unknown("The station file has no wind, so it cannot be judged. Enter it there.")
    limit = Limit(None, window.limits.wind_mps)

    def good(value: float, decimals: int) -> str:
        return f"The wind is {number(value, decimals)} m/s, {allowed(limit, 1, 'm/s')}; {_LOCAL}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look at the wind meter again and wait; enter the new wind in the station file."
        )

    return [judged(wind_mps, limit, unit="m/s", decimals=1, good=good, bad=bad)]


@check(Place.RANGE, limits=("rod_tilt_rad",), figures=_ROD, every_s=SLOW_S)
def rod_tilt(window: Window) -> list[Outcome]:
    """The launch rod's tilt, where the station file gives it, is within the limit."""
    if window.site.rod_tilt_rad is None:
        return []
    limit = Limit(None, math.degrees(window.limits.rod_tilt_rad))

    def good(value: float, decimals: int) -> str:
        return f"The launch rod leans {number(value, decimals)} deg, {allowed(limit, 0, 'deg')}; {_LOCAL}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the rod and its base: bring it nearer to vertical."

    return [judged(math.degrees(window.site.rod_tilt_rad), limit, unit="deg", decimals=0, good=good, bad=bad)]


@check(Place.RANGE, figures=_DISTANCE, every_s=SLOW_S)
def people_distance(window: Window) -> list[Outcome]:
    """People stand at least as far from the pad as the published table asks for the motor's impulse.

    Where the station file does not say how far they stand the table's figure is told, and judged by those present.
    """
    motor, frame = window.vehicle.motor, window.vehicle.airframe
    impulse_ns = motor.impulse_ns
    thrust_n = impulse_ns / motor.burn_s
    asked = least_distance(impulse_ns, thrust_n, frame.liftoff_mass_kg, motor.propellant_mass_kg)
    letter = impulse_letter(impulse_ns)
    if asked is None:
        raise Unknown(
            f"No published distance covers this motor (class {letter}). Look at what the local rules ask for."
        )
    limit = Limit(asked.metres)
    rule = f"at least {number(asked.metres, 0)} m for class {letter} by the {asked.code}"
    stand_m = window.site.people_distance_m
    if stand_m is None:
        text = f"People are to stand {rule}; the station file does not say how far they do; {_LOCAL}."
        return [Outcome(Status.PASS, text, None, "m", limit)]

    def good(value: float, decimals: int) -> str:
        return f"People stand {number(value, decimals)} m from the pad, {rule}; {_LOCAL}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at who stands nearest: have them move back."

    return [judged(stand_m, limit, unit="m", decimals=0, good=good, bad=bad)]


@check(Place.MOTOR, limits=("thrust_to_weight",), every_s=SLOW_S)
def thrust_to_weight(window: Window) -> list[Outcome]:
    """The motor's average thrust is enough times the vehicle's liftoff weight, by the vehicle file."""
    motor = window.vehicle.motor
    ratio = motor.impulse_ns / motor.burn_s / (window.vehicle.airframe.liftoff_mass_kg * STANDARD_MPS2)
    limit = Limit(window.limits.thrust_to_weight)

    def good(value: float, decimals: int) -> str:
        return f"The average thrust is {number(value, decimals)} times the weight, {allowed(limit, 1, '')}; {_LOCAL}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the motor and the liftoff mass in the vehicle file."

    return [judged(ratio, limit, unit="", decimals=1, good=good, bad=bad)]
