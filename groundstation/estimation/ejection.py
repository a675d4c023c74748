"""Recognising the ejection: the canopy's pull, or the fall that it has slowed.

A charge leaves a jolt in the accelerometer and a pulse in the bay's pressure, each of a tenth of a second, which
packets may miss and which glitches can look like. What lasts is the canopy: the body falls slowly and feels its full
weight. So the pull calls the event, and a jolt or pulse shortly before it says when it was. Without an accelerometer
the fall tells: it has become slower than it was, or is slow where a free fall would long be fast.
"""

import math
from dataclasses import dataclass

from groundstation.estimation.gravity import STANDARD_MPS2

# Specific force that nothing but a canopy gives a slow body: a share of gravity, beside a share of the drag that is
# not known better.
PULL_MPS2 = 0.6 * STANDARD_MPS2
UNSURE_DRAG_SHARE = 0.5
SLOW = 2.0  # times the expected rate under the canopy
SLOW_SIGMAS = 2.0
LASTING_S = 0.25
LASTING_SAMPLES = 3
OPENING_S = 2.0  # from the charge until the canopy stands, at most (common practice, no source)
LEAST_HEIGHT_M = 10.0  # below, the ground may be what it feels
# Without an accelerometer, or without a word of it for so long.
WITHOUT_FORCE_S = 1.0
FALLING_S = 1.5  # after apogee, before a slow fall means anything
FALLING_UNTIL_S = 8.0  # and until when a body without a canopy has not come to a steady slow fall of its own
FREE_SHARE = 0.4  # of a free fall's speed
SLOWED_SHARE = 0.6  # of the fastest fall so far
SURE_SIGMAS = 2.0


@dataclass(frozen=True, slots=True)
class Fall:
    """One sample for the watch; NaN where not known.

    `force_mps2` is the specific force's size, `drag_mps2` what drag accounts for; `jolted` says that pressure or
    force was that of a charge. `since_apogee_s` is NaN before it.
    """

    t_s: float
    since_apogee_s: float
    height_m: float
    speed_mps: float
    speed_sigma_mps: float
    force_mps2: float
    drag_mps2: float
    jolted: bool


class EjectionWatch:
    """See the module.

    Args:
        canopy_rate_mps: Expected rate of descent under the canopy, positive.
    """

    def __init__(self, canopy_rate_mps: float) -> None:
        self._slow_mps = SLOW * canopy_rate_mps
        self._last_s = self._force_s = math.nan
        self._jolt_s = -math.inf
        self._pull_s = math.nan
        self._pulls = 0
        self._before_s = math.nan  # newest sample without a pull
        self._slowed = 0
        self._fastest = (0.0, math.nan)  # fall [m/s] and when

    def observe(self, fall: Fall) -> float | None:
        """Take in one sample of coast or descent; the time of the ejection, once it is known to have been one."""
        last_s, self._last_s = self._last_s, fall.t_s
        if fall.jolted and not fall.t_s - self._jolt_s < OPENING_S:
            self._jolt_s = (last_s + fall.t_s) / 2.0 if fall.t_s - last_s < LASTING_S else fall.t_s
        if fall.force_mps2 == fall.force_mps2:
            self._force_s = fall.t_s
            found = self._by_pull(fall)
        else:
            found = None if fall.t_s - self._force_s < WITHOUT_FORCE_S else self._by_fall(fall)
        if found is None:
            return None
        return self._jolt_s if found - self._jolt_s < OPENING_S else found

    def _by_pull(self, fall: Fall) -> float | None:
        slow = abs(fall.speed_mps) + SLOW_SIGMAS * fall.speed_sigma_mps < self._slow_mps
        slow = slow and fall.height_m > LEAST_HEIGHT_M
        drag_mps2 = abs(fall.drag_mps2)
        if not slow or fall.force_mps2 < drag_mps2 + max(PULL_MPS2, UNSURE_DRAG_SHARE * drag_mps2):
            self._before_s, self._pulls = fall.t_s, 0
            return None
        self._pulls += 1
        if self._pulls == 1:
            self._pull_s = fall.t_s if self._before_s != self._before_s else (self._before_s + fall.t_s) / 2.0
        lasting = self._pulls >= LASTING_SAMPLES and fall.t_s - self._pull_s >= LASTING_S
        return self._pull_s if lasting else None

    def _by_fall(self, fall: Fall) -> float | None:
        falling, unsure = -fall.speed_mps, SURE_SIGMAS * fall.speed_sigma_mps
        if not fall.since_apogee_s > 0.0 or fall.height_m < LEAST_HEIGHT_M:
            return None
        if falling > self._fastest[0]:
            self._fastest = (falling, fall.t_s)
        fastest, at_s = self._fastest
        free = STANDARD_MPS2 * fall.since_apogee_s
        early = FALLING_S <= fall.since_apogee_s <= FALLING_UNTIL_S
        hanging = early and falling + unsure < min(FREE_SHARE * free, self._slow_mps)
        slowed = falling + unsure < SLOWED_SHARE * fastest and falling < self._slow_mps
        self._slowed = self._slowed + 1 if hanging or slowed else 0
        if self._slowed < LASTING_SAMPLES:
            return None
        if slowed:
            return at_s
        return fall.t_s - fall.since_apogee_s + min(fastest / STANDARD_MPS2, fall.since_apogee_s)
