"""Checks of the regulated supplies and of the pack's temperature."""

from groundstation.config.vehicle import Place, Vehicle
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Window
from groundstation.readiness.words import allowed, number

DIP_WINDOW_S = 60.0
ZERO_CELSIUS_K = 273.15
_BOARD = (Figure("band", "[supplies] board", "vehicle file"),)
_SERVO = (Figure("band", "[supplies] servo", "vehicle file"),)


def _board_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("board_voltage",)] if vehicle.supplies.board_v is not None else []


def _servo_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("servo_voltage",)] if vehicle.supplies.servo_v is not None else []


@check(Place.AVIONICS, needs=_board_needs, figures=_BOARD, every_s=1.0)
def board_supply(window: Window) -> list[Outcome]:
    """The flight computer's supply has stayed within the vehicle file's band for the last minute: no brown-out."""
    band = window.vehicle.supplies.board_v
    if band is None:
        return []
    look = "Look at the regulator and at what was switched on then; a camera on the same supply pulls it down."
    return [_steady(window, "board_voltage", "flight computer's supply", band, look)]


@check(Place.GIMBAL, needs=_servo_needs, figures=_SERVO, every_s=1.0)
def servo_supply(window: Window) -> list[Outcome]:
    """The servos' supply has stayed within the vehicle file's band for the last minute."""
    band = window.vehicle.supplies.servo_v
    if band is None:
        return []
    look = "Look at the servos' regulator and leads, and whether a servo is stalled."
    return [_steady(window, "servo_voltage", "servos' supply", band, look)]


def _steady(window: Window, name: str, what: str, band: tuple[float, float], look: str) -> Outcome:
    """Judges the value of the last minute that lies farthest from the band's middle."""
    _, rows = window.together((name,), DIP_WINDOW_S)
    middle = sum(band) / 2.0
    worst = max(float(rows[0].min()), float(rows[0].max()), key=lambda v: abs(v - middle))
    limit = Limit(*band)

    def good(_value: float, _decimals: int) -> str:
        return f"The {what} stayed within {allowed(limit, 2, 'V')} for the last minute."

    def bad(value: float, decimals: int) -> str:
        went = "fell" if worst < middle else "rose"
        return f"The {what} {went} to {number(value, decimals)} V, {allowed(limit, 2, 'V')}. {look}"

    return judged(worst, limit, unit="V", decimals=2, good=good, bad=bad)


@check(Place.BATTERY, limits=("pack_temperature_min_k", "pack_temperature_max_k"), every_s=2.0)
def pack_temperature(window: Window) -> list[Outcome]:
    """The pack is neither too cold, when it sags, nor too hot; a vehicle that does not measure it has no finding."""
    name = "battery_temperature"
    if not window.in_layout(name) and name not in window.vehicle.pad.must_come:
        return []
    celsius = window.need(name) - ZERO_CELSIUS_K
    most = window.limits.pack_temperature_max_k - ZERO_CELSIUS_K
    limit = Limit(window.limits.pack_temperature_min_k - ZERO_CELSIUS_K, most)

    def good(value: float, decimals: int) -> str:
        return f"The pack is at {number(value, decimals)} °C, {allowed(limit, 0, '°C')}."

    def bad(value: float, decimals: int) -> str:
        hot = "Look at the pack now: shade it; one that is warm without a load is failing."
        cold = "Look at the pack: keep it in a pocket until the last moment; a cold one sags."
        return f"{good(value, decimals)} {hot if celsius > most else cold}"

    return [judged(celsius, limit, unit="°C", decimals=1, good=good, bad=bad)]
