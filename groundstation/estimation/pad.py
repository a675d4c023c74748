"""The pad's reference: its pressure and temperature, followed slowly while the vehicle stands still, then frozen.

Weather and a warming sensor move the pressure by tens of pascals an hour, a metre for every twelve; so the reference
follows. It takes in whole seconds of standing still, and each only after the next has been still as well, so that a
liftoff that is not yet recognised cannot pull it up.
"""

import math
from dataclasses import dataclass

from groundstation.config.station import Site
from groundstation.estimation.atmosphere import SEA_LEVEL_K, PadAir
from groundstation.estimation.gravity import STANDARD_MPS2, normal_gravity_mps2

BLOCK_S = 1.0
FOLLOW_S = 30.0
# A vehicle carried to another place shows a step; after so many seconds of it the reference starts anew.
STEP_PA = 30.0
STEP_BLOCKS = 5
# How fast weather and a warming sensor may carry the pressure away from a frozen reference (common practice, no
# source).
DRIFT_PA_PER_S = 0.04
# Noise of a pressure sample until it has been measured, and the least believed afterwards.
FIRST_NOISE_PA = 6.0
LEAST_NOISE_PA = 1.0
NOISE_GAIN = 0.02
# One standard deviation of heights for a lapse that is not the standard one, in parts of the height, and of the air's
# temperature at the pad. Common practice, no source; the radiosonde ascent among the tests, a cold surface layer
# under an inversion, is off by 0.7 % at its worst level.
LAPSE_ERROR = 0.0025
# Of the site file's pressure against this sensor's, where the vehicle was never seen standing; common practice.
SITE_PRESSURE_SIGMA_PA = 100.0
UNKNOWN_PRESSURE_SIGMA_PA = 5000.0  # ... and where the site has none either: it may be some 400 m high
SITE_TEMPERATURE_SIGMA_K = 0.6
BAY_TEMPERATURE_SIGMA_K = 8.0
UNKNOWN_TEMPERATURE_SIGMA_K = 12.0


@dataclass(frozen=True, slots=True)
class AirTemperature:
    """The air's temperature at the pad and its standard deviation."""

    kelvin: float
    sigma_k: float


