"""Checks of the pyro channels. A circuit that is whole is a reason to stay clear, never a sign of safety."""

from collections.abc import Iterable
from functools import partial

from groundstation.config.vehicle import PRACTICE, Load, Place, Pyro, Vehicle
from groundstation.readiness.check import Figure, Outcome, check, each, judged
from groundstation.readiness.departures import departures
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number, times

# A resistance beyond this many times the band's ends is called open or shorted. Common practice, no source.
OPEN_FACTOR = 10.0
SHORT_FACTOR = 0.3
_CLOSED = Limit(1.0, 1.0)
_JUDGED_BY = "pyro circuits judged by"
_FIGURES = (
    Figure("resistance or sense voltage of each circuit", "the [[pyro]] table's band", "vehicle file"),
    Figure("called open beyond", f"{OPEN_FACTOR:g} times the band's end", PRACTICE),
    Figure("called shorted below", f"{SHORT_FACTOR:g} of the band's end", PRACTICE),
)


def _igniters(vehicle: Vehicle) -> list[Pyro]:
    return [p for p in vehicle.pyro if p.load is Load.IGNITER]


def _circuit_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [tuple(f"pyro_{p.channel}_{way}" for way in ("resistance", "sense", "continuity")) for p in vehicle.pyro]


def _energised_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [(f"pyro_{p.channel}_energised",) for p in _igniters(vehicle)]


@check(Place.PARACHUTE, needs=_energised_needs)
def pyro_energised(window: Window) -> Iterable[Outcome]:
    """No igniter channel is switched on. An auxiliary load such as the camera may be."""

    def rule(pyro: Pyro) -> Outcome:
        on = window.need(f"pyro_{pyro.channel}_energised")
        what = f"Igniter channel {pyro.channel} ({pyro.purpose})"
        if on == 0.0:
            return Outcome(Status.PASS, f"{what} is switched off.", 0.0)
        return Outcome(
            Status.FAIL,
            f"{what} is switched on. Stay clear; what is done next is for the range safety officer to say.",
            on,
        )

    return each(_igniters(window.vehicle), rule)


@check(Place.PARACHUTE, limits=("steady_time_s",), needs=_circuit_needs, figures=_FIGURES)
def pyro_circuit(window: Window) -> Iterable[Outcome]:
    """Each pyro circuit is what its load should be, and has been without a break: by resistance, sense or continuity.

    The best of the three that is sent is judged against the band in the vehicle file, which is wide against a
    milliohm meter's noise. A joint that dropped out for one packet within the steady time is loose: no pass.
    """
    return each(window.vehicle.pyro, partial(_circuit, window))


def circuit_measurement(window: Window, pyro: Pyro) -> tuple[str, Limit | None] | None:
    """What a channel is judged by, and its band (None where the file gives none); None where none of them is sent."""
    start = f"pyro_{pyro.channel}"
    if window.in_layout(f"{start}_resistance"):
        return f"{start}_resistance", None if pyro.resistance_ohm is None else Limit(*pyro.resistance_ohm)
    if window.in_layout(f"{start}_sense"):
        return f"{start}_sense", None if pyro.sense_v is None else Limit(*pyro.sense_v)
    if window.in_layout(f"{start}_continuity"):
        return f"{start}_continuity", _CLOSED
    return None


def _circuit(window: Window, pyro: Pyro) -> Outcome:
    outcome = _now(window, pyro)
    if outcome.status is not Status.PASS:
        return outcome
    judged_by = window.fixed(_JUDGED_BY, _circuits)[pyro.channel]
    dropped = departures(window, *judged_by) if judged_by is not None else 0
    if not dropped:
        return outcome
    text = (
        f"{_named(pyro)} is loose: good now, but it dropped out {times(dropped)} within the last "
        f"{number(window.limits.steady_time_s, 0)} s, not at all allowed. {_look(pyro)} Move them and watch."
    )
    return outcome._replace(status=Status.FAIL, text=text)


def _circuits(window: Window) -> dict[int, tuple[str, Limit] | None]:
    """By channel: what its circuit is judged by and the band, where there is one."""
    found = {pyro.channel: circuit_measurement(window, pyro) for pyro in window.vehicle.pyro}
    return {
        channel: (named[0], named[1]) if named is not None and named[1] is not None else None
        for channel, named in found.items()
    }


def _now(window: Window, pyro: Pyro) -> Outcome:
    start = f"pyro_{pyro.channel}"
    if window.in_layout(f"{start}_resistance"):
        return _by_resistance(window, pyro)
    if window.in_layout(f"{start}_sense"):
        return _by_sense(window, pyro)
    if not window.in_layout(f"{start}_continuity"):
        raise Unknown(
            f"The vehicle does not send {start}_resistance, {start}_sense or {start}_continuity. "
            "Add one of them to a packet in the vehicle file and the firmware."
        )
    closed = window.need(f"{start}_continuity")
    if closed == 1.0:
        return Outcome(Status.PASS, f"{_named(pyro)} is closed; its resistance is not measured.", closed)
    return Outcome(Status.FAIL, f"{_named(pyro)} is open. {_look(pyro)}", closed)


def _by_resistance(window: Window, pyro: Pyro) -> Outcome:
    if pyro.resistance_ohm is None:
        raise Unknown(f"The vehicle file gives no resistance for pyro channel {pyro.channel}. Add what its load has.")
    name = f"pyro_{pyro.channel}_resistance"
    resistance_ohm = window.need(name)
    least, greatest = pyro.resistance_ohm
    limit = Limit(least, greatest)
    most = window.greatest(name)

    def good(value: float, decimals: int) -> str:
        return f"{_named(pyro)} has {number(value, decimals)} ohm, {allowed(limit, 1, 'ohm')}."

    def bad(value: float, decimals: int) -> str:
        if value >= most - 1.0:
            seen = f"is open: above {number(most - 0.5, 0)} ohm"
        elif value > OPEN_FACTOR * greatest:
            seen = f"is open: {number(value, 0)} ohm"
        elif value < SHORT_FACTOR * least:
            seen = f"is shorted: {number(resistance_ohm, 2)} ohm"
        else:
            seen = f"has {number(value, decimals)} ohm"
        touching = " Bare ends may touch." if value < SHORT_FACTOR * least else ""
        return f"{_named(pyro)} {seen}, {allowed(limit, 1, 'ohm')}. {_look(pyro)}{touching}"

    return judged(resistance_ohm, limit, unit="ohm", decimals=1, good=good, bad=bad)


def _by_sense(window: Window, pyro: Pyro) -> Outcome:
    if pyro.sense_v is None:
        raise Unknown(f"The vehicle file gives no sense voltage for pyro channel {pyro.channel}. Add its range.")
    limit = Limit(*pyro.sense_v)

    def good(value: float, decimals: int) -> str:
        return f"{_named(pyro)} reads {number(value, decimals)} V sense, {allowed(limit, 2, 'V')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} {_look(pyro)}"

    value = window.need(f"pyro_{pyro.channel}_sense")
    return judged(value, limit, unit="V", decimals=2, good=good, bad=bad)


def _named(pyro: Pyro) -> str:
    kind = "Igniter" if pyro.load is Load.IGNITER else "Auxiliary"
    return f"{kind} circuit {pyro.channel} ({pyro.purpose})"


def _look(pyro: Pyro) -> str:
    part = "igniter" if pyro.load is Load.IGNITER else pyro.purpose
    return f"Look at the connector and the {part} leads."
