"""Bench proof of the radio's range: strength, signal-to-noise ratio and loss at stops on a walk away.

What is left at the farthest point of the flight follows from the farthest stop over a free path
(`groundstation.estimation.radio`, Recommendation ITU-R P.525). Near the ground a path loses more than in the air, so
that the margin of a walk errs on the side of less; how steeply the strength fell is given as a figure.
"""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from groundstation.bench.proof import Figure, Point, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Seen, Step, Stretch, Takes, try_each
from groundstation.bench.words import NO_MOTOR
from groundstation.config.bench_plan import ProofName, plan_or_usual
from groundstation.config.equipment import Radio
from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.radio import margin_at_db
from groundstation.readiness.finding import Limit
from groundstation.readiness.radio import LEAST_PACKETS
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import allowed, number

SHARES = (0.125, 0.25, 0.5, 1.0)  # of the walk's length, at which one stops
STOP_S = 12.0
MEAN_S = 10.0
# Where the strength falls with less than this power of distance, the walk was hardly the one that was told: it is 2
# in free space and more near the ground. Common practice, no source.
LEAST_EXPONENT = 1.0
WALKED_SHARE = 0.95  # pacing is no tape measure (common practice, no source)
_STRENGTHS = ("rssi", "snr")


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    return _STRENGTHS


def walk_m(vehicle: Vehicle) -> float:
    """How far the walk goes."""
    return plan_or_usual(vehicle.bench).walk_m


def _steps(vehicle: Vehicle) -> tuple[Step, ...]:
    return tuple(
        Step(
            f"stop {k + 1}",
            f"Walk with the vehicle to {number(share * walk_m(vehicle), 0)} m from the receiver, its antenna as "
            "flown, upright, nobody in between. Stand there, and after "
            f"{STOP_S:.0f} s press Enter, or type the distance in metres where it is another.",
            STOP_S,
            takes=Takes.DISTANCE,
        )
        for k, share in enumerate(SHARES)
    )


def _watch(stretch: Stretch) -> Seen:
    window = stretch.window
    decoded, _, lost = window.radio(MEAN_S)
    told = [f"{decoded} packets and {lost} lost over the last {MEAN_S:.0f} s"]
    for name, unit in zip(_STRENGTHS, ("dBm", "dB"), strict=True):
        if window.in_layout(name) and (latest := window.latest(name)) is not None:
            told.append(f"{name} {number(latest.value, 0)} {unit}")
    return Seen(", ".join(told))


def _judge(stretches: Sequence[Stretch]) -> list[Point]:
    radio = _radio(stretches[0])
    rules = [partial(_loss, stretch, k) for k, stretch in enumerate(stretches)]
    return try_each(
        partial(_walked, stretches), *rules, partial(_margin, stretches, radio), partial(_fall, stretches)
    )


def _walked(stretches: Sequence[Stretch]) -> Point:
    asked_m = walk_m(stretches[0].timeline.vehicle)
    farthest_m = max(_distance_m(stretch, k) for k, stretch in enumerate(stretches))
    figure = Figure("walked to", round(farthest_m, 1), "m")
    text = f"The walk went to {number(farthest_m, 0)} m, {number(asked_m, 0)} m asked for."
    if farthest_m >= WALKED_SHARE * asked_m:
        return passed(text, figure)
    return cannot_tell(text, "the walk: go as far as the vehicle file says, or change [bench] walk", figure)