class PadReference:
    """See the module. `air` is None until the first pressure has come."""

    def __init__(self, site: Site) -> None:
        self._from_site = site.temperature_k is not None
        self._site_pa = site.pressure_pa
        self.temperature = (
            AirTemperature(site.temperature_k, SITE_TEMPERATURE_SIGMA_K)
            if site.temperature_k is not None
            else AirTemperature(SEA_LEVEL_K, UNKNOWN_TEMPERATURE_SIGMA_K)
        )
        self.gravity_mps2 = (
            normal_gravity_mps2(site.latitude_rad, site.elevation_m or 0.0)
            if site.latitude_rad is not None
            else STANDARD_MPS2
        )
        self.air: PadAir | None = None
        self.metres_per_pascal = 0.0
        """How much height one pascal is at the reference; 0 until there is one."""
        self.noise_pa = FIRST_NOISE_PA
        """Standard deviation of one pressure sample's noise, as seen while standing still."""
        self.frozen = False
        self.updated_s = math.nan
        self._noise_variance = FIRST_NOISE_PA**2
        self._last_pa = math.nan
        self._block_start_s = math.nan
        self._block_sum_pa = 0.0
        self._block_size = 0
        self._block_still = True
        self._waiting_pa = math.nan
        self._blocks = 0
        self._block_variance = FIRST_NOISE_PA**2
        self._away: list[float] = []

    def sigma_pa(self, t_s: float) -> float:
        """Standard deviation of the reference pressure at a time, growing from when it was frozen."""
        gain = max(1.0 / max(self._blocks, 1), BLOCK_S / FOLLOW_S)
        drift_pa = DRIFT_PA_PER_S * (t_s - self.updated_s) if self.frozen and t_s > self.updated_s else 0.0
        return math.sqrt(max(self._block_variance * gain, 0.01 * self._noise_variance) + drift_pa * drift_pa)

    @property
    def settled(self) -> bool:
        """Whether the vehicle has been seen standing still for a second or two, if it sends a pressure at all."""
        return self._blocks > 0 or self.air is None

    @property
    def scale_sigma(self) -> float:
        """Standard deviation of heights in parts of the height, from the air's temperature."""
        return math.hypot(LAPSE_ERROR, self.temperature.sigma_k / self.temperature.kelvin)

    def observe_temperature(self, bay_k: float) -> None:
        """Take the bay's temperature for the air's where the site's is not known; the bay is often the warmer."""
        if not self._from_site and not self.frozen and 200.0 < bay_k < 340.0:
            self.temperature = AirTemperature(bay_k, BAY_TEMPERATURE_SIGMA_K)

    def observe(self, t_s: float, pressure_pa: float, *, still: bool) -> None:
        """Take in one pressure sample on the pad; NaN and samples after the freeze change nothing."""
        if self.frozen or not pressure_pa > 0.0:
            return
        if self.air is None:
            self._set(pressure_pa)
        if still:
            step_pa = pressure_pa - self._last_pa
            if abs(step_pa) < 100.0:  # not NaN, not a spike
                self._noise_variance += NOISE_GAIN * (0.5 * step_pa * step_pa - self._noise_variance)
                self.noise_pa = max(LEAST_NOISE_PA, math.sqrt(self._noise_variance))
        self._last_pa = pressure_pa
        if t_s - self._block_start_s < BLOCK_S:
            self._block_sum_pa += pressure_pa
            self._block_size += 1
            self._block_still = self._block_still and still
            return
        self._close_block(self._block_start_s)
        self._block_start_s, self._block_sum_pa, self._block_size, self._block_still = t_s, pressure_pa, 1, still

    def freeze(self) -> None:
        """Keep the reference as it is from now on; what is not yet taken in never is.

        Without a second of standing still there is none of the vehicle's own, and the site file's pressure has to do.
        """
        self.frozen = True
        if not self.settled:
            self._block_variance = SITE_PRESSURE_SIGMA_PA**2
            if self._site_pa is not None:
                self._set(self._site_pa)

    def freeze_aloft(self) -> None:
        """The vehicle is far above its pad, and whatever was taken for the pad's pressure is not: keep the site's."""
        self.frozen = True
        self._blocks = 0
        self._block_variance = UNKNOWN_PRESSURE_SIGMA_PA**2
        if self._site_pa is not None:
            self._block_variance = SITE_PRESSURE_SIGMA_PA**2
            self._set(self._site_pa)

    def _close_block(self, start_s: float) -> None:
        mean_pa = self._block_sum_pa / self._block_size if self._block_still and self._block_size else math.nan
        if mean_pa > 0.0 and self._waiting_pa > 0.0:
            self._take(self._waiting_pa)
            self.updated_s = start_s
        self._waiting_pa = mean_pa

    def _take(self, mean_pa: float) -> None:
        assert self.air is not None
        away_pa = mean_pa - self.air.pressure_pa
        if self._blocks >= STEP_BLOCKS and abs(away_pa) > max(STEP_PA, 6.0 * math.sqrt(self._block_variance)):
            self._away.append(mean_pa)
            if len(self._away) == STEP_BLOCKS:
                self._set(self._away[-1])
                self._blocks = 1
                self._away.clear()
            return
        self._away.clear()
        self._blocks += 1
        gain = max(1.0 / self._blocks, BLOCK_S / FOLLOW_S)
        if self._blocks > 1:
            self._block_variance += gain * (away_pa * away_pa - self._block_variance)
        self._set(self.air.pressure_pa + gain * away_pa)

    def _set(self, pressure_pa: float) -> None:
        self.air = PadAir(pressure_pa, self.temperature.kelvin, gravity_mps2=self.gravity_mps2)
        self.metres_per_pascal = self.air.metres_per_pascal(pressure_pa)
