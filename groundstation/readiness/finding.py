"""A finding: what one check says of one moment, with the value, the limit and a sentence."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from groundstation.config.vehicle import Place


class Status(StrEnum):
    """How a check came out. Only `PASS` and `WAIVED` let the verdict be GO."""

    PASS = "pass"
    FAIL = "fail"
    UNKNOWN = "unknown"
    WAIVED = "waived"


class Verdict(StrEnum):
    """The advice to the range safety officer."""

    GO = "GO"
    HOLD = "HOLD"


class Limit(NamedTuple):
    """The least and greatest value a check allows; None where that side is open.

    A tuple, not a dataclass: some dozens are made and compared a tick.
    """

    least: float | None = None
    greatest: float | None = None


NO_LIMIT = Limit()


@dataclass(frozen=True, slots=True)
class Waiver:
    """Why a finding does not stand against GO, and until when at the latest [ns]."""

    reason: str
    until_ns: int


class Finding(NamedTuple):
    """One check's result. `channel` is the pyro channel where the check is about one; `waiver` only where waived.

    A tuple, not a dataclass: two or three are made a tick.

    `value` and `limit` are in `unit`, the unit people read (degrees, hectopascals), as `text` says them. `since_ns`
    is when the status last changed; the checks leave it 0 and the assessor fills it in. `stale` marks an unknown
    whose only reason is that the data are too old or have not come.
    """

    check: str
    status: Status
    text: str
    place: Place
    channel: int | None = None
    value: float | None = None
    unit: str = ""
    limit: Limit = NO_LIMIT
    since_ns: int = 0
    stale: bool = False
    waiver: Waiver | None = None

    @property
    def key(self) -> tuple[str, int | None]:
        """What tells this finding from the others: its check and channel."""
        return self.check, self.channel


@dataclass(frozen=True, slots=True)
class Assessment:
    """Every finding at one moment, and the verdict they give.

    `reasons` are the findings that stand against GO, gravest first. While all pass and the settling time still
    runs, the verdict is HOLD, `reasons` holds the one finding `settling`, and `settled_in_s` says how long it lasts.
    """

    at_ns: int
    verdict: Verdict
    findings: tuple[Finding, ...]
    reasons: tuple[Finding, ...]
    since_ns: int
    settled_in_s: float | None = None

    @property
    def waived(self) -> tuple[Finding, ...]:
        """The findings that do not stand against GO because the operator waived them."""
        return tuple(finding for finding in self.findings if finding.status is Status.WAIVED)
