"""How a proof stands at a moment: fresh, failed, old, of another configuration, inconclusive, or never made."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from groundstation.bench.kept import KeptProof
from groundstation.bench.proof import ProofOutcome
from groundstation.config.bench_plan import ProofName
from groundstation.inputs import NS_PER_S

DAY_S = 86_400.0
CLOCKS_DIFFER_S = 120.0  # a proof may be dated ahead by so much: two laptops' clocks (common practice, no source)


class Holds(StrEnum):
    """How a proof stands."""

    FRESH = "fresh"
    OLD = "old"
    AHEAD = "dated in the future"
    FAILED = "failed"
    CANNOT_TELL = "could not tell"
    OTHER = "of another configuration"
    NEVER = "never made"


@dataclass(frozen=True, slots=True)
class Standing:
    """How one proof stands, by which kept proof, and how old that is."""

    name: ProofName
    holds: Holds
    kept: KeptProof | None = None
    age_s: float = 0.0


def standing(
    kept: Sequence[KeptProof], name: ProofName, *, configuration: str, fresh_s: float, now_ns: int
) -> Standing:
    """How a proof stands.

    The newest that passed or failed with this configuration counts; one that could not tell takes nothing away from
    an earlier one. Of proofs made at one time the later kept counts.

    Args:
        kept: All that is kept of the vehicle, in the order it was kept.
        name: Which proof.
        configuration: What the proof depends on, as the vehicle file has it now.
        fresh_s: How long it holds; to the very second.
        now_ns: The time now.
    """
    of_name = [k for k in kept if k.proof.name is name]
    of_this = [k for k in of_name if k.configuration == configuration]
    telling = [k for k in of_this if k.proof.outcome is not ProofOutcome.CANNOT_TELL]
    newest = _newest(telling) or _newest(of_this) or _newest(of_name)
    if newest is None:
        return Standing(name, Holds.NEVER)
    age_s = (now_ns - newest.proof.at_ns) / NS_PER_S
    if not of_this:
        return Standing(name, Holds.OTHER, newest, age_s)
    if not telling:
        return Standing(name, Holds.CANNOT_TELL, newest, age_s)
    if newest.proof.outcome is ProofOutcome.FAILED:
        return Standing(name, Holds.FAILED, newest, age_s)
    if age_s < -CLOCKS_DIFFER_S:
        return Standing(name, Holds.AHEAD, newest, age_s)
    return Standing(name, Holds.FRESH if age_s <= fresh_s else Holds.OLD, newest, age_s)


def that_count(kept: Sequence[KeptProof]) -> tuple[KeptProof, ...]:
    """Those of many that `standing` can ever go by, in their order.

    Of each proof and configuration they are the newest that passed or failed, and the newest that could not tell.
    """
    newest: dict[tuple[ProofName, str, bool], KeptProof] = {}
    for one in kept:
        key = one.proof.name, one.configuration, one.proof.outcome is ProofOutcome.CANNOT_TELL
        if key not in newest or one.proof.at_ns >= newest[key].proof.at_ns:
            newest[key] = one
    counting = {id(one) for one in newest.values()}
    return tuple(one for one in kept if id(one) in counting)


def _newest(kept: Sequence[KeptProof]) -> KeptProof | None:
    newest = None
    for one in kept:
        if newest is None or one.proof.at_ns >= newest.proof.at_ns:
            newest = one
    return newest
