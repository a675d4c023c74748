"""The estimator over simulated flights, over everything that can be wrong with samples, and over pad hours."""

import itertools
import math
import random
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.estimator import Estimator
from groundstation.simulator.truth import Truth
from groundstation.state import NAN, FlightEvent, FlightEventKind, MotionSample, Phase, State

LIFTOFF, BURNOUT, APOGEE, EJECTION, BALLISTIC, LANDED = FlightEventKind
EVERY_FLIGHT = [LIFTOFF, BURNOUT, APOGEE, LANDED]
NO_ACCEL = (NAN, NAN, NAN)
NO_ATTITUDE = (NAN, NAN, NAN, NAN)


def milestones(events: list[FlightEvent]) -> list[FlightEventKind]:
    """The events' kinds without an ejection, of which nothing may have been received."""
    return [e.kind for e in events if e.kind is not EJECTION]


def bar_m(truth: Truth) -> float:
    """The allowed error of the apogee's height."""
    return 1.0 + 0.005 * truth.apogee_m


def check_flight(flown, *, apogee_bars: float = 1.0, burnout_s: float = 0.3) -> None:
    truth, times = flown.truth, flown.truth.times
    assert milestones(flown.event_list) == EVERY_FLIGHT
    at = {kind: e.at_ns / 1e9 for kind, e in flown.events.items()}
    assert at[LIFTOFF] == pytest.approx(times.liftoff_s, abs=0.3)
    assert at[BURNOUT] == pytest.approx(times.burnout_s, abs=burnout_s)
    assert at[APOGEE] == pytest.approx(times.apogee_s, abs=0.5)
    assert flown.events[APOGEE].called_ns / 1e9 > times.apogee_s - 0.3
    assert flown.events[APOGEE].height_m == pytest.approx(truth.apogee_m, abs=apogee_bars * bar_m(truth))
    assert at[LANDED] == pytest.approx(times.landed_s, abs=3.0)
    assert all(e.called_ns >= e.at_ns for e in flown.event_list)


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 20.0])
@pytest.mark.parametrize("loss", [0.0, 0.3])
def test_a_flight_is_told_from_liftoff_to_landing(fly: Callable, rate_hz: float, loss: float) -> None:
    flown = fly(rate_hz=rate_hz, loss=loss)
    check_flight(flown)
    order = [Phase(p) for p, _ in itertools.groupby(s.phase for s in flown.states)]
    assert order == list(Phase)


def test_height_and_speed_stay_within_their_stated_uncertainty(fly: Callable) -> None:
    flown = fly()
    flying = (flown.t_s > flown.truth.times.liftoff_s) & (flown.t_s < flown.truth.times.landed_s)
    height = np.interp(flown.t_s, flown.truth.t_s, flown.truth.height_m)
    speed = np.interp(flown.t_s, flown.truth.t_s, flown.truth.speed_mps)
    height_sigma = np.array([s.height_sigma_m for s in flown.states])
    speed_sigma = np.array([s.speed_sigma_mps for s in flown.states])
    speeds = np.array([s.speed_mps for s in flown.states])
    assert np.mean(np.abs(flown.heights_m - height)[flying] < 1.96 * height_sigma[flying]) > 0.9
    assert np.mean(np.abs(speeds - speed)[flying] < 1.96 * speed_sigma[flying]) > 0.9
    assert np.max(height_sigma[flying]) < 5.0


def test_predicted_apogee_is_right_within_its_sigma_and_gets_narrower(fly: Callable) -> None:
    flown = fly()
    times = flown.truth.times
    rising = [s for s in flown.states if times.liftoff_s + 0.5 < s.at_ns / 1e9 < times.apogee_s - 0.2]
    off = [(s.predicted_apogee_m - flown.truth.apogee_m) / s.predicted_apogee_sigma_m for s in rising]
    assert np.mean(np.abs(off) < 1.96) > 0.9
    assert rising[-1].predicted_apogee_sigma_m < 3.0 < rising[0].predicted_apogee_sigma_m
    assert all(math.isnan(s.predicted_apogee_m) for s in flown.states if s.phase in (Phase.PAD, Phase.LANDED))


