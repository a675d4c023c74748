"""A simulated vehicle as a stream of timed frames, with the truth to compare with.

Pure: no clock, no I/O; the same arguments give the same bytes at the same times. Time is seconds from the
simulation's start. Readings are pulled packet by packet, so that an endless pad watch needs no memory.
"""

import math
import random
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

from groundstation.config.station import Site
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.fault import AirTime, Context, TimedFault
from groundstation.simulator.faults import parse
from groundstation.simulator.flight import Flight, fly
from groundstation.simulator.measuring import Measuring
from groundstation.simulator.packets import PacketBuilder
from groundstation.simulator.pad import PadPlan, bumped, mean_wind_mps, standing
from groundstation.simulator.radio import Channel, Radio
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.sensors import Values
from groundstation.simulator.truth import BodyState, Truth
from groundstation.simulator.wind import Wind

STRANGER_UPTIME_S = 1900.0  # of another vehicle on the channel


class TimedFrame(NamedTuple):
    """One frame, delimiters included, and when its last byte arrives at the receiver [s]."""

    t_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Moment:
    """One packet's time, the values put into it before they are quantised, and what was true then.

    Faults are in the values and in the state; charge (0 to 1) and resistance are the pack's own.
    """

    t_s: float
    packet: str
    values: Values
    state: BodyState
    charge: float
    resistance_ohm: float


class Fate(NamedTuple):
    """What became of one packet on the link: sent, and arrived [s], NaN where it was lost.

    `damaged` is one that arrived with a byte changed, `burst` one that was sent while the link was in a burst.
    """

    t_s: float
    packet: str
    arrived_s: float
    damaged: bool
    burst: bool
    wind_mps: float


class SimulatedVehicle:
    """See the module; iterating gives `TimedFrame`s in order of time, without end, from the start each time.

    Args:
        vehicle: The vehicle file.
        site: The pad's place and air.
        seed: All that is random comes from it.
        launch_at_s: Time of ignition; None stays on the pad.
        faults: What goes wrong when; texts are read by `groundstation.simulator.faults.parse`.
        radio: How the link behaves.
        plan: What is done with the vehicle on the pad.
        scatter: How this flight differs from the vehicle file; None draws it from the seed.
    Raises:
        FaultError: A fault that does not exist, or cannot happen to this vehicle.
        FlightError: The vehicle as described cannot fly.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        site: Site,
        *,
        seed: int,
        launch_at_s: float | None = None,
        faults: Sequence[TimedFault | str] = (),
        radio: Radio | None = None,
        plan: PadPlan | None = None,
        scatter: Scatter | None = None,
    ) -> None:
        self._vehicle = vehicle
        self._site = site
        self._seed = seed
        self._radio = Radio() if radio is None else radio
        self._plan = PadPlan() if plan is None else plan
        self._faults = tuple(parse(f, vehicle) if isinstance(f, str) else f for f in faults)
        if scatter is None:
            scatter = Scatter.drawn(random.Random(f"{seed}/scatter"))
        self.scatter = scatter
        self._standing = standing(vehicle, site, tilt_rad=scatter.rod_tilt_rad, heading_rad=scatter.rod_heading_rad)
        self._flight: Flight | None = None
        if launch_at_s is not None:
            self._flight = fly(vehicle, site, ignition_s=launch_at_s, scatter=scatter, seed=seed)

    @property
    def truth(self) -> Truth | None:
        """The whole flight, known from the start; None for a vehicle that stays on the pad."""
        return None if self._flight is None else self._flight.truth

    def __iter__(self) -> Iterator[TimedFrame]:
        return self.frames()

    def frames(self, seconds: float | None = None) -> Iterator[TimedFrame]:
        """The frames sent in the first `seconds`, or without end."""
        builder = PacketBuilder(self._vehicle, uptime_s=self._plan.uptime_s)
        channel = Channel(self._radio, random.Random(f"{self._seed}/radio"))
        draws = random.Random(f"{self._seed}/frame faults")
        other = PacketBuilder(self._vehicle, uptime_s=STRANGER_UPTIME_S)
        for moment in self._moments(builder, seconds):
            carried = channel.carry(moment.t_s, builder.frame(moment.packet, moment.values))
            if carried is None:
                continue
            arriving: tuple[bytes, ...] = (carried[1],)
            air = AirTime(draws, partial(_stranger, other, moment))
            for timed in self._faults:
                if timed.fault.on_frame is not None and timed.active(moment.t_s):
                    arriving = tuple(f for frame in arriving for f in timed.fault.on_frame(frame, air))
            for frame in arriving:
                yield TimedFrame(carried[0], frame)

    def fates(self, seconds: float | None = None) -> Iterator[Fate]:
        """What became of each packet on the link, without what faults do to frames."""
        builder = PacketBuilder(self._vehicle, uptime_s=self._plan.uptime_s)
        channel = Channel(self._radio, random.Random(f"{self._seed}/radio"))
        for moment in self._moments(builder, seconds):
            frame = builder.frame(moment.packet, moment.values)
            arrived_s, arrived = channel.carry(moment.t_s, frame) or (math.nan, frame)
            wind_mps = math.hypot(*moment.state.wind_mps)
            burst = channel.in_burst(moment.t_s)
            yield Fate(moment.t_s, moment.packet, arrived_s, arrived != frame, burst, wind_mps)

    def moments(self, seconds: float | None = None) -> Iterator[Moment]:
        """What is measured and true at each packet's time, whether or not the packet gets through."""
        return self._moments(PacketBuilder(self._vehicle, uptime_s=self._plan.uptime_s), seconds)

    def _moments(self, builder: PacketBuilder, seconds: float | None) -> Iterator[Moment]:
        times = None if self._flight is None else self._flight.truth.times
        measuring = Measuring(
            self._vehicle,
            self._site,
            self._plan,
            times,
            scatter=self.scatter,
            seed=self._seed,
        )
        wind = Wind(mean_wind_mps(self._site), random.Random(f"{self._seed}/pad wind"))
        effects = [_Effect(self._vehicle, timed, self._seed) for timed in self._faults]
        last_s = 0.0
        for t_s, packet in builder.due():
            if seconds is not None and t_s >= seconds:
                return
            wind.advance(t_s - last_s)
            last_s = t_s
            state = self._state_at(t_s, wind)
            active = [effect for effect in effects if effect.timed.active(t_s)]
            starting = False
            for effect in active:
                state = effect.on_state(state)
                began_s = effect.started_s(t_s)
                if began_s is not None:
                    measuring.restart(began_s)
                    builder.restart()
                starting = starting or effect.starting(t_s)
            values = measuring.at(t_s, state)
            for effect in active:
                values = effect.on_values(t_s, packet, values)
            if not starting:
                yield Moment(t_s, packet, values, state, measuring.charge, measuring.resistance_ohm)

    def _state_at(self, t_s: float, wind: Wind) -> BodyState:
        if self._flight is not None and self._flight.contains(t_s):
            return self._flight.state_at(t_s)
        resting = self._standing if self._flight is None or t_s < self._flight.begins_s else self._flight.at_rest
        return bumped(resting._replace(t_s=t_s, wind_mps=wind.at(0.0)), self._plan.bumps)


