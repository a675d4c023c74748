"""What a fault of the simulated vehicle is, and the small functions that most faults are made of.

A fault is one row: its name, what it does in a sentence, the checks of which one must notice, the time within which,
and one pure function: on what is true of the vehicle, on what is measured, on the frames under way, or on how long
the flight computer has been running.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass

from groundstation.config.vehicle import Load, Pyro, Vehicle
from groundstation.simulator.sensors import Values
from groundstation.simulator.truth import BodyState

CHATTER = 5  # an intermittent contact drops out in one packet of so many


@dataclass(frozen=True, slots=True)
class Context:
    """What a fault on the values may look at.

    Attributes:
        vehicle: The vehicle file.
        channel: The pyro channel it is about; 0 for none.
        before: The values as they were when the fault began.
        since_s: How long ago that was [s].
        nth: How many packets of this kind were measured since, before this one.
        draws: Where anything random comes from.
    """

    vehicle: Vehicle
    channel: int
    before: Values
    since_s: float
    nth: int
    draws: random.Random

    @property
    def pyro(self) -> Pyro:
        """The vehicle file's table of the channel."""
        return next(p for p in self.vehicle.pyro if p.channel == self.channel)

    @property
    def drops_out(self) -> bool:
        """Whether a contact that drops out now and then does so in this packet."""
        return self.nth % CHATTER == CHATTER - 2


@dataclass(frozen=True, slots=True)
class AirTime:
    """What a fault on the frames may use: draws, and the frame another vehicle of the kind would send just now."""

    draws: random.Random
    stranger: Callable[[], bytes]


@dataclass(frozen=True, slots=True)
class Running:
    """The flight computer under a fault: how often it has started anew, and how long its last start was ago [s].

    A time below zero: it is still starting, and sends nothing.
    """

    starts: int
    age_s: float


OnState = Callable[[BodyState, float], BodyState]  # with the time since the fault began [s]
OnValues = Callable[[Values, Context], Values]  # the values that change
OnFrame = Callable[[bytes, AirTime], tuple[bytes, ...]]  # what arrives instead
OnRunning = Callable[[float], Running]  # from the time since the fault began [s]
Asks = Callable[[Vehicle], str | None]  # why the fault cannot happen to a vehicle, if it cannot


@dataclass(frozen=True, slots=True)
class Fault:
    """One kind of fault; exactly one of the four functions is there.

    Attributes:
        name: As it is asked for.
        text: What happens.
        checks: The readiness checks of which one must notice; none for what is borne without a reason to hold.
        within_s: How soon, at five packets with motion a second or more, and three frames in ten lost or fewer.
        changes: The measurements it changes, `{n}` for the channel; a vehicle that sends none of them cannot have it.
        load: What must hang on the pyro channel it is about; None for a fault about no channel.
        asks: What else it takes to happen.
    """

    name: str
    text: str
    checks: tuple[str, ...]
    within_s: float
    changes: tuple[str, ...] = ()
    on_state: OnState | None = None
    on_values: OnValues | None = None
    on_frame: OnFrame | None = None
    on_running: OnRunning | None = None
    load: Load | None = None
    asks: Asks | None = None

    @property
    def takes_channel(self) -> bool:
        """Whether it is about a pyro channel."""
        return self.load is not None

    @property
    def silences(self) -> bool:
        """Whether frames may not arrive because of it, so that other checks have nothing to go by."""
        return self.on_frame is not None or self.on_running is not None

    def changed(self, channel: int) -> frozenset[str]:
        """The measurements it changes on a channel."""
        return frozenset(name.format(n=channel) for name in self.changes)


@dataclass(frozen=True, slots=True)
class TimedFault:
    """A fault that begins at `at_s` and ends at `until_s`; `channel` is 0 for a fault that is about no channel."""

    fault: Fault
    at_s: float
    channel: int = 0
    until_s: float = float("inf")

    def active(self, t_s: float) -> bool:
        """Whether it is so at a time."""
        return self.at_s <= t_s < self.until_s


def frozen(*names: str) -> OnValues:
    """The measurements repeat the values they had when the fault began."""

    def freeze(values: Values, context: Context) -> Values:
        return {name: context.before[name] for name in names if name in values}

    return freeze


def fixed(name: str, value: float) -> OnValues:
    """The measurement has this value."""

    def fix(values: Values, context: Context) -> Values:
        return {name: value}

    return fix


def shifted(name: str, by: float, *, per_s: float = 0.0) -> OnValues:
    """The measurement is so much more, and more so with each second."""

    def shift(values: Values, context: Context) -> Values:
        return {name: values[name] + by + per_s * context.since_s}

    return shift


def noisy(names: tuple[str, ...], sigma: float) -> OnValues:
    """The measurements have so much more noise (standard deviation)."""

    def disturb(values: Values, context: Context) -> Values:
        return {name: values[name] + context.draws.gauss(0.0, sigma) for name in names}

    return disturb


def quiet(names: tuple[str, ...], step: float) -> OnValues:
    """The measurements stand still but for a step up and down every third packet."""

    def calm(values: Values, context: Context) -> Values:
        return {name: context.before[name] + step * (context.nth // 3 % 2) for name in names}

    return calm
