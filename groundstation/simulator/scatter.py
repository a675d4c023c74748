"""How one flight differs from what the vehicle file says: motor, drag, alignment, rod, recovery."""

import math
import random
from dataclasses import dataclass

from groundstation.estimation.atmosphere import LAPSE_K_PER_M


@dataclass(frozen=True, slots=True)
class Scatter:
    """One flight's deviations; the defaults are none.

    Attributes:
        thrust_factor: On thrust, and so on total impulse.
        burn_factor: On burn time, at the same impulse.
        drag_factor: On the drag coefficient.
        misalignment_rad: Of the thrust against the gimbal's neutral, about body x and y.
        rod_tilt_rad: Of the launch rod from vertical.
        rod_heading_rad: Direction the rod leans to, clockwise from north.
        roll_rad_per_m: Roll angle a metre of flight through the air, from a crooked airframe.
        recognition_s: From true apogee until the flight computer ejects.
        canopy_factor: On the parachute's drag area.
        landing_heading_rad: Direction the nose lies to after landing.
        lapse_k_per_m: How the air cools with height; only the standard day's is known on the ground.
        thermometer_error_k: Of the site's thermometer, which stands in the sun or in the shade of a car.
    """

    thrust_factor: float = 1.0
    burn_factor: float = 1.0
    drag_factor: float = 1.0
    misalignment_rad: tuple[float, float] = (0.0, 0.0)
    rod_tilt_rad: float = 0.0
    rod_heading_rad: float = 0.0
    roll_rad_per_m: float = 0.0
    recognition_s: float = 0.5
    canopy_factor: float = 1.0
    landing_heading_rad: float = 0.0
    lapse_k_per_m: float = LAPSE_K_PER_M
    thermometer_error_k: float = 0.0

    @classmethod
    def drawn(cls, draws: random.Random) -> "Scatter":
        """A day's ordinary deviations (common practice, no source)."""
        return cls(
            thrust_factor=draws.gauss(1.0, 0.02),
            burn_factor=draws.gauss(1.0, 0.02),
            drag_factor=draws.gauss(1.0, 0.04),
            misalignment_rad=(draws.gauss(0.0, math.radians(0.3)), draws.gauss(0.0, math.radians(0.3))),
            rod_tilt_rad=abs(draws.gauss(0.0, math.radians(1.0))),
            rod_heading_rad=draws.uniform(0.0, 2 * math.pi),
            roll_rad_per_m=draws.gauss(0.0, 0.008),
            recognition_s=draws.uniform(0.3, 1.0),
            canopy_factor=draws.gauss(1.0, 0.04),
            landing_heading_rad=draws.uniform(0.0, 2 * math.pi),
            lapse_k_per_m=max(0.002, draws.gauss(0.0075, 0.0015)),
            thermometer_error_k=draws.gauss(0.0, 0.6),
        )