class _Effect:
    """One fault at work: what it remembers of its beginning."""

    def __init__(self, vehicle: Vehicle, timed: TimedFault, seed: int) -> None:
        self.timed = timed
        self._vehicle = vehicle
        self._draws = random.Random(f"{seed}/{timed.fault.name}")
        self._before: Values | None = None
        self._count: Counter[str] = Counter()
        self._starts = 0

    def on_state(self, state: BodyState) -> BodyState:
        """What is true instead."""
        change = self.timed.fault.on_state
        return state if change is None else change(state, state.t_s - self.timed.at_s)

    def on_values(self, t_s: float, packet: str, values: Values) -> Values:
        """What is measured instead."""
        change = self.timed.fault.on_values
        if change is None:
            return values
        if self._before is None:
            self._before = values
        since_s = t_s - self.timed.at_s
        nth = self._count[packet]
        self._count[packet] = nth + 1
        context = Context(self._vehicle, self.timed.channel, self._before, since_s, nth, self._draws)
        return values | change(values, context)

    def started_s(self, t_s: float) -> float | None:
        """When the flight computer started, if it did so since it was asked last."""
        change = self.timed.fault.on_running
        if change is None:
            return None
        running = change(t_s - self.timed.at_s)
        anew, self._starts = running.starts != self._starts, running.starts
        return t_s - running.age_s if anew else None

    def starting(self, t_s: float) -> bool:
        """Whether the flight computer has not sent anything yet since it started."""
        change = self.timed.fault.on_running
        return change is not None and change(t_s - self.timed.at_s).age_s < 0.0


def _stranger(builder: PacketBuilder, moment: Moment) -> bytes:
    """The frame another vehicle of the kind sends: its own counter, clock and address."""
    values = moment.values | {
        "vehicle_time": moment.values["vehicle_time"] + STRANGER_UPTIME_S,
        "vehicle_address": moment.values["vehicle_address"] + 1.0,
    }
    return builder.frame(moment.packet, values)
