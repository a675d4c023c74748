"""The check that firmware and vehicle file agree about the bytes."""

from decoders.fingerprint import layout_fingerprint as fingerprint_of
from groundstation.config.telemetry import columns, layout_of
from groundstation.config.vehicle import Place, Vehicle
from groundstation.readiness.check import Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Window

_KEY = object()


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    sent = any(column.meaning == "layout_fingerprint" for column in columns(vehicle))
    return [("layout_fingerprint",)] if sent else []


@check(Place.AVIONICS, needs=_needs)
def layout_fingerprint(window: Window) -> list[Outcome]:
    """The packet layout that the flight computer was built with is the vehicle file's, by its fingerprint."""
    if not window.in_layout("layout_fingerprint"):
        return []
    expected = window.fixed(_KEY, lambda w: fingerprint_of(layout_of(w.vehicle)))
    value = int(window.need("layout_fingerprint"))
    limit = Limit(expected, expected)
    if value == expected:
        text = f"The flight computer's packet layout is {value:08X}, as the vehicle file's."
        return [Outcome(Status.PASS, text, value, "", limit)]
    text = (
        f"The flight computer's packet layout is {value:08X}, only the vehicle file's {expected:08X} allowed. "
        "Look at the firmware loaded last and at this vehicle file: values stand in the wrong places until one is "
        "made to match the other."
    )
    return [Outcome(Status.FAIL, text, value, "", limit)]