def without(name: str, value: object) -> Callable[[Iterator[MotionSample], Truth], Iterator[MotionSample]]:
    return lambda samples, _: (s._replace(**{name: value}) for s in samples)


def test_a_vehicle_without_attitude_is_followed_along_its_axis(fly: Callable) -> None:
    flown = fly(change=without("attitude", NO_ATTITUDE))
    check_flight(flown)
    assert all(math.isnan(s.tilt_rad) for s in flown.states if s.phase is Phase.COAST)
    assert any(s.tilt_rad < 0.2 for s in flown.states if s.phase is Phase.PAD)


def test_a_vehicle_without_an_accelerometer_is_followed_by_pressure(fly: Callable) -> None:
    flown = fly(change=without("accel_mps2", NO_ACCEL))
    assert milestones(flown.event_list) == EVERY_FLIGHT
    assert flown.events[LIFTOFF].at_ns / 1e9 == pytest.approx(flown.truth.times.liftoff_s, abs=0.6)
    assert flown.events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=2.0 * bar_m(flown.truth))


def test_a_vehicle_with_nothing_but_pressure_is_followed(fly: Callable) -> None:
    def bare(samples: Iterator[MotionSample], _: Truth) -> Iterator[MotionSample]:
        return (MotionSample(s.received_ns, s.measured_ns, s.pressure_pa) for s in samples)

    flown = fly(change=bare)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    assert flown.events[LIFTOFF].at_ns / 1e9 == pytest.approx(flown.truth.times.liftoff_s, abs=0.6)
    assert flown.events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=2.0 * bar_m(flown.truth))


def test_pressure_and_acceleration_may_come_in_packets_of_their_own(fly: Callable) -> None:
    def split(samples: Iterator[MotionSample], _: Truth) -> Iterator[MotionSample]:
        for s in samples:
            yield s._replace(pressure_pa=NAN)
            later_ns, measured_ns = s.received_ns + 30_000_000, s.measured_ns + 30_000_000
            yield MotionSample(later_ns, measured_ns, s.pressure_pa)

    check_flight(fly(rate_hz=5.0, change=split), apogee_bars=1.5)


def test_a_vehicle_without_pressure_is_followed_by_its_accelerometer(fly: Callable) -> None:
    flown = fly(change=without("pressure_pa", NAN))
    times, events = flown.truth.times, flown.events
    assert events[LIFTOFF].at_ns / 1e9 == pytest.approx(times.liftoff_s, abs=0.3)
    assert events[BURNOUT].at_ns / 1e9 == pytest.approx(times.burnout_s, abs=0.3)
    assert events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=2.5 * events[APOGEE].height_sigma_m)


@pytest.mark.parametrize(
    ("moment", "before_s", "after_s"),
    [
        ("liftoff_s", 0.5, 1.5),
        ("burnout_s", 1.0, 1.0),
        ("apogee_s", 1.5, 1.5),
        ("ejection_s", 1.0, 2.0),
        ("landed_s", 4.0, 3.0),
    ],
)
def test_a_gap_over_an_event_is_bridged(fly: Callable, moment: str, before_s: float, after_s: float) -> None:
    def cut(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        at = getattr(truth.times, moment)
        return (s for s in samples if not at - before_s < s.received_ns / 1e9 < at + after_s)

    flown = fly(change=cut)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    assert flown.events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=1.5 * bar_m(flown.truth))
    assert flown.events[LIFTOFF].at_ns / 1e9 == pytest.approx(flown.truth.times.liftoff_s, abs=0.3)


def test_a_whole_ascent_in_a_gap_still_becomes_a_flight(fly: Callable) -> None:
    def cut(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        times = truth.times
        return (s for s in samples if not times.liftoff_s - 0.2 < s.received_ns / 1e9 < times.burnout_s + 2.0)

    flown = fly(change=cut)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    assert flown.events[LIFTOFF].at_ns / 1e9 == pytest.approx(flown.truth.times.liftoff_s, abs=1.0)
    assert flown.events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=2.0 * bar_m(flown.truth))


