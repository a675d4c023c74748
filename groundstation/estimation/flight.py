"""One flight from liftoff on: the height filter driven by what each sample says, the phases, and the events.

Phase by phase the filter is told what to believe: the accelerometer in boost and coast and, with less trust, while a
canopy may be opening; under it, where a body swings and the attitude has been through a shock, pressure alone.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from groundstation.estimation.apogee import coast
from groundstation.estimation.ascent import DRAG_SPREAD, MOTOR_SPREAD, ExpectedAscent
from groundstation.estimation.descent import TOO_FAST, DescentKind, descent_kind
from groundstation.estimation.ejection import EjectionWatch, Fall
from groundstation.estimation.free_fall import FreeFallBound
from groundstation.estimation.liftoff import GAP_S, Liftoff
from groundstation.estimation.motion_model import Specific
from groundstation.estimation.pad import PadReference
from groundstation.estimation.phases import Evidence, next_transition
from groundstation.estimation.sinking import Sinking
from groundstation.estimation.vertical import VerticalFilter
from groundstation.state import FlightEventKind, Phase

# Thrust over mass, taken from the specific force along the axis and the drag expected: below, there is none.
NO_PUSH_MPS2 = 1.5
NO_PUSH_DRAG_SHARE = 0.3  # ... or below this share of the drag, which is not known better
# Errors of a measured acceleration, one standard deviation: a part that is always there, and a part of its size
# (vibration caught between samples, scale, attitude; without an attitude the lean of the axis as well).
ACCEL_NOISE_MPS2 = 0.15
ACCEL_NOISE_SHARE = 0.015
AXIS_ONLY_SHARE = 0.06
BETWEEN_NOISE_MPS2 = 1.0  # in a sample without acceleration, between two with
BETWEEN_NOISE_SHARE = 0.1
BIAS_SIGMA_MPS2 = 0.15
BIAS_WALK_BOOST = 0.1  # [m²/s⁵]: errors of scale show as a bias while thrust lasts
BIAS_WALK_COAST = 0.002
UNSEEN_BOOST_MPS2 = 20.0  # what acceleration may have been over a gap, beyond what its ends say
UNSEEN_COAST_MPS2 = 4.0
UNSEEN_FALL_MPS2 = 12.0  # the same where the top lies in the gap, and a canopy may have opened
SHOCK_MPS2 = 20.0  # more specific force than this beside drag, without a motor, is a charge, not a motion
OPENING_S = 6.0  # after apogee a canopy may open at any moment
OPENING_NOISE_MPS2 = 2.0
OPENING_NOISE_SHARE = 0.3
OPENING_MOST_MPS2 = 100.0  # more is the charge and the harness, not the motion
CHANGING_DENSITY = 40.0  # [m²/s³] of unknown acceleration while it opens unseen, or pressure says speed changes
STEADY_DENSITY = 0.2
RESTING_DENSITY = 0.02
SURPRISE_GAIN = 0.3
SURPRISED = 1.0
# Pressure in fast flight: the sensor's lag behind the motion, and the port's share of dynamic pressure.
LAG_S = 0.02
PORT_SHARE = 0.005
# After a pressure that cannot be, such as an ejection's, the next ones may still be off by what is left of it.
PULSE_S = 0.15
PULSE_APART_S = 2.0
UNSEEN_PULSE_M = 15.0  # of an ejection that may have happened just before the end of a gap
# Silence in coast: after so long an apogee is called by dead reckoning, if its time is known this well.
SILENT_S = 0.25
MOST_UNSURE_S = 0.15
# Of the speed in a descent recognised by its mean rate over seconds.
SINKING_SIGMA_MPS = 1.0
SINKING_SIGMA_SHARE = 0.3
SURELY_RISEN_M = 3.0  # above the pad, for the time of liftoff
STILL_BAND_M = 1.5
STILL_BAND_MOST_M = 6.0
STILL_SAMPLES = 4
FORCE_NOISE_COAST_MPS2 = 0.5
COAST_FIRST_S = 1.0  # after burnout thrust may be tailing off, and nobody ejects
TOO_FAST_SAMPLES = 3


@dataclass(frozen=True, slots=True)
class Moment:
    """An event in the estimator's own time."""

    kind: FlightEventKind
    t_s: float
    height_m: float
    height_sigma_m: float


