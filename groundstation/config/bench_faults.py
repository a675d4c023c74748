"""Bench proofs that a vehicle file asks for, of a vehicle that cannot make them."""

from collections.abc import Iterator

from groundstation.config.bench_plan import ProofName
from groundstation.config.filetable import Found
from groundstation.config.quantities import shown
from groundstation.config.vehicle import Load, Vehicle


def lacked_for(vehicle: Vehicle, name: ProofName) -> str | None:
    """The table a proof cannot be made without, as the file writes it; None where it is there."""
    needed = {
        ProofName.GIMBAL_SIGN: ("[gimbal]", vehicle.gimbal is not None),
        ProofName.GIMBAL_SWEEP: ("[gimbal]", vehicle.gimbal is not None),
        ProofName.IGNITER_CIRCUIT: (
            '[[pyro]] with load = "igniter"',
            any(pyro.load is Load.IGNITER for pyro in vehicle.pyro),
        ),
        ProofName.PIN_ORDER: ("[pull_pin]", vehicle.pull_pin is not None),
        ProofName.ENDURANCE_CAMERA_ON: ("[camera]", vehicle.camera is not None),
        ProofName.RANGE_WALK: ("[radio]", vehicle.radio is not None),
    }
    table, there = needed.get(name, ("", True))
    return None if there else table


def bench_faults(vehicle: Vehicle) -> Iterator[Found]:
    """Each proof asked for whose table the file lacks."""
    for k, proof in enumerate(vehicle.bench.proofs if vehicle.bench is not None else ()):
        if table := lacked_for(vehicle, proof.name):
            text = f"found {shown(proof.name.value)}, which cannot be proven without {table}, expected that table too"
            yield Found(("bench", "proof", k, "name"), text)
