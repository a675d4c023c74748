"""Checks of the station, and of the phase it sees."""

from groundstation.config.vehicle import PRACTICE, Place
from groundstation.inputs import NS_PER_S, EventKind
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.finding import Status
from groundstation.readiness.window import Unknown, Window
from groundstation.state import Phase

MOST_WATCH_AGE_S = 300.0  # the station looks once a minute
_LAPTOP = (EventKind.LAPTOP_WATCH, EventKind.LAPTOP_POWER, EventKind.LAPTOP_DISK, EventKind.LAPTOP_CLOCK)
_POWER = (Figure("battery when not on mains", "at least 30 %", PRACTICE),)
_DISK = (Figure("free on the recording's disk", "at least 1 GB", PRACTICE),)
_CLOCK = (Figure("clock against the session's", "within 2 s; not before 2025", PRACTICE),)


@check(Place.STATION, every_s=1.0)
def recording_running(window: Window) -> list[Outcome]:
    """The station records what it receives."""
    event = window.station_ok(EventKind.RECORDING)
    if event is None:
        raise Unknown("The station has not said that it records. Look at the recording folder in the station file.")
    ok, text = event
    if ok:
        return [Outcome(Status.PASS, "The recording is running.")]
    return [Outcome(Status.FAIL, f"The recording is not running: {text}. Look at the recording folder and its disk.")]


@check(Place.STATION, figures=_POWER, every_s=5.0)
def laptop_power(window: Window) -> list[Outcome]:
    """The laptop is on mains, or its battery lasts; passes, and says so, where the session's source cannot look."""
    return _watched(window, EventKind.LAPTOP_POWER, "Look at the laptop's charger.")


@check(Place.STATION, figures=_DISK, every_s=5.0)
def laptop_disk(window: Window) -> list[Outcome]:
    """The disk that is recorded to has room; passes, and says so, where the session's source cannot look."""
    return _watched(
        window, EventKind.LAPTOP_DISK, "Look at the recording folder's disk: clear it or record elsewhere."
    )


@check(Place.STATION, figures=_CLOCK, every_s=5.0)
def laptop_clock(window: Window) -> list[Outcome]:
    """The laptop's clock was not set in the session and shows a possible year; passes where no source can look."""
    return _watched(
        window, EventKind.LAPTOP_CLOCK, "Look at the laptop's time setting; it must not change before the flight."
    )


def _watched(window: Window, kind: EventKind, look: str) -> list[Outcome]:
    event = window.station_event(kind)
    if event is None:
        if any(window.station_event(other) for other in _LAPTOP):
            raise Unknown(f"The station has not said how the {_named(kind)} stands. Look at the station's log.")
        # An imported log, a simulation, a recording from before there was a watch: nobody could look.
        text = f"The {_named(kind)} is not watched in this session: look at it yourself."
        return [Outcome(Status.PASS, text)]
    age_s = (window.at_ns - event.at_ns) / NS_PER_S
    if age_s > MOST_WATCH_AGE_S:
        raise Unknown(
            f"The station has not looked at the {_named(kind)} for {age_s / 60:.0f} min. Look at the station's log."
        )
    if event.ok:
        return [Outcome(Status.PASS, f"{event.text}.")]
    return [Outcome(Status.FAIL, f"{event.text}. {look}")]


def _named(kind: EventKind) -> str:
    """What of the laptop it is: "laptop's disk"."""
    return kind.replace("laptop", "laptop's")


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
