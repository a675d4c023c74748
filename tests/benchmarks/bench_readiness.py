"""Times one tick of readiness, in processor time: every check and the verdict.

The example vehicle stands on its pad, all checks passing, with ten minutes of packets behind it. Ticks come as often
as the pipeline's and each is given a new window, as there; a check over many seconds is not run on each.

    python tests/benchmarks/bench_readiness.py
"""

import importlib.util
import time
from pathlib import Path
from types import ModuleType

import numpy as np

from groundstation.inputs import NS_PER_S
from groundstation.pipeline import TICK_NS
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.window import Window

SECONDS = 600.0
TICKS = 2000
ROUNDS = 5


def _factory() -> ModuleType:
    path = Path(__file__).parents[1] / "groundstation" / "readiness" / "conftest.py"
    spec = importlib.util.spec_from_file_location("pad_factory", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def main() -> None:
    """Print microseconds a tick, and the dearest checks."""
    factory = _factory()
    timeline = factory.example_pad(seconds=SECONDS, loss=0.02).timeline()
    ticks = factory.STARTED_NS + round(SECONDS * NS_PER_S) - TICK_NS * np.arange(TICKS - 1, -1, -1)
    took = []
    for _ in range(ROUNDS):
        assessor = Assessor(timeline.vehicle)
        began = time.process_time()
        for at_ns in ticks.tolist():
            assessor.assess(Window(timeline, at_ns))
        took.append((time.process_time() - began) / TICKS * 1e6)
    print(f"assess: {min(took):.0f} µs a tick (best of {ROUNDS}, worst {max(took):.0f}), {len(CHECKS)} checks")
    for check in CHECKS:
        began = time.process_time()
        for at_ns in ticks.tolist():
            check.run(Window(timeline, at_ns))
        print(f"  {check.name:24s}{(time.process_time() - began) / TICKS * 1e6:6.1f} µs alone, with a new window")


if __name__ == "__main__":
    main()
