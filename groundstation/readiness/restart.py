"""The check of the flight computer's run: that it has not started anew since the session began."""

from groundstation.config.vehicle import Place
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import seconds, spoken
from groundstation.state import RestartSign

_SHOWN_BY = ("sequence", "vehicle_time", "reset_count")
_SAID = {
    RestartSign.CLOCK: "its clock began again",
    RestartSign.COUNTER: "its packet counter began again",
    RestartSign.RESET_COUNT: "its count of starts changed",
}
_NONE = Limit(None, 0.0)


@check(Place.AVIONICS, needs=lambda vehicle: [_SHOWN_BY], every_s=0.4)
def no_restart(window: Window) -> list[Outcome]:
    """The flight computer has not started anew since the session began, by its clock, counter or count of starts.

    A vehicle that starts anew on the pad has lost power or its program failed, and may do so again in flight. Packets
    that come well afterwards do not say why, so that the check does not pass again by itself: it is waived, or a new
    session begun, once the reason is known.
    """
    restarts = window.restarts
    if restarts:
        newest = restarts[-1]
        together = [r for r in restarts if r.boot == newest.boot]
        signs = " and ".join(dict.fromkeys(_SAID[r.sign] for r in together))
        since = seconds(window.since_start_s(together[0].at_ns))
        if newest.boot == 1:
            when = f"The flight computer started anew {since} after the session began"
        else:
            when = f"The flight computer started anew {newest.boot} times, the last {since} after the session began"
        text = (
            f"{when}: {signs}. Look at its battery, plugs and switch. "
            "This does not pass by itself: once the reason is known, waive it or start a new session."
        )
        return [Outcome(Status.FAIL, text, float(newest.boot), "", _NONE)]
    if not any(map(window.has_come, _SHOWN_BY)):
        sent = [spoken(name) for name in _SHOWN_BY if window.in_layout(name)]
        if not sent:
            raise Unknown(
                f"The vehicle sends none of {', '.join(_SHOWN_BY)}, by which a new start is seen. "
                "Add one to a packet in the vehicle file and the firmware."
            )
        raise Unknown(
            f"Nothing has come yet by which a new start is seen: {', '.join(sent)}. Look at the radio link.",
            stale=True,
        )
    return [Outcome(Status.PASS, "The flight computer has not started anew since the session began.", limit=_NONE)]
