"""What the sensors on board read, by standard measurement name in SI units: truth with noise, bias, drift, clipping.

Quantisation is the packets' own (see `groundstation.simulator.packets`). Sizes of noise and bias are those of small
MEMS parts and of a small GNSS receiver: common practice, no source. Sensor axes follow the vehicle file's mounting.
"""

import math
import random

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.atmosphere import PadAir, density_kgpm3
from groundstation.estimation.gravity import ECCENTRICITY_SQUARED, SEMI_MAJOR_AXIS_M
from groundstation.simulator.rotation import Vector, from_rotation_vector, normalised, product
from groundstation.simulator.truth import BodyState

Values = dict[str, float]

ACCEL_NOISE_MPS2 = 0.05
ACCEL_BIAS_MPS2 = 0.04
VIBRATION_MPS2_PER_MPS2 = 0.03  # noise under thrust, for each m/s² of thrust over mass
GYRO_NOISE_RADPS = math.radians(0.12)
GYRO_BIAS_RADPS = math.radians(0.15)
PRESSURE_NOISE_PA = 3.0
PRESSURE_BIAS_PA = 25.0
PRESSURE_PER_KELVIN_PA = -0.8
PORT_SHARE = 0.004  # of the dynamic pressure that a static port lets in
GUST_PORT_SHARE = 0.1  # the same for wind across the ports on the pad
EJECTION_PULSE_PA = 1500.0
EJECTION_PULSE_S = 0.08
GIMBAL_NOISE_RAD = math.radians(0.03)
ATTITUDE_ERROR_RAD = math.radians(0.25)
ATTITUDE_DRIFT_RADPS = math.radians(0.02)
ATTITUDE_NOISE_RAD = math.radians(0.02)  # of the vehicle's own filter
GNSS_SIGMA_M = 1.2
GNSS_UP_SIGMA_M = 2.5
GNSS_TIME_S = 30.0


