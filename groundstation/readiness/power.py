"""Checks of the supply."""

from groundstation.config.vehicle import Place
from groundstation.readiness.check import Outcome, check, judged
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Window
from groundstation.readiness.words import allowed, number


@check(Place.BATTERY, limits=("cell_voltage_min_v", "cell_voltage_max_v"), needs=("battery_voltage",))
def battery_voltage(window: Window) -> list[Outcome]:
    """The pack has enough volts per cell for the flight, and no more than a full cell can have.

    The newest value is judged. Supply noise is some millivolts a cell; a pack within a few millivolts of the limit
    is one to change, whichever side of it the next packet lies.
    """
    cells = window.vehicle.battery.cells
    cell_v = window.need("battery_voltage") / cells
    limit = Limit(window.limits.cell_voltage_min_v, window.limits.cell_voltage_max_v)

    def good(value: float, decimals: int) -> str:
        return f"The pack has {number(value, decimals)} V per cell, {allowed(limit, 2, 'V')}."

    def bad(value: float, decimals: int) -> str:
        if value > window.limits.cell_voltage_max_v:
            look = f"Look at the number of cells in the vehicle file ({cells}) and the voltage divider."
        else:
            look = "Look at the pack: charge or change it."
        return f"{good(value, decimals)} {look}"

    return [judged(cell_v, limit, unit="V per cell", decimals=2, good=good, bad=bad)]