@pytest.mark.parametrize("since_liftoff_s", [1.0, 5.0])
def test_a_station_started_in_flight_finds_height_and_apogee_by_the_sites_pressure(
    fly: Callable, since_liftoff_s: float
) -> None:
    def late(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        return (s for s in samples if s.received_ns / 1e9 > truth.times.liftoff_s + since_liftoff_s)

    flown = fly(change=late)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    apogee = flown.events[APOGEE]
    assert apogee.at_ns / 1e9 == pytest.approx(flown.truth.times.apogee_s, abs=0.3)
    assert apogee.height_m == pytest.approx(flown.truth.apogee_m, abs=2.5 * apogee.height_sigma_m)
    assert apogee.height_sigma_m > 5.0


def test_a_restart_in_flight_keeps_the_flight_and_distrusts_the_attitude(fly: Callable) -> None:
    def restart(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        at = truth.times.burnout_s + 1.5
        for s in samples:
            t = s.received_ns / 1e9
            if t < at:
                yield s
            elif t > at + 0.8:
                yield s._replace(boot=1, attitude=(0.7, 0.0, 0.714, 0.0))

    flown = fly(change=restart)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    assert flown.events[APOGEE].height_m == pytest.approx(flown.truth.apogee_m, abs=1.5 * bar_m(flown.truth))


def test_an_attitude_of_another_convention_is_found_out_on_the_pad(fly: Callable) -> None:
    def scalar_last(samples: Iterator[MotionSample], _: Truth) -> Iterator[MotionSample]:
        return (s._replace(attitude=(*s.attitude[1:], s.attitude[0])) for s in samples)

    check_flight(fly(change=scalar_last))


def test_repeats_and_late_packets_change_no_state(fly: Callable) -> None:
    def repeated(samples: Iterator[MotionSample], _: Truth) -> Iterator[MotionSample]:
        older: MotionSample | None = None
        for s in samples:
            yield s
            yield s
            if older is not None:
                yield older._replace(received_ns=s.received_ns)
            older = s

    plain, doubled = fly(), fly(change=repeated)
    assert plain.event_list == doubled.event_list
    assert plain.states[-1] == doubled.states[-1]


def test_pressure_spikes_in_flight_make_no_apogee(fly: Callable) -> None:
    def spiked(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        draws = random.Random(1)
        for s in samples:
            flying = truth.times.liftoff_s < s.received_ns / 1e9 < truth.times.apogee_s
            spike = draws.choice([-3000.0, 2500.0]) if flying and draws.random() < 0.1 else 0.0
            yield s._replace(pressure_pa=s.pressure_pa + spike)

    check_flight(fly(change=spiked))


@pytest.mark.parametrize("rate_hz", [5.0, 10.0, 20.0])
def test_an_ejection_is_told_with_its_time(fly: Callable, rate_hz: float) -> None:
    flown = fly(rate_hz=rate_hz)
    ejection = flown.events[EJECTION]
    assert ejection.at_ns / 1e9 == pytest.approx(flown.truth.times.ejection_s, abs=0.5)
    assert ejection.called_ns / 1e9 < flown.truth.times.ejection_s + 2.0
    assert BALLISTIC not in flown.events


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_charge_heard_just_after_a_silence_over_the_top_is_taken_for_no_fall(fly: Callable, seed: int) -> None:
    def cut(samples: Iterator[MotionSample], truth: Truth) -> Iterator[MotionSample]:
        times = truth.times
        silences = (times.apogee_s - 1.0, times.ejection_s - 0.25), (times.ejection_s - 0.2, times.ejection_s + 0.06)
        return (s for s in samples if not any(a < s.received_ns / 1e9 < b for a, b in silences))

    flown = fly(seed, rate_hz=20.0, change=cut)
    assert milestones(flown.event_list) == EVERY_FLIGHT
    times = flown.truth.times
    falling = (flown.t_s > times.apogee_s) & (flown.t_s < times.ejection_s + 3.0)
    off_m = flown.heights_m - np.interp(flown.t_s, flown.truth.t_s, flown.truth.height_m)
    assert np.max(np.abs(off_m[falling])) < 12.0


def test_an_ejection_is_told_without_an_accelerometer(fly: Callable) -> None:
    flown = fly(change=without("accel_mps2", NO_ACCEL))
    assert flown.events[EJECTION].at_ns / 1e9 == pytest.approx(flown.truth.times.ejection_s, abs=1.0)
    assert BALLISTIC not in flown.events


def test_no_ejection_is_told_of_a_fall_without_an_accelerometer(fly: Callable) -> None:
    flown = fly(7, change=without("accel_mps2", NO_ACCEL), ejects=False)
    assert EJECTION not in flown.events
    assert BALLISTIC in flown.events


@pytest.mark.parametrize("rate_hz", [5.0, 20.0])
@pytest.mark.parametrize("loss", [0.0, 0.3])
def test_a_fall_without_a_canopy_is_told_in_time_and_ends_with_its_landing(
    fly: Callable, rate_hz: float, loss: float
) -> None:
    flown = fly(7, rate_hz=rate_hz, loss=loss, ejects=False)
    times = flown.truth.times
    assert milestones(flown.event_list) == [LIFTOFF, BURNOUT, APOGEE, BALLISTIC, LANDED]
    assert EJECTION not in flown.events
    assert times.apogee_s + 3.5 < flown.events[BALLISTIC].called_ns / 1e9 < times.apogee_s + 7.0
    assert flown.events[LANDED].at_ns / 1e9 == pytest.approx(times.landed_s, abs=5.0)


def test_a_low_flight_without_a_canopy_is_told_before_it_hits(curlew: Vehicle, saltmarsh: Site) -> None:
    draws = random.Random(1)
    events: list[FlightEvent] = []
    estimator = Estimator(curlew, saltmarsh)
    height = speed = hit_s = 0.0
    for k in range(900):
        t_s = k / 20.0
        accel = 34.0 if 20.0 <= t_s < 21.0 else -9.81 if height > 0.0 else 0.0
        height, speed = max(0.0, height + speed / 20.0 + accel / 800.0), speed + accel / 20.0 if accel else 0.0
        force = (draws.gauss(0.0, 0.05), 0.0, 9.81 + accel + draws.gauss(0.0, 0.05))
        pressure_pa = 100_930.0 - 12.0 * height + draws.gauss(0.0, 3.0)
        at_ns = round(t_s * 1e9)
        sample = MotionSample(at_ns, at_ns, pressure_pa, force, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0, 0.0))
        events += estimator.step(sample)[1]
        if height > 0.0:
            hit_s = t_s
    assert milestones(events) == [LIFTOFF, BURNOUT, APOGEE, BALLISTIC, LANDED]
    assert hit_s - 2.5 < events[3].called_ns / 1e9 < hit_s - 0.5


def test_the_same_samples_give_the_same_states(fly: Callable) -> None:
    assert fly(4, loss=0.3).states == fly(4, loss=0.3).states


numbers = st.floats(allow_nan=True, allow_infinity=True)


@given(
    st.lists(
        st.builds(
            MotionSample,
            st.integers(0, 20 * 10**9),
            st.integers(0, 20 * 10**9),
            st.one_of(numbers, st.floats(90000, 102000)),
            st.tuples(numbers, numbers, st.one_of(numbers, st.floats(-50, 150))),
            st.tuples(numbers, numbers, numbers),
            st.tuples(*[st.floats(-1.0, 1.0)] * 4),
            numbers,
        ),
        max_size=60,
    )
)
@settings(max_examples=80, deadline=None)
def test_any_numbers_at_any_times_give_states_in_order_and_no_error(
    curlew: Vehicle, saltmarsh: Site, samples: list[MotionSample]
) -> None:
    estimator = Estimator(curlew, saltmarsh)
    last_ns = 0
    for sample in samples:
        state, _ = estimator.step(sample)
        assert state.at_ns >= last_ns
        assert not state.height_sigma_m < 0.0
        assert not state.speed_sigma_mps < 0.0
        last_ns = state.at_ns


@pytest.mark.campaign
@pytest.mark.timeout(0)
def test_two_hundred_flights_meet_the_bars(fly: Callable, saltmarsh: Site) -> None:
    height, speed, top, predicted = [], [], [], []
    misses, late, early, liftoff, ejected = [], [], [], [], []
    for seed in range(200):
        draws = random.Random(f"campaign/{seed}")
        rate_hz, loss = draws.choice([5.0, 10.0, 20.0]), draws.uniform(0.0, 0.3)
        wind = {"wind_mps": draws.uniform(0.0, 7.0), "wind_from_rad": draws.uniform(0.0, math.tau)}
        flown = fly(seed, rate_hz=rate_hz, loss=loss, air=saltmarsh.model_copy(update=wind))
        times = flown.truth.times
        assert milestones(flown.event_list) == EVERY_FLIGHT, seed
        apogee = flown.events[APOGEE]
        if EJECTION in flown.events:
            ejected.append(flown.events[EJECTION].at_ns / 1e9 - times.ejection_s)
        misses.append(abs(apogee.height_m - flown.truth.apogee_m) / bar_m(flown.truth))
        late.append(apogee.called_ns / 1e9 - times.apogee_s)
        early.append(times.apogee_s - apogee.called_ns / 1e9)
        liftoff.append(abs(flown.events[LIFTOFF].at_ns / 1e9 - times.liftoff_s))
        top.append((apogee.height_m - flown.truth.apogee_m) / apogee.height_sigma_m)
        flying = [s for s in flown.states if times.liftoff_s < s.at_ns / 1e9 < times.landed_s]
        t = [s.at_ns / 1e9 for s in flying]
        true_m = np.interp(t, flown.truth.t_s, flown.truth.height_m)
        true_mps = np.interp(t, flown.truth.t_s, flown.truth.speed_mps)
        height += [(s.height_m - h) / s.height_sigma_m for s, h in zip(flying, true_m, strict=True)]
        speed += [(s.speed_mps - v) / s.speed_sigma_mps for s, v in zip(flying, true_mps, strict=True)]
        predicted += [
            (s.predicted_apogee_m - flown.truth.apogee_m) / s.predicted_apogee_sigma_m
            for s in flying
            if s.predicted_apogee_m == s.predicted_apogee_m and s.at_ns / 1e9 < times.apogee_s
        ]
    inside = {
        n: float(np.mean(np.abs(z) < 1.96))
        for n, z in {"height": height, "speed": speed, "apogee": top, "predicted apogee": predicted}.items()
    }
    print(
        f"apogee error {np.percentile(misses, 95):.2f} of the bar, called {np.percentile(late, 95):.2f} s late, "
        f"at most {max(early):.2f} s early; liftoff within {max(liftoff):.2f} s; inside 95 %: {inside}"
    )
    assert np.percentile(misses, 95) <= 1.0
    assert np.percentile(late, 95) <= 0.5
    assert max(early) <= 0.3
    assert max(liftoff) <= 0.3
    assert all(0.90 <= share <= 0.99 for share in inside.values()), inside
    print(f"ejection told in {len(ejected)} of 200, {np.percentile(ejected, [5, 50, 95])} s from the truth")
    assert len(ejected) >= 190
    assert np.percentile(np.abs(ejected), 90) <= 2.0


def test_state_on_the_pad_says_still_upright_and_at_zero(curlew: Vehicle, saltmarsh: Site) -> None:
    estimator = Estimator(curlew, saltmarsh)
    draws = random.Random(3)
    states: list[State] = []
    for k in range(600):
        sample = MotionSample(k * 10**8, k * 10**8, 100930.0 + draws.gauss(0, 3.0), (0.0, 0.0, 9.85), (0.0, 0.0, 0.0))
        states.append(estimator.step(sample)[0])
    last = states[-1]
    assert last.phase is Phase.PAD
    assert last.height_m == pytest.approx(0.0, abs=3.0 * last.height_sigma_m)
    assert (last.speed_mps, last.tilt_rad) == (0.0, 0.0)
    assert last.accel_up_mps2 == pytest.approx(0.0, abs=0.05)
    assert math.isnan(last.tilt_heading_rad)
