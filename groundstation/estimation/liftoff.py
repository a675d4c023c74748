"""Recognising liftoff: a push along the axis that lifts or lasts, or a height no vehicle on a pad can have.

A knock on the rail is as strong as a motor but does not last; a hand that carries the vehicle lasts but is weak, and
shakes it sideways too. So the speed gained is summed while the push stays strong and along the axis, and how much is
enough comes from the acceleration the vehicle file promises. A knock that rings at nearly the rate of the samples, or
a multiple of it, looks like a push for as long as it rings; but it lifts nothing. Where the push fell into a gap, the
height tells, with free flight beside it, or where no dust devil takes the pressure.
"""

import math
from dataclasses import dataclass

from groundstation.estimation.gravity import STANDARD_MPS2

GAP_S = 0.35  # a longer silence may have hidden anything
ALONG_AXIS = 0.6  # sideways specific force over axial: more is handling, not thrust
PUSH_SHARE = 0.35  # of the acceleration promised
RISEN_M, RISEN_SIGMAS = 1.2, 4.5
RISEN_IN_HANDS_M, RISEN_IN_HANDS_SIGMAS = 2.5, 6.0
QUIET_BEFORE_S = 2.0  # a vehicle at rest for this long is not in somebody's hands
LASTING_S = 0.12
# Without a rise, as where no pressure is sent: a rail rings for up to half a second (common practice, no source), and
# then no longer as strongly; nothing but a motor pushes for a second.
STEADY_S = 0.4
STEADY_SHARE = 0.9  # of the push's peak
LONG_S = 0.9
ALOFT_M = 10.0
ALOFT_WITHIN_S = 60.0  # nobody carries a vehicle up ten metres in less, at 8 sigma of pressure
ALOFT_SAMPLES = 3
# The pressure in a dust devil's core falls by up to some 3 hPa, 25 m of height (from memory). Below, a vehicle must
# show besides that nothing carries it, while its height changes.
SURELY_ALOFT_M = 30.0
FREE_MPS2 = 0.5 * STANDARD_MPS2  # along its axis: half its weight
FREE_S = 0.5
FREE_SAMPLES = 4
FREE_CHANGE_M = 3.0
_CARRIED = (0, math.nan, math.nan)


@dataclass(frozen=True, slots=True)
class Liftoff:
    """A recognised liftoff: it came after `after_s`, and the vehicle was under way by `before_s`."""

    after_s: float
    before_s: float


class LiftoffDetector:
    """See the module.

    Args:
        first_accel_mps2: Net upward acceleration at liftoff the vehicle file promises.
        apogee_m: And how high it goes.
    """

    def __init__(self, first_accel_mps2: float, apogee_m: float) -> None:
        expected = max(first_accel_mps2, 5.0)
        self._push_mps2 = min(max(PUSH_SHARE * expected, 3.0), 15.0)
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
        self._grounded_s = math.nan  # and of one at rest, or as high as the pad
        self._aloft = 0
        self._surely_aloft_m = max(min(SURELY_ALOFT_M, 0.5 * apogee_m), ALOFT_M)
        self._free = _CARRIED  # samples in a row that nothing carries it, when and how high they began

    def observe(
        self,
        t_s: float,
        accel_up_mps2: float,
        axial_mps2: float,
        sideways_mps2: float,
        height_m: float,
        sigma_m: float,
        *,
        still: bool,
    ) -> Liftoff | None:
        """Take in one sample; NaN where acceleration or height is missing.

        Args:
            t_s: Its time.
            accel_up_mps2: Upward acceleration, without gravity and bias.
            axial_mps2: Specific force along the axis.
            sideways_mps2: Specific force across the axis.
            height_m: Pressure height above the pad.
            sigma_m: Standard deviation of that one height.
            still: Whether the vehicle is at rest in this sample.
        """
        self._watch_free(t_s, axial_mps2, height_m)
        found = self._by_push(t_s, accel_up_mps2, sideways_mps2, height_m, sigma_m, still=still)
        return found or self._by_height(t_s, height_m, sigma_m, still=still)

    def _by_push(
        self, t_s: float, accel_up_mps2: float, sideways_mps2: float, height_m: float, sigma_m: float, *, still: bool
    ) -> Liftoff | None:
        if accel_up_mps2 != accel_up_mps2:
            return None
        last_s, last_mps2 = self._last_s, self._last_mps2
        self._last_s, self._last_mps2 = t_s, accel_up_mps2
        if accel_up_mps2 < self._push_mps2 or sideways_mps2 > ALONG_AXIS * accel_up_mps2:
            self._quiet_s = t_s
            if height_m == height_m:
                self._quiet_m = height_m
            self._pushes = 0
            if not still:
                self._moved_s = t_s
            return None
        dt_s = t_s - last_s
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
        risen_m = height_m - (self._quiet_m if self._quiet_m == self._quiet_m else 0.0)
        lasts_s = t_s - self._push_s if self._pushes >= 3 else 0.0
        if self._push_s - self._moved_s > QUIET_BEFORE_S:
            steady = lasts_s >= STEADY_S and accel_up_mps2 >= STEADY_SHARE * self._peak_mps2
            lifted = steady or risen_m > max(RISEN_M, RISEN_SIGMAS * sigma_m)
        else:
            lifted = lasts_s >= LASTING_S and risen_m > max(RISEN_IN_HANDS_M, RISEN_IN_HANDS_SIGMAS * sigma_m)
        if lifted or lasts_s >= LONG_S:
            after = self._quiet_s if self._quiet_s == self._quiet_s else self._push_s
            return Liftoff(after, self._push_s)
        return None

    def _watch_free(self, t_s: float, axial_mps2: float, height_m: float) -> None:
        if axial_mps2 != axial_mps2:
            return
        if axial_mps2 > FREE_MPS2:
            self._free = _CARRIED
            return
        count, since_s, since_m = self._free
        self._free = (count + 1, since_s if count else t_s, since_m if since_m == since_m else height_m)

    def _by_height(self, t_s: float, height_m: float, sigma_m: float, *, still: bool) -> Liftoff | None:
        if height_m != height_m:
            return None
        if still or height_m < max(ALOFT_M, 8.0 * sigma_m):
            if height_m < 0.5 * ALOFT_M:
                self._low_s = t_s
            if still or height_m < max(RISEN_M, RISEN_SIGMAS * sigma_m):
                self._grounded_s = t_s
            self._aloft = 0
            return None
        self._aloft += 1
        count, since_s, since_m = self._free
        free = count >= FREE_SAMPLES and t_s - since_s >= FREE_S and abs(height_m - since_m) >= FREE_CHANGE_M
        if not free and height_m < self._surely_aloft_m:
            return None
        if self._aloft >= ALOFT_SAMPLES and t_s - self._low_s < ALOFT_WITHIN_S:
            return Liftoff(self._grounded_s if self._grounded_s == self._grounded_s else self._low_s, t_s)
        return None
