"""Motion samples out of a packet's columns: the sensors' axes turned to the body's, invalid values made NaN."""

import math

from groundstation.config.telemetry import columns_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.state import NAN, MotionSample
from groundstation.table import FloatArray

_MEANINGS = (
    "vehicle_time",
    "pressure",
    *(f"accel_{axis}" for axis in "xyz"),
    *(f"gyro_{axis}" for axis in "xyz"),
    *(f"attitude_{part}" for part in "wxyz"),
)


class MotionReader:
    """Reads `MotionSample`s from the rows of one kind of packet."""

    def __init__(self, vehicle: Vehicle, packet: str) -> None:
        sources = sources_of(vehicle)
        columns = columns_of(vehicle)[packet]
        self._reads: dict[str, tuple[int, float, float]] = {}
        for meaning in _MEANINGS:
            source = sources.get(meaning)
            if source is not None and source.table == packet:
                self._reads[meaning] = (columns.index(source.column), source.least, source.greatest)
        self._moves = any(name != "vehicle_time" for name in self._reads)
        self._accel = [(f"accel_{a[1]}", -1.0 if a[0] == "-" else 1.0) for a in vehicle.sensors.accel]
        self._gyro = [(f"gyro_{a[1]}", -1.0 if a[0] == "-" else 1.0) for a in vehicle.sensors.gyro]

    def sample(self, received_ns: int, row: FloatArray) -> MotionSample | None:
        """The sample in one row (columns,); None for a packet that carries no motion at all."""
        if not self._moves:
            return None
        values = row.tolist()
        got = {}
        for name, (column, least, greatest) in self._reads.items():
            value = values[column]
            got[name] = value if math.isfinite(value) and least <= value <= greatest else NAN
        ax, ay, az = (sign * got.get(name, NAN) for name, sign in self._accel)
        gx, gy, gz = (sign * got.get(name, NAN) for name, sign in self._gyro)
        w, x, y, z = (got.get(f"attitude_{part}", NAN) for part in "wxyz")
        return MotionSample(
            received_ns,
            got.get("vehicle_time", NAN),
            got.get("pressure", NAN),
            (ax, ay, az),
            (gx, gy, gz),
            (w, x, y, z),
        )
