"""The check on the checks: what they cannot do without must be sent, and must have come."""

from collections.abc import Sequence
from itertools import chain

from groundstation.config.vehicle import Place, Vehicle
from groundstation.readiness.check import Check, Outcome, check
from groundstation.readiness.finding import Status
from groundstation.readiness.window import Unknown, Window

NAMED = 3


def required(checks: Sequence[Check]) -> Check:
    """The check `required_measurements` over these checks."""
    key = object()

    @check(Place.VEHICLE, every_s=0.4)
    def required_measurements(window: Window) -> list[Outcome]:
        """The vehicle sends every measurement the checks need or the vehicle file asks for, and each has come.

        One of several alternatives is enough: a pyro circuit has its resistance, sense voltage or continuity.
        """
        wanted = window.fixed(key, lambda w: _wanted(checks, w.vehicle))
        absent = window.fixed((key, "absent"), lambda w: [n for n in wanted if not any(map(w.in_layout, n))])
        if absent:
            raise Unknown(
                f"The vehicle does not send {_listed(absent)}. "
                "Add it to a packet in the vehicle file and the firmware."
            )
        waiting = [] if window.all_have_come else [n for n in wanted if not any(map(window.has_come, n))]
        if waiting:
            raise Unknown(
                f"Not come yet: {_listed(waiting)}. Look at whether the flight computer sends that packet.",
                stale=True,
            )
        return [Outcome(Status.PASS, "Every measurement the checks need is sent and has come.")]

    return required_measurements


def _wanted(checks: Sequence[Check], vehicle: Vehicle) -> list[tuple[str, ...]]:
    asked = [(name,) for name in vehicle.pad.must_come]
    return list(dict.fromkeys([*chain.from_iterable(c.needs(vehicle) for c in checks), *asked]))


def _listed(wanted: list[tuple[str, ...]]) -> str:
    named = ", ".join(" or ".join(names) for names in wanted[:NAMED])
    return f"{named} and {len(wanted) - NAMED} more" if len(wanted) > NAMED else named
