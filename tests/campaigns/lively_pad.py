"""Measurements of a vehicle that stands on a lively pad, an hour at a time, made as whole columns.

Air and sensors are those of `groundstation.simulator` (`pad.Weather`, `wind.Wind`, `sensors.Sensors`), their sizes
drawn from the simulator's upwards; on top of them comes what the simulator's pad has none of, each at a rate from
realistic to harsh (common practice, no source; a real pad sees a knock every ten minutes and a hand every hour):

    knock          180 an hour   2 to 120 m/s², ringing at 4 to 40 Hz for 0.03 to 0.25 s, along the axis and across
    thump           20 an hour   one push along the axis of 5 to 60 m/s² for 5 to 80 ms: set down, or the rail is hit
    handling        12 an hour   5 to 30 s of shaking and tilting by 20°, and carried up or down by up to 2 m
    leaning          6 an hour   3 to 20 s of a rail bent by 1° to 6°, let go at once
    gusts          always        a wind of 0 to 10 m/s, a seventh to a quarter of it gusts: the rail sways at 0.8 to
                                 4 Hz, the ports feel it
    whirl          0.5 an hour   a dust devil passes: the pressure falls by 20 to 300 Pa for seconds, and it rocks all
    sun and cloud  every 5 min   the bay warms by 9 to 30 K and cools again, the sensor itself by 5 K within a minute
    weather        always        a trend of up to 80 Pa an hour, a swing of 2 to 12 Pa in 10 to 25 min

The last ten seconds are without hands and knocks: nobody is near when a motor is lit. The wind goes on.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from groundstation.simulator.pad import S_PER_HOUR
from groundstation.simulator.sensors import (
    ACCEL_BIAS_MPS2,
    ACCEL_NOISE_MPS2,
    ATTITUDE_ERROR_RAD,
    ATTITUDE_NOISE_RAD,
    GUST_PORT_SHARE,
    GYRO_BIAS_RADPS,
    GYRO_NOISE_RADPS,
    PRESSURE_BIAS_PA,
    PRESSURE_NOISE_PA,
    PRESSURE_PER_KELVIN_PA,
)
from groundstation.simulator.wind import GUST_SHARE, GUST_TIME_S
from groundstation.state import MotionSample
from groundstation.table import FloatArray

GRAVITY_MPS2 = 9.81
DENSITY_KGPM3 = 1.2
PASCAL_PER_M = 12.0
FINE_HZ = 100.0  # of the grid for what moves slowly enough to be put between its points
BLOCK_HZ = 1.0
ARM_M = 1.0  # from the foot of the rail to the sensors
QUIET_AT_END_S = 10.0
MOST_SWING_M = 0.02  # on a rail nothing swings by more
KNOCKS, THUMPS, HANDLINGS, LEANINGS, WHIRLS = 180.0, 20.0, 12.0, 6.0, 0.5  # an hour
FASTEST_LIFT_MPS = 2.5  # arms swing nothing faster: a weightlifter's bar reaches 2 m/s (from memory)
BURST_S, BURST_LOSS = 0.5, 0.9


@dataclass(frozen=True)
class Hour:
    """Columns of what was received, n samples: times [s], pressure [Pa], and in the body frame specific force
    [m/s²] (n, 3), rates [rad/s] (n, 3), attitude (n, 4)."""

    t_s: FloatArray
    pressure_pa: FloatArray
    accel_mps2: FloatArray
    gyro_radps: FloatArray
    attitude: FloatArray

    def samples(self) -> Iterator[MotionSample]:
        """One by one, as they are measured; received a fiftieth of a second later."""
        measured_ns = np.rint(self.t_s * 1e9).astype(np.int64).tolist()
        rows = zip(
            measured_ns,
            self.pressure_pa.tolist(),
            map(tuple, self.accel_mps2.tolist()),
            map(tuple, self.gyro_radps.tolist()),
            map(tuple, self.attitude.tolist()),
            strict=True,
        )
        for at_ns, pressure_pa, accel, gyro, attitude in rows:
            yield MotionSample(at_ns + 20_000_000, at_ns, pressure_pa, accel, gyro, attitude)


def lively_hour(
    draws: np.random.Generator,
    rate_hz: float,
    *,
    loss: float = 0.0,
    seconds: float = S_PER_HOUR,
    accel_range_mps2: float = math.inf,
) -> Hour:
    """One hour on the pad.

    Args:
        draws: All that is random comes from it.
        rate_hz: Samples a second.
        loss: Share of them that is lost, in bursts of half a second.
        seconds: Its length, above ten.
        accel_range_mps2: The accelerometer is clipped there.
    """
    t_s = np.arange(draws.uniform(0.0, 1.0 / rate_hz), seconds, 1.0 / rate_hz)
    t_s = t_s[received(draws, t_s, loss)]
    fine_s = np.arange(0.0, seconds + 1.0 / FINE_HZ, 1.0 / FINE_HZ)
    busy_s = seconds - QUIET_AT_END_S

    mean_mps = draws.uniform(0.0, 10.0)
    gust_mps = draws.uniform(GUST_SHARE, 0.25) * mean_mps * _gusts(draws, fine_s.size, GUST_TIME_S, 2)
    handled = _Handled.drawn(draws, fine_s, busy_s)
    whirl_pa, whirling = _whirls(draws, fine_s, busy_s)
    lean_rad = _sway(draws, fine_s, gust_mps, _leanings(draws, fine_s, busy_s), whirling)
    lean_rad[0] += handled.tilt_rad
    rate_radps = np.gradient(lean_rad, 1.0 / FINE_HZ, axis=1)
    push_mps2 = ARM_M * np.gradient(rate_radps, 1.0 / FINE_HZ, axis=1)
    rough = whirling[:, np.newaxis] * draws.normal(0.0, draws.uniform(0.5, 3.0), (fine_s.size, 3))

    at = np.rint(t_s * FINE_HZ).astype(np.int64)
    lean, rate = lean_rad[:, at], rate_radps[:, at]
    knocked, turned = _knocks(draws, t_s, busy_s)
    size = np.hypot(lean[0], lean[1])
    sine = np.sinc(size / math.pi)  # sin(x)/x
    shaken = handled.shaking[at, np.newaxis] * draws.normal(0.0, [3.0, 3.0, 2.0], (t_s.size, 3))
    force = np.stack([-lean[1] * sine, lean[0] * sine, np.cos(size)], axis=1) * GRAVITY_MPS2
    force += knocked + shaken + rough[at]
    force[:, 0] += push_mps2[1, at]
    force[:, 1] -= push_mps2[0, at]
    force[:, 2] += handled.lifting_mps2[at] + 0.02 * gust_mps[0, at]
    force += draws.normal(0.0, ACCEL_BIAS_MPS2, 3) + draws.normal(0.0, ACCEL_NOISE_MPS2, force.shape)

    gyro = np.stack([rate[0], rate[1], np.zeros_like(t_s)], axis=1)
    gyro[:, 1] += turned
    gyro += handled.shaking[at, np.newaxis] * draws.normal(0.0, 0.3, gyro.shape)
    gyro += draws.normal(0.0, GYRO_BIAS_RADPS, 3) + draws.normal(0.0, GYRO_NOISE_RADPS, gyro.shape)

    wrong = draws.normal(0.0, ATTITUDE_ERROR_RAD, 2)
    shown = lean + wrong[:, np.newaxis] + draws.normal(0.0, ATTITUDE_NOISE_RAD, lean.shape)
    half = np.hypot(shown[0], shown[1]) / 2.0
    sine = np.sinc(half / math.pi) / 2.0
    attitude = np.stack([np.cos(half), shown[0] * sine, shown[1] * sine, np.zeros_like(half)], axis=1)

    pressure = draws.uniform(96_000.0, 102_500.0) + draws.normal(0.0, PRESSURE_BIAS_PA) + _slow_pa(draws, t_s)
    wind2 = (mean_mps + gust_mps[0, at]) ** 2 + gust_mps[1, at] ** 2
    pressure -= 0.5 * DENSITY_KGPM3 * draws.uniform(1.0, 2.0) * GUST_PORT_SHARE * wind2
    pressure -= whirl_pa[at] + PASCAL_PER_M * handled.raised_m[at]
    pressure += draws.normal(0.0, draws.uniform(1.0, 1.5) * PRESSURE_NOISE_PA, t_s.size)
    return Hour(t_s, pressure, np.clip(force, -accel_range_mps2, accel_range_mps2), gyro, attitude)


def received(draws: np.random.Generator, t_s: FloatArray, loss: float) -> np.ndarray:
    """Which samples come through: bursts begin and end as E. N. Gilbert's channel does."""
    if loss == 0.0:
        return np.ones(t_s.shape, bool)
    part = loss / BURST_LOSS
    clear_s = BURST_S * (1.0 - part) / part
    count = math.ceil(2.0 * t_s[-1] / (clear_s + BURST_S)) + 50
    lasting = np.stack([draws.exponential(clear_s, count), draws.exponential(BURST_S, count)], axis=1)
    edges = np.cumsum(lasting.ravel())
    in_burst = np.searchsorted(edges, t_s, side="right") % 2 == 1
    return ~(in_burst & (draws.random(t_s.size) < BURST_LOSS))