class Reading(NamedTuple):
    """One sample as the flight needs it: its time, its specific force, its pressure."""

    t_s: float
    specific: Specific
    pressure_pa: float


class Flight:
    """See the module. `phase`, `filter` and `accel_up_mps2` are open to read.

    Args:
        begun: The liftoff, or the descent that was under way when it was first heard; of that, no liftoff, burnout,
            apogee or ejection is told.
        before: The newest samples, oldest first.
        bias_mps2: The accelerometer's, along the axis.
        pad: The pad's reference, frozen.
        ascent: The ascent the vehicle file promises.
        canopy_rate_mps: And its rate of descent.
    """

    def __init__(
        self,
        begun: Liftoff | Sinking,
        before: Iterable[Reading],
        bias_mps2: float,
        pad: PadReference,
        ascent: ExpectedAscent,
        canopy_rate_mps: float,
    ) -> None:
        readings = list(before)
        self._pad = pad
        self._ascent = ascent
        self.phase = Phase.BOOST
        self.accel_up_mps2 = 0.0
        self._bias_axis = bias_mps2
        if isinstance(begun, Sinking):
            self.phase = Phase.DESCENT
            self.liftoff_s = -math.inf
            self._t_s, self.filter = readings[-1].t_s, self._begin_sinking(begun, readings)
        else:
            self._t_s, self.filter = self._begin(begun, readings)
        self._accel = math.nan
        self._accel_s = -math.inf  # when it was last measured
        self._push = (self.liftoff_s, ascent.first_accel_mps2)  # the newest known of
        self._no_push = (math.nan, math.nan)
        self._apogee_s = math.nan if self.phase is Phase.BOOST else -math.inf
        self._top: tuple[float, float] | None = None
        self._anchor_s, self._anchor_m, self._anchored = self._t_s, self.filter.h, 0
        self._anchor_sigma_m = self.filter.h_sigma
        self._surprise = 0.0
        self._unseen = False  # whether the apogee was called in a silence that is not yet over
        self._pulse_m, self._pulse_s = 0.0, -math.inf
        self._free_fall = FreeFallBound()
        self._canopy_rate_mps = canopy_rate_mps
        self._ejection = EjectionWatch(canopy_rate_mps) if self.phase is Phase.BOOST else None
        self._coast_s = math.nan
        self._too_fast = (0, math.nan)  # samples in a row, the first of them
        self._pulsed = False  # whether the newest pressure was rejected as too high
        self._drag = ascent.drag_kgpm
        self._drag_variance = (DRAG_SPREAD * self._drag) ** 2
        self.moments: list[Moment] = []
        if self.phase is Phase.DESCENT:
            return
        reference_m = self._metres_per_pascal() * pad.sigma_pa(self.liftoff_s)
        self.moments.append(Moment(FlightEventKind.LIFTOFF, self.liftoff_s, 0.0, reference_m))
        for reading in readings:
            if reading.t_s > self._t_s or (reading.t_s == self._t_s and self._accel != self._accel):
                self.moments += self.step(reading)

    @property
    def height_sigma_m(self) -> float:
        """Standard deviation of the height, what is common to all pressure heights included."""
        f, pad = self.filter, self._pad
        scale_m = pad.scale_sigma * f.h
        reference_m = self._metres_per_pascal() * pad.sigma_pa(self._t_s)
        lag_m = LAG_S * f.v
        port_m = PORT_SHARE * f.v * f.v / (2.0 * pad.gravity_mps2)
        return math.sqrt(f.p_hh + scale_m * scale_m + reference_m * reference_m + lag_m * lag_m + port_m * port_m)

    @property
    def speed_sigma_mps(self) -> float:
        """Standard deviation of the upward speed."""
        return math.sqrt(self.filter.p_vv + (self._pad.scale_sigma * self.filter.v) ** 2)

    def step(self, reading: Reading) -> list[Moment]:
        """Go on to the next sample; returns what it made known."""
        specific = reading.specific
        dt_s = reading.t_s - self._t_s
        self._t_s = reading.t_s
        f = self.filter
        before_m, before_mps = f.h, f.v
        self._predict(dt_s, specific)
        self._measure(reading.pressure_pa)
        if before_mps > 0.0 >= f.v:
            self._top = self._top_between(dt_s, before_m, before_mps)
        if self.phase is Phase.BOOST or self.phase is Phase.COAST:
            self._watch_push(reading.t_s, specific)
        if self.phase is Phase.COAST:
            self._learn_drag(specific)
        self._watch_still(reading.t_s)
        moments = self._change_phase(reading.t_s, specific)
        if self.phase is Phase.COAST:
            self._free_fall.know(reading.t_s, f, self._pad.gravity_mps2 + abs(self._drag_mps2()))
        if self.phase is Phase.COAST or self.phase is Phase.DESCENT:
            moments += self._watch_recovery(reading.t_s, specific)
        return moments

    def overdue(self, now_s: float) -> list[Moment]:
        """What must have happened by a time without any word of it: an apogee that coasting has led to."""
        f = self.filter
        if self.phase is not Phase.COAST or now_s - self._t_s < SILENT_S or f.v <= 0.0:
            return []
        rise = coast(f.v, self._ascent.burnout_mass_kg, self._drag, self._ascent.gravity_mps2)
        top_s = self._t_s + rise.time_s
        unsure_s = f.v_sigma / self._ascent.gravity_mps2
        if unsure_s > MOST_UNSURE_S or now_s < top_s + unsure_s:
            return []
        self.phase, self._apogee_s, self._unseen = Phase.DESCENT, top_s, True
        return [Moment(FlightEventKind.APOGEE, top_s, f.h + rise.height_m, self.height_sigma_m)]

    def predicted_apogee(self, tilt_rad: float) -> tuple[float, float]:
        """Height of the apogee to come and its standard deviation; NaN outside boost and coast."""
        f = self.filter
        if self.phase is Phase.BOOST:
            since_s = self._t_s - self.liftoff_s
            drag = self._drag
            rise = self._ascent.rise_from(f.v, since_s, drag).height_m
            faster = self._ascent.rise_from(f.v + 1.0, since_s, drag).height_m - rise
            draggier = self._ascent.rise_from(f.v, since_s, drag * (1.0 + DRAG_SPREAD)).height_m - rise
            stronger = self._ascent.rise_from(f.v, since_s, drag, 1.0 + MOTOR_SPREAD).height_m - rise
        elif self.phase is Phase.COAST:
            mass_kg, gravity = self._ascent.burnout_mass_kg, self._ascent.gravity_mps2
            drag = self._drag / max(math.cos(tilt_rad), 0.5) if tilt_rad == tilt_rad else self._drag
            rise = coast(f.v, mass_kg, drag, gravity).height_m
            faster = f.v / (gravity + drag / mass_kg * f.v * f.v) if f.v > 0.0 else 0.0
            draggier = coast(f.v, mass_kg, drag + math.sqrt(self._drag_variance), gravity).height_m - rise
            stronger = 0.0
        else:
            return math.nan, math.nan
        top_m = f.h + rise
        variance = f.p_hh + 2.0 * faster * f.p_hv + faster * faster * f.p_vv + draggier * draggier
        variance += stronger * stronger + (self._pad.scale_sigma * top_m) ** 2
        return top_m, math.sqrt(max(variance, 0.0))

    def _begin(self, liftoff: Liftoff, readings: list[Reading]) -> tuple[float, VerticalFilter]:
        """When the vehicle left the pad, and the filter at the moment it is started."""
        newest = readings[-1]
        self.liftoff_s = (liftoff.after_s + liftoff.before_s) / 2.0
        by_height = self._liftoff_by_height_s(liftoff, readings)
        if by_height == by_height:
            # first heard in flight, it left the pad before it was heard
            earliest_s = liftoff.after_s if self._pad.settled else -math.inf
            self.liftoff_s = min(max(by_height, earliest_s), liftoff.before_s)
        bias = self._bias_axis
        reference_m = self._metres_per_pascal() * self._pad.sigma_pa(newest.t_s)
        gap_s = liftoff.before_s - liftoff.after_s
        if gap_s <= GAP_S and self._pad.settled:
            v_sigma = 0.3 + 0.3 * gap_s * self._ascent.first_accel_mps2
            return self.liftoff_s, VerticalFilter(
                0.0, 0.0, bias, h_sigma=0.3 + reference_m, v_sigma=v_sigma, b_sigma=BIAS_SIGMA_MPS2
            )
        since_s = liftoff.before_s - self.liftoff_s
        first = next((r for r in readings if r.t_s >= liftoff.before_s), newest)
        first_m = self._pressure_height_m(first.pressure_pa)
        at_m = first_m if first_m == first_m else 0.0
        return liftoff.before_s, VerticalFilter(
            at_m, self._ascent.speed_at_mps(since_s), bias, h_sigma=10.0, v_sigma=30.0, b_sigma=BIAS_SIGMA_MPS2
        )

    def _liftoff_by_height_s(self, liftoff: Liftoff, readings: list[Reading]) -> float:
        """When it left the pad by a height of its ascent; NaN without one.

        The lowest height that is surely one of flight says it best: the higher, the slower it is, and the more a
        motor may have been another than expected.
        """
        by_height = math.nan
        for reading in reversed(readings):
            height_m = self._pressure_height_m(reading.pressure_pa)
            surely = reading.t_s > liftoff.after_s and height_m >= SURELY_RISEN_M
            if height_m == height_m and (surely or reading is readings[-1]):
                by_height = reading.t_s - self._ascent.time_at_height_s(height_m)
            if height_m == height_m and not surely:
                break
        return by_height

    def _begin_sinking(self, sinking: Sinking, readings: list[Reading]) -> VerticalFilter:
        """The filter at the newest of the samples, which carries a pressure."""
        height_m = self._pressure_height_m(readings[-1].pressure_pa)
        return VerticalFilter(
            height_m,
            -sinking.rate_mps,
            self._bias_axis,
            h_sigma=self._metres_per_pascal(readings[-1].pressure_pa) * self._pad.noise_pa,
            v_sigma=SINKING_SIGMA_MPS + SINKING_SIGMA_SHARE * sinking.rate_mps,
            b_sigma=BIAS_SIGMA_MPS2,
        )

    def _predict(self, dt_s: float, specific: Specific) -> None:
        f = self.filter
        accel, s, walk = specific.up, 0.0, BIAS_WALK_COAST
        if accel == accel:
            self._accel_s = self._t_s
        elif self._t_s - self._accel_s < GAP_S:  # another kind of packet: what was measured a moment ago still holds
            accel = self._accel
            s = (BETWEEN_NOISE_MPS2 + BETWEEN_NOISE_SHARE * abs(accel)) ** 2
        coasting = self.phase is Phase.COAST or self._unseen
        self._unseen = False
        if self.phase is Phase.BOOST:
            walk = BIAS_WALK_BOOST
            if accel != accel:
                since_s = self._t_s - self.liftoff_s
                mass_kg = self._ascent.mass_kg(since_s)
                push = (self._ascent.thrust_n(since_s) - self._drag * f.v * abs(f.v)) / mass_kg
                accel = push - self._pad.gravity_mps2 + f.b
                s = (0.3 * push + 2.0) ** 2
            if dt_s > GAP_S:
                s += (UNSEEN_BOOST_MPS2 * min(dt_s, 1.0)) ** 2
        elif coasting:
            drag_mps2 = self._drag_mps2()
            if accel != accel or specific.magnitude > abs(drag_mps2) + SHOCK_MPS2:
                accel = f.b - self._pad.gravity_mps2 - drag_mps2
                s = UNSEEN_COAST_MPS2**2
            if dt_s > GAP_S:
                unseen = UNSEEN_COAST_MPS2
                if f.v < self._pad.gravity_mps2 * dt_s:  # over the top
                    unseen = UNSEEN_FALL_MPS2
                    self._pulse_m, self._pulse_s = UNSEEN_PULSE_M, self._t_s
                s += (unseen * min(dt_s, 1.0)) ** 2
        else:
            self._fall(dt_s, specific)
            return
        last = self._accel if self._accel == self._accel else accel
        self._accel = accel
        self.accel_up_mps2 = accel - f.b
        share = ACCEL_NOISE_SHARE if specific.attitude is not None else AXIS_ONLY_SHARE
        noise = ACCEL_NOISE_MPS2 + share * abs(accel + self._pad.gravity_mps2)
        s += 0.5 * noise * noise + (accel - last) ** 2 / 12.0
        f.predict(dt_s, last, accel, s=s, q_b=walk)

    def _fall(self, dt_s: float, specific: Specific) -> None:
        """Predict in descent and after: steady speed, and how much it may have changed."""
        f = self.filter
        self.accel_up_mps2 = specific.up - f.b
        # no steady speed yet: a canopy may open at any moment, or none has and it falls faster and faster
        early = self._t_s - self._apogee_s < OPENING_S or f.v < -TOO_FAST * self._canopy_rate_mps
        opening = self.phase is Phase.DESCENT and early
        density = RESTING_DENSITY if self.phase is Phase.LANDED else STEADY_DENSITY
        if opening and dt_s < GAP_S and specific.attitude is not None and specific.magnitude < OPENING_MOST_MPS2:
            accel = specific.up
            last = self._accel if self._accel == self._accel else accel
            noise = OPENING_NOISE_MPS2 + OPENING_NOISE_SHARE * max(abs(accel), abs(last))
            s = noise * noise + (accel - last) ** 2 / 12.0
        else:
            accel = last = f.b
            if opening or abs(self._surprise) > SURPRISED:
                density = CHANGING_DENSITY
            s = density / dt_s if dt_s > 0.0 else 0.0
            if opening and dt_s >= GAP_S:
                self._pulse_m, self._pulse_s = UNSEEN_PULSE_M, self._t_s
        self._accel = accel if opening else math.nan
        f.predict(dt_s, last, accel, s=s, q_b=0.0)

    def _measure(self, pressure_pa: float) -> None:
        height_m = self._pressure_height_m(pressure_pa)
        self._pulsed = False
        if height_m != height_m:
            return
        f, pad = self.filter, self._pad
        noise_m = self._metres_per_pascal(pressure_pa) * pad.noise_pa
        lag_m = LAG_S * f.v
        port_m = PORT_SHARE * f.v * f.v / (2.0 * pad.gravity_mps2)
        variance = noise_m * noise_m + lag_m * lag_m + port_m * port_m
        if self._pulse_m:
            left_m = self._pulse_m * math.exp(-(self._t_s - self._pulse_s) / PULSE_S)
            variance += left_m * left_m
            self._pulse_m = self._pulse_m if left_m > 0.1 else 0.0
        innovation_m = height_m - f.h
        if self._free_fall.is_a_charges(self._t_s, height_m, variance):
            self._pulse_m, self._pulse_s = abs(innovation_m), self._t_s
            self._pulsed = True
            return
        spread_m = math.sqrt(f.p_hh + variance)
        if f.update(height_m, variance):
            surprise = max(-3.0, min(3.0, innovation_m / spread_m))
            self._surprise += SURPRISE_GAIN * (surprise - self._surprise)
        else:
            if self._t_s - self._pulse_s > PULSE_APART_S:  # else what lasts is no pulse, and the filter is wrong
                self._pulse_m, self._pulse_s = abs(innovation_m), self._t_s
            self._pulsed = innovation_m < 0.0

    def _watch_push(self, t_s: float, specific: Specific) -> None:
        drag_mps2 = self._drag_mps2()
        push = specific.axial - self._bias_axis + drag_mps2
        if push != push:
            return
        if push >= max(NO_PUSH_MPS2, NO_PUSH_DRAG_SHARE * drag_mps2):
            if self.phase is Phase.BOOST:
                self._push = (t_s, push)
                self._no_push = (math.nan, math.nan)
        elif self._no_push[0] != self._no_push[0]:
            self._no_push = (t_s, push)

    def _learn_drag(self, specific: Specific) -> None:
        """In coast the accelerometer shows drag over mass."""
        f = self.filter
        square = f.v * f.v
        if not square > 400.0 or not specific.magnitude < 4.0 * SHOCK_MPS2:
            return
        mass_kg = self._ascent.burnout_mass_kg
        seen = -(specific.axial - self._bias_axis) * mass_kg / square
        variance = (FORCE_NOISE_COAST_MPS2 * mass_kg / square) ** 2
        gain = self._drag_variance / (self._drag_variance + variance)
        self._drag = max(self._drag + gain * (seen - self._drag), 0.1 * self._ascent.drag_kgpm)
        self._drag_variance = max((1.0 - gain) * self._drag_variance, (0.03 * self._drag) ** 2)

    def _watch_recovery(self, t_s: float, specific: Specific) -> list[Moment]:
        """Ejection, and a fall much faster than under the canopy; each is told once."""
        f, moments = self.filter, []
        if self.phase is Phase.COAST and not t_s - self._coast_s > COAST_FIRST_S:
            return []
        since_s = t_s - self._apogee_s if self.phase is Phase.DESCENT else math.nan
        speed_sigma_mps = self.speed_sigma_mps
        if self._ejection is not None:
            drag_mps2 = self._drag_mps2()
            jolted = self._pulsed or specific.magnitude > abs(drag_mps2) + SHOCK_MPS2
            fall = Fall(t_s, since_s, f.h, f.v, speed_sigma_mps, specific.magnitude, drag_mps2, jolted)
            ejected_s = self._ejection.observe(fall)
            if ejected_s is not None:
                ago_s = t_s - ejected_s
                height_m = f.h - f.v * ago_s
                moments.append(Moment(FlightEventKind.EJECTION, ejected_s, height_m, self.height_sigma_m))
                self._ejection = None
        if self.phase is Phase.DESCENT and self._too_fast[0] < TOO_FAST_SAMPLES:
            kind = descent_kind(
                f.v, speed_sigma_mps, since_apogee_s=since_s, expected_mps=self._canopy_rate_mps, height_m=f.h
            )
            count, first_s = self._too_fast if kind is DescentKind.BALLISTIC else (-1, math.nan)
            self._too_fast = (count + 1, first_s if count > 0 else t_s)
            if self._too_fast[0] == TOO_FAST_SAMPLES:
                moments.append(Moment(FlightEventKind.BALLISTIC, self._too_fast[1], f.h, self.height_sigma_m))
        return moments

    def _watch_still(self, t_s: float) -> None:
        f = self.filter
        band_m = max(STILL_BAND_M, min(3.0 * f.h_sigma, STILL_BAND_MOST_M))
        if abs(f.h - self._anchor_m) > band_m:
            self._anchor_s, self._anchor_m, self._anchored = t_s, f.h, 0
            self._anchor_sigma_m = f.h_sigma
        elif f.h_sigma < 0.5 * self._anchor_sigma_m:  # the same height, better known
            self._anchor_m, self._anchor_sigma_m = f.h, f.h_sigma
        self._anchored += 1

    def _change_phase(self, t_s: float, specific: Specific) -> list[Moment]:
        moments: list[Moment] = []
        while True:
            transition = next_transition(self.phase, self._evidence(t_s, specific))
            if transition is None:
                return moments
            moments.append(self._moment(transition.event, t_s))
            self.phase = transition.target
            if transition.event is FlightEventKind.BURNOUT:
                self._coast_s = t_s
            if transition.event is FlightEventKind.APOGEE:
                self._apogee_s = moments[-1].t_s

    def _evidence(self, t_s: float, specific: Specific) -> Evidence:
        no_push_s = t_s - self._no_push[0]
        return Evidence(
            since_liftoff_s=t_s - self.liftoff_s,
            no_push_s=no_push_s if no_push_s > 0.0 else 0.0,
            has_accel=t_s - self._accel_s < 1.0,
            burn_s=self._ascent.burn_s,
            speed_mps=self.filter.v,
            speed_sigma_mps=self.filter.v_sigma,
            still_s=t_s - self._anchor_s if self._anchored >= STILL_SAMPLES else 0.0,
        )

    def _moment(self, kind: FlightEventKind, now_s: float) -> Moment:
        f = self.filter
        if kind is FlightEventKind.BURNOUT:
            t_s = self._burnout_s(now_s)
            ago_s = now_s - t_s
            height_m = f.h - f.v * ago_s + 0.5 * self.accel_up_mps2 * ago_s * ago_s
            if not math.isfinite(height_m):
                height_m = f.h - f.v * ago_s
            return Moment(kind, t_s, height_m, self.height_sigma_m)
        if kind is FlightEventKind.APOGEE:
            t_s, height_m = self._top or (now_s, f.h)
            return Moment(kind, t_s, height_m, self.height_sigma_m)
        return Moment(kind, self._anchor_s, f.h, self.height_sigma_m)

    def _top_between(self, dt_s: float, before_m: float, before_mps: float) -> tuple[float, float]:
        """When and how high the top was, given height and speed at the sample before it."""
        f = self.filter
        if dt_s > GAP_S:  # a canopy may have opened since: only the way up is known
            rise = coast(before_mps, self._ascent.burnout_mass_kg, self._drag, self._ascent.gravity_mps2)
            return self._t_s - dt_s + min(rise.time_s, dt_s), before_m + rise.height_m
        rest_s = dt_s * before_mps / (before_mps - f.v)
        return self._t_s - dt_s + rest_s, max(before_m + 0.5 * before_mps * rest_s, f.h)

    def _burnout_s(self, now_s: float) -> float:
        (from_s, push), (to_s, rest) = self._push, self._no_push
        if to_s != to_s or to_s < from_s:
            return min(max(self.liftoff_s + self._ascent.burn_s - self._ascent.delay_s, from_s), now_s)
        if to_s - from_s > GAP_S:
            return min(max(self.liftoff_s + self._ascent.burn_s - self._ascent.delay_s, from_s), to_s)
        if push > 8.0 * NO_PUSH_MPS2:  # it fell at once: anywhere between the two samples
            return (from_s + to_s) / 2.0
        return from_s + (to_s - from_s) * push / (push - min(rest, 0.0))

    def _drag_mps2(self) -> float:
        """Deceleration by drag at the present speed, down positive."""
        v = self.filter.v
        return self._drag / self._ascent.burnout_mass_kg * v * abs(v)

    def _pressure_height_m(self, pressure_pa: float) -> float:
        return math.nan if self._pad.air is None else self._pad.air.height_m(pressure_pa)

    def _metres_per_pascal(self, pressure_pa: float | None = None) -> float:
        air = self._pad.air
        if air is None or pressure_pa is None:
            return self._pad.metres_per_pascal
        return air.metres_per_pascal(pressure_pa)
