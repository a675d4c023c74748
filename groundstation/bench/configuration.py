"""A mark of what a proof depends on: it changes when the part of the vehicle file changes that the proof is about.

Changing the wind limit does not undo the proof of the gimbal; changing the gimbal's signs, how its angle is decoded,
or the firmware's number does.
"""

from groundstation.bench.walk import BenchTest
from groundstation.config.fingerprint import fingerprint_of
from groundstation.config.telemetry import columns
from groundstation.config.vehicle import Vehicle


def configuration(vehicle: Vehicle, test: BenchTest) -> str:
    """Twelve hexadecimal digits over the tables, limits, fields and firmware that a test's result depends on."""
    stated = vehicle.model_dump(mode="json", exclude_defaults=True)
    measured = set(test.measurements(vehicle))
    fields = {
        column.meaning: [
            column.field.kind.value,
            column.field.bits,
            column.field.scale,
            column.field.bias,
            repr(column.field.curve),
        ]
        for column in columns(vehicle)
        if column.meaning in measured
    }
    return fingerprint_of({
        "tables": {name: stated.get(name) for name in test.tables},
        "limits": {name: getattr(vehicle.limits, name) for name in test.limits},
        "fields": fields,
        "firmware": vehicle.computer.firmware_version,
    })  # fmt: skip