class Sensors:
    """The sensors of one vehicle, with biases drawn once; the attitude filter's noise has draws of its own."""

    def __init__(
        self, vehicle: Vehicle, site: Site, air: PadAir, draws: random.Random, filter_draws: random.Random
    ) -> None:
        self._vehicle = vehicle
        self._site = site
        self._air = air
        self._draws = draws
        self._filter_draws = filter_draws
        self._accel_bias = _vector(draws, ACCEL_BIAS_MPS2)
        self._gyro_bias = _vector(draws, GYRO_BIAS_RADPS)
        self._pressure_bias_pa = draws.gauss(0.0, PRESSURE_BIAS_PA)
        self._attitude_error = _vector(draws, ATTITUDE_ERROR_RAD)
        self._attitude_drift = _vector(draws, ATTITUDE_DRIFT_RADPS)
        self._gnss_error_m = _vector(draws, 1.0)
        self._gnss_at_s = 0.0
        self._satellites = draws.randint(9, 13)

    def inertial(self, state: BodyState) -> Values:
        """Accelerometer and gyro, along the sensors' own axes, clipped at their ranges."""
        mounting = self._vehicle.sensors
        vibration = VIBRATION_MPS2_PER_MPS2 * state.thrust_n / state.mass_kg if state.mass_kg else 0.0
        noise = math.hypot(ACCEL_NOISE_MPS2, vibration)
        gauss = self._draws.gauss
        force = tuple(f + b + gauss(0.0, noise) for f, b in zip(state.force_mps2, self._accel_bias, strict=True))
        rate = tuple(
            w + b + gauss(0.0, GYRO_NOISE_RADPS) for w, b in zip(state.rate_radps, self._gyro_bias, strict=True)
        )
        values: Values = {}
        for name, axes, true, limit in (
            ("accel", mounting.accel, force, mounting.accel_range_mps2),
            ("gyro", mounting.gyro, rate, mounting.gyro_range_radps),
        ):
            for axis, value in zip(axes, true, strict=True):
                seen = -value if axis[0] == "-" else value
                values[f"{name}_{axis[1]}"] = seen if limit is None else max(-limit, min(limit, seen))
        return values

    def attitude(self, state: BodyState, since_liftoff_s: float) -> Values:
        """The vehicle's own attitude: a small error on the pad, drifting from liftoff on, and a filter's noise."""
        grown = max(0.0, since_liftoff_s)
        noise = _vector(self._filter_draws, ATTITUDE_NOISE_RAD)
        error = [e + d * grown + n for e, d, n in zip(self._attitude_error, self._attitude_drift, noise, strict=True)]
        q = normalised(product(state.attitude, from_rotation_vector(error[0], error[1], error[2])))
        return {f"attitude_{part}": value for part, value in zip("wxyz", q, strict=True)}

    def air(self, state: BodyState, *, bay_k: float, change_pa: float, since_ejection_s: float) -> Values:
        """Static pressure in the bay and its temperature; ejection rings through the bay."""
        height_m = state.position_m[2]
        static_pa = self._air.pressure_at_pa(height_m) + change_pa
        density = density_kgpm3(static_pa, self._air.temperature_at_k(height_m))
        climb = state.velocity_mps[2]
        wind2 = state.wind_mps[0] ** 2 + state.wind_mps[1] ** 2
        port_pa = -0.5 * density * (PORT_SHARE * climb * climb + GUST_PORT_SHARE * wind2 * (height_m < 1.0))
        pulse_pa = (
            EJECTION_PULSE_PA * math.exp(-since_ejection_s / EJECTION_PULSE_S) if since_ejection_s >= 0 else 0.0
        )
        drift_pa = PRESSURE_PER_KELVIN_PA * (bay_k - self._air.temperature_k)
        noise_pa = self._draws.gauss(0.0, PRESSURE_NOISE_PA)
        return {
            "pressure": static_pa + port_pa + pulse_pa + drift_pa + self._pressure_bias_pa + noise_pa,
            "temperature": bay_k + self._draws.gauss(0.0, 0.02),
        }

    def gimbal(self, state: BodyState) -> Values:
        """Commanded and sensed deflections as the vehicle counts them: from its neutral, with its signs."""
        if (gimbal := self._vehicle.gimbal) is None:
            return {}
        values: Values = {}
        for k, axis in enumerate("xy"):
            sign, neutral = gimbal.signs[k], gimbal.neutral_rad[k]
            sensed = state.gimbal_rad[k] + self._draws.gauss(0.0, GIMBAL_NOISE_RAD)
            values[f"gimbal_{axis}_command"] = neutral + sign * state.command_rad[k]
            values[f"gimbal_{axis}_angle"] = neutral + sign * sensed
        return values

    def gnss(self, state: BodyState, t_s: float) -> Values:
        """The receiver's position: a slowly wandering error of metres; no fix where the site has no place."""
        place = self._site
        if place.latitude_rad is None or place.longitude_rad is None:
            return dict.fromkeys(_GNSS, 0.0)
        keep = math.exp(-max(0.0, t_s - self._gnss_at_s) / GNSS_TIME_S)
        fresh = math.sqrt(1.0 - keep * keep)
        east, north, up = (keep * e + fresh * self._draws.gauss(0.0, 1.0) for e in self._gnss_error_m)
        self._gnss_error_m, self._gnss_at_s = (east, north, up), t_s
        latitude, longitude = offset_place(
            place.latitude_rad,
            place.longitude_rad,
            east_m=state.position_m[0] + GNSS_SIGMA_M * east,
            north_m=state.position_m[1] + GNSS_SIGMA_M * north,
        )
        return {
            "gnss_fix": 1.0,
            "gnss_latitude": latitude,
            "gnss_longitude": longitude,
            "gnss_height": (place.elevation_m or 0.0) + state.position_m[2] + GNSS_UP_SIGMA_M * up,
            "gnss_satellites": float(self._satellites + self._draws.choice((-1, 0, 0, 0, 1))),
            "gnss_hdop": 0.9 + 0.05 * self._draws.random(),
        }


_GNSS = ("gnss_fix", "gnss_latitude", "gnss_longitude", "gnss_height", "gnss_satellites", "gnss_hdop")


def offset_place(latitude_rad: float, longitude_rad: float, *, east_m: float, north_m: float) -> tuple[float, float]:
    """Latitude and longitude of a place a few kilometres away at most, along the ellipsoid's radii of curvature.

    Source:
        WGS 84, NGA.STND.0036_1.0.0 (2014); meridian and prime vertical radii of curvature.
    """
    root = math.sqrt(1.0 - ECCENTRICITY_SQUARED * math.sin(latitude_rad) ** 2)
    prime_m = SEMI_MAJOR_AXIS_M / root
    meridian_m = SEMI_MAJOR_AXIS_M * (1.0 - ECCENTRICITY_SQUARED) / root**3
    return (
        latitude_rad + north_m / meridian_m,
        longitude_rad + east_m / (prime_m * math.cos(latitude_rad)),
    )


def _vector(draws: random.Random, sigma: float) -> Vector:
    return (draws.gauss(0.0, sigma), draws.gauss(0.0, sigma), draws.gauss(0.0, sigma))
