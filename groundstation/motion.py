"""Motion out of packets' columns: the sensors' axes turned to the body's, invalid values made NaN."""

import sys
from collections.abc import Iterator

import numpy as np

from groundstation.config.telemetry import columns_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.table import FloatArray

Motion = tuple[float, tuple[float, float, float], tuple[float, float, float], tuple[float, float, float, float]]
"""Pressure [Pa], specific force [m/s²], rates [rad/s] and attitude of a `MotionSample`, in its order."""

_MOST = sys.float_info.max  # so that an infinite value lies outside the range of a field that states none
_ABSENT = (0, 1.0, -1.0, 1.0)  # a range that no value lies in


class MotionReader:
    """Reads motion from the columns of one kind of packet."""

    def __init__(self, vehicle: Vehicle, packet: str) -> None:
        sources = sources_of(vehicle)
        columns = columns_of(vehicle)[packet]
        signed = [("", "pressure")]
        signed += [(axis[0], f"accel_{axis[1]}") for axis in vehicle.sensors.accel]
        signed += [(axis[0], f"gyro_{axis[1]}") for axis in vehicle.sensors.gyro]
        signed += [("", f"attitude_{part}") for part in "wxyz"]
        reads: list[tuple[int, float, float, float]] = []  # column, least, greatest, sign
        for sign, meaning in signed:
            source = sources.get(meaning)
            if source is None or source.table != packet:
                reads.append(_ABSENT)
                continue
            least, greatest = max(source.least, -_MOST), min(source.greatest, _MOST)
            reads.append((columns.index(source.column), least, greatest, -1.0 if sign == "-" else 1.0))
        self.moves = any(read is not _ABSENT for read in reads)
        self._columns = np.array([column for column, _, _, _ in reads], np.intp)
        self._least, self._greatest, self._sign = np.array([read[1:] for read in reads], np.float64).T[:, :, None]

    def read(self, values: FloatArray) -> Iterator[Motion]:
        """The motion in each of (columns, n) values; all NaN where `moves` is false: the packet carries none."""
        seen = values.take(self._columns, axis=0)
        invalid = (seen < self._least) | (seen > self._greatest)
        seen *= self._sign
        seen[invalid] = np.nan
        p, ax, ay, az, gx, gy, gz, qw, qx, qy, qz = seen.tolist()
        return zip(p, zip(ax, ay, az), zip(gx, gy, gz), zip(qw, qx, qy, qz))  # noqa: B905 - rows of one array
