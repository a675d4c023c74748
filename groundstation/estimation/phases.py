"""The phases of a flight as a table of transitions: what must hold, and which event the change tells.

The vehicle's own idea of its phase is not asked. Each rule reads one `Evidence`; the table is the whole logic.
"""

from collections.abc import Callable
from dataclasses import dataclass

from groundstation.state import FlightEventKind, Phase

LOW_PUSH_S = 0.09  # thrust is gone when the axis has shown no push for so long, over two samples or more
STILL_S = 5.0  # nothing in the air keeps its height for so long
OVERDUE_S = 1.5  # a burn is over, whatever the accelerometer says, this much after the vehicle file's


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one sample says for or against a change of phase; NaN where it says nothing."""

    lifted_off: bool = False
    since_liftoff_s: float = 0.0
    no_push_s: float = 0.0  # how long the axis has shown no push, 0 while it shows one
    has_accel: bool = True
    burn_s: float = 0.0  # the vehicle file's
    speed_mps: float = 0.0
    speed_sigma_mps: float = 0.0
    still_s: float = 0.0  # how long the height has stayed the same


@dataclass(frozen=True, slots=True)
class Transition:
    """From one phase to the next when `holds`, telling `event`."""

    source: Phase
    target: Phase
    event: FlightEventKind
    holds: Callable[[Evidence], bool]


def _lifted_off(e: Evidence) -> bool:
    return e.lifted_off


def _burnt_out(e: Evidence) -> bool:
    if e.no_push_s >= LOW_PUSH_S or e.still_s >= STILL_S:
        return True
    overdue = e.burn_s if not e.has_accel else e.burn_s + OVERDUE_S
    return e.since_liftoff_s >= overdue or _past_the_top(e)


def _past_the_top(e: Evidence) -> bool:
    return e.speed_mps < -max(0.3, e.speed_sigma_mps) or e.still_s >= STILL_S


def _at_rest(e: Evidence) -> bool:
    return e.still_s >= STILL_S


TRANSITIONS = (
    Transition(Phase.PAD, Phase.BOOST, FlightEventKind.LIFTOFF, _lifted_off),
    Transition(Phase.BOOST, Phase.COAST, FlightEventKind.BURNOUT, _burnt_out),
    Transition(Phase.COAST, Phase.DESCENT, FlightEventKind.APOGEE, _past_the_top),
    Transition(Phase.DESCENT, Phase.LANDED, FlightEventKind.LANDED, _at_rest),
)


def next_transition(phase: Phase, evidence: Evidence) -> Transition | None:
    """The transition out of a phase that the evidence calls for, if any."""
    for transition in TRANSITIONS:
        if transition.source is phase and transition.holds(evidence):
            return transition
    return None
