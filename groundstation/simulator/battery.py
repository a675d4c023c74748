"""The pack on board: open-circuit voltage by state of charge, internal resistance, and what draws from it.

Source:
    M. Chen, G. A. Rincón-Mora, Accurate electrical battery model capable of predicting runtime and I-V performance,
    IEEE Transactions on Energy Conversion 21(2), 2006: eqs. 2 and 3, fitted to an 850 mAh polymer cell. The pack's
    resistance follows the shape of their series resistance, scaled to the vehicle file's value at full charge.
"""

import math
from dataclasses import dataclass

from groundstation.config.vehicle import Battery

# What the parts of our invented vehicle draw; common practice, no source.
BOARD_A = 0.17
CAMERA_A = 0.29
SERVO_IDLE_A = 0.012
SERVO_MOVING_A = 0.45


def open_circuit_cell_v(charge: float) -> float:
    """Open-circuit voltage of a cell [V] at a state of charge from 0 to 1 (Chen and Rincón-Mora, eq. 2)."""
    return -1.031 * math.exp(-35.0 * charge) + 3.685 + 0.2156 * charge - 0.1178 * charge**2 + 0.3201 * charge**3


def resistance_shape(charge: float) -> float:
    """Series resistance at a state of charge over that at full charge (Chen and Rincón-Mora, eq. 3)."""
    return (0.1562 * math.exp(-24.37 * charge) + 0.07446) / (0.1562 * math.exp(-24.37) + 0.07446)


@dataclass(frozen=True, slots=True)
class Loads:
    """What is switched on: the camera, and how many servos move."""

    camera: bool = False
    moving_servos: float = 0.0

    @property
    def current_a(self) -> float:
        """Current drawn from the pack [A]."""
        return BOARD_A + 2 * SERVO_IDLE_A + CAMERA_A * self.camera + SERVO_MOVING_A * self.moving_servos


@dataclass(slots=True)
class Pack:
    """The pack as it is discharged. `charge` is the state of charge from 0 to 1."""

    battery: Battery
    charge: float

    @property
    def resistance_ohm(self) -> float:
        """Internal resistance of the whole pack [ohm]."""
        return self.battery.internal_resistance_ohm * resistance_shape(self.charge)

    def voltage_v(self, current_a: float) -> float:
        """Voltage at the pack's terminals under a load [V]."""
        return self.battery.cells * open_circuit_cell_v(self.charge) - current_a * self.resistance_ohm

    def draw(self, current_a: float, seconds: float) -> None:
        """Take charge out of the pack."""
        self.charge = max(0.0, self.charge - current_a * seconds / self.battery.capacity_c)
