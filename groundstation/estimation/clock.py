"""The time step between two samples: by the vehicle's own clock where that makes sense, else by arrival.

The radio and the serial port deliver packets in clumps; the vehicle's clock says when they were measured. It is
believed while it runs forwards and within a second of the arrivals, and left when it wraps, stands still or restarts.
"""

import math

from groundstation.inputs import NS_PER_S

CLOCKS_AGREE_S = 1.0
# A radio repeats or reorders one packet now and then; a clock that never advances is a clock that is broken.
MOST_LATE_IN_A_ROW = 3


class StepClock:
    """Turns receive times and vehicle times, sample by sample, into time steps that are never negative."""

    __slots__ = ("_late", "_received_ns", "_vehicle_s", "restarts")

    def __init__(self) -> None:
        self._received_ns: int | None = None
        self._vehicle_s = math.nan
        self._late = 0
        self.restarts = 0

    def step_s(self, received_ns: int, vehicle_time_s: float) -> float | None:
        """Seconds since the sample before.

        Args:
            received_ns: When the sample was received.
            vehicle_time_s: The vehicle's clock in it; NaN where it has none.
        Returns:
            The step, 0.0 for the first sample; None for a sample that repeats or comes after a later one.
        """
        if self._received_ns is None:
            self._received_ns, self._vehicle_s = received_ns, vehicle_time_s
            return 0.0
        by_arrival = (received_ns - self._received_ns) / NS_PER_S
        by_vehicle = vehicle_time_s - self._vehicle_s
        if by_vehicle > 0.0 and abs(by_vehicle - by_arrival) < CLOCKS_AGREE_S:
            return self._advance(received_ns, vehicle_time_s, by_vehicle)
        late = -CLOCKS_AGREE_S < by_vehicle <= 0.0 or by_arrival <= 0.0
        if late and self._late < MOST_LATE_IN_A_ROW:
            self._late += 1
            return None
        if by_vehicle < 0.0:
            self.restarts += 1
        return self._advance(received_ns, vehicle_time_s, max(by_arrival, 0.0))

    def _advance(self, received_ns: int, vehicle_time_s: float, step_s: float) -> float:
        self._received_ns = max(received_ns, self._received_ns or received_ns)
        self._vehicle_s = vehicle_time_s
        self._late = 0
        return step_s
