import pytest

from groundstation.config.vehicle import Vehicle
from groundstation.simulator.battery import Loads, Pack, open_circuit_cell_v

# Chen and Rincón-Mora 2006, eq. 2, values of the printed coefficients
PUBLISHED = {
    1.0: 4.1029, 0.9: 4.0170, 0.8: 3.9460, 0.7: 3.8880, 0.6: 3.8411, 0.5: 3.8034,
    0.4: 3.7729, 0.3: 3.7477, 0.2: 3.7250, 0.1: 3.6746, 0.05: 3.5164, 0.0: 2.6540,
}  # fmt: skip


@pytest.mark.parametrize(("charge", "volts"), PUBLISHED.items())
def test_open_circuit_voltage_follows_the_published_curve(charge: float, volts: float) -> None:
    assert open_circuit_cell_v(charge) == pytest.approx(volts, abs=6e-5)


def test_load_step_shows_the_internal_resistance(vehicle: Vehicle) -> None:
    pack = Pack(vehicle.battery, 1.0)
    step_v = pack.voltage_v(0.2) - pack.voltage_v(0.5)
    assert step_v / 0.3 == pytest.approx(vehicle.battery.internal_resistance_ohm, abs=1e-9)


def test_resistance_rises_when_nearly_empty(vehicle: Vehicle) -> None:
    # eq. 3: (0.1562·exp(-24.37·0.05) + 0.07446) / 0.07446 = 1.6202
    ratio = Pack(vehicle.battery, 0.05).resistance_ohm / vehicle.battery.internal_resistance_ohm
    assert ratio == pytest.approx(1.6202, abs=1e-3)


def test_charge_is_what_was_not_drawn(vehicle: Vehicle) -> None:
    pack = Pack(vehicle.battery, 1.0)
    pack.draw(0.85, 1800.0)  # half of 850 mAh in half an hour
    assert pack.charge == pytest.approx(0.5, abs=1e-9)
    pack.draw(0.85, 1e6)
    assert pack.charge == 0.0


def test_camera_and_servos_add_to_the_load() -> None:
    rest = Loads().current_a
    assert Loads(camera=True).current_a > rest + 0.2
    assert Loads(moving_servos=2.0).current_a > rest + 0.5
