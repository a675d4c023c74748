import itertools
import math
import random
from collections.abc import Callable, Iterator

import pytest

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.estimator import Estimator
from groundstation.estimation.sinking import LASTING_S, SinkingWatch
from groundstation.simulator.truth import Truth
from groundstation.state import NAN, FlightEventKind, MotionSample, Phase

Change = Callable[[Iterator[MotionSample], Truth], Iterator[MotionSample]]


def heard_from(since_apogee_s: float) -> Change:
    def late(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        return (s for s in samples if s.received_ns / 1e9 > truth.times.apogee_s + since_apogee_s)

    return late


@pytest.mark.parametrize(
    ("rate_hz", "loss", "since_apogee_s"), [(5.0, 0.3, 5.0), (10.0, 0.0, 30.0), (20.0, 0.3, 1.0)]
)
def test_a_descent_first_heard_under_the_canopy_is_told_and_ends_with_its_landing(
    fly: Callable, rate_hz: float, loss: float, since_apogee_s: float
) -> None:
    flown = fly(rate_hz=rate_hz, loss=loss, change=heard_from(since_apogee_s))
    times = flown.truth.times
    assert [Phase(p) for p, _ in itertools.groupby(s.phase for s in flown.states)] == [
        Phase.PAD,
        Phase.DESCENT,
        Phase.LANDED,
    ]
    assert [e.kind for e in flown.event_list] == [FlightEventKind.LANDED]
    assert flown.events[FlightEventKind.LANDED].at_ns / 1e9 == pytest.approx(times.landed_s, abs=3.0)
    told = next(s for s in flown.states if s.phase is Phase.DESCENT)
    before = [s for s in flown.states if s.at_ns < told.at_ns]
    assert before[-1].speed_sigma_mps > 3.0  # it says that it may not stand at all
    assert told.at_ns / 1e9 < times.apogee_s + since_apogee_s + 30.0
    for state in flown.states:
        if state.phase is Phase.DESCENT and state.at_ns / 1e9 < times.landed_s:
            row = int((flown.truth.t_s < state.at_ns / 1e9).sum())
            assert state.height_m == pytest.approx(float(flown.truth.height_m[row]), abs=3.0 * state.height_sigma_m)
            assert state.height_sigma_m > 5.0


def test_a_fall_first_heard_after_the_apogee_is_told_as_one(fly: Callable) -> None:
    flown = fly(7, rate_hz=20.0, change=heard_from(1.0), ejects=False)
    assert [e.kind for e in flown.event_list] == [FlightEventKind.BALLISTIC, FlightEventKind.LANDED]
    assert flown.events[FlightEventKind.BALLISTIC].called_ns / 1e9 < flown.truth.times.apogee_s + 9.0


def test_without_the_sites_pressure_the_height_of_a_descent_is_not_known(
    fly: Callable, curlew: Vehicle, saltmarsh: Site
) -> None:
    samples: list[MotionSample] = []

    def keep(given: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        for sample in heard_from(10.0)(given, truth):
            samples.append(sample)
            yield sample

    fly(change=keep)
    estimator = Estimator(curlew, saltmarsh.model_copy(update={"pressure_pa": None}))
    states = [estimator.step(s)[0] for s in samples]
    assert states[-1].phase is Phase.LANDED
    assert states[-1].height_sigma_m > 300.0


def recognised_s(pressure_pa: Callable[[float], float], seconds: float, rate_hz: float = 10.0) -> float:
    """When a watch recognises a descent in a pressure; NaN where it never does."""
    watch, draws = SinkingWatch(), random.Random(1)
    for k in range(round(seconds * rate_hz)):
        t_s = k / rate_hz
        if watch.observe(t_s, pressure_pa(t_s) + draws.gauss(0.0, 3.0)) is not None:
            return t_s
    return NAN


@pytest.mark.parametrize("rate_mps", [2.0, 3.0, 5.0, 6.0])
def test_a_steady_descent_is_recognised_after_a_dozen_seconds(rate_mps: float) -> None:
    found_s = recognised_s(lambda t: 97_000.0 + 12.0 * rate_mps * t, 60.0)
    assert LASTING_S <= found_s <= LASTING_S + 5.0


@pytest.mark.parametrize("half_s", [0.5, 1.0, 2.0, 3.0, 5.0, 10.0])
def test_the_pressure_after_a_dust_devil_is_no_descent(half_s: float) -> None:
    assert math.isnan(recognised_s(lambda t: 100_900.0 - 300.0 / (1.0 + ((t - 40.0) / half_s) ** 2), 120.0))


def test_weather_and_a_vehicle_carried_down_are_no_descent() -> None:
    def pressure_pa(t_s: float) -> float:
        return 100_900.0 + 0.05 * t_s + 12.0 * min(2.0 * max(t_s - 30.0, 0.0), 6.0)

    assert math.isnan(recognised_s(pressure_pa, 300.0))


def test_a_step_of_the_pressure_is_no_descent() -> None:
    assert math.isnan(recognised_s(lambda t: 95_000.0 if t < 30.5 else 100_900.0, 90.0))
