"""The check of the pull-pin: its contact, the board's power and the pyro supply must tell one story."""

from groundstation.config.vehicle import Place, PullPin, Vehicle
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import number

# The pyro supply is live from this share of the least pack voltage allowed, and dead below this voltage; in between
# it is neither. Common practice, no source.
LIVE_SHARE = 0.8
DEAD_V = 1.0


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    pin = vehicle.pull_pin
    if pin is None:
        return []
    return [("pull_pin",), *([("pyro_supply_voltage",)] if pin.enables_pyro else [])]


@check(Place.AVIONICS, limits=("cell_voltage_min_v",), needs=_needs)
def pull_pin(window: Window) -> list[Outcome]:
    """The pull-pin is out, and the board's power and the pyro supply agree with what its contact reads.

    Telemetry that arrives proves the board has power; where the pin switches that, a contact that reads "inserted"
    contradicts it. A vehicle without a pull-pin has no such finding.
    """
    pin = window.vehicle.pull_pin
    if pin is None:
        return []
    level = window.need("pull_pin")
    if level not in (0.0, 1.0):
        raise Unknown(
            f"The pull-pin's contact reads {number(level, 0)}, 0 or 1 expected. Look at the packet's layout."
        )
    supply_v = window.need("pyro_supply_voltage") if pin.enables_pyro else None
    if level == pin.inserted_reads:
        return [Outcome(Status.FAIL, _inserted(pin, supply_v), level)]
    return [_pulled(window, level, supply_v)]


def _inserted(pin: PullPin, supply_v: float | None) -> str:
    reads = f"The pull-pin reads inserted ({pin.inserted_reads})"
    live = supply_v is not None and supply_v >= DEAD_V
    volts = "" if supply_v is None else f"{number(supply_v, 1)} V"
    contact = "wired the wrong way round, or inserted_reads in the vehicle file is wrong"
    if pin.powers_board and live:
        return (
            f"{reads} but the board is powered and the pyro supply is live at {volts}: stay clear. "
            f"Look at the pin's contact: it is likely {contact}."
        )
    if pin.powers_board:
        return (
            f"{reads} but the board is powered and sends. Look at the pin's switch and contact: the switch is likely "
            f"bypassed, or the contact is {contact}."
        )
    if live:
        return (
            f"{reads} but the pyro supply is live at {volts}: stay clear. "
            "Look at the pin's pyro switch: it is likely bypassed or wired the wrong way round."
        )
    return f"{reads}. Look at the pin: it is still to be pulled."


def _pulled(window: Window, level: float, supply_v: float | None) -> Outcome:
    if supply_v is None:
        return Outcome(Status.PASS, "The pull-pin is out.", level)
    live_v = LIVE_SHARE * window.limits.cell_voltage_min_v * window.vehicle.battery.cells
    limit = Limit(live_v)
    rounded = round(supply_v, 1)
    seen = f"the pyro supply has {number(supply_v, 1)} V"
    if supply_v >= live_v:
        return Outcome(Status.PASS, f"The pull-pin is out and {seen}.", rounded, "V", limit)
    return Outcome(
        Status.FAIL,
        f"The pull-pin reads pulled but {seen}, at least {number(live_v, 1)} V allowed. "
        "Look at the pin's pyro switch and the pyro supply's fuse and leads.",
        rounded,
        "V",
        limit,
    )
