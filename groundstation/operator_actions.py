"""What the operator does, as a value, and as the text of the station event that records it.

An action enters a session as a `StationEvent` and in no other way, so that a replay sees the same actions at the same
times. The text is a plain English line; `action_of` reads back exactly what `event_text` wrote. An action is about
the recording and the verdict only: nothing is sent to the vehicle.
"""

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import TypeAlias

from groundstation.inputs import NS_PER_S, EventKind, StationEvent

Key: TypeAlias = tuple[str, int | None]  # a finding's check and pyro channel
MAX_REASON_CHARACTERS = 200  # a line a person reads at the pad
LEAST_WAIVER_S, GREATEST_WAIVER_S = (
    1,
    4 * 3600,
)  # no longer than a day's launching goes on (common practice, no source)


class CountOrder(StrEnum):
    """What the operator tells the count."""

    START = "start"
    HOLD = "hold"
    RESUME = "resume"
    RESET = "set back"


@dataclass(frozen=True, slots=True)
class CountAction:
    """An order to the count; `text` says why it is held, and may be empty."""

    order: CountOrder
    text: str = ""


@dataclass(frozen=True, slots=True)
class Waive:
    """A named finding shall not stand against GO for `seconds` from now, and why."""

    key: Key
    seconds: int
    reason: str


@dataclass(frozen=True, slots=True)
class WaiveUntil:
    """A named finding shall not stand against GO until a moment [ns, a whole second], and why."""

    key: Key
    until_ns: int
    reason: str


@dataclass(frozen=True, slots=True)
class TakeBack:
    """A waiver ends now."""

    key: Key


@dataclass(frozen=True, slots=True)
class Note:
    """A remark for the record."""

    text: str


Waiving: TypeAlias = Waive | WaiveUntil
Action: TypeAlias = CountAction | Waiving | TakeBack | Note

_KEY = r"(?P<check>[a-z][a-z0-9_]*)(?:, channel (?P<channel>\d{1,3}))?"
_WAIVE = re.compile(rf"waive {_KEY} for (?P<seconds>\d{{1,6}}) s: (?P<reason>.+)")
_MOMENT = "%Y-%m-%dT%H:%M:%SZ"  # RFC 3339, section 5.6, in UTC
_UNTIL = re.compile(rf"waive {_KEY} until (?P<until>\d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\dZ): (?P<reason>.+)")
_TAKE_BACK = re.compile(rf"take back {_KEY}")
_COUNT = re.compile(rf"(?P<order>{'|'.join(CountOrder)})(?:: (?P<text>.+))?")


def event_kind(action: Action) -> EventKind:
    """The kind of event that records an action."""
    if isinstance(action, CountAction):
        return EventKind.COUNT
    return EventKind.OPERATOR if isinstance(action, Note) else EventKind.WAIVER


def event_text(action: Action) -> str:
    """The text of the event that records an action, such as "waive pyro_circuit, channel 2 for 600 s: by hand"."""
    if isinstance(action, Note):
        return plain(action.text)
    if isinstance(action, CountAction):
        return f"{action.order}: {plain(action.text)}" if plain(action.text) else action.order.value
    if isinstance(action, TakeBack):
        return f"take back {key_text(action.key)}"
    if isinstance(action, WaiveUntil):
        moment = datetime.fromtimestamp(action.until_ns // NS_PER_S, UTC)
        return f"waive {key_text(action.key)} until {moment.strftime(_MOMENT)}: {plain(action.reason)}"
    return f"waive {key_text(action.key)} for {action.seconds} s: {plain(action.reason)}"


def action_of(event: StationEvent) -> Action | None:
    """The action an event records; None where it records none, or none that can be read."""
    if event.kind is EventKind.OPERATOR:
        return Note(event.text)
    if event.kind is EventKind.COUNT:
        told = _COUNT.fullmatch(event.text)
        return None if told is None else CountAction(CountOrder(told["order"]), told["text"] or "")
    if event.kind is not EventKind.WAIVER:
        return None
    if taken := _TAKE_BACK.fullmatch(event.text):
        return TakeBack(_key(taken))
    if until := _UNTIL.fullmatch(event.text):
        return _until(until, event.at_ns)
    told = _WAIVE.fullmatch(event.text)
    if told is None or not LEAST_WAIVER_S <= int(told["seconds"]) <= GREATEST_WAIVER_S:
        return None
    return Waive(_key(told), int(told["seconds"]), told["reason"])


def key_text(key: Key) -> str:
    """A finding's name as it is written: "pyro_circuit, channel 2"."""
    check, channel = key
    return check if channel is None else f"{check}, channel {channel}"


def plain(text: str) -> str:
    """A person's words as one line of at most `MAX_REASON_CHARACTERS`, without what is not printable."""
    words = "".join(c if c.isprintable() else " " for c in text).split()
    return " ".join(words)[:MAX_REASON_CHARACTERS].rstrip()


def until_ns(action: Waiving, at_ns: int) -> int:
    """When a waiver entered at `at_ns` ends at the latest."""
    return action.until_ns if isinstance(action, WaiveUntil) else at_ns + action.seconds * NS_PER_S


def _until(told: re.Match[str], at_ns: int) -> WaiveUntil | None:
    """A waiver until a moment; None where that is no moment, or further away than a waiver may last."""
    try:
        moment = datetime.strptime(told["until"], _MOMENT).replace(tzinfo=UTC)
    except ValueError:
        return None
    end_ns = round(moment.timestamp()) * NS_PER_S
    if not LEAST_WAIVER_S * NS_PER_S <= end_ns - at_ns <= GREATEST_WAIVER_S * NS_PER_S:
        return None
    return WaiveUntil(_key(told), end_ns, told["reason"])


def _key(told: re.Match[str]) -> Key:
    return told["check"], None if told["channel"] is None else int(told["channel"])
