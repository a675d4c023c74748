"""Checks of the pyro channels. A circuit that is whole is a reason to stay clear, never a sign of safety."""

from collections.abc import Iterable
from dataclasses import dataclass
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

    return each(window.fixed("igniter channels", lambda w: _igniters(w.vehicle)), rule)


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


@dataclass(frozen=True, slots=True)
class _Circuit:
    """A channel's circuit: what it is judged by, its band, and how findings speak of it."""

    pyro: Pyro
    judged_by: str | None
    band: Limit | None
    named: str
    look: str


def _circuits(window: Window) -> dict[int, _Circuit]:
    """Every channel's circuit, by the channel."""
    circuits = {}
    for pyro in window.vehicle.pyro:
        judged_by, band = circuit_measurement(window, pyro) or (None, None)
        kind = "Igniter" if pyro.load is Load.IGNITER else "Auxiliary"
        part = "igniter" if pyro.load is Load.IGNITER else pyro.purpose
        circuits[pyro.channel] = _Circuit(
            pyro,
            judged_by,
            band,
            f"{kind} circuit {pyro.channel} ({pyro.purpose})",
            f"Look at the connector and the {part} leads.",
        )
    return circuits


def _circuit(window: Window, pyro: Pyro) -> Outcome:
    circuit = window.fixed("pyro circuits", _circuits)[pyro.channel]
    name, band = circuit.judged_by, circuit.band
    outcome = _now(window, circuit)
    if outcome.status is not Status.PASS or name is None or band is None:
        return outcome
    dropped = departures(window, name, band)
    if not dropped:
        return outcome
    text = (
        f"{circuit.named} is loose: good now, but it dropped out {times(dropped)} within the last "
        f"{number(window.limits.steady_time_s, 0)} s, not at all allowed. {circuit.look} Move them and watch."
    )
    return outcome._replace(status=Status.FAIL, text=text)


def _now(window: Window, circuit: _Circuit) -> Outcome:
    name, band, channel = circuit.judged_by, circuit.band, circuit.pyro.channel
    if name is None:
        start = f"pyro_{channel}"
        raise Unknown(
            f"The vehicle does not send {start}_resistance, {start}_sense or {start}_continuity. "
            "Add one of them to a packet in the vehicle file and the firmware."
        )
    if name.endswith("_resistance"):
        if band is None:
            raise Unknown(f"The vehicle file gives no resistance for pyro channel {channel}. Add what its load has.")
        return _by_resistance(window, circuit, name, band)
    if name.endswith("_sense"):
        if band is None:
            raise Unknown(f"The vehicle file gives no sense voltage for pyro channel {channel}. Add its range.")
        return _by_sense(window, circuit, name, band)
    closed = window.need(name)
    if closed == 1.0:
        return Outcome(Status.PASS, f"{circuit.named} is closed; its resistance is not measured.", closed)
    return Outcome(Status.FAIL, f"{circuit.named} is open. {circuit.look}", closed)


def _by_resistance(window: Window, circuit: _Circuit, name: str, limit: Limit) -> Outcome:
    resistance_ohm = window.need(name)
    least, greatest = limit.least or 0.0, limit.greatest or 0.0

    def good(value: float, decimals: int) -> str:
        return f"{circuit.named} has {number(value, decimals)} ohm, {allowed(limit, 1, 'ohm')}."

    def bad(value: float, decimals: int) -> str:
        most = window.greatest(name)
        if value >= most - 1.0:
            seen = f"is open: above {number(most - 0.5, 0)} ohm"
        elif value > OPEN_FACTOR * greatest:
            seen = f"is open: {number(value, 0)} ohm"
        elif value < SHORT_FACTOR * least:
            seen = f"is shorted: {number(resistance_ohm, 2)} ohm"
        else:
            seen = f"has {number(value, decimals)} ohm"
        touching = " Bare ends may touch." if value < SHORT_FACTOR * least else ""
        return f"{circuit.named} {seen}, {allowed(limit, 1, 'ohm')}. {circuit.look}{touching}"

    return judged(resistance_ohm, limit, unit="ohm", decimals=1, good=good, bad=bad)


def _by_sense(window: Window, circuit: _Circuit, name: str, limit: Limit) -> Outcome:

    def good(value: float, decimals: int) -> str:
        return f"{circuit.named} reads {number(value, decimals)} V sense, {allowed(limit, 2, 'V')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} {circuit.look}"

    return judged(window.need(name), limit, unit="V", decimals=2, good=good, bad=bad)
