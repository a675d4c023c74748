"""Wind with height and gusts.

Mean wind grows with height by the one-seventh power law (common engineering practice: valid for the lowest few
hundred metres over open ground), from the site's value at 2 m where a hand-held meter reads it. Gusts are a
first-order Gauss–Markov (Ornstein–Uhlenbeck) process in each horizontal direction, advanced by its exact
discretisation. Air that rises and sinks is another, of the size that MIL-F-8785C gives low turbulence: a standard
deviation of a tenth of the wind at 6 m (section 3.7.3.4, from memory).
"""

import math
import random
from dataclasses import dataclass, field

METER_HEIGHT_M = 2.0
POWER = 1.0 / 7.0
GUST_SHARE = 0.15  # gust standard deviation over mean wind over open ground (common practice, no source)
GUST_TIME_S = 2.0
RISING_SHARE = 0.1 * 3.0 ** (1.0 / 7.0)  # over the mean wind at the meter
RISING_TIME_S = 4.0  # for something that drifts with the wind and sinks (common practice, no source)


def wind_factor(height_m: float) -> float:
    """Mean wind at a height over that at the meter; below the meter it counts as the meter's."""
    return math.pow(max(height_m, METER_HEIGHT_M) / METER_HEIGHT_M, POWER)


@dataclass(slots=True)
class Wind:
    """Mean wind (east, north) at the meter [m/s] and the gusts on it; a gust share of 0 is steady air.

    Air rises and sinks only where there are draws for it.
    """

    mean_mps: tuple[float, float]
    draws: random.Random
    gust_share: float = GUST_SHARE
    rising_draws: random.Random | None = None
    rising_mps: float = field(init=False, default=0.0)
    _gust_mps: tuple[float, float] = field(init=False, default=(0.0, 0.0))

    def __post_init__(self) -> None:
        sigma = self._sigma_mps
        self._gust_mps = (self.draws.gauss(0.0, sigma), self.draws.gauss(0.0, sigma))

    @property
    def _sigma_mps(self) -> float:
        return self.gust_share * math.hypot(*self.mean_mps)

    def advance(self, seconds: float) -> None:
        """Let the gusts go on."""
        keep = math.exp(-seconds / GUST_TIME_S)
        sigma = self._sigma_mps * math.sqrt(1.0 - keep * keep)
        east, north = self._gust_mps
        self._gust_mps = (keep * east + self.draws.gauss(0.0, sigma), keep * north + self.draws.gauss(0.0, sigma))
        if self.rising_draws is not None:
            keep = math.exp(-seconds / RISING_TIME_S)
            sigma = self.gust_share / GUST_SHARE * RISING_SHARE * math.hypot(*self.mean_mps)
            fresh = self.rising_draws.gauss(0.0, sigma * math.sqrt(1.0 - keep * keep))
            self.rising_mps = keep * self.rising_mps + fresh

    def at(self, height_m: float) -> tuple[float, float]:
        """The wind's east and north parts at a height [m/s]."""
        factor = wind_factor(height_m)
        return (self.mean_mps[0] * factor + self._gust_mps[0], self.mean_mps[1] * factor + self._gust_mps[1])
