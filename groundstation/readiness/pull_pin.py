"""The check of the pull-pin: its contact, the board's power and the pyro supply must tell one story.

What the three say together is a row of `TRUTH`. Telemetry that arrives proves that the board has power, so "board on"
stands for every row; what a pin should do to the board and the pyro supply is the vehicle file's to say.
"""

from enum import StrEnum

from groundstation.config.vehicle import PRACTICE, Place, PullPin, Vehicle
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.departures import departures
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import number, times

# The pyro supply is live from this share of the least pack voltage allowed, and dead below this voltage; in between
# it is neither. Common practice, no source.
LIVE_SHARE = 0.8
DEAD_V = 1.0
_FIGURES = (
    Figure(
        "pyro supply counts as live from", f"{LIVE_SHARE:.0%} of the least pack voltage".replace("%", " %"), PRACTICE
    ),
    Figure("pyro supply counts as dead below", f"{DEAD_V:g} V", PRACTICE),
)


class Contact(StrEnum):
    """What the pin's contact reads."""

    IN = "in"
    OUT = "out"


class Supply(StrEnum):
    """The pyro supply; none where the pin does not switch it."""

    DEAD = "dead"
    WEAK = "weak"
    LIVE = "live"
    NONE = "none"


_REVERSED = "wired the wrong way round, or inserted_reads in the vehicle file is wrong"
_PULL_IT = "Look at the pin: it is still to be pulled."

# (contact, whether the pin switches the board, pyro supply): what is wrong and where to look; None where all is well.
# {reads}: the level; {volts}: the supply's; {live}: what is live.
TRUTH: dict[tuple[Contact, bool, Supply], str | None] = {
    (Contact.OUT, True, Supply.LIVE): None,
    (Contact.OUT, False, Supply.LIVE): None,
    (Contact.OUT, True, Supply.NONE): None,
    (Contact.OUT, False, Supply.NONE): None,
    (Contact.OUT, True, Supply.DEAD): (
        "The pin switched the board on but not the pyro supply, {volts}, at least {live} allowed. "
        "Look at the pin's pyro switch and the pyro supply's fuse and leads."
    ),
    (Contact.OUT, False, Supply.DEAD): (
        "The pull-pin reads pulled but nothing has changed: the pyro supply has {volts}, at least {live} allowed. "
        "Look at the pin's pyro switch and the pyro supply's fuse and leads."
    ),
    (Contact.OUT, True, Supply.WEAK): (
        "The pull-pin reads pulled but the pyro supply has {volts}, at least {live} allowed. "
        "Look at the pin's pyro switch: a poor contact or thin lead; then at the pack."
    ),
    (Contact.OUT, False, Supply.WEAK): (
        "The pull-pin reads pulled but the pyro supply has {volts}, at least {live} allowed. "
        "Look at the pin's pyro switch: a poor contact or thin lead; then at the pack."
    ),
    (Contact.IN, True, Supply.LIVE): (
        "The pull-pin reads inserted ({reads}) but the board is powered and the pyro supply is live at {volts}: stay "
        f"clear. Look at the pin's contact: it is likely {_REVERSED}."
    ),
    (Contact.IN, True, Supply.WEAK): (
        "The pull-pin reads inserted ({reads}) but the board is powered and the pyro supply has {volts}: stay clear. "
        "Look at the pin's switches: the board's and the pyro's likely touch."
    ),
    (Contact.IN, True, Supply.DEAD): (
        "The pull-pin reads inserted ({reads}) but the board is powered and sends. Look at the pin's switch and "
        f"contact: the switch is likely bypassed, or the contact is {_REVERSED}."
    ),
    (Contact.IN, True, Supply.NONE): (
        "The pull-pin reads inserted ({reads}) but the board is powered and sends. Look at the pin's switch and "
        f"contact: the switch is likely bypassed, or the contact is {_REVERSED}."
    ),
    (Contact.IN, False, Supply.LIVE): (
        "The pull-pin reads inserted ({reads}) but the pyro supply is live at {volts}: stay clear. "
        "Look at the pin's pyro switch: it is likely bypassed or wired the wrong way round."
    ),
    (Contact.IN, False, Supply.WEAK): (
        "The pull-pin reads inserted ({reads}) but the pyro supply has {volts}: stay clear. "
        "Look at the pin's pyro switch: it likely leaks or hangs half open."
    ),
    (Contact.IN, False, Supply.DEAD): (
        f"The pull-pin reads inserted ({{reads}}) and the pyro supply is dead. {_PULL_IT} "
        "If it is out, its contact and pyro switch both hang."
    ),
    (Contact.IN, False, Supply.NONE): (
        f"The pull-pin reads inserted ({{reads}}). {_PULL_IT} If it is out, its contact hangs or its lead is off."
    ),
}


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    pin = vehicle.pull_pin
    if pin is None:
        return []
    return [("pull_pin",), *([("pyro_supply_voltage",)] if pin.enables_pyro else [])]


@check(Place.AVIONICS, limits=("cell_voltage_min_v", "steady_time_s"), needs=_needs, figures=_FIGURES)
def pull_pin(window: Window) -> list[Outcome]:
    """The pull-pin is out and stays out, and the board's power and the pyro supply agree with what its contact reads.

    A vehicle without a pull-pin has no such finding.
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
    live_v = live_from_v(window)
    contact = Contact.IN if level == pin.inserted_reads else Contact.OUT
    wrong = TRUTH[contact, pin.powers_board, supply_state(supply_v, live_v)]
    value, unit, limit = (level, "", Limit()) if supply_v is None else (round(supply_v, 1), "V", Limit(live_v))
    if wrong is not None:
        volts = "" if supply_v is None else f"{number(supply_v, 1)} V"
        text = wrong.format(reads=pin.inserted_reads, volts=volts, live=f"{number(live_v, 1)} V")
        return [Outcome(Status.FAIL, text, value, unit, limit)]
    hung = _hung(window, pin, live_v)
    if hung is not None:
        return [Outcome(Status.FAIL, hung, value, unit, limit)]
    seen = "" if supply_v is None else f" and the pyro supply has {number(supply_v, 1)} V"
    return [Outcome(Status.PASS, f"The pull-pin is out{seen}.", value, unit, limit)]


def live_from_v(window: Window) -> float:
    """From what voltage on the pyro supply counts as live."""
    return LIVE_SHARE * window.limits.cell_voltage_min_v * window.vehicle.battery.cells


def supply_state(supply_v: float | None, live_v: float) -> Supply:
    """What a pyro supply is that counts as live from `live_v` on; None where the pin does not switch it."""
    if supply_v is None:
        return Supply.NONE
    if supply_v >= live_v:
        return Supply.LIVE
    return Supply.DEAD if supply_v < DEAD_V else Supply.WEAK


def _hung(window: Window, pin: PullPin, live_v: float) -> str | None:
    """What has not held still within the steady time though all is well now; a pin just pulled shows here too."""
    lately = f"within the last {number(window.limits.steady_time_s, 0)} s, not at all allowed"
    pulled = float(1 - pin.inserted_reads)
    back = departures(window, "pull_pin", Limit(pulled, pulled))
    if back:
        return (
            f"The pull-pin's contact read inserted {times(back)} {lately}. "
            "Look at its contact: it is loose, unless the pin was pulled just now; then wait."
        )
    if pin.enables_pyro and (dips := departures(window, "pyro_supply_voltage", Limit(live_v))):
        return (
            f"The pyro supply dropped out {times(dips)} {lately}. "
            "Look at the pin's pyro switch and the supply's plug: one is loose."
        )
    return None
