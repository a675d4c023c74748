"""What the operator's panel may ask for: read from JSON nobody vouches for, and only from this page itself."""

import json
import re
from datetime import UTC, datetime, timedelta, tzinfo
from urllib.parse import urlparse

from fastapi import Request
from fastapi.responses import JSONResponse

from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import (
    GREATEST_WAIVER_S,
    LEAST_WAIVER_S,
    Action,
    CountAction,
    CountOrder,
    Note,
    TakeBack,
    Waive,
    WaiveUntil,
    plain,
)
from groundstation.session import Session

LARGEST_BODY = 4096
S_PER_MINUTE = 60
MOST_MINUTES = GREATEST_WAIVER_S // S_PER_MINUTE
_ASKED = f"Say for how many minutes, 1 to {MOST_MINUTES}, or until when, such as 14:30"
_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)
_MINUTES = re.compile(r"\d{1,4}", re.ASCII)
_CHECK = re.compile(r"[a-z][a-z0-9_]{0,60}")


class ActError(ValueError):
    """The request is none that the panel makes; the message says why."""


def read_action(data: object, now_ns: int, zone: tzinfo | None) -> Action:
    """The action in a request of the panel.

    Args:
        data: The request.
        now_ns: The session's present, from which a time of day is the next.
        zone: The station's time zone; None for UTC.
    Raises:
        ActError: Something is missing or of another kind than expected.
    """
    if not isinstance(data, dict):
        raise ActError("The request is no object.")
    wanted, text = data.get("do"), plain(_text(data.get("text")))
    if wanted in list(CountOrder):
        return CountAction(CountOrder(wanted), text)
    if wanted == "note":
        return Note(text)
    if wanted not in ("waive", "take back"):
        raise ActError("The request asks for nothing the operator can do.")
    check, channel = data.get("check"), data.get("channel")
    if not isinstance(check, str) or not _CHECK.fullmatch(check):
        raise ActError("The request names no finding.")
    if channel is not None and (isinstance(channel, bool) or not isinstance(channel, int) or not 1 <= channel <= 16):
        raise ActError(f"Channel {str(channel)[:20]} is none: 1 to 16 expected.")
    if wanted == "take back":
        return TakeBack((check, channel))
    lasting = _text(data.get("lasting")).strip()
    if _MINUTES.fullmatch(lasting):
        if not 1 <= int(lasting) <= MOST_MINUTES:
            raise ActError(f"A waiver is for 1 to {MOST_MINUTES} minutes, found {int(lasting)}.")
        return Waive((check, channel), int(lasting) * S_PER_MINUTE, text)
    told = _CLOCK.fullmatch(lasting)
    if told is None:
        raise ActError(f"{_ASKED}; found {lasting[:20]}." if lasting else f"{_ASKED}.")
    until_ns = next_ns(int(told[1]), int(told[2]), now_ns, zone)
    if until_ns - now_ns > GREATEST_WAIVER_S * NS_PER_S:
        away = round((until_ns - now_ns) / NS_PER_S / S_PER_MINUTE)
        raise ActError(f"A waiver is for at most {MOST_MINUTES} minutes: {lasting} is {away} minutes away.")
    return WaiveUntil((check, channel), until_ns, text)


def next_ns(hour: int, minute: int, now_ns: int, zone: tzinfo | None) -> int:
    """When it is next that time of day at the station [ns], at least the shortest waiver from now."""
    now = datetime.fromtimestamp(now_ns // NS_PER_S, zone or UTC)
    then = now.replace(hour=hour, minute=minute, second=0)
    if then < now + timedelta(seconds=LEAST_WAIVER_S + 1):
        then += timedelta(days=1)
    return round(then.timestamp()) * NS_PER_S


def from_this_page(origin: str | None, host: str | None, content_type: str | None) -> bool:
    """Whether a request was made by a page of this very station, as JSON.

    A page elsewhere cannot give our address as its origin, and cannot send JSON without asking first, which is
    refused (W3C Fetch, CORS protocol).
    """
    if not origin or not host or (content_type or "").partition(";")[0].strip() != "application/json":
        return False
    return urlparse(origin).netloc == host


async def answer(request: Request, session: Session, zone: tzinfo | None) -> JSONResponse:
    """Enter what the panel asks for into the session, or say in a sentence why not; `zone` is the station's."""
    headers = request.headers
    if not from_this_page(headers.get("origin"), headers.get("host"), headers.get("content-type")):
        return _said(403, "Only this station's own page may do that.")
    if not session.live:
        return _said(409, "This is a replay: what was done then stays as it was.")
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_BODY:
            return _said(413, "The request is too long.")
    try:
        data = json.loads(body)
        if isinstance(data, dict) and data.get("at_s") is not None:
            return _said(409, "The page shows the past: go back to the present first.")
        action = read_action(data, session.now_ns(), zone)
    except (ActError, ValueError, RecursionError) as error:
        return _said(400, str(error) if isinstance(error, ActError) else "The request cannot be read.")
    refused = await session.act(action)
    return _said(200, "Recorded.") if refused is None else _said(409, refused)


def _text(value: object) -> str:
    return value[:LARGEST_BODY] if isinstance(value, str) else ""


def _said(status: int, text: str) -> JSONResponse:
    return JSONResponse(
        {"taken": status == 200, "text": text}, status_code=status, headers={"Cache-Control": "no-store"}
    )
