"""What the operator's panel may ask for: read from JSON nobody vouches for, and only from this page itself."""

import json
import re
from urllib.parse import urlparse

from fastapi import Request
from fastapi.responses import JSONResponse

from groundstation.operator_actions import (
    GREATEST_WAIVER_S,
    Action,
    CountAction,
    CountOrder,
    Note,
    TakeBack,
    Waive,
    plain,
)
from groundstation.session import Session

LARGEST_BODY = 4096
S_PER_MINUTE = 60
_CHECK = re.compile(r"[a-z][a-z0-9_]{0,60}")


class ActError(ValueError):
    """The request is none that the panel makes; the message says why."""


def read_action(data: object) -> Action:
    """The action in a request of the panel.

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
    minutes = data.get("minutes")
    if isinstance(minutes, bool) or not isinstance(minutes, (int, float)):
        raise ActError("Say for how many minutes.")
    if not 1 <= minutes <= GREATEST_WAIVER_S // S_PER_MINUTE:
        raise ActError(f"A waiver is for 1 to {GREATEST_WAIVER_S // S_PER_MINUTE} minutes, found {minutes:g}.")
    return Waive((check, channel), round(minutes * S_PER_MINUTE), text)


def from_this_page(origin: str | None, host: str | None, content_type: str | None) -> bool:
    """Whether a request was made by a page of this very station, as JSON.

    A page elsewhere cannot give our address as its origin, and cannot send JSON without asking first, which is
    refused (W3C Fetch, CORS protocol).
    """
    if not origin or not host or (content_type or "").partition(";")[0].strip() != "application/json":
        return False
    return urlparse(origin).netloc == host


async def answer(request: Request, session: Session) -> JSONResponse:
    """Enter what the panel asks for into the session, or say in a sentence why not."""
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
        action = read_action(data)
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
