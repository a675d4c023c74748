"""From motion samples to the vehicle's state and the flight's events, sample by sample.

Deterministic and causal: the same samples give the same states, and nothing depends on what comes later. Anything in
a sample may be NaN. Repeated and late samples change nothing.
"""

import math
from collections import deque

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.estimation.ascent import ExpectedAscent
from groundstation.estimation.atmosphere import SEA_LEVEL_K, SEA_LEVEL_PA, density_kgpm3
from groundstation.estimation.attitude import lean
from groundstation.estimation.descent import canopy_rate_mps
from groundstation.estimation.flight import Flight, Moment, Reading
from groundstation.estimation.liftoff import LiftoffDetector
from groundstation.estimation.motion_model import ForceReader, Specific, resting_tilt
from groundstation.estimation.pad import PadReference
from groundstation.estimation.sinking import SinkingWatch
from groundstation.inputs import NS_PER_S
from groundstation.state import NAN, FlightEvent, MotionSample, Phase, State

# Samples kept from before a recognised liftoff, to fly them again from the pad: 3 s at 20 a second.
REMEMBERED = 64
SMOOTHING_S = 1.0
STANDING_SIGMA_MPS = 0.05
UNSTEADY_S = 0.2  # a push on the pad may have lasted this long, and the time since the sample before
BIAS_S = 10.0
# Pressures outside are a broken sensor's (20 kPa: 12 km high; 115 kPa: 1 km below the sea).
LEAST_PA, GREATEST_PA = 20_000.0, 115_000.0


