"""Unit quaternions as plain floats: scalar first, from the body frame to the local frame (Hamilton's product).

Source:
    J. B. Kuipers, Quaternions and Rotation Sequences (1999), chapters 5 and 7 (attribution from memory).
"""

import math

Vector = tuple[float, float, float]
Quaternion = tuple[float, float, float, float]


def product(a: Quaternion, b: Quaternion) -> Quaternion:
    """Hamilton's product: the rotation b, then the rotation a."""
    aw, ax, ay, az = a
    bw, bx, by, bz = b
    return (
        aw * bw - ax * bx - ay * by - az * bz,
        aw * bx + ax * bw + ay * bz - az * by,
        aw * by - ax * bz + ay * bw + az * bx,
        aw * bz + ax * by - ay * bx + az * bw,
    )


def from_rotation_vector(rx: float, ry: float, rz: float) -> Quaternion:
    """The rotation about (rx, ry, rz) by that vector's length [rad]."""
    angle = math.sqrt(rx * rx + ry * ry + rz * rz)
    if angle < 1e-12:
        return (1.0, 0.5 * rx, 0.5 * ry, 0.5 * rz)
    s = math.sin(angle / 2) / angle
    return (math.cos(angle / 2), rx * s, ry * s, rz * s)


def normalised(q: Quaternion) -> Quaternion:
    """The quaternion at unit length."""
    w, x, y, z = q
    n = math.sqrt(w * w + x * x + y * y + z * z)
    return (w / n, x / n, y / n, z / n)


def to_local(q: Quaternion, v: Vector) -> Vector:
    """A vector of the body frame in the local frame."""
    w, x, y, z = q
    vx, vy, vz = v
    tx, ty, tz = 2 * (y * vz - z * vy), 2 * (z * vx - x * vz), 2 * (x * vy - y * vx)
    return (vx + w * tx + y * tz - z * ty, vy + w * ty + z * tx - x * tz, vz + w * tz + x * ty - y * tx)


def to_body(q: Quaternion, v: Vector) -> Vector:
    """A vector of the local frame in the body frame."""
    w, x, y, z = q
    return to_local((w, -x, -y, -z), v)


def leaning(tilt_rad: float, heading_rad: float) -> Quaternion:
    """The attitude of a body leant from upright by `tilt_rad` towards `heading_rad`, clockwise from north."""
    return from_rotation_vector(-tilt_rad * math.cos(heading_rad), tilt_rad * math.sin(heading_rad), 0.0)


def tilt_rad(q: Quaternion) -> float:
    """Angle between the body's z axis and up [rad]."""
    _, x, y, z = q
    sine = 2 * math.hypot(x * z + q[0] * y, y * z - q[0] * x)
    return math.atan2(sine, 1 - 2 * (x * x + y * y))
