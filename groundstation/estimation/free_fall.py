"""Telling a charge's pressure from a fall: nothing falls faster than freely from where it was last known well.

After a silence over the top neither height nor speed is known well enough to tell that a pressure cannot be; but how
high the vehicle was before it is known, and how it went up. A height below what a free fall since then allows is that
of a charge in the bay, for as long as one lasts.
"""

import math
from dataclasses import dataclass

from groundstation.estimation.vertical import VerticalFilter

PULSE_LASTS_S = 0.5  # longer, and what was known is wrong (common practice, no source)
SIGMAS = 3.0
FOR_S = 10.0  # by then it bounds nothing
UNSEEN_DRAG_MPS2 = 4.0  # more than it had when it was last known


@dataclass(frozen=True, slots=True)
class _Known:
    """Height and upward speed at a time of the coast, their variances, and what it decelerates by, drag included."""

    t_s: float
    h: float
    v: float
    p_hh: float
    p_vv: float
    decelerates_mps2: float

    def variance_m2(self, since_s: float) -> float:
        """Variance of a height foretold from here."""
        return self.p_hh + self.p_vv * since_s * since_s

    def lowest_m(self, since_s: float) -> float:
        """The lowest it can have come."""
        return self.h + self.v * since_s - 0.5 * (self.decelerates_mps2 + UNSEEN_DRAG_MPS2) * since_s * since_s


class FreeFallBound:
    """See the module; knows nothing at first."""

    def __init__(self) -> None:
        self._known: _Known | None = None
        self._too_low_s = math.nan  # when the first height in a row was too low

    def know(self, t_s: float, motion: VerticalFilter, decelerates_mps2: float) -> None:
        """Take in a moment of the coast, unless a gap has left it less well known than what was known before.

        Args:
            t_s: Its time.
            motion: Height, speed and their covariance there.
            decelerates_mps2: Gravity, and drag where it slows the vehicle.
        """
        known = self._known
        if known is None or motion.p_hh <= known.variance_m2(t_s - known.t_s):
            self._known = _Known(t_s, motion.h, motion.v, motion.p_hh, motion.p_vv, decelerates_mps2)

    def is_a_charges(self, t_s: float, height_m: float, variance_m2: float) -> bool:
        """Whether a pressure's height, of this variance, is too low for any fall and has not been so for long."""
        known = self._known
        if known is None:
            return False
        since_s = t_s - known.t_s
        if since_s > FOR_S:
            self._known = None
            return False
        unsure_m = SIGMAS * math.sqrt(known.variance_m2(since_s) + variance_m2)
        if height_m > known.lowest_m(since_s) - unsure_m:
            self._too_low_s = math.nan
            return False
        if self._too_low_s != self._too_low_s:
            self._too_low_s = t_s
        return t_s - self._too_low_s < PULSE_LASTS_S
