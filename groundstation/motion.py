"""Motion samples out of a packet's columns: the sensors' axes turned to the body's, invalid values made NaN."""

import sys
from collections.abc import Sequence

from groundstation.config.telemetry import columns_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.state import NAN, MotionSample

_MOST = sys.float_info.max  # so that an infinite value lies outside the range of a field that states none
_ABSENT = (0, 1.0, -1.0, 1.0)  # a range that no value lies in


class MotionReader:
    """Reads `MotionSample`s from the rows of one kind of packet."""

    def __init__(self, vehicle: Vehicle, packet: str) -> None:
        sources = sources_of(vehicle)
        columns = columns_of(vehicle)[packet]
        signed = [("", "pressure")]
        signed += [(axis[0], f"accel_{axis[1]}") for axis in vehicle.sensors.accel]
        signed += [(axis[0], f"gyro_{axis[1]}") for axis in vehicle.sensors.gyro]
        signed += [("", f"attitude_{part}") for part in "wxyz"]
        self._reads: list[tuple[int, float, float, float]] = []  # column, least, greatest, sign
        for sign, meaning in signed:
            source = sources.get(meaning)
            if source is None or source.table != packet:
                self._reads.append(_ABSENT)
                continue
            least, greatest = max(source.least, -_MOST), min(source.greatest, _MOST)
            self._reads.append((columns.index(source.column), least, greatest, -1.0 if sign == "-" else 1.0))
        self.moves = any(read is not _ABSENT for read in self._reads)

    def sample(self, row: Sequence[float], received_ns: int, measured_ns: int, boot: int = 0) -> MotionSample:
        """The sample in one row (columns,); all NaN where `moves` is false: the packet carries no motion."""
        p, ax, ay, az, gx, gy, gz, qw, qx, qy, qz = [
            sign * row[column] if least <= row[column] <= greatest else NAN
            for column, least, greatest, sign in self._reads
        ]
        return MotionSample(received_ns, measured_ns, p, (ax, ay, az), (gx, gy, gz), (qw, qx, qy, qz), boot=boot)
