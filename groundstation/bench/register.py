"""The bench tests there are, in the order they are walked through. A new one is one file and one line here."""

from collections.abc import Mapping
from types import MappingProxyType

from groundstation.bench.battery_endurance import ENDURANCE_CAMERA_OFF, ENDURANCE_CAMERA_ON
from groundstation.bench.gimbal_sign import GIMBAL_SIGN
from groundstation.bench.gimbal_sweep import GIMBAL_SWEEP
from groundstation.bench.igniter_circuit import IGNITER_CIRCUIT
from groundstation.bench.pin_order import PIN_ORDER
from groundstation.bench.range_walk import RANGE_WALK
from groundstation.bench.walk import BenchTest
from groundstation.config.bench_faults import lacked_for
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Vehicle

TESTS: Mapping[ProofName, BenchTest] = MappingProxyType({
    test.name: test
    for test in (
        GIMBAL_SIGN,
        GIMBAL_SWEEP,
        IGNITER_CIRCUIT,
        PIN_ORDER,
        ENDURANCE_CAMERA_OFF,
        ENDURANCE_CAMERA_ON,
        RANGE_WALK,
    )
})  # fmt: skip


def tests_for(vehicle: Vehicle) -> tuple[BenchTest, ...]:
    """The bench tests that a vehicle of its file can be put through, in order."""
    return tuple(test for name, test in TESTS.items() if lacked_for(vehicle, name) is None)
