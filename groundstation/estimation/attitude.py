"""Attitude: unit quaternions from body to local, scalar first, and what they say of the long axis.

Local frame: east, north, up. Body frame: z along the long axis towards the nose. q and -q are the same attitude.
Formulas: J. Diebel, Representing Attitude (2006), eq. 125 and 289; J. B. Kuipers, Quaternions and Rotation Sequences
(1999), chapter 5 (equation and chapter numbers from memory).
"""

import math
from typing import NamedTuple

import numpy as np

from groundstation.table import FloatArray

Quaternion = tuple[float, float, float, float]
Vector = tuple[float, float, float]

# Sixteen-bit rounding moves the norm by 0.0001; a filter that no longer normalises drifts by more.
NORM_TOLERANCE = 0.05


class Lean(NamedTuple):
    """How the long axis stands: its angle from vertical, and the direction it leans to, clockwise from north."""

    tilt_rad: float
    heading_rad: float  # NaN where the axis is upright to 0.0001 rad, or the direction cannot be known


def unit_quaternion(sent: Quaternion) -> Quaternion | None:
    """The quaternion at length one; None where a part is NaN or the norm lies outside 1 ± `NORM_TOLERANCE`."""
    w, x, y, z = sent
    norm = math.sqrt(w * w + x * x + y * y + z * z)
    if not 1.0 - NORM_TOLERANCE <= norm <= 1.0 + NORM_TOLERANCE:
        return None
    return (w / norm, x / norm, y / norm, z / norm)


def nearer_sign(q: Quaternion, previous: Quaternion) -> Quaternion:
    """The quaternion or its negative, whichever lies nearer to the one before it; both are the same attitude."""
    w, x, y, z = q
    dot = w * previous[0] + x * previous[1] + y * previous[2] + z * previous[3]
    return (-w, -x, -y, -z) if dot < 0.0 else q


def continuous_signs(quaternions: FloatArray) -> FloatArray:
    """(n, 4) quaternions, each with the sign that lies nearer to the finite one before it; NaN rows stay NaN."""
    if quaternions.ndim != 2 or quaternions.shape[1] != 4:
        raise ValueError(f"found shape {quaternions.shape}, expected (n, 4)")
    out = quaternions.copy()
    finite = np.flatnonzero(np.isfinite(quaternions).all(axis=1))
    if finite.size:
        steps = np.einsum("ij,ij->i", quaternions[finite][1:], quaternions[finite][:-1])
        signs = np.cumprod(np.concatenate([[1.0], np.where(steps < 0.0, -1.0, 1.0)]))
        out[finite] *= signs[:, None]
    return out


def product(p: Quaternion, q: Quaternion) -> Quaternion:
    """Hamilton product p⊗q (ij = k): first q's rotation, then p's."""
    pw, px, py, pz = p
    qw, qx, qy, qz = q
    return (
        pw * qw - px * qx - py * qy - pz * qz,
        pw * qx + px * qw + py * qz - pz * qy,
        pw * qy - px * qz + py * qw + pz * qx,
        pw * qz + px * qy - py * qx + pz * qw,
    )


def conjugate(q: Quaternion) -> Quaternion:
    """The reverse rotation of a unit quaternion."""
    return (q[0], -q[1], -q[2], -q[3])


def to_local(q: Quaternion, body: Vector) -> Vector:
    """A body vector in the local frame (east, north, up); q must be of length one."""
    w, x, y, z = q
    bx, by, bz = body
    return (
        (1.0 - 2.0 * (y * y + z * z)) * bx + 2.0 * (x * y - w * z) * by + 2.0 * (x * z + w * y) * bz,
        2.0 * (x * y + w * z) * bx + (1.0 - 2.0 * (x * x + z * z)) * by + 2.0 * (y * z - w * x) * bz,
        2.0 * (x * z - w * y) * bx + 2.0 * (y * z + w * x) * by + (1.0 - 2.0 * (x * x + y * y)) * bz,
    )


def up_part(q: Quaternion, body: Vector) -> float:
    """The upward part of a body vector; q must be of length one."""
    w, x, y, z = q
    return 2.0 * (x * z - w * y) * body[0] + 2.0 * (y * z + w * x) * body[1] + (1.0 - 2.0 * (x * x + y * y)) * body[2]


def lean(q: Quaternion) -> Lean:
    """Tilt and heading of the long axis; q must be of length one. Rolling about the long axis changes neither."""
    w, x, y, z = q
    east = 2.0 * (x * z + w * y)
    north = 2.0 * (y * z - w * x)
    up = 1.0 - 2.0 * (x * x + y * y)
    level = math.hypot(east, north)
    heading = math.atan2(east, north) % math.tau if level > 1e-4 else math.nan
    return Lean(math.atan2(level, up), heading)


def resting_tilt_rad(force_mps2: Vector) -> float:
    """Tilt of the long axis from the specific force of a vehicle at rest, [0, π]; NaN where a part is NaN.

    At rest the accelerometer shows the support's push, which is straight up; its direction in the body is the tilt.
    """
    fx, fy, fz = force_mps2
    return math.atan2(math.hypot(fx, fy), fz)


def angle_between_rad(p: Quaternion, q: Quaternion) -> float:
    """The smallest rotation that takes one unit attitude to the other, [0, π]; NaN stays NaN."""
    w, x, y, z = product(conjugate(p), q)
    return 2.0 * math.atan2(math.sqrt(x * x + y * y + z * z), abs(w))


def mean_rate_radps(before: Quaternion, after: Quaternion, dt_s: float) -> Vector:
    """The constant body rate that turns one unit attitude into another in `dt_s`, to hold a gyroscope against.

    Raises:
        ValueError: dt_s is not above zero.
    """
    if not dt_s > 0.0:
        raise ValueError(f"found a time step of {dt_s} s, expected above 0 s")
    w, x, y, z = nearer_sign(product(conjugate(before), after), (1.0, 0.0, 0.0, 0.0))
    sine = math.sqrt(x * x + y * y + z * z)
    if sine == 0.0:
        return (0.0, 0.0, 0.0)
    scale = 2.0 * math.atan2(sine, w) / (sine * dt_s)
    return (scale * x, scale * y, scale * z)
