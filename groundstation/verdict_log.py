"""A change of the verdict as one plain record: what `assess --json` prints, and what a live run writes down."""

from groundstation.inputs import NS_PER_S
from groundstation.plain_json import Json, reason
from groundstation.readiness.finding import Assessment


def verdict_record(change: Assessment, started_ns: int) -> dict[str, Json]:
    """`t` [s since the session's start], `verdict` and `reasons`."""
    return {
        "t": round((change.at_ns - started_ns) / NS_PER_S, 3),
        "verdict": change.verdict.value,
        "reasons": [reason(finding) for finding in change.reasons],
    }
