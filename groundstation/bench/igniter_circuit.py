"""Bench proof of the igniter channels: open with nothing in, in band with a dummy in, whole when wiggled.

It is about continuity as the vehicle measures it, and about nothing else: a circuit that shows continuity can still
fail, and one that shows none can still be live. The dummy is a resistor within the band of the vehicle file, in place
of the bridge wire. All channels are looked at in every step, so that two connectors that are swapped show.
"""

from collections.abc import Sequence
from functools import partial

import numpy as np

from groundstation.bench.proof import Figure, Point, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Seen, Step, Stretch, try_each
from groundstation.bench.words import LOCAL_RULES, NO_MOTOR, PYRO_OFF
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Load, Place, Pyro, Vehicle
from groundstation.readiness.finding import Limit
from groundstation.readiness.pyro import OPEN_FACTOR, SHORT_FACTOR, circuit_measurement
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import allowed, number, spoken, times, within
from groundstation.table import FloatArray

SETTLED_S = 2.0  # of a step's end, once what was done is done
STEP_S = 3.0
WIGGLE_S = 10.0
_UNITS = {"resistance": "ohm", "sense": "V", "continuity": ""}
_DECIMALS = {"resistance": 2, "sense": 2, "continuity": 0}


def _igniters(vehicle: Vehicle) -> tuple[Pyro, ...]:
    return tuple(pyro for pyro in vehicle.pyro if pyro.load is Load.IGNITER)


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    kinds = (*_UNITS, "energised")
    return tuple(f"pyro_{pyro.channel}_{kind}" for pyro in _igniters(vehicle) for kind in kinds)


def _steps(vehicle: Vehicle) -> tuple[Step, ...]:
    nothing = Step(
        "nothing in",
        "Leave the connectors of all igniter channels empty. Wait a few seconds, then press Enter.",
        STEP_S,
    )
    steps = [nothing]
    for pyro in _igniters(vehicle):
        named = f"channel {pyro.channel} ({pyro.purpose})"
        steps += [
            Step(
                f"dummy in {pyro.channel}",
                f"Put a dummy into the connector of {named} and take your hands off it. Wait, then press Enter.",
                STEP_S,
            ),
            Step(
                f"wiggle {pyro.channel}",
                f"Wiggle the connector and the leads of {named} for {WIGGLE_S:.0f} s without pulling it out. Then "
                "press Enter.",
                WIGGLE_S,
            ),
        ]
    return tuple(steps)


def _watch(stretch: Stretch) -> Seen:
    said = []
    for pyro in _igniters(stretch.timeline.vehicle):
        values = _values(stretch, pyro)
        said.append(f"channel {pyro.channel}: {_told(pyro, stretch, float(values[-1]))}")
    return Seen("; ".join(said))


def _judge(stretches: Sequence[Stretch]) -> list[Point]:
    vehicle = stretches[0].timeline.vehicle
    by_key = {stretch.key: stretch for stretch in stretches}
    before = dict(zip([stretch.key for stretch in stretches[1:]], stretches, strict=False))
    rules = [partial(_not_energised, stretches, pyro) for pyro in _igniters(vehicle)]
    for pyro in _igniters(vehicle):
        put_in = f"dummy in {pyro.channel}"
        rules += [
            partial(_open, by_key["nothing in"], pyro),
            partial(_in_band, by_key[put_in], pyro, before[put_in]),
            partial(_steady, by_key[f"wiggle {pyro.channel}"], pyro),
        ]
    return try_each(*rules)


def _not_energised(stretches: Sequence[Stretch], pyro: Pyro) -> Point:
    name = f"pyro_{pyro.channel}_energised"
    if not stretches[-1].window.in_layout(name):
        return cannot_tell(f"The vehicle does not send {name}.", "the layout: add it to a packet")
    for stretch in stretches:
        _, on = stretch.window.rows_since(name, stretch.from_ns)
        if np.any(on != 0.0):
            return failed(
                f"Channel {pyro.channel} was switched on in the step '{stretch.key}'.",
                "nothing at first: stay clear and take the pack off; then the firmware",
            )
    return passed(f"Channel {pyro.channel} stayed switched off.")


def _open(stretch: Stretch, pyro: Pyro) -> Point:
    value = _settled(stretch, pyro)
    told = _told(pyro, stretch, value)
    if _is_open(stretch, pyro, value):
        return passed(f"Channel {pyro.channel} reads {told} with nothing in.")
    return failed(
        f"Channel {pyro.channel} reads {told} with nothing in its connector, open expected.",
        f"the leads and solder joints of channel {pyro.channel}: something closes the circuit",
        _figure(pyro, stretch, "nothing in", value),
    )