def _gusts(draws: np.random.Generator, count: int, time_s: float, directions: int) -> FloatArray:
    """(directions, count) Gauss-Markov noise of deviation 1 on the fine grid."""
    keep = math.exp(-1.0 / FINE_HZ / time_s)
    fresh = draws.normal(0.0, math.sqrt(1.0 - keep * keep), (directions, count))
    fresh[:, 0] = draws.normal(0.0, 1.0, directions)
    return np.asarray(lfilter([1.0], [1.0, -keep], fresh, axis=1))


def _times(draws: np.random.Generator, an_hour: float, until_s: float) -> FloatArray:
    """When something happens that comes so many times an hour."""
    count = draws.poisson(an_hour * until_s / S_PER_HOUR)
    return np.sort(draws.uniform(0.0, until_s, count))


@dataclass(frozen=True)
class _Handled:
    """What hands do, on the fine grid: whether they shake it, its tilt, how high it is held, what lifts it."""

    shaking: FloatArray
    tilt_rad: FloatArray
    raised_m: FloatArray
    lifting_mps2: FloatArray

    @classmethod
    def drawn(cls, draws: np.random.Generator, fine_s: FloatArray, busy_s: float) -> "_Handled":
        zero = np.zeros_like(fine_s)
        shaking, tilt, raised, lifting = zero.copy(), zero.copy(), zero.copy(), zero.copy()
        held_m = 0.0
        for start_s in _times(draws, HANDLINGS, busy_s - 35.0):
            lasts_s, aim_m = draws.uniform(5.0, 30.0), draws.uniform(-2.0, 2.0)
            # the way below is at most 1.875 times as fast as on average
            moves_s = max(draws.uniform(1.0, 3.0), 1.875 * abs(aim_m - held_m) / FASTEST_LIFT_MPS)
            during = slice(*np.searchsorted(fine_s, [start_s, start_s + lasts_s]))
            since = fine_s[during] - start_s
            shaking[during] = 1.0
            envelope = np.sin(math.pi * since / lasts_s) ** 2
            tilt[during] = 0.4 * envelope * np.sin(draws.uniform(0.5, 1.5) * since)
            # the smoothest way from one height to another: of least jerk, a polynomial of fifth degree
            x = np.clip((fine_s - start_s) / moves_s, 0.0, 1.0)
            raised += (aim_m - held_m) * x**3 * (10.0 - 15.0 * x + 6.0 * x * x)
            lifting += (aim_m - held_m) / moves_s**2 * x * (60.0 - 180.0 * x + 120.0 * x * x)
            rocking = 1.5 * _gusts(draws, since.size, 0.5, 1)[0]
            lifting[during] += rocking
            held_m = aim_m
        return cls(shaking, tilt, raised, lifting)