def _loss(stretch: Stretch, k: int) -> Point:
    distance_m = _distance_m(stretch, k)
    if not stretch.window.in_layout("sequence"):
        stretch.window.need("sequence")  # which says what to add: without a counter no loss is seen
    decoded, _, lost = stretch.window.radio(min(MEAN_S, stretch.seconds))
    at = f"at {number(distance_m, 0)} m"
    look = "both antennas, their plugs and direction, then the radio's setting"
    if decoded == 0:
        return failed(f"No packet came {at}.", look, Figure(f"packets lost {at}", 100.0, "%"))
    if decoded + lost < LEAST_PACKETS:
        return cannot_tell(f"Too few packets came {at} to judge the loss.", look)
    share = 100.0 * lost / (decoded + lost)
    limit = Limit(None, 100.0 * stretch.timeline.vehicle.limits.packet_loss)
    figures = [Figure(f"packets lost {at}", round(share, 1), "%")]
    for name, unit in zip(_STRENGTHS, ("dBm", "dB"), strict=True):
        mean = _mean(stretch, name)
        if mean is not None:
            figures.append(Figure(f"{name} {at}", round(mean, 1), unit))
    text = f"{number(share, 0)} % of the packets are lost {at}, {allowed(limit, 0, '%')}."
    return passed(text, *figures) if share <= (limit.greatest or 0.0) else failed(text, look, *figures)


def _margin(stretches: Sequence[Stretch], radio: Radio) -> Point:
    k = max(range(len(stretches)), key=lambda place: _distance_m(stretches[place], place))
    stretch, distance_m = stretches[k], _distance_m(stretches[k], k)
    here = radio.above_weakest(_mean(stretch, "snr"), _mean(stretch, "rssi"))
    if here is None:
        raise Unknown(
            "The link's margin cannot be told: neither rssi nor snr came at the farthest stop. "
            "Add one of them to what the receiver or the vehicle sends."
        )
    margin_db, by = here
    left_db = margin_at_db(margin_db, distance_m, radio.farthest_m)
    limit = Limit(stretch.timeline.vehicle.limits.radio_margin_db)
    at = f"{number(radio.farthest_m, 0)} m"
    figure = Figure(f"margin at {at}", round(left_db, 1), "dB")
    text = f"At {at}, the farthest, {number(left_db, 0)} dB would be left by its {by}, {allowed(limit, 0, 'dB')}."
    if left_db >= (limit.least or 0.0):
        return passed(text, figure)
    return failed(text, "both antennas, their plugs and direction, then the radio's setting", figure)


def _fall(stretches: Sequence[Stretch]) -> Point:
    """How steeply the strength fell, as an exponent of distance: 2 in free space."""
    seen = [
        (math.log10(_distance_m(s, k)), m) for k, s in enumerate(stretches) if (m := _mean(s, "rssi")) is not None
    ]
    if len({place for place, _ in seen}) < 2:
        return passed("How the strength fell with distance is not known.")
    places, strengths = np.array(seen).T
    exponent = -float(np.polyfit(places, strengths, 1)[0]) / 10.0
    figure = Figure("exponent of the strength's fall with distance", round(exponent, 2), "")
    text = f"The strength fell with distance to the power of {number(exponent, 1)}, 2 in free space."
    if exponent >= LEAST_EXPONENT:
        return passed(text, figure)
    return cannot_tell(text, "the distances: were they as told, and the vehicle away from walls and metal", figure)


def _mean(stretch: Stretch, name: str) -> float | None:
    """The mean of a measurement at the end of a stop; None where none came."""
    window = stretch.window
    if not window.in_layout(name):
        return None
    _, values = window.rows_since(name, stretch.last(MEAN_S).from_ns)
    finite = values[np.isfinite(values)]
    return float(np.mean(finite)) if finite.size else None


def _distance_m(stretch: Stretch, k: int) -> float:
    return float(stretch.said) if stretch.said else SHARES[k] * walk_m(stretch.timeline.vehicle)


def _radio(stretch: Stretch) -> Radio:
    radio = stretch.timeline.vehicle.radio
    if radio is None:
        raise Unknown("The vehicle file describes no radio link. Add a [radio] table.")
    return radio


RANGE_WALK = BenchTest(
    name=ProofName.RANGE_WALK,
    shows="that the radio, its antenna as flown, has margin at the flight's farthest point",
    cautions=(NO_MOTOR, "Keep to where you may walk, and look where you go."),
    place=Place.RADIO,
    tables=("radio",),
    limits=("packet_loss", "radio_margin_db"),
    measurements=_measurements,
    steps=_steps,
    watch=_watch,
    judge=_judge,
)
