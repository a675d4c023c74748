"""The check of what pin and pyro supply did before: a supply once live with the pin in stays a finding.

With the pin pulled, a pyro switch wired the wrong way round looks like a good one; what it did before tells them
apart.
"""

import numpy as np

from groundstation.config.vehicle import PRACTICE, Place, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.pull_pin import live_from_v
from groundstation.readiness.window import Window
from groundstation.readiness.words import number, seconds

# Contact and switch do not move at the same moment, and a loose contact reads inserted now and then: only so long, in
# so many packets in a row, is the supply live with the pin in.
LEAST_S = 1.0
LEAST_PACKETS = 3
_PIN, _SUPPLY = "pull_pin", "pyro_supply_voltage"
_FIGURES = (Figure("live with the pin in for", f"{LEAST_S:g} s and {LEAST_PACKETS} packets", PRACTICE),)


class LiveWithPinIn:
    """The newest stretch of the session in which the supply was live with the pin in, each packet looked at once.

    `from_ns` and `until_ns` are its first and last packet's receive times, `volts` the most it had; 0 before any.
    """

    __slots__ = ("_began_ns", "_packets", "_upto_ns", "_volts", "from_ns", "until_ns", "volts")

    def __init__(self) -> None:
        self._forget()

    def _forget(self) -> None:
        self._upto_ns = self._began_ns = self._packets = 0
        self.from_ns = self.until_ns = 0
        self._volts = self.volts = 0.0

    def take(self, window: Window, inserted: float, live_v: float) -> None:
        """Take in what has come since."""
        if window.at_ns < self._upto_ns:  # an earlier moment is looked at: begin anew
            self._forget()
        t_ns, levels = window.rows_since(_PIN, self._upto_ns)
        if not len(t_ns):
            return
        if inserted not in levels:
            self._upto_ns, self._packets = int(t_ns[-1]), 0
            return
        supply_ns, supply_v = window.rows_since(_SUPPLY, self._upto_ns - NS_PER_S)
        at = np.searchsorted(supply_ns, t_ns, side="right") - 1
        volts = np.full(len(t_ns), np.nan)
        volts[at >= 0] = supply_v[at[at >= 0]]
        self._upto_ns = int(t_ns[-1])
        together = (levels == inserted) & (volts >= live_v)
        if not together.any():
            self._packets = 0
            return
        for moment_ns, live, v in zip(t_ns.tolist(), together.tolist(), volts.tolist(), strict=True):
            self._one(moment_ns, live, v)

    def _one(self, moment_ns: int, live: bool, volts: float) -> None:
        if not live:
            self._packets = 0
            return
        if self._packets == 0:
            self._began_ns, self._volts = moment_ns, volts
        self._packets += 1
        self._volts = max(self._volts, volts)
        if self._packets >= LEAST_PACKETS and moment_ns - self._began_ns >= LEAST_S * NS_PER_S:
            self.from_ns, self.until_ns, self.volts = self._began_ns, moment_ns, self._volts


def _needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    pin = vehicle.pull_pin
    return [] if pin is None or not pin.enables_pyro else [(_PIN,), (_SUPPLY,)]


@check(Place.AVIONICS, limits=("cell_voltage_min_v",), needs=_needs, figures=_FIGURES, every_s=1.0)
def pyro_supply_history(window: Window) -> list[Outcome]:
    """The pyro supply has not been live with the pull-pin in since the flight computer's last start.

    It does not pass again because the pin was pulled: it passes once the vehicle has been switched off and on and the
    supply stays dead with the pin in, or is waived. A vehicle whose pin switches no pyro supply has no such finding.
    """
    pin = window.vehicle.pull_pin
    if pin is None or not pin.enables_pyro:
        return []
    for name in (_PIN, _SUPPLY):
        if not window.has_come(name):
            window.need(name)
    seen = window.kept("live with pin in", LiveWithPinIn)
    seen.take(window, float(pin.inserted_reads), live_from_v(window))
    restarts = window.restarts
    if seen.until_ns and not (restarts and restarts[-1].at_ns > seen.until_ns):
        lasted = seconds((seen.until_ns - seen.from_ns) / NS_PER_S)
        since = seconds(window.since_start_s(seen.from_ns))
        text = (
            f"The pyro supply was live at {number(seen.volts, 1)} V with the pull-pin in for {lasted}, {since} after "
            "the session began, not at all allowed: stay clear. Look at the pin's pyro switch and contact: one is "
            "likely wired the wrong way round, which the pulled pin hides. Then switch the vehicle off and on."
        )
        return [Outcome(Status.FAIL, text, round(seen.volts, 1), "V", Limit(None, round(live_from_v(window), 1)))]
    return [Outcome(Status.PASS, "The pyro supply has not been live with the pull-pin in.")]
