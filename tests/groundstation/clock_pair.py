"""A simulated pair of clocks: the vehicle's, which drifts, wraps and starts anew, and the station's."""

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from groundstation.inputs import NS_PER_S

SHORTEST_S = 0.02  # from sending to the last byte's arrival
Jitter = Callable[[random.Random], float]


@dataclass(frozen=True)
class Heard:
    """A packet as it came: its clock as sent, when it was received, when it was truly sent, and of which run."""

    clock_s: float
    received_ns: int
    sent_s: float
    boot: int

    @property
    def true_ns(self) -> int:
        """When it would have come by the quickest way."""
        return round((self.sent_s + SHORTEST_S) * NS_PER_S)


@dataclass(frozen=True)
class ClockPair:
    """What the vehicle sends and how it comes; see `heard`."""

    rate_hz: float = 20.0
    tick_s: float = 1e-3
    period_s: float = math.inf
    ppm: float = 0.0  # how much the vehicle's clock gains
    up_s: float = 3.0  # how long the vehicle is on when the session begins
    loss: float = 0.1
    jitter: Jitter = lambda draws: draws.expovariate(1 / 0.004)
    off: tuple[tuple[float, float], ...] = ()  # power gone from, to: the clock counts from then on
    silent: tuple[tuple[float, float], ...] = ()  # nothing is heard from, to

    def heard(self, seconds: float, seed: int) -> Iterator[Heard]:
        """The packets in the order they came; a receiver keeps their order."""
        draws = random.Random(seed)
        last_ns = 0
        for k in range(round(seconds * self.rate_hz)):
            sent_s = k / self.rate_hz
            boot = sum(until <= sent_s for _, until in self.off)
            since_s = -self.up_s if boot == 0 else self.off[boot - 1][1] - 0.3
            late_s = self.jitter(draws)
            lost = draws.random() < self.loss
            gone = any(a <= sent_s < b for a, b in (*self.silent, *self.off))
            if lost or gone:
                continue
            clock_s = math.floor((sent_s - since_s) * (1 + self.ppm * 1e-6) / self.tick_s) * self.tick_s
            last_ns = max(last_ns, round((sent_s + SHORTEST_S + late_s) * NS_PER_S))
            yield Heard(clock_s % self.period_s if self.period_s < math.inf else clock_s, last_ns, sent_s, boot)
