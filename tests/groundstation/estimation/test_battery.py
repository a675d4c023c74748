import math
import random

import numpy as np
import pytest

from groundstation.config.vehicle import Vehicle
from groundstation.estimation.battery import (
    Pack,
    cell_open_circuit_v,
    charge_of_cell,
    drawn_c,
    endurance,
    pack_from_reading,
    resistance_from_steps,
    sagged_v,
)
from groundstation.simulator.battery import Loads
from groundstation.simulator.battery import Pack as SimulatedPack


@pytest.mark.parametrize(
    ("charge", "volts"),
    [
        (1.0, 4.1029),
        (0.9, 4.0170),
        (0.7, 3.8880),
        (0.5, 3.8034),
        (0.3, 3.7477),
        (0.1, 3.6746),
        (0.05, 3.5164),
        (0.0, 2.6540),
    ],
)
def test_open_circuit_curve_is_the_published_one(charge: float, volts: float) -> None:
    # Chen and Rincón-Mora, IEEE Trans. Energy Conversion 21(2), 2006; values worked out from its coefficients.
    assert cell_open_circuit_v(charge) == pytest.approx(volts, abs=0.00005)
    assert charge_of_cell(cell_open_circuit_v(charge)) == pytest.approx(charge, abs=1e-9)


def test_charge_beyond_the_ends_of_the_curve_is_full_or_empty() -> None:
    assert charge_of_cell(4.3) == 1.0
    assert charge_of_cell(2.0) == 0.0
    assert math.isnan(charge_of_cell(math.nan))


def test_resistance_of_two_loads_is_the_textbook_quotient() -> None:
    # ΔV/ΔI: 12.45 V at 0.5 A and 11.97 V at 8.5 A are 0.060 ohm.
    found = resistance_from_steps(np.array([0.0, 1.0]), np.array([0.5, 8.5]), np.array([12.45, 11.97]))
    assert found is not None
    assert found.ohm == pytest.approx(0.060, abs=1e-9)


def test_resistance_without_a_step_is_unknown() -> None:
    t = np.arange(10.0)
    assert resistance_from_steps(t, np.full(10, 0.3), np.full(10, 12.0)) is None
    assert resistance_from_steps(t, np.full(10, np.nan), np.full(10, 12.0)) is None
    with pytest.raises(ValueError, match="expected equal columns"):
        resistance_from_steps(t, t, t[:-1])


def watched(vehicle: Vehicle, seed: int, seconds: float) -> tuple[SimulatedPack, np.ndarray, np.ndarray, np.ndarray]:
    """A simulated pack with the camera switched three times, as telemetry shows it four times a second."""
    draws = random.Random(seed)
    pack = SimulatedPack(vehicle.battery, draws.uniform(0.6, 0.98))
    switches = sorted(draws.uniform(10.0, seconds - 10.0) for _ in range(3))
    t = np.arange(0.0, seconds, 0.25)
    current, voltage = [], []
    for at in t.tolist():
        amperes = Loads(camera=sum(s < at for s in switches) % 2 == 1).current_a
        pack.draw(amperes, 0.25)
        current.append(amperes + draws.gauss(0.0, 0.004))
        voltage.append(round(pack.voltage_v(amperes) + draws.gauss(0.0, 0.004), 3))
    return pack, t, np.array(current), np.array(voltage)


def test_resistance_is_within_ten_percent_after_three_switchings_of_the_camera(curlew: Vehicle) -> None:
    off, scaled = [], []
    for seed in range(100):
        pack, t, current, voltage = watched(curlew, seed, 120.0)
        found = resistance_from_steps(t, current, voltage)
        assert found is not None
        assert found.steps == 3
        off.append(abs(found.ohm / pack.resistance_ohm - 1.0))
        scaled.append((found.ohm - pack.resistance_ohm) / found.sigma_ohm)
    assert np.percentile(off, 95) < 0.10
    assert 0.90 <= np.mean(np.abs(scaled) < 1.96) <= 0.99


@pytest.mark.parametrize("limit_cell_v", [3.5, 3.75])
def test_minutes_left_are_right_after_five_minutes(curlew: Vehicle, limit_cell_v: float) -> None:
    for seed in range(30):
        pack, t, current, voltage = watched(curlew, seed, 300.0)
        found = resistance_from_steps(t, current, voltage)
        assert found is not None
        late = t > 295.0
        seen = pack_from_reading(
            float(np.mean(voltage[late])),
            float(np.mean(current[late])),
            cells=curlew.battery.cells,
            capacity_c=curlew.battery.capacity_c,
            resistance_ohm=found.ohm,
        )
        load_a = Loads(camera=True).current_a
        said = endurance(seen, load_a, limit_v=limit_cell_v * curlew.battery.cells)
        minutes = 0.0
        while pack.voltage_v(load_a) > limit_cell_v * curlew.battery.cells:
            pack.draw(load_a, 1.0)
            minutes += 1.0 / 60.0
        assert said.minutes == pytest.approx(minutes, rel=0.15)
        assert said.least_minutes <= minutes <= said.most_minutes


def test_sag_under_a_firing_current_is_ohms_law() -> None:
    pack = Pack(cells=3, capacity_c=3060.0, resistance_ohm=0.12, charge=0.8, charge_sigma=0.02)
    assert sagged_v(pack, 5.0) == pytest.approx(3 * 3.9460 - 0.6, abs=0.0002)


def test_an_empty_pack_has_no_minutes_and_no_current_is_refused() -> None:
    pack = Pack(cells=3, capacity_c=3060.0, resistance_ohm=0.12, charge=0.1, charge_sigma=0.02)
    assert endurance(pack, 0.5, limit_v=11.25).minutes == 0.0
    for current in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="expected above zero"):
            endurance(pack, current, limit_v=11.25)


def test_charge_drawn_is_the_area_under_the_current() -> None:
    t = np.array([0.0, 1.0, 2.0, np.nan, 4.0])
    assert drawn_c(t, np.array([1.0, 1.0, 3.0, 9.0, 3.0])) == pytest.approx(1.0 + 2.0 + 6.0)
