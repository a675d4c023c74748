"""Processor time of estimation: microseconds a sample on the pad and in flight, and an hour at 20 a second (72,000).

Run: python tests/benchmarks/bench_estimation.py
"""

import random
import time

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.estimation.estimator import Estimator
from groundstation.state import MotionSample

RATE_HZ = 20
HOUR = 3600 * RATE_HZ


def samples(count: int, draws: random.Random, *, launch: int) -> list[MotionSample]:
    """A vehicle on the pad, and from sample `launch` on a burn, a coast and a descent along straight lines."""
    out = []
    height = speed = 0.0
    for k in range(count):
        since_s = (k - launch) / RATE_HZ
        push = 40.0 if 0.0 <= since_s < 3.0 else (-9.8 if 3.0 <= since_s < 15.0 else 0.0)
        if since_s >= 15.0:
            speed = -6.0 if height > 0.0 else 0.0
        speed += push / RATE_HZ
        height = max(0.0, height + speed / RATE_HZ)
        force = 9.81 + push if since_s < 15.0 else 9.81
        out.append(
            MotionSample(
                round(k * 1e9 / RATE_HZ),
                round(k * 1e9 / RATE_HZ),
                100930.0 - 12.0 * height + draws.gauss(0.0, 3.0),
                (draws.gauss(0.0, 0.05), draws.gauss(0.0, 0.05), force + draws.gauss(0.0, 0.05)),
                (draws.gauss(0.0, 0.002), 0.0, 0.0),
                (1.0, 0.001, 0.0, 0.0),
            )
        )
    return out


def microseconds(stream: list[MotionSample]) -> float:
    """Time a sample, a fresh estimator over the whole stream."""
    estimator = Estimator(load_vehicle(EXAMPLE_VEHICLE), load_station(EXAMPLE_STATION).site)
    started = time.process_time()
    for sample in stream:
        estimator.step(sample)
    return (time.process_time() - started) / len(stream) * 1e6


def main() -> None:
    draws = random.Random(1)
    pad = microseconds(samples(HOUR, draws, launch=HOUR))
    flight = microseconds(samples(100 * RATE_HZ, draws, launch=5 * RATE_HZ))
    print(f"pad     {pad:6.1f} µs a sample; one hour at {RATE_HZ} Hz ({HOUR} samples) {pad * HOUR / 1e6:.2f} s")
    print(f"flight  {flight:6.1f} µs a sample")


if __name__ == "__main__":
    main()
