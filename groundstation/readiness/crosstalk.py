"""The check that pyro circuits are apart from each other: what moves one must not move another."""

from itertools import combinations

import numpy as np

from groundstation.config.vehicle import PRACTICE, Load, Place, Pyro
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.pyro import circuit_measurement
from groundstation.readiness.window import Window
from groundstation.readiness.words import number
from groundstation.table import FloatArray

WINDOW_S = 30.0
# Two circuits move together when their values correlate so much, and each has moved by so much of its band: the noise
# of a hundred good packets correlates by 0.3 at most, and is some hundredths of a band. Common practice, no source.
TOGETHER = 0.8
MOVED_SHARE = 0.10
LEAST_VALUES = 12
_LIMIT = Limit(None, TOGETHER)
_FIGURES = (
    Figure("correlation over 30 s", f"at most {TOGETHER:g}", PRACTICE),
    Figure("movement that counts", f"{MOVED_SHARE:.0%} of the circuit's band".replace("%", " %"), PRACTICE),
)


@check(Place.PARACHUTE, figures=_FIGURES, every_s=4.0)
def pyro_crosstalk(window: Window) -> list[Outcome]:
    """No two pyro circuits move together, of which one is an igniter's: each has its own leads and its own sense."""
    judged = [(p, *found) for p in window.vehicle.pyro if (found := circuit_measurement(window, p))]
    pairs = [
        (first, second)
        for first, second in combinations(judged, 2)
        if Load.IGNITER in (first[0].load, second[0].load) and first[2] is not None and second[2] is not None
    ]
    if not pairs:
        return []
    names = tuple(name for _, name, _ in judged)
    _, rows = window.together(names, WINDOW_S)
    values = dict(zip(names, rows, strict=True))
    moved = {name: _moved(values[name], band) for _, name, band in judged if band is not None}
    for (first, one, _), (second, other, _) in pairs:
        if not (moved[one] and moved[other]):
            continue
        together = abs(float(np.corrcoef(values[one], values[other])[0, 1]))
        if together > TOGETHER:
            return [
                Outcome(Status.FAIL, _text(first, second, together), round(together, 2), "", Limit(None, TOGETHER))
            ]
    return [Outcome(Status.PASS, "No two pyro circuits move together.", limit=Limit(None, TOGETHER))]


def _moved(values: FloatArray, band: Limit) -> bool:
    width = (band.greatest or 0.0) - (band.least or 0.0)
    return values.size >= LEAST_VALUES and float(np.ptp(values)) > max(MOVED_SHARE * width, 1e-9)


def _text(first: Pyro, second: Pyro, together: float) -> str:
    return (
        f"Pyro circuits {first.channel} and {second.channel} move together: correlation {number(together, 2)} over "
        f"30 s, at most {TOGETHER} allowed. Look at what they share: the return lead, the plug, bare ends that touch."
    )
