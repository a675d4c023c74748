"""Findings and times as plain JSON values: one wording for MQTT and for the command line's output.

JSON has no NaN and no infinity: both become null. Units are those of the finding, which its text says too.
"""

import math
from datetime import UTC, datetime
from typing import TypeAlias

from groundstation.inputs import NS_PER_S
from groundstation.readiness.finding import Finding, Limit

Json: TypeAlias = "bool | int | float | str | list[Json] | dict[str, Json] | None"


def number(value: float | None) -> float | None:
    """The number itself, or None where JSON cannot say it."""
    return value if value is not None and math.isfinite(value) else None


def limit(allowed: Limit) -> Json:
    """A number when one side is open, [least, greatest] for a band, None where nothing is limited."""
    least, greatest = number(allowed.least), number(allowed.greatest)
    if least is not None and greatest is not None:
        return [least, greatest]
    return least if least is not None else greatest


def reason(finding: Finding) -> dict[str, Json]:
    """What stands against GO; `channel` only where the finding is about one."""
    channel: dict[str, Json] = {} if finding.channel is None else {"channel": finding.channel}
    return {
        "check": finding.check,
        **channel,
        "value": number(finding.value),
        "unit": finding.unit,
        "limit": limit(finding.limit),
        "text": finding.text,
    }


def iso_utc(at_ns: int) -> str:
    """ISO 8601 in UTC with all nine digits of the nanoseconds, such as 2026-06-21T09:30:00.000000001Z."""
    seconds, nanoseconds = divmod(at_ns, NS_PER_S)
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}.{nanoseconds:09d}Z"
