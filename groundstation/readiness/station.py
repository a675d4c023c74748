"""Checks of the station, and of the phase it sees."""

from groundstation.config.vehicle import Place
from groundstation.inputs import EventKind
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Status
from groundstation.readiness.window import Unknown, Window
from groundstation.state import Phase


@check(Place.STATION)
def recording_running(window: Window) -> list[Outcome]:
    """The station records what it receives."""
    event = window.station_ok(EventKind.RECORDING)
    if event is None:
        raise Unknown("The station has not said that it records. Look at the recording folder in the station file.")
    ok, text = event
    if ok:
        return [Outcome(Status.PASS, "The recording is running.")]
    return [Outcome(Status.FAIL, f"The recording is not running: {text}. Look at the recording folder and its disk.")]


@check(Place.VEHICLE)
def on_pad(window: Window) -> list[Outcome]:
    """The vehicle stands on the pad: a flight that has begun or ended is not ready for one."""
    phase = window.need_phase()
    if phase is Phase.PAD:
        return [Outcome(Status.PASS, "The vehicle stands on the pad.")]
    text = (
        f"The vehicle is not on the pad: its phase is {phase}. "
        "Look at its height and acceleration; if it does stand on the pad, start a new session."
    )
    return [Outcome(Status.FAIL, text)]