class Estimator:
    """See the module.

    Args:
        vehicle: The vehicle file.
        site: The pad's place and air; what it leaves out is replaced by the standard, with a wider uncertainty.
    """

    def __init__(self, vehicle: Vehicle, site: Site) -> None:
        self._pad = PadReference(site)
        density = density_kgpm3(site.pressure_pa or SEA_LEVEL_PA, site.temperature_k or SEA_LEVEL_K)
        self._ascent = ExpectedAscent(vehicle, density_kgpm3=density, gravity_mps2=self._pad.gravity_mps2)
        self._canopy_rate_mps = canopy_rate_mps(vehicle, density, self._pad.gravity_mps2)
        self._forces = ForceReader(vehicle, self._pad.gravity_mps2)
        self._liftoff = LiftoffDetector(self._ascent.first_accel_mps2, self._ascent.apogee_m)
        self._sinking = SinkingWatch()
        self._began_ns: int | None = None  # when the first sample was measured: where the estimator's own time begins
        self._boot = 0
        self._recent: deque[Reading] = deque(maxlen=REMEMBERED)
        self._flight: Flight | None = None
        self._t_s = 0.0
        self._at_ns = 0
        self._bias_mps2 = 0.0
        self._height_m = 0.0
        self._smooth = 1.0
        self._unsteady_mps = 0.0
        self._state: State | None = None

    def step(self, sample: MotionSample) -> tuple[State, tuple[FlightEvent, ...]]:
        """Take in the next sample; returns the state after it and what it made known of the flight."""
        if self._began_ns is None:
            self._began_ns = sample.measured_ns
        dt_s = (sample.measured_ns - self._began_ns) / NS_PER_S - self._t_s
        if sample.received_ns > self._at_ns:
            self._at_ns = sample.received_ns
        if dt_s <= 0.0 and self._state is not None:
            return self._state, ()
        self._t_s += dt_s
        specific = self._forces.read(sample)
        pressure_pa = sample.pressure_pa if LEAST_PA <= sample.pressure_pa <= GREATEST_PA else NAN
        reading = Reading(self._t_s, specific, pressure_pa)
        if self._flight is None:
            moments = self._stand(dt_s, sample, reading)
        else:
            if sample.boot != self._boot:
                self._forces.distrust_attitude()
            moments = self._flight.step(reading)
        self._boot = sample.boot
        self._state = self._standing(sample, specific) if self._flight is None else self._flying(sample, specific)
        if not moments:
            return self._state, ()
        return self._state, tuple(self._event(m) for m in moments)

    def advance(self, now_ns: int) -> tuple[State, tuple[FlightEvent, ...]] | None:
        """Say what silence makes known, with nothing received up to and including `now_ns`.

        In a gap of the radio a coasting vehicle passes its apogee all the same; where its time is sure, it is called
        from here. The caller's grid of times is part of what makes a session's estimates the same live and replayed.

        Returns:
            The state and the events, or None where there is nothing to say.
        """
        flight, last = self._flight, self._state
        if flight is None or last is None or self._began_ns is None or now_ns <= self._at_ns:
            return None
        now_s = (now_ns - self._began_ns) / NS_PER_S
        moments = flight.overdue(now_s)
        if not moments:
            return None
        self._at_ns = now_ns
        since_s = now_s - moments[-1].t_s
        gained_mps = self._pad.gravity_mps2 * since_s
        fallen_m = 0.5 * gained_mps * since_s
        self._state = State(
            now_ns,
            flight.phase,
            moments[-1].height_m - fallen_m,
            math.hypot(moments[-1].height_sigma_m, fallen_m),
            -gained_mps,
            math.hypot(last.speed_sigma_mps, gained_mps),
            NAN,
            NAN,
            NAN,
            NAN,
            NAN,
        )
        return self._state, tuple(self._event(m) for m in moments)

    def _stand(self, dt_s: float, sample: MotionSample, reading: Reading) -> list[Moment]:
        """One sample on the pad: follow the reference, watch for liftoff."""
        specific, pad = reading.specific, self._pad
        pad.observe_temperature(sample.temperature_k)
        pad.observe(reading.t_s, reading.pressure_pa, still=specific.still)
        self._recent.append(reading)
        height_m, sigma_m = NAN, NAN
        if pad.air is not None:
            height_m = pad.air.height_m(reading.pressure_pa)
            sigma_m = pad.metres_per_pascal * pad.noise_pa
        found = self._liftoff.observe(
            reading.t_s,
            specific.up - self._bias_mps2,
            specific.axial,
            specific.sideways,
            height_m,
            sigma_m,
            still=specific.still and specific.magnitude == specific.magnitude,
        )
        sinking = self._sinking.observe(reading.t_s, reading.pressure_pa) if found is None else None
        if sinking is not None:
            pad.freeze_aloft()
            self._flight = Flight(sinking, self._recent, self._bias_mps2, pad, self._ascent, self._canopy_rate_mps)
            self._recent.clear()
            return []
        if found is not None:
            pad.freeze()
            self._flight = Flight(found, self._recent, self._bias_mps2, pad, self._ascent, self._canopy_rate_mps)
            self._recent.clear()
            return self._flight.moments
        if specific.still and specific.up == specific.up:
            self._forces.learn_at_rest(specific)
            self._bias_mps2 += dt_s / (BIAS_S + dt_s) * (specific.up - self._bias_mps2)
        self._unsteady_mps = 0.0 if specific.still else abs(specific.up - self._bias_mps2) * (dt_s + UNSTEADY_S)
        if height_m == height_m and not specific.still:
            self._height_m, self._smooth = height_m, 1.0
        elif height_m == height_m:
            gain, least = 1.0 / (1.0 + 1.0 / self._smooth), dt_s / (SMOOTHING_S + dt_s)
            gain = self._smooth if self._smooth < gain else gain
            self._smooth = gain if gain > least else least
            self._height_m += self._smooth * (height_m - self._height_m)
        return []

    def _standing(self, sample: MotionSample, specific: Specific) -> State:
        pad = self._pad
        height_m, sigma_m = NAN, NAN
        if pad.air is not None:
            height_m = self._height_m
            smoothed_pa = pad.noise_pa * math.sqrt(self._smooth / (2.0 - self._smooth))
            sigma_pa = math.hypot(smoothed_pa, pad.sigma_pa(self._t_s))
            sigma_m = pad.metres_per_pascal * sigma_pa
        tilt, heading = self._lean(sample, specific)
        speed_sigma = STANDING_SIGMA_MPS + self._unsteady_mps
        sinking = self._sinking.so_far
        if sinking is not None:  # perhaps it does not stand at all
            sigma_m += sinking.rate_mps * sinking.over_s
            speed_sigma += sinking.rate_mps
        accel = specific.up - self._bias_mps2
        return State(self._at_ns, Phase.PAD, height_m, sigma_m, 0.0, speed_sigma, accel, tilt, heading, NAN, NAN)

    def _flying(self, sample: MotionSample, specific: Specific) -> State:
        flight = self._flight
        assert flight is not None
        tilt, heading = self._lean(sample, specific)
        apogee_m, apogee_sigma_m = flight.predicted_apogee(tilt)
        return State(
            self._at_ns,
            flight.phase,
            flight.filter.h,
            flight.height_sigma_m,
            flight.filter.v,
            flight.speed_sigma_mps,
            flight.accel_up_mps2,
            tilt,
            heading,
            apogee_m,
            apogee_sigma_m,
        )

    def _lean(self, sample: MotionSample, specific: Specific) -> tuple[float, float]:
        """Tilt and heading: by the attitude, or at rest by the accelerometer, which cannot know the heading."""
        if specific.attitude is not None:
            leaning = lean(specific.attitude)
            return leaning.tilt_rad, leaning.heading_rad
        resting = self._flight is None or self._flight.phase is Phase.LANDED
        return (resting_tilt(sample) if resting and specific.still else NAN), NAN

    def _event(self, moment: Moment) -> FlightEvent:
        assert self._began_ns is not None
        at_ns = self._began_ns + round(moment.t_s * NS_PER_S)
        return FlightEvent(moment.kind, at_ns, self._at_ns, moment.height_m, moment.height_sigma_m)
