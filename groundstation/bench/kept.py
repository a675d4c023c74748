"""A proof as it is kept: with what it was made of, as one line of JSON that `kept_of` reads back.

The line's keys are proof, at (UTC), outcome, figures (each name, value, unit), reasons, look_first, configuration
(what the proof depends on), vehicle (fingerprint of the whole vehicle file), version (of this program) and recording
(the file that holds the bytes). The same line is what a session's recording holds of the proofs known at its start.
"""

import json
import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import NoReturn

from groundstation.bench.proof import Figure, Proof, ProofOutcome
from groundstation.config.bench_plan import ProofName
from groundstation.errors import GroundstationError
from groundstation.inputs import NS_PER_S
from groundstation.plain_json import iso_utc

MOST_CHARACTERS = 65_536  # of a line; the longest that is written has some thousands
MOST_ITEMS = 1000  # of figures or reasons in a line
_KEYS = frozenset({
    "proof", "at", "outcome", "figures", "reasons", "look_first", "configuration", "vehicle", "version", "recording",
})  # fmt: skip
_UTC = re.compile(r"(\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2})\.(\d{9})Z", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class KeptLineError(GroundstationError, ValueError):
    """A line holds no proof; the message says what was found and what was expected."""


@dataclass(frozen=True, slots=True)
class KeptProof:
    """A proof with what it was made of.

    Attributes:
        proof: The result.
        configuration: Mark of what it depends on, see `groundstation.bench.configuration`.
        vehicle: Fingerprint of the whole vehicle file.
        version: Of this program.
        recording: Name of the recording's file; empty where the session was not recorded.
    """

    proof: Proof
    configuration: str
    vehicle: str
    version: str
    recording: str


def line_of(kept: KeptProof) -> str:
    """The line that keeps a proof, without its end."""
    proof = kept.proof
    return json.dumps(
        {
            "proof": proof.name.value,
            "at": iso_utc(proof.at_ns),
            "outcome": proof.outcome.value,
            "figures": [{"name": f.name, "value": f.value, "unit": f.unit} for f in proof.figures],
            "reasons": list(proof.reasons),
            "look_first": proof.look_first,
            "configuration": kept.configuration,
            "vehicle": kept.vehicle,
            "version": kept.version,
            "recording": kept.recording,
        },
        allow_nan=False,
    )


def kept_of(line: str) -> KeptProof:
    """The proof that a line keeps.

    Raises:
        KeptLineError: It keeps none.
    """
    row = _object(line)
    try:
        name = ProofName(_text(row, "proof"))
    except ValueError:
        raise _wrong("proof", row["proof"], f"one of {', '.join(ProofName)}") from None
    try:
        outcome = ProofOutcome(_text(row, "outcome"))
    except ValueError:
        raise _wrong("outcome", row["outcome"], f"one of {', '.join(ProofOutcome)}") from None
    figures = tuple(_figure(item) for item in _list(row, "figures"))
    reasons = _list(row, "reasons")
    if not all(isinstance(reason, str) for reason in reasons):
        raise _wrong("reasons", reasons, "a list of texts")
    proof = Proof(name, _time_ns(row), outcome, figures, tuple(str(r) for r in reasons), _text(row, "look_first"))
    texts = [_text(row, key) for key in ("configuration", "vehicle", "version", "recording")]
    return KeptProof(proof, *texts)


def _object(line: str) -> dict[str, object]:
    if len(line) > MOST_CHARACTERS:
        raise KeptLineError(f"found {len(line)} characters, expected at most {MOST_CHARACTERS}")
    try:
        row = json.loads(line, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise KeptLineError(f"found no JSON ({error}), expected one object") from error
    if not isinstance(row, dict):
        raise KeptLineError(f"found {_shown(row)}, expected one JSON object")
    if missing := sorted(_KEYS - row.keys()):
        raise KeptLineError(f"found no {missing[0]}, expected it among the keys")
    if unknown := sorted(row.keys() - _KEYS):
        raise KeptLineError(f"found the key {_shown(unknown[0])}, expected none but {', '.join(sorted(_KEYS))}")
    return row


def _no_number(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is no number of JSON's")


def _text(row: dict[str, object], key: str) -> str:
    value = row[key]
    if not isinstance(value, str):
        raise _wrong(key, value, "a text")
    return value


def _list(row: dict[str, object], key: str) -> list[object]:
    value = row[key]
    if not isinstance(value, list) or len(value) > MOST_ITEMS:
        raise _wrong(key, value, f"a list of at most {MOST_ITEMS}")
    return value


def _figure(item: object) -> Figure:
    if not isinstance(item, dict) or item.keys() != {"name", "value", "unit"}:
        raise _wrong("figures", item, "objects of name, value and unit")
    name, value, unit = item["name"], item["value"], item["unit"]
    if not isinstance(name, str) or not isinstance(unit, str):
        raise _wrong("figures", item, "a name and a unit as texts")
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not _is_finite(value):
        raise _wrong("figures", value, "a number")
    return Figure(name, float(value), unit)


def _is_finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond what a float holds
        return False


def _time_ns(row: dict[str, object]) -> int:
    told = _UTC.fullmatch(_text(row, "at"))
    try:
        at = None if told is None else datetime.fromisoformat(told[1]).replace(tzinfo=UTC)
    except ValueError:
        at = None
    if told is None or at is None or at < _EPOCH:
        raise _wrong("at", row["at"], "a time such as 2026-06-21T09:30:00.000000000Z")
    return (at - _EPOCH) // timedelta(seconds=1) * NS_PER_S + int(told[2])


def _wrong(key: str, value: object, expected: str) -> KeptLineError:
    return KeptLineError(f"found {_shown(value)} for {key}, expected {expected}")


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
