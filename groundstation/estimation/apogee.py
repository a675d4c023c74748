"""How high it will go: boost and coast in closed form with drag, from where it is now.

Source:
    Fehskens and Malewicki's closed forms, as printed in Mandell, Caporaso and Bengen, Topics in Advanced Model
    Rocketry (MIT Press, 1973), chapter 4, eq. 20, 21 and 67. Mass is constant in each part of the flight, drag goes
    with v².
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Rise:
    """A part of the flight: height gained [m], time taken [s], and the speed at its end [m/s]."""

    height_m: float
    time_s: float
    end_mps: float


def coast(speed_mps: float, mass_kg: float, drag_kgpm: float, gravity_mps2: float) -> Rise:
    """From an upward speed without thrust to the top.

    Args:
        speed_mps: Upward speed; at or below zero nothing is gained.
        mass_kg: Mass.
        drag_kgpm: k = ½·ρ·Cd·A, drag over speed squared; zero for no drag.
        gravity_mps2: Gravity.
    """
    if speed_mps <= 0.0:
        return Rise(0.0, 0.0, speed_mps)
    weight_n = mass_kg * gravity_mps2
    ratio = drag_kgpm * speed_mps * speed_mps / weight_n
    if ratio < 1e-9:
        return Rise(speed_mps * speed_mps / (2.0 * gravity_mps2), speed_mps / gravity_mps2, 0.0)
    height_m = mass_kg / (2.0 * drag_kgpm) * math.log1p(ratio)
    time_s = math.sqrt(mass_kg / (drag_kgpm * gravity_mps2)) * math.atan(math.sqrt(ratio))
    return Rise(height_m, time_s, 0.0)


def boost(
    speed_mps: float, thrust_n: float, burn_s: float, mass_kg: float, drag_kgpm: float, gravity_mps2: float
) -> Rise:
    """A burn of constant thrust from an upward speed, 0 included; mass is the mean over the burn.

    Below its terminal speed the rise follows tanh, above it coth; both are one form here.
    """
    net_n = thrust_n - mass_kg * gravity_mps2
    if burn_s <= 0.0:
        return Rise(0.0, 0.0, speed_mps)
    if drag_kgpm * max(speed_mps, net_n * burn_s / mass_kg) ** 2 < 1e-9 * mass_kg * gravity_mps2 or net_n <= 0.0:
        # Without drag to speak of, or with hardly any thrust: drag held at its first value.
        accel = (net_n - drag_kgpm * speed_mps * abs(speed_mps)) / mass_kg
        return Rise(speed_mps * burn_s + accel * burn_s**2 / 2.0, burn_s, speed_mps + accel * burn_s)
    terminal_mps = math.sqrt(net_n / drag_kgpm)
    turn = math.sqrt(drag_kgpm * net_n) / mass_kg * burn_s
    # v' = (net - k v²)/m solved with v/terminal as the start: one form for both sides of the terminal speed.
    start = speed_mps / terminal_mps
    spread = math.cosh(turn) + start * math.sinh(turn)
    end_mps = terminal_mps * (math.sinh(turn) + start * math.cosh(turn)) / spread
    return Rise(mass_kg / drag_kgpm * math.log(spread), burn_s, end_mps)
