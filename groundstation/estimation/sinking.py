"""Recognising a descent that was under way when the vehicle was first heard, or heard again.

A station switched on late, or a receiver that finds the signal only under the canopy, sees a pressure that rises and
rises. No weather, hand or dust devil that has passed makes it rise by so much for so long; without any knowledge of
the pad that is what there is to go by.
"""

import math
from dataclasses import dataclass

from groundstation.estimation.atmosphere import standard_height_m

BLOCK_S = 1.0
LASTING_S = 10.0  # the pressure recovers from a dust devil within half of it
LEAST_RATE_MPS = 1.5  # over each block; common practice, no source: no canopy lets a vehicle down more slowly
LEAST_FALL_M = 25.0
FALL_M = 60.0  # 7 hPa: more than a dust devil's in any time
FALL_BLOCKS = 5  # a step touches three at most
LONGEST_GAP_S = 5.0
UNREST_M = 10.0  # gusts and hands


@dataclass(frozen=True, slots=True)
class Sinking:
    """A recognised descent: how long it has been watched, and its rate, positive."""

    over_s: float
    rate_mps: float


class SinkingWatch:
    """See the module; takes every sample until something is recognised."""

    def __init__(self) -> None:
        # (time, mean standard height), falling from each to the next
        self._blocks: list[tuple[float, float]] = []
        self._start_s = math.nan
        self._sum_s = self._sum_pa = 0.0
        self._size = 0

    @property
    def so_far(self) -> Sinking | None:
        """What may yet turn out to be a descent; None for no more than a pad's unrest."""
        if len(self._blocks) < 2:
            return None
        (first_s, first_m), (last_s, last_m) = self._blocks[0], self._blocks[-1]
        if first_m - last_m < UNREST_M:
            return None
        return Sinking(last_s - first_s, (first_m - last_m) / (last_s - first_s))

    def observe(self, t_s: float, pressure_pa: float) -> Sinking | None:
        """Take in one sample on the estimator's time; a pressure that is NaN changes nothing."""
        if not pressure_pa > 0.0:
            return None
        found = None
        if self._size and t_s - self._start_s >= BLOCK_S:
            found = self._close_block()
        if not self._size:
            self._start_s = t_s
        self._sum_s += t_s
        self._sum_pa += pressure_pa
        self._size += 1
        return found

    def _close_block(self) -> Sinking | None:
        t_s, height_m = self._sum_s / self._size, standard_height_m(self._sum_pa / self._size)
        self._sum_s = self._sum_pa = 0.0
        self._size = 0
        blocks = self._blocks
        if blocks:
            since_s, fall_m = t_s - blocks[-1][0], blocks[-1][1] - height_m
            if fall_m < LEAST_RATE_MPS * since_s or since_s > LONGEST_GAP_S:
                blocks.clear()
        blocks.append((t_s, height_m))
        over_s, fallen_m = t_s - blocks[0][0], blocks[0][1] - height_m
        lasting = over_s >= LASTING_S and fallen_m >= LEAST_FALL_M
        if lasting or (len(blocks) >= FALL_BLOCKS and fallen_m >= FALL_M):
            return Sinking(over_s, fallen_m / over_s)
        return None
