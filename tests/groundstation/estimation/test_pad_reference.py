import math
import random

import pytest

from groundstation.config.station import Site
from groundstation.estimation.gravity import STANDARD_MPS2
from groundstation.estimation.pad import PadReference

NOWHERE = Site.model_validate({})


def stand(pad: PadReference, from_s: float, seconds: float, pressure_pa: float, *, still: bool = True) -> float:
    draws = random.Random(round(from_s))
    for k in range(round(seconds * 10)):
        pad.observe(from_s + k / 10, pressure_pa + draws.gauss(0.0, 3.0), still=still)
    return from_s + seconds


def height_m(pad: PadReference, pressure_pa: float) -> float:
    assert pad.air is not None
    return pad.air.height_m(pressure_pa)


def test_reference_settles_within_its_own_sigma() -> None:
    pad = PadReference(NOWHERE)
    t = stand(pad, 0.0, 60.0, 98000.0)
    assert pad.air is not None
    assert abs(pad.air.pressure_pa - 98000.0) < 3.0 * pad.sigma_pa(t)
    assert pad.noise_pa == pytest.approx(3.0, abs=1.0)
    assert pad.sigma_pa(t) < 1.5


def test_reference_follows_the_weather_on_a_hot_pad() -> None:
    pad = PadReference(NOWHERE)
    draws = random.Random(1)
    for k in range(36000):
        pad.observe(k / 10, 98000.0 - k / 10 * 0.02 + draws.gauss(0.0, 3.0), still=True)
    assert height_m(pad, 98000.0 - 72.0) == pytest.approx(0.0, abs=0.3)


def test_reference_keeps_still_once_frozen_and_its_sigma_grows_with_age() -> None:
    pad = PadReference(NOWHERE)
    t = stand(pad, 0.0, 60.0, 98000.0)
    pad.freeze()
    assert pad.air is not None
    before = pad.air.pressure_pa
    stand(pad, t, 60.0, 90000.0)
    assert pad.air.pressure_pa == before
    assert pad.sigma_pa(t + 300.0) > pad.sigma_pa(t) + 5.0


def test_an_unrecognised_second_of_ascent_does_not_move_the_reference() -> None:
    pad = PadReference(NOWHERE)
    t = stand(pad, 0.0, 60.0, 98000.0)
    assert pad.air is not None
    before = pad.air.pressure_pa
    stand(pad, t, 1.5, 97900.0, still=False)
    assert abs(pad.air.pressure_pa - before) < 0.5


def test_a_vehicle_carried_elsewhere_gets_a_new_reference() -> None:
    pad = PadReference(NOWHERE)
    t = stand(pad, 0.0, 60.0, 98000.0)
    t = stand(pad, t, 20.0, 97990.0, still=False)
    stand(pad, t, 30.0, 97900.0)
    assert height_m(pad, 97900.0) == pytest.approx(0.0, abs=0.3)


def test_nothing_usable_leaves_no_reference() -> None:
    pad = PadReference(NOWHERE)
    for bad in (math.nan, 0.0, -5.0):
        pad.observe(0.0, bad, still=True)
    assert pad.air is None
    assert pad.gravity_mps2 == STANDARD_MPS2


def test_site_temperature_is_preferred_and_narrows_the_scale() -> None:
    known = PadReference(Site.model_validate({"temperature": "30 degC"}))
    known.observe_temperature(320.0)
    assert known.temperature.kelvin == pytest.approx(303.15)
    unknown = PadReference(NOWHERE)
    assert known.scale_sigma < 0.008 < 0.03 < unknown.scale_sigma
    unknown.observe_temperature(310.0)
    assert unknown.temperature.kelvin == 310.0
    unknown.observe_temperature(500.0)  # no air is that hot
    assert unknown.temperature.kelvin == 310.0
