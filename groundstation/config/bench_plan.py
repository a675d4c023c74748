"""What a vehicle file says of the bench: which proofs GO asks for, how long each holds, and how they are made."""

from collections.abc import Iterator
from enum import StrEnum

from pydantic import Field

from groundstation.config.filetable import FileTable, Found
from groundstation.config.quantities import Metres, Seconds


class ProofName(StrEnum):
    """The proofs there are, in the order they are made in."""

    GIMBAL_SIGN = "gimbal-sign"
    GIMBAL_SWEEP = "gimbal-sweep"
    IGNITER_CIRCUIT = "igniter-circuit"
    PIN_ORDER = "pin-order"
    ENDURANCE_CAMERA_OFF = "endurance-camera-off"
    ENDURANCE_CAMERA_ON = "endurance-camera-on"
    RANGE_WALK = "range-walk"


class AskedProof(FileTable):
    """One proof that GO asks for."""

    name: ProofName = Field(description="as groundstation bench calls it")
    fresh_s: Seconds = Field(
        alias="fresh", default="30 days", validate_default=True, gt=0, description="how long it holds once made"
    )


class BenchPlan(FileTable):
    """The bench: how its proofs are made, and those that GO asks for, one [[bench.proof]] each."""

    endurance_s: Seconds = Field(
        alias="endurance",
        default="20 min",
        validate_default=True,
        gt=0,
        description="least length of a run of the battery, with the camera off or on",
    )
    walk_m: Metres = Field(
        alias="walk", default="200 m", validate_default=True, gt=0, description="how far the range walk goes"
    )
    proofs: tuple[AskedProof, ...] = Field(alias="proof", default=(), description="proofs that GO asks for")

    def faults(self) -> Iterator[Found]:
        """A proof asked for twice."""
        names = [proof.name for proof in self.proofs]
        for k, name in enumerate(names):
            if name in names[:k]:
                yield Found(("proof", k, "name"), f'found "{name}" a second time, expected each proof once')


def plan_or_usual(stated: BenchPlan | None) -> BenchPlan:
    """How proofs are made: as a vehicle file states it, else as usual."""
    return stated or BenchPlan.model_validate({})
