"""Published distances to keep from a launch, by the motor's total impulse; local rules may ask for more.

Source:
    National Association of Rocketry: Model Rocket Safety Code (2018), sections 4 and 7; High Power Rocket Safety Code
    (2012), minimum distance table, single motors.
"""

import math
from dataclasses import dataclass

FOOT_M = 0.3048  # exact, NIST SP 811
MODEL_IMPULSE_NS = 160.0  # above it, or with more mass or thrust, a motor is high power
MODEL_MASS_KG = 1.5
MODEL_PROPELLANT_KG = 0.125
MODEL_THRUST_N = 80.0
_SMALL_MODEL_NS = 20.0  # to class D: 15 feet; larger models 30 feet
_MODEL = "model rocket safety code (NAR, 2018)"
_HIGH_POWER = "high power rocket safety code (NAR, 2012)"

# (impulse up to [N s], feet): classes H to J, K, L, M, N, O
_HIGH_POWER_FEET = (
    (1280.0, 100.0),
    (2560.0, 200.0),
    (5120.0, 300.0),
    (10240.0, 500.0),
    (20480.0, 1000.0),
    (40960.0, 1500.0),
)


@dataclass(frozen=True, slots=True)
class Distance:
    """The least distance of people from the pad, and the code that asks for it."""

    metres: float
    code: str


def least_distance(
    impulse_ns: float, average_thrust_n: float, liftoff_kg: float, propellant_kg: float
) -> Distance | None:
    """The published least distance of people from the pad at a launch.

    Args:
        impulse_ns: The motor's total impulse, above zero.
        average_thrust_n: Total impulse over burn time.
        liftoff_kg: Liftoff mass.
        propellant_kg: Propellant in it.
    Returns:
        None above class O, for which the codes have no figure.
    """
    impulse = round(impulse_ns, 2)  # class bounds are printed to 0.01 N s
    model = (
        impulse <= MODEL_IMPULSE_NS
        and average_thrust_n <= MODEL_THRUST_N
        and liftoff_kg <= MODEL_MASS_KG
        and propellant_kg <= MODEL_PROPELLANT_KG
    )
    if model:
        return Distance((15.0 if impulse <= _SMALL_MODEL_NS else 30.0) * FOOT_M, _MODEL)
    feet = next((f for most_ns, f in _HIGH_POWER_FEET if impulse <= most_ns), math.nan)
    return Distance(feet * FOOT_M, _HIGH_POWER) if feet == feet else None
