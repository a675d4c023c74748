"""Bench proof of the pull-pin: contact, board power and pyro supply follow the pin, state by state, twice.

What the pin should do is the vehicle file's to say. In each state the person says where the pin is, and the end of
the step is looked at. A board that the pin switches is silent with the pin in: silence over an open link counts as
the board being off, since it sends as soon as the pin is out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from groundstation.bench.proof import Figure, Point, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Seen, Step, Stretch, try_each
from groundstation.bench.words import LOCAL_RULES, NO_MOTOR
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Place, PullPin, Vehicle
from groundstation.inputs import EventKind
from groundstation.readiness.pull_pin import Contact, Supply, live_from_v, supply_state
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import number

STEP_S = 6.0  # a flight computer has started by then (common practice, no source)
SETTLED_S = 2.0
ROUNDS = 2
_FILE = "or {key} in the vehicle file is wrong"


@dataclass(frozen=True, slots=True)
class State:
    """What the end of one step showed; contact and supply None where no packet came.

    `contact` is None too where the contact read one and the other: it chatters.
    """

    told: Contact
    sends: bool
    contact: Contact | None
    chatters: bool
    supply: Supply | None
    supply_v: float | None


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    enables = vehicle.pull_pin is not None and bool(vehicle.pull_pin.enables_pyro)
    return ("pull_pin", *(["pyro_supply_voltage"] if enables else []))


def _steps(vehicle: Vehicle) -> tuple[Step, ...]:
    return tuple(
        Step(f"{told.value} {round_}", _instruction(told, vehicle), STEP_S)
        for round_ in range(1, ROUNDS + 1)
        for told in (Contact.IN, Contact.OUT)
    )


def _instruction(told: Contact, vehicle: Vehicle) -> str:
    do = "Put the pin in, all the way, with the pack connected." if told is Contact.IN else "Pull the pin out."
    switches = vehicle.pull_pin is not None and vehicle.pull_pin.powers_board
    expect = " The board should go off and fall silent." if told is Contact.IN and switches else ""
    return f"{do}{expect} Wait some {STEP_S:.0f} s, then press Enter."


def _watch(stretch: Stretch) -> Seen:
    state = _state(stretch)
    if not state.sends:
        return Seen("no packet comes")
    reads = "chatters" if state.contact is None else f"reads {state.contact.value}"
    supply = "" if state.supply_v is None else f", pyro supply {number(state.supply_v, 1)} V"
    return Seen(f"packets come, the contact {reads}{supply}")


def _judge(stretches: Sequence[Stretch]) -> list[Point]:
    return points_of([_state(stretch) for stretch in stretches], _pin(stretches[0]))


def points_of(states: Sequence[State], pin: PullPin) -> list[Point]:
    """What the states of a walk say against what a pin should do: board, contact, pyro supply.

    All of them pass only where every state is as it should be.
    """
    if not any(state.sends for state in states):
        return [cannot_tell("No packet came in any state of the pin.", "the pack, its plug, and the radio link")]
    rules = [partial(_board, states, pin), partial(_contact, states, pin)]
    if pin.enables_pyro:
        rules.append(partial(_pyro, states))
    return try_each(*rules)


def _board(states: Sequence[State], pin: PullPin) -> Point:
    ins, outs = _told(states, Contact.IN), _told(states, Contact.OUT)
    on_in, on_out = [s.sends for s in ins], [s.sends for s in outs]
    if not pin.powers_board:
        if all(on_in) and all(on_out):
            return passed("The board sends with the pin in and out, as the vehicle file states.")
        if not any(on_in) and all(on_out):
            return failed(
                "The board falls silent with the pin in, though powers_board is false in the vehicle file.",
                "how the pin's switch is wired into the board's supply, or powers_board in the vehicle file",
            )
        return failed("The board fell silent in some states of the pin.", "the board's supply, its plug and leads")
    if not any(on_in) and all(on_out):
        return passed("The board sends with the pin out and is silent with it in.")
    if all(on_in) and not any(on_out):
        return failed(
            "The board sends with the pin in and is silent with it out.",
            f"the pin's board switch: it is wired the wrong way round, {_FILE.format(key='powers_board')}",
        )
    if all(on_in) and all(on_out):
        return failed(
            "The board is powered with the pin in as well as out.",
            "the pin's board switch: it is bypassed, or a programming or charging lead feeds the board",
        )
    if not all(on_out):
        return failed("The board did not send each time the pin was out.", "the pin's board switch: it hangs")
    return failed("The board did not go off each time the pin was in.", "the pin's board switch: it hangs")


def _contact(states: Sequence[State], pin: PullPin) -> Point:
    seen = [state for state in states if state.sends]
    if any(state.chatters for state in seen):
        return failed("The pin's contact chatters while the pin stands still.", "its contact and lead: one is loose")
    right = [state.contact is state.told for state in seen]
    if all(right):
        return passed("The pin's contact reads as the pin is in every state in which packets came.")
    reads = {state.contact for state in seen}
    both_told = len({state.told for state in seen}) == 2
    if not any(right):
        return failed(
            f"The pin's contact reads {_other(seen[0].told).value} with the pin {seen[0].told.value}.",
            f"the contact: it is wired the wrong way round, {_FILE.format(key='inserted_reads')}"
            + ("" if both_told else "; or it hangs"),
        )
    if len(reads) == 1 and both_told:
        (only,) = {state.contact.value for state in seen if state.contact is not None}
        return failed(
            f"The pin's contact reads {only} wherever the pin is.", "its lead and plug: off, or the contact hangs"
        )
    return failed("The pin's contact followed the pin at some times only.", "its contact: it hangs or is loose")


def _pyro(states: Sequence[State]) -> Point:
    ins = [s for s in _told(states, Contact.IN) if s.sends]
    outs = [s for s in _told(states, Contact.OUT) if s.sends]
    if not outs:
        return cannot_tell("No packet came with the pin out, so the pyro supply is not known.", "the radio link")
    figures = [
        Figure(f"pyro supply, pin {name}", round(max(s.supply_v or 0.0 for s in group), 1), "V")
        for name, group in (("in", ins), ("out", outs))
        if group
    ]
    live_in = [s.supply is not Supply.DEAD for s in ins]
    dead_out = [s.supply is Supply.DEAD for s in outs]
    if ins and all(live_in) and all(dead_out):
        return failed(
            "The pyro supply is live with the pin in and dead with it out: stay clear.",
            "the pin's pyro switch: it is wired the wrong way round",
            *figures,
        )
    if any(live_in):
        weak = any(s.supply is Supply.WEAK for s in ins)
        fault = "it leaks or hangs half open" if weak else "it is bypassed, or it hangs"
        return failed(
            "The pyro supply is live with the pin in: stay clear.", f"the pin's pyro switch: {fault}", *figures
        )
    if any(dead_out):
        return failed(
            "The pyro supply stays dead with the pin out.",
            "the pin's pyro switch, then the pyro supply's fuse and leads",
            *figures,
        )
    if any(s.supply is Supply.WEAK for s in outs):
        return failed(
            "The pyro supply is weak with the pin out.",
            "the pin's pyro switch: a poor contact or a thin lead; then the pack",
            *figures,
        )
    told = (
        "live with the pin out and dead with it in" if ins else "live with the pin out; with it in the board is off"
    )
    return passed(f"The pyro supply is {told}.", *figures)


def _told(states: Sequence[State], told: Contact) -> list[State]:
    return [state for state in states if state.told is told]


def _other(contact: Contact) -> Contact:
    return Contact.OUT if contact is Contact.IN else Contact.IN


def _state(stretch: Stretch) -> State:
    """What the end of a step shows.

    Raises:
        Unknown: The link is not open, or what is judged is not in the layout.
    """
    pin, window = _pin(stretch), stretch.window
    link = window.station_event(EventKind.LINK)
    if link is not None and not link.ok:
        raise Unknown(f"The link is not open: {link.text}. Look at the receiver.", stale=True)
    told = Contact(stretch.key.split(" ")[0])
    end = stretch.last(SETTLED_S)
    for name in _measurements(stretch.timeline.vehicle):
        if not window.in_layout(name):
            window.need(name)
    _, levels = window.rows_since("pull_pin", end.from_ns)
    levels = levels[np.isfinite(levels)]
    if not levels.size:
        return State(told, False, None, False, None, None)
    reads = {Contact.IN if level == pin.inserted_reads else Contact.OUT for level in levels.tolist()}
    supply_v = supply = None
    if pin.enables_pyro:
        _, volts = window.rows_since("pyro_supply_voltage", end.from_ns)
        if volts.size and np.isfinite(volts).all():
            supply_v = float(np.median(volts))
            supply = supply_state(supply_v, live_from_v(window))
        else:
            raise Unknown(
                "The pyro supply's voltage does not come with the pin's. Look at the packet that carries it."
            )
    contact = next(iter(reads)) if len(reads) == 1 else None
    return State(told, True, contact, contact is None, supply, supply_v)


def _pin(stretch: Stretch) -> PullPin:
    pin = stretch.timeline.vehicle.pull_pin
    if pin is None:
        raise Unknown("The vehicle file describes no pull-pin. Add a [pull_pin] table.")
    return pin


PIN_ORDER = BenchTest(
    name=ProofName.PIN_ORDER,
    shows="that the pin's contact, the board's power and the pyro supply follow the pin as the vehicle file states",
    cautions=(
        NO_MOTOR,
        "Nothing but a dummy, or nothing at all, on the igniter channels: with the pin out the pyro supply is live.",
        LOCAL_RULES,
    ),
    place=Place.AVIONICS,
    tables=("pull_pin",),
    limits=(),
    measurements=_measurements,
    steps=_steps,
    watch=_watch,
    judge=_judge,
)
