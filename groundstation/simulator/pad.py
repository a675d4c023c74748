"""The vehicle standing on the pad, and the air around it: site, weather, sun, wind.

What the station file leaves out is filled in with a standard day; slow changes are smooth functions of time drawn
once from the seed, so that they do not depend on when they are asked for.
"""

import math
import random
from dataclasses import dataclass

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import PadAir, standard_air
from groundstation.estimation.gravity import STANDARD_MPS2, normal_gravity_mps2
from groundstation.simulator.rotation import leaning, to_body
from groundstation.simulator.truth import BodyState

DEFAULT_WIND_MPS = 3.0
S_PER_HOUR = 3600.0
BUMP_DECAY_S = 0.12
BUMP_HZ = 9.0  # of a vehicle this size on its rod (common practice, no source)


@dataclass(frozen=True, slots=True)
class PadPlan:
    """What is done with the vehicle on the pad; times on the simulation's clock [s].

    Attributes:
        uptime_s: How long the flight computer has been running when the simulation starts.
        charge: The pack's state of charge then, from 0 to 1; None draws one near full.
        camera_switches: (time, on) of each switching of the camera, in order; it is off before the first.
        bumps: (time, strength [m/s²]) of knocks against rod or vehicle, which ring for a few tenths of a second.
        camera_lead_s: The camera is switched on this long before ignition, if the vehicle launches.
    """

    uptime_s: float = 42.0
    charge: float | None = None
    camera_switches: tuple[tuple[float, bool], ...] = ()
    bumps: tuple[tuple[float, float], ...] = ()
    camera_lead_s: float = 15.0

    def camera_on(self, t_s: float, ignition_s: float | None) -> bool:
        """Whether the camera runs at a time."""
        on = ignition_s is not None and t_s >= ignition_s - self.camera_lead_s
        for at_s, switched in self.camera_switches:
            if t_s >= at_s:
                on = switched
        return on


def pad_air(site: Site, lapse_k_per_m: float, thermometer_error_k: float = 0.0) -> PadAir:
    """The air above the pad: the site's own, with a standard day's values where it has none, cooling by the lapse.

    A thermometer that reads too warm stands in colder air than the site file says.
    """
    standard = standard_air(site.elevation_m or 0.0)
    return PadAir(
        standard.pressure_pa if site.pressure_pa is None else site.pressure_pa,
        standard.temperature_k if site.temperature_k is None else site.temperature_k - thermometer_error_k,
        lapse_k_per_m=lapse_k_per_m,
        gravity_mps2=gravity_mps2(site),
    )


def gravity_mps2(site: Site) -> float:
    """Gravity at the pad: WGS 84 normal gravity, or standard gravity where the site has no latitude."""
    if site.latitude_rad is None:
        return STANDARD_MPS2
    return normal_gravity_mps2(site.latitude_rad, site.elevation_m or 0.0)


def mean_wind_mps(site: Site) -> tuple[float, float]:
    """The wind's east and north parts as the site gives it; what it blows towards."""
    speed = DEFAULT_WIND_MPS if site.wind_mps is None else site.wind_mps
    from_rad = 0.0 if site.wind_from_rad is None else site.wind_from_rad
    return (-speed * math.sin(from_rad), -speed * math.cos(from_rad))


def standing(vehicle: Vehicle, site: Site, *, tilt_rad: float, heading_rad: float) -> BodyState:
    """The vehicle at rest on its rod, leant by `tilt_rad` towards `heading_rad` (clockwise from north)."""
    attitude = leaning(tilt_rad, heading_rad)
    return BodyState(
        t_s=0.0,
        position_m=(0.0, 0.0, 0.0),
        velocity_mps=(0.0, 0.0, 0.0),
        attitude=attitude,
        rate_radps=(0.0, 0.0, 0.0),
        force_mps2=to_body(attitude, (0.0, 0.0, gravity_mps2(site))),
        mass_kg=vehicle.airframe.liftoff_mass_kg,
        wind_mps=mean_wind_mps(site),
    )


def bumped(state: BodyState, bumps: tuple[tuple[float, float], ...]) -> BodyState:
    """The vehicle at rest as its sensors feel knocks: across its axis and along it, with a little turning."""
    x, y, z = state.force_mps2
    p, q, r = state.rate_radps
    for at_s, strength_mps2 in bumps:
        since_s = state.t_s - at_s
        if 0.0 <= since_s < 10 * BUMP_DECAY_S:
            ringing = strength_mps2 * math.exp(-since_s / BUMP_DECAY_S)
            x += ringing * math.cos(2 * math.pi * BUMP_HZ * since_s)
            z += 0.5 * ringing * math.cos(2 * math.pi * 1.7 * BUMP_HZ * since_s)
            q += ringing / (2 * math.pi * BUMP_HZ) * math.sin(2 * math.pi * BUMP_HZ * since_s)
    return state._replace(force_mps2=(x, y, z), rate_radps=(p, q, r))


class Weather:
    """The day's slow changes at the pad: barometer, sun on the bay and on the pack.

    Sizes are common practice, no source: a barometer moves by up to some 50 Pa an hour on a flying day, a closed bay
    in the sun gains about 12 K in a quarter of an hour, a pack in its sleeve half as much, more slowly.
    """

    def __init__(self, air: PadAir, draws: random.Random) -> None:
        self._air = air
        self._trend_pa_per_s = draws.uniform(-50.0, 50.0) / S_PER_HOUR
        self._swing_pa = draws.uniform(2.0, 8.0)
        self._swing_period_s = draws.uniform(600.0, 1500.0)
        self._swing_phase = draws.uniform(0.0, 2 * math.pi)
        self._sun_k = draws.uniform(9.0, 15.0)
        self._first_k = draws.uniform(1.0, 4.0)

    def pressure_change_pa(self, t_s: float) -> float:
        """How far the barometer has moved since the start [Pa]."""
        turn = 2 * math.pi / self._swing_period_s
        swing = math.sin(turn * t_s + self._swing_phase) - math.sin(self._swing_phase)
        return self._trend_pa_per_s * t_s + self._swing_pa * swing

    def bay_k(self, t_s: float) -> float:
        """Temperature of the avionics bay [K]."""
        warmed = self._sun_k * (1.0 - math.exp(-t_s / 900.0))
        return self._air.temperature_k + self._first_k + warmed

    def pack_k(self, t_s: float) -> float:
        """Temperature of the pack [K]."""
        warmed = 0.5 * self._sun_k * (1.0 - math.exp(-t_s / 1800.0))
        return self._air.temperature_k + self._first_k + warmed
