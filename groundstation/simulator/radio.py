"""The radio link between vehicle and receiver: frames lost singly and in bursts, late, and damaged.

Bursts follow the two-state channel of E. N. Gilbert, Capacity of a burst-noise channel, Bell System Technical
Journal 39 (1960): in the good state frames are lost independently, in the bad state far more often.
"""

import math
import random
from dataclasses import dataclass

from groundstation.simulator.truth import BodyState

NOISE_FLOOR_DBM = -117.0  # -174 dBm/Hz in 125 kHz with a noise figure of 6 dB
MOST_SNR_DB = 10.0  # receivers report no more, however strong the packet (common practice, no source)


@dataclass(frozen=True, slots=True)
class Radio:
    """How the link behaves; every share lies between 0 and 1.

    Attributes:
        loss: Share of frames lost independently of each other.
        burst_per_s: How often the link falls into a burst.
        burst_s: Mean length of a burst.
        burst_loss: Share of frames lost within a burst.
        damage: Share of frames that arrive with one byte changed.
        delay_s: From sending to the last byte's arrival, at least.
        jitter_s: Mean of what is added to it (exponential); frames keep their order.
    """

    loss: float = 0.01
    burst_per_s: float = 0.01
    burst_s: float = 0.4
    burst_loss: float = 0.6
    damage: float = 0.002
    delay_s: float = 0.02
    jitter_s: float = 0.004

    def __post_init__(self) -> None:
        for name in ("loss", "burst_loss", "damage"):
            share = getattr(self, name)
            if not 0.0 <= share <= 1.0:
                raise ValueError(f"found {name} = {share!r}, expected a share from 0 to 1")
        for name in ("burst_per_s", "burst_s", "delay_s", "jitter_s"):
            value = getattr(self, name)
            if not 0.0 <= value < float("inf"):
                raise ValueError(f"found {name} = {value!r}, expected a number from 0 up")


PERFECT = Radio(loss=0.0, burst_per_s=0.0, damage=0.0, delay_s=0.0, jitter_s=0.0)


class Channel:
    """One link under way; frames go in in order of time."""

    def __init__(self, radio: Radio, draws: random.Random) -> None:
        self._radio = radio
        self._draws = draws
        self._bad_until_s = float("-inf")
        self._next_burst_s = self._until_burst(0.0)
        self._last_arrival_s = float("-inf")

    def _until_burst(self, from_s: float) -> float:
        rate = self._radio.burst_per_s
        return from_s + self._draws.expovariate(rate) if rate > 0 else float("inf")

    def in_burst(self, t_s: float) -> bool:
        """Whether a frame that went in at `t_s`, the newest, was in a burst."""
        return t_s < self._bad_until_s

    def carry(self, t_s: float, frame: bytes) -> tuple[float, bytes] | None:
        """When a frame sent at `t_s` arrives, and as what; None if it is lost."""
        radio, draws = self._radio, self._draws
        while t_s >= self._next_burst_s:
            self._bad_until_s = self._next_burst_s + draws.expovariate(1.0 / radio.burst_s) if radio.burst_s else 0.0
            self._next_burst_s = self._until_burst(max(self._next_burst_s, self._bad_until_s))
        lost = draws.random() < (radio.burst_loss if t_s < self._bad_until_s else radio.loss)
        hurt = draws.random() < radio.damage
        late = draws.expovariate(1.0 / radio.jitter_s) if radio.jitter_s else 0.0
        if lost:
            return None
        self._last_arrival_s = max(self._last_arrival_s, t_s + radio.delay_s + late)
        return self._last_arrival_s, damaged(frame, draws) if hurt else frame


def damaged(frame: bytes, draws: random.Random) -> bytes:
    """The frame with one byte changed, anywhere in it."""
    at = draws.randrange(len(frame))
    return frame[:at] + bytes([frame[at] ^ draws.randint(1, 255)]) + frame[at + 1 :]


def received_strength(state: BodyState, draws: random.Random) -> dict[str, float]:
    """RSSI [dBm] and SNR [dB] a receiver at the pad would report, falling by 20 dB for ten times the distance."""
    distance_m = max(50.0, sum(x * x for x in state.position_m) ** 0.5)
    rssi = -62.0 - 20.0 * math.log10(distance_m / 50.0) + draws.gauss(0.0, 1.5)
    return {"rssi": rssi, "snr": min(MOST_SNR_DB, rssi - NOISE_FLOOR_DBM) + draws.gauss(0.0, 0.7)}
