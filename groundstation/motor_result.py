"""The motor as it burnt, at a cursor: thrust over the samples received from liftoff to after burnout.

A pure function of a timeline and a time. Samples are put at the times the vehicle's own clock gives them, where their
packet carries one: the radio's delays would make a short burn longer or shorter.
"""

import math

import numpy as np

from groundstation.config.telemetry import columns
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import SEA_LEVEL_K, SEA_LEVEL_PA, density_kgpm3
from groundstation.estimation.gravity import STANDARD_MPS2, normal_gravity_mps2
from groundstation.estimation.motion_model import CLIPPED_SHARE
from groundstation.estimation.propulsion import Burn, MassBudget, burn_of
from groundstation.inputs import NS_PER_S
from groundstation.state import FlightEventKind
from groundstation.table import FloatArray, IntArray
from groundstation.timeline import Series, Timeline

AFTER_BURNOUT_S = 1.0
PAD_FROM_S, PAD_UNTIL_S = 10.0, 1.0  # before liftoff: where the accelerometer's bias is seen
FEWEST_PAD_SAMPLES = 10
FEWEST_SAMPLES = 4  # in the burn
LONGEST_GAP_SHARE = 0.5  # of the burn, without a sample: then nothing is said
STEADY_CLOCK_S = 1.0  # that the vehicle's clock may differ from the arrivals over a flight's first seconds


def motor_result(timeline: Timeline, at_ns: int) -> Burn | None:
    """The burn, as known at `at_ns`; times in seconds of the session's axis.

    Returns:
        None before it is over, where liftoff was not seen, and where too little of it was received.
    """
    events = {e.kind: e for e in timeline.events_until(at_ns)}
    liftoff, burnout = events.get(FlightEventKind.LIFTOFF), events.get(FlightEventKind.BURNOUT)
    end_ns = 0 if burnout is None else burnout.at_ns + round(AFTER_BURNOUT_S * NS_PER_S)
    if liftoff is None or burnout is None or at_ns < max(end_ns, burnout.called_ns):
        return None
    axis = timeline.vehicle.sensors.accel[2]
    series = timeline.series(f"accel_{axis[1]}")
    if series is None:
        return None
    start_ns = liftoff.at_ns - round(PAD_FROM_S * NS_PER_S)
    part = series.before(end_ns).since(start_ns)
    if part.t_ns.size < FEWEST_SAMPLES:
        return None
    axial = _axial(timeline.vehicle, part, axis[0])
    t_s = _measured_s(timeline, series, part)
    liftoff_s = (liftoff.at_ns - timeline.started_ns) / NS_PER_S
    burnout_s = (burnout.at_ns - timeline.started_ns) / NS_PER_S
    in_burn = np.isfinite(axial) & (t_s > liftoff_s) & (t_s < burnout_s)
    edges = np.concatenate([[liftoff_s], t_s[in_burn], [burnout_s]])
    if np.count_nonzero(in_burn) < FEWEST_SAMPLES:
        return None
    if np.max(np.diff(edges)) > LONGEST_GAP_SHARE * (burnout_s - liftoff_s):
        return None
    gravity_mps2 = _gravity_mps2(timeline)
    standing = axial[np.isfinite(axial) & (t_s < liftoff_s - PAD_UNTIL_S)]
    bias = float(np.median(standing)) - gravity_mps2 if standing.size >= FEWEST_PAD_SAMPLES else 0.0
    speed_mps = np.interp(part.t_ns, timeline.states.t_ns, timeline.states.column("speed_mps"))
    vehicle = timeline.vehicle
    try:
        return burn_of(
            t_s,
            axial - bias,
            np.where(t_s > liftoff_s, speed_mps, 0.0),
            liftoff_s=liftoff_s,
            mass=MassBudget(vehicle.airframe.liftoff_mass_kg, vehicle.motor.propellant_mass_kg),
            drag_kgpm=_drag_kgpm(timeline),
        )
    except ValueError:
        return None


def _axial(vehicle: Vehicle, part: Series, sign: str) -> FloatArray:
    """(n,) specific force along the long axis; NaN where it is invalid or clipped."""
    clip = vehicle.sensors.accel_range_mps2
    clip_mps2 = math.inf if clip is None else CLIPPED_SHARE * clip
    values = part.values
    good = (values >= part.least) & (values <= part.greatest) & (np.abs(values) < clip_mps2)
    return np.where(good, -values if sign == "-" else values, np.nan)


def _measured_s(timeline: Timeline, series: Series, part: Series) -> FloatArray:
    """(n,) times of the samples since the session's start: by the vehicle's clock where it runs with the arrivals."""
    arrived: FloatArray = (part.t_ns - timeline.started_ns) / NS_PER_S
    source = timeline.sources[series.name]
    clock = next(
        (c for c in columns(timeline.vehicle) if c.packet == source.table and c.meaning == "vehicle_time"), None
    )
    if clock is None:
        return arrived
    table = timeline.packets[source.table]
    low = int(np.searchsorted(table.t_ns, part.t_ns[0]))
    high = low + part.t_ns.size
    own = table.column(clock.name)[low:high]
    behind = arrived - own
    if not np.all(np.isfinite(own)) or np.ptp(behind) > STEADY_CLOCK_S or not _rises(own, part.t_ns):
        return arrived
    return own + float(np.min(behind))


def _rises(own: FloatArray, t_ns: IntArray) -> bool:
    return own.shape == t_ns.shape and bool(np.all(np.diff(own) > 0.0))


def _gravity_mps2(timeline: Timeline) -> float:
    site = timeline.site
    if site.latitude_rad is None:
        return STANDARD_MPS2
    return normal_gravity_mps2(site.latitude_rad, site.elevation_m or 0.0)


def _drag_kgpm(timeline: Timeline) -> float:
    site = timeline.site
    density = density_kgpm3(site.pressure_pa or SEA_LEVEL_PA, site.temperature_k or SEA_LEVEL_K)
    airframe = timeline.vehicle.airframe
    return 0.5 * density * airframe.drag_coefficient * math.pi * airframe.diameter_m**2 / 4.0