def _in_band(stretch: Stretch, pyro: Pyro, before: Stretch) -> Point:
    limit = _judged_by(stretch, pyro)[1]
    value = _settled(stretch, pyro)
    figure = _figure(pyro, stretch, "dummy in", value)
    told = _told(pyro, stretch, value)
    if within(value, limit):
        return passed(f"Channel {pyro.channel} shows continuity with the dummy in: {told}.", figure)
    wanted = f"{told} with the dummy in, {allowed(limit, 1, _unit(pyro, stretch))}"
    for other in _igniters(stretch.timeline.vehicle):
        if other.channel == pyro.channel or not _is_open(stretch, pyro, value):
            continue
        then = _settled(before, other)
        now = _settled(stretch, other)
        if _is_open(before, other, then) and not _is_open(stretch, other, now):
            return failed(
                f"The dummy in channel {pyro.channel} shows on channel {other.channel} instead.",
                f"the connectors of channels {pyro.channel} and {other.channel}: they are swapped",
                figure,
            )
    return failed(
        f"Channel {pyro.channel} reads {wanted}.",
        f"the connector, crimps and leads of channel {pyro.channel}, then the dummy itself",
        figure,
    )


def _steady(stretch: Stretch, pyro: Pyro) -> Point:
    limit = _judged_by(stretch, pyro)[1]
    values = _values(stretch, pyro)
    outside = int(np.count_nonzero([not within(value, limit) for value in values.tolist()]))
    figure = Figure(f"channel {pyro.channel}, packets outside its band while wiggled", outside, "")
    if not outside:
        return passed(f"Channel {pyro.channel} stayed whole in {values.size} packets while wiggled.", figure)
    if outside == values.size:
        return failed(f"Channel {pyro.channel} was outside its band all the while it was wiggled.", "", figure)
    return failed(
        f"Channel {pyro.channel} is intermittent: it dropped out {times(outside)} of {values.size} while wiggled.",
        f"the connector and crimps of channel {pyro.channel}: a joint is loose",
        figure,
    )


def _judged_by(stretch: Stretch, pyro: Pyro) -> tuple[str, Limit]:
    named = circuit_measurement(stretch.window, pyro)
    if named is None:
        raise Unknown(f"The vehicle measures nothing of channel {pyro.channel}. Add its resistance to a packet.")
    name, limit = named
    if limit is None:
        raise Unknown(f"The vehicle file gives no band for channel {pyro.channel}. Add it to its [[pyro]] table.")
    return name, limit


def _values(stretch: Stretch, pyro: Pyro) -> FloatArray:
    """(n,) what a channel measured over a stretch, at least one value."""
    name, _ = _judged_by(stretch, pyro)
    stretch.window.need(name)
    _, values = stretch.window.rows_since(name, stretch.from_ns)
    if not values.size:
        raise Unknown(f"No {spoken(name)} has come in the step '{stretch.key}'. Look at the radio link.", stale=True)
    return values


def _settled(stretch: Stretch, pyro: Pyro) -> float:
    """What a channel measured at a stretch's end, once what was done is done."""
    values = _values(stretch.last(SETTLED_S), pyro)
    finite = values[np.isfinite(values)]
    if not finite.size:
        raise Unknown(f"Channel {pyro.channel} reads no number. Look at what measures it and its wiring.")
    return float(np.median(finite))


def _kind(pyro: Pyro, stretch: Stretch) -> str:
    return _judged_by(stretch, pyro)[0].rsplit("_", 1)[1]


def _unit(pyro: Pyro, stretch: Stretch) -> str:
    return _UNITS[_kind(pyro, stretch)]


def _is_open(stretch: Stretch, pyro: Pyro, value: float) -> bool:
    """Whether a value is that of an open circuit; a sense voltage is one wherever it lies outside its band."""
    limit = _judged_by(stretch, pyro)[1]
    if _kind(pyro, stretch) == "resistance":
        return value > OPEN_FACTOR * (limit.greatest or 0.0)
    return not within(value, limit)


def _told(pyro: Pyro, stretch: Stretch, value: float) -> str:
    name, limit = _judged_by(stretch, pyro)
    kind = _kind(pyro, stretch)
    if kind == "continuity":
        return "closed" if value == 1.0 else "open"
    if kind == "resistance" and _is_open(stretch, pyro, value):
        return f"open (above {number(min(value, stretch.window.greatest(name)) - 0.5, 0)} ohm)"
    shorted = kind == "resistance" and value < SHORT_FACTOR * (limit.least or 0.0)
    return f"{number(value, _DECIMALS[kind])} {_UNITS[kind]}{', a short' if shorted else ''}"


def _figure(pyro: Pyro, stretch: Stretch, when: str, value: float) -> Figure:
    kind = _kind(pyro, stretch)
    return Figure(f"channel {pyro.channel}, {when}", round(value, _DECIMALS[kind]), _UNITS[kind])


IGNITER_CIRCUIT = BenchTest(
    name=ProofName.IGNITER_CIRCUIT,
    shows="that each igniter channel's continuity, as the vehicle measures it, follows what is put into it",
    cautions=(NO_MOTOR, PYRO_OFF, LOCAL_RULES),
    place=Place.PARACHUTE,
    tables=("pyro",),
    limits=(),
    measurements=_measurements,
    steps=_steps,
    watch=_watch,
    judge=_judge,
)
