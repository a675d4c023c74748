"""The check of the callsign, where the vehicle sends it as text."""

from groundstation.config.vehicle import Place
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.finding import Status
from groundstation.readiness.window import Window

OVER_S = 10.0
_CALLSIGN = (Figure("callsign", "[computer] callsign", "vehicle file"),)


@check(Place.RADIO, figures=_CALLSIGN)
def vehicle_callsign(window: Window) -> list[Outcome]:
    """The packets carry the callsign that the vehicle file states, and over the last ten seconds no other.

    A vehicle whose file states none has no such finding.
    """
    expected = window.vehicle.computer.callsign
    if expected is None:
        return []
    others = [text for text in window.callsigns(OVER_S) if text != expected.strip()]
    if not others:
        return [Outcome(Status.PASS, f"The callsign is {expected.strip()}, as the vehicle file states.")]
    told = others[-1] if others[-1].isprintable() and others[-1] else "empty or not text"
    text = (
        f"The callsign is {told}, only {expected.strip()} allowed. Look at which vehicle is switched on, then at the "
        "callsign set in the flight computer: this may be another one's packet."
    )
    return [Outcome(Status.FAIL, text)]