def _whirls(draws: np.random.Generator, fine_s: FloatArray, busy_s: float) -> tuple[FloatArray, FloatArray]:
    """How far the pressure falls as dust devils pass, and how much they rock what stands there, from 0 to 1."""
    fall_pa, rocking = np.zeros_like(fine_s), np.zeros_like(fine_s)
    for at_s in _times(draws, WHIRLS, busy_s):
        depth_pa, half_s = math.exp(draws.uniform(math.log(20.0), math.log(300.0))), draws.uniform(1.0, 5.0)
        away = (fine_s - at_s) / half_s
        fall_pa += depth_pa / (1.0 + away * away)
        rocking = np.maximum(rocking, np.exp(-0.5 * away * away))
    return fall_pa, np.where(rocking > 0.01, rocking, 0.0)


def _leanings(draws: np.random.Generator, fine_s: FloatArray, busy_s: float) -> FloatArray:
    """(2, n) how far somebody who leans on it bends the rail."""
    bent = np.zeros((2, fine_s.size))
    for start_s in _times(draws, LEANINGS, busy_s - 25.0):
        during = slice(*np.searchsorted(fine_s, [start_s, start_s + draws.uniform(3.0, 20.0)]))
        size, heading = math.radians(draws.uniform(1.0, 6.0)), draws.uniform(0.0, math.tau)
        grown = size * np.minimum((fine_s[during] - start_s) / 0.5, 1.0)
        bent[:, during] = np.outer([math.cos(heading), math.sin(heading)], grown)
    return bent


