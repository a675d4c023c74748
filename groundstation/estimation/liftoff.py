"""Recognising liftoff: a push along the axis that lasts, or a height no vehicle on a pad can have.

A knock on the rail is as strong as a motor but does not last; a hand that carries the vehicle lasts but is weak, and
shakes it sideways too. So the speed gained is summed while the push stays strong and along the axis, and how much is
enough comes from the acceleration the vehicle file promises. Where the push fell into a gap, the height tells.
"""

import math
from dataclasses import dataclass

GAP_S = 0.35  # a longer silence may have hidden anything
ALONG_AXIS = 0.6  # sideways specific force over axial: more is handling, not thrust
STEADY_SHARE = 0.9  # of the push's peak: a knock's ringing, sampled in step with it, looks like a push that fades
LASTING_S = 0.12
QUIET_BEFORE_S = 2.0  # a vehicle at rest for this long is not in somebody's hands
ALOFT_M = 10.0
ALOFT_WITHIN_S = 60.0  # nobody carries a vehicle up ten metres in less, at 8 sigma of pressure


@dataclass(frozen=True, slots=True)
class Liftoff:
    """A recognised liftoff: it came after `after_s`, and the vehicle was under way by `before_s`."""

    after_s: float
    before_s: float


class LiftoffDetector:
    """See the module.

    Args:
        first_accel_mps2: Net upward acceleration at liftoff the vehicle file promises.
    """

    def __init__(self, first_accel_mps2: float) -> None:
        expected = max(first_accel_mps2, 5.0)
        self._push_mps2 = min(max(0.25 * expected, 3.0), 15.0)
        self._gain_mps = 0.1 * expected
        self._quiet_s = math.nan  # time of the newest sample without a push
        self._quiet_m = math.nan  # and its height
        self._moved_s = -math.inf  # time of the newest restlessness before the push
        self._push_s = math.nan  # time of the push's first sample
        self._pushes = 0
        self._gained_mps = 0.0
        self._peak_mps2 = 0.0
        self._last_s = math.nan
        self._last_mps2 = 0.0
        self._low_s = math.nan  # time of the newest sample with a height near the pad
        self._aloft = 0

    def observe(
        self, t_s: float, accel_up_mps2: float, sideways_mps2: float, height_m: float, sigma_m: float, *, still: bool
    ) -> Liftoff | None:
        """Take in one sample; NaN where acceleration or height is missing.

        Args:
            t_s: Its time.
            accel_up_mps2: Upward acceleration, without gravity and bias.
            sideways_mps2: Specific force across the axis.
            height_m: Pressure height above the pad.
            sigma_m: Standard deviation of that one height.
            still: Whether the vehicle is at rest in this sample.
        """
        found = self._by_push(t_s, accel_up_mps2, sideways_mps2, height_m, sigma_m, still=still)
        return found or self._by_height(t_s, height_m, sigma_m, still=still)

    def _by_push(
        self, t_s: float, accel_up_mps2: float, sideways_mps2: float, height_m: float, sigma_m: float, *, still: bool
    ) -> Liftoff | None:
        if accel_up_mps2 != accel_up_mps2:
            return None
        pushing = accel_up_mps2 >= self._push_mps2 and not sideways_mps2 > ALONG_AXIS * accel_up_mps2
        dt_s = t_s - self._last_s
        last_mps2, self._last_s, self._last_mps2 = self._last_mps2, t_s, accel_up_mps2
        if not pushing:
            self._quiet_s = t_s
            self._quiet_m = height_m if height_m == height_m else self._quiet_m
            self._pushes = 0
            if not still:
                self._moved_s = t_s
            return None
        self._pushes += 1
        if self._pushes == 1:
            self._push_s = t_s
            self._gained_mps = 0.0
            self._peak_mps2 = accel_up_mps2
            return None
        self._peak_mps2 = max(self._peak_mps2, accel_up_mps2)
        self._gained_mps += min(dt_s, GAP_S) * (accel_up_mps2 + last_mps2) / 2.0
        if self._gained_mps < self._gain_mps:
            return None
        # against the newest height at rest, not the pad's: a vehicle carried there may be off by a metre for a while
        risen = height_m - self._quiet_m > max(1.2, 4.5 * sigma_m)
        quiet_before = self._push_s - self._moved_s > QUIET_BEFORE_S
        lasting = self._pushes >= 3 and t_s - self._push_s >= LASTING_S
        steady = accel_up_mps2 >= STEADY_SHARE * self._peak_mps2
        if (quiet_before and ((lasting and steady) or risen)) or (lasting and height_m > max(2.5, 5.0 * sigma_m)):
            after = self._quiet_s if self._quiet_s == self._quiet_s else self._push_s
            return Liftoff(after, self._push_s)
        return None

    def _by_height(self, t_s: float, height_m: float, sigma_m: float, *, still: bool) -> Liftoff | None:
        if height_m != height_m:
            return None
        if still or height_m < max(ALOFT_M, 8.0 * sigma_m):
            if height_m < 0.5 * ALOFT_M:
                self._low_s = t_s
            self._aloft = 0
            return None
        self._aloft += 1
        if self._aloft >= 3 and t_s - self._low_s < ALOFT_WITHIN_S:
            return Liftoff(self._low_s, t_s)
        return None
