"""What a session's recording holds of the bench: what the person said in a walk, and the proofs known at the start.

Both enter a session as `StationEvent`s and in no other way, so that a replay judges by the same.
"""

import re
from collections.abc import Iterable

from groundstation.bench.kept import KeptLineError, KeptProof, kept_of
from groundstation.bench.walk import Mark, Said
from groundstation.config.bench_plan import ProofName
from groundstation.inputs import EventKind, StationEvent

_MARK = re.compile(rf"(?P<proof>{'|'.join(ProofName)}): (?P<said>{'|'.join(Said)})(?:, (?P<text>\S.*))?")


def mark_text(mark: Mark) -> str:
    """The text of the event that records a mark, such as "range-walk: done, 80"."""
    return f"{mark.proof}: {mark.said}{f', {mark.text}' if mark.text else ''}"


def mark_of(event: StationEvent) -> Mark | None:
    """The mark an event records; None where it records none."""
    told = _MARK.fullmatch(event.text) if event.kind is EventKind.BENCH_STEP else None
    if told is None:
        return None
    return Mark(event.at_ns, ProofName(told["proof"]), Said(told["said"]), told["text"] or "")


def walk_marks(events: Iterable[StationEvent], proof: ProofName) -> list[Mark]:
    """The marks of the walk through a bench test that was begun last; none where none was begun."""
    marks: list[Mark] = []
    for event in events:
        mark = mark_of(event)
        if mark is None or mark.proof is not proof:
            continue
        if mark.said is Said.BEGIN:
            marks = []
        marks.append(mark)
    return marks


def kept_in(events: Iterable[StationEvent]) -> tuple[KeptProof, ...]:
    """The proofs that events record, in their order; what cannot be read is left out."""
    kept = []
    for event in events:
        try:
            kept.append(kept_of(event.text))
        except KeptLineError:
            continue
    return tuple(kept)