def _sway(
    draws: np.random.Generator, fine_s: FloatArray, gust_mps: FloatArray, bent_rad: FloatArray, whirling: FloatArray
) -> FloatArray:
    """(2, n) rotation from upright about body x and y: a rail that stands a little off, springs and swings."""
    turn = math.tau * draws.uniform(0.8, 4.0)
    damping = draws.uniform(0.03, 0.15)
    per_mps = math.radians(math.exp(draws.uniform(math.log(0.02), math.log(0.3))))
    rocked = whirling * _gusts(draws, fine_s.size, 0.3, 2) * math.radians(draws.uniform(0.2, 1.0))
    aim = per_mps * gust_mps + bent_rad + rocked
    # the oscillator x'' + 2 d w x' + w² x = w² aim, stepped exactly with its aim held over a step of the grid
    step = 1.0 / FINE_HZ
    root = math.sqrt(1.0 - damping * damping) * turn
    fade = math.exp(-damping * turn * step)
    a1, a2 = -2.0 * fade * math.cos(root * step), fade * fade
    share = damping * turn / root
    b1 = 1.0 - fade * (math.cos(root * step) + share * math.sin(root * step))
    b2 = a2 + fade * (share * math.sin(root * step) - math.cos(root * step))
    swung = np.asarray(lfilter([0.0, b1, b2], [1.0, a1, a2], aim, axis=1))
    stands = abs(draws.normal(0.0, math.radians(1.5)))
    heading = draws.uniform(0.0, math.tau)
    return swung + stands * np.array([[math.cos(heading)], [math.sin(heading)]])


def _knocks(draws: np.random.Generator, t_s: FloatArray, busy_s: float) -> tuple[FloatArray, FloatArray]:
    """Specific force (n, 3) and rate about y (n,) of knocks and thumps, wherever they fall between two samples."""
    force, turned = np.zeros((t_s.size, 3)), np.zeros(t_s.size)
    for at_s in _times(draws, KNOCKS, busy_s):
        size = math.exp(draws.uniform(math.log(2.0), math.log(120.0)))
        along = float(draws.choice([0.1, 0.5, 1.0])) * float(draws.choice([-1.0, 1.0]))
        turn, decay_s = math.tau * draws.uniform(4.0, 40.0), draws.uniform(0.03, 0.25)
        size = min(size, MOST_SWING_M * turn * turn)
        near = slice(*np.searchsorted(t_s, [at_s, at_s + 10.0 * decay_s]))
        since = t_s[near] - at_s
        fading = size * np.exp(-since / decay_s)
        heading = draws.uniform(0.0, math.tau)
        across = (1.0 - abs(along)) * fading * np.cos(turn * since)
        force[near, 0] += across * math.cos(heading) + 0.1 * fading * np.cos(1.3 * turn * since)
        force[near, 1] += across * math.sin(heading)
        force[near, 2] += along * fading * np.cos(turn * since)
        turned[near] += (1.0 - abs(along)) * fading / turn * np.sin(turn * since)
    for at_s in _times(draws, THUMPS, busy_s):
        lasts_s, size = draws.uniform(0.005, 0.08), draws.uniform(5.0, 60.0)
        near = slice(*np.searchsorted(t_s, [at_s, at_s + lasts_s]))
        force[near, 2] += size * np.sin(math.pi * (t_s[near] - at_s) / lasts_s)
    return force, turned


def _slow_pa(draws: np.random.Generator, t_s: FloatArray) -> FloatArray:
    """What weather, sun and clouds do to the pressure sensor's reading."""
    trend, swing = draws.uniform(-80.0, 80.0) / S_PER_HOUR, draws.uniform(2.0, 12.0)
    turn, phase = math.tau / draws.uniform(600.0, 1500.0), draws.uniform(0.0, math.tau)
    slow_s = np.arange(0.0, t_s[-1] + 2.0, 1.0 / BLOCK_HZ)
    edges = np.cumsum(draws.exponential(300.0, math.ceil(slow_s[-1] / 300.0) + 50))
    sunny = (np.searchsorted(edges, slow_s, side="right") % 2).astype(np.float64)
    bay_k = draws.uniform(1.0, 4.0) + draws.uniform(9.0, 30.0) * _lagging(sunny, 900.0)
    sensor_k = draws.uniform(0.0, 5.0) * _lagging(sunny, 60.0)
    heated_pa = draws.uniform(1.0, 2.0) * PRESSURE_PER_KELVIN_PA * (bay_k + sensor_k)
    return trend * t_s + swing * np.sin(turn * t_s + phase) + np.interp(t_s, slow_s, heated_pa)


def _lagging(aim: FloatArray, time_s: float) -> FloatArray:
    keep = math.exp(-1.0 / BLOCK_HZ / time_s)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], aim))
