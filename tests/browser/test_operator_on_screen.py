import json
import time
import urllib.error
import urllib.request
from datetime import UTC, datetime
from urllib.parse import urlparse

import pytest
from browsing import until, wait_for_frames
from served import served
from synthetic import StagedSession, simulated

from groundstation.inputs import NS_PER_S, EventKind

pytestmark = pytest.mark.browser

LEANING = ("tilt-excessive@50",)


def staged(seconds: float, *, live: bool = True, **vehicle: object) -> StagedSession:
    started_ns = time.time_ns() - round(seconds * NS_PER_S)
    return StagedSession(simulated(**vehicle), live=live, started_ns=started_ns).advance_to(seconds)  # type: ignore[arg-type]


@pytest.fixture
def page(browser):
    opened = browser.new_page(viewport={"width": 1366, "height": 768})
    yield opened
    opened.close()


def show(page, address: str) -> None:
    page.goto(address)
    wait_for_frames(page, 3)


def words(page, place: str) -> str:
    return page.evaluate("id => document.getElementById(id).textContent", place)


def buttons(page) -> list[str]:
    return page.evaluate(
        "() => Array.from(document.querySelectorAll('#operator-buttons button'))"
        ".filter(b => b.checkVisibility()).map(b => b.textContent)"
    )


def log(session: StagedSession) -> list[str]:
    return [line.text for line in session.timeline.operator_log]


def post(address: str, data: object, **headers: str) -> tuple[int, str]:
    site = urlparse(address)
    sent = {"Content-Type": "application/json", "Origin": f"{site.scheme}://{site.netloc}"} | headers
    request = urllib.request.Request(
        address + "operator", data=json.dumps(data).encode(), headers={k: v for k, v in sent.items() if v}
    )
    try:
        with urllib.request.urlopen(request, timeout=5) as answer:
            return answer.status, json.loads(answer.read())["text"]
    except urllib.error.HTTPError as refusal:
        with refusal:
            body = refusal.read().decode()
            return refusal.code, json.loads(body)["text"] if body.startswith("{") else body


def test_count_is_started_held_and_resumed_by_keys_alone(page):
    session = staged(30)
    with served(session, alongside=session.stand) as address:
        show(page, address)
        assert (words(page, "count"), words(page, "count-word")) == ("T−10:00", "not started")
        assert buttons(page) == ["Start count", "Note"]
        page.focus("[data-order=start]")
        page.keyboard.press("Enter")
        assert page.evaluate("() => document.activeElement.textContent") == "No"
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        until(page, "() => document.getElementById('count-word').textContent === 'running'")
        session.leap_to_s = 45.0
        until(page, "() => document.getElementById('count').textContent.startsWith('T−09:4')")
        page.focus("[data-order=hold]")
        page.keyboard.press("Enter")
        until(page, "() => document.getElementById('count-word').textContent === 'holding'")
        assert words(page, "count-why") == "Count holds. By the operator."
        page.focus("[data-order=resume]")
        page.keyboard.press("Enter")
        page.keyboard.press("Escape")
        assert words(page, "operator-form") == ""
        assert page.evaluate("() => document.activeElement.textContent") == "Resume count"
        assert session.timeline.counts[-1].phase == "holding"


def test_count_holds_by_itself_when_the_verdict_turns_and_says_why(page):
    session = staged(30, faults=["battery-low@40"])
    with served(session, alongside=session.stand) as address:
        show(page, address)
        page.click("[data-order=start]")
        page.click("#operator-form button:last-child")
        until(page, "() => document.getElementById('count-word').textContent === 'running'")
        session.leap_to_s = 45.0
        until(page, "() => document.getElementById('count-word').textContent === 'holding'")
        assert "The verdict turned HOLD." in words(page, "count-why")
        assert "V per cell" in words(page, "count-why")
        assert "Resume count" not in buttons(page)


def test_finding_is_waived_with_a_reason_and_taken_back(page):
    session = staged(70, faults=LEANING)
    with served(session, alongside=session.stand) as address:
        show(page, address)
        page.click("#operator-waive")
        assert page.evaluate("() => document.activeElement.id") == "waive-finding"
        page.fill("#waive-lasting", "2")
        page.fill("#waive-reason", "measured <b>on the rod</b>")
        page.keyboard.press("Enter")
        assert "Waive tilt for 2\u2009min: measured <b>on the rod</b>?" in words(page, "operator-form")
        assert log(session) == []
        page.click("#operator-form button:last-child")
        until(page, "() => document.querySelectorAll('#operator-waived li').length === 1")
        assert log(session) == ["Waived tilt for 2 min: measured <b>on the rod</b>."]
        row = "#findings .row-waived"
        assert page.evaluate(f"() => document.querySelector('{row} .mark').getAttribute('aria-label')") == "waived"
        assert "The waiver ends in" in page.evaluate(f"() => document.querySelector('{row}').textContent")
        session.leap_to_s = 85.0
        until(page, "() => document.getElementById('verdict').textContent === 'GO'")
        assert "1 waived" in words(page, "verdict-since")
        assert "1 waived" in words(page, "reasons")
        assert "with these waived" in words(page, "changes-heading")
        page.click("#operator-waived button")
        until(page, "() => document.getElementById('verdict').textContent === 'HOLD'")
        assert log(session)[-1] == "The waiver of tilt was taken back."


def test_finding_is_waived_until_a_time_of_day(page):
    session = staged(70, faults=LEANING)
    # Two whole minutes away, or up to three.
    then = datetime.fromtimestamp(session.now_ns() // NS_PER_S + 180).replace(second=0, microsecond=0)
    with served(session, alongside=session.stand) as address:
        show(page, address)
        page.click("#operator-waive")
        page.fill("#waive-lasting", "25:00")
        page.fill("#waive-reason", "measured on the rod")
        page.keyboard.press("Enter")
        assert "Waive tilt" not in words(page, "operator-form")
        page.fill("#waive-lasting", f"{then:%H:%M}")
        page.focus("#waive-reason")
        page.keyboard.press("Enter")
        assert f"Waive tilt until {then:%H:%M}: measured on the rod?" in words(page, "operator-form")
        page.click("#operator-form button:last-child")
        until(page, "() => document.querySelectorAll('#operator-waived li').length === 1")
        assert f", at {then:%H:%M}:00 " in words(page, "operator-waived")
        (recorded,) = [e.text for e in session.timeline.station_events if e.kind is EventKind.WAIVER]
        moment = then.astimezone(UTC)
        assert recorded == f"waive tilt until {moment:%Y-%m-%dT%H:%M}:00Z: measured on the rod"


def test_note_goes_into_the_record(page):
    session = staged(30)
    with served(session, alongside=session.stand) as address:
        show(page, address)
        page.click("#operator-note")
        page.fill("#note-text", "wind from the sea")
        page.keyboard.press("Enter")
        until(page, "() => document.getElementById('operator-last').textContent.endsWith('Noted: wind from the sea')")
        assert session.timeline.station_events[-1].text == "wind from the sea"


def test_in_the_past_and_in_a_replay_nothing_can_be_done(page):
    session = staged(60)
    with served(session, alongside=session.stand) as address:
        show(page, address)
        page.click("#operator-note")
        page.click("#back")
        until(page, "() => document.body.dataset.when === 'PAST'")
        until(page, "() => document.getElementById('operator-when').textContent !== ''")
        assert (buttons(page), words(page, "operator-form")) == ([], "")
        assert post(address, {"do": "start", "at_s": 12.0}) == (
            409,
            "The page shows the past: go back to the present first.",
        )
        assert log(session) == []
    replayed = staged(60, live=False)
    with served(replayed) as address:
        show(page, address)
        assert buttons(page) == []
        assert post(address, {"do": "note", "text": "late"})[0] == 409
        assert log(replayed) == []


@pytest.mark.parametrize(
    ("headers", "code"),
    [
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": ""}, 403),
        ({"Origin": "null"}, 403),
        ({"Content-Type": "text/plain"}, 403),
        ({"Host": "rebound.example", "Origin": "http://rebound.example"}, 400),
    ],
)
def test_request_from_elsewhere_is_refused(headers, code):
    session = staged(30)
    with served(session) as address:
        assert post(address, {"do": "start"}, **headers)[0] == code
        assert log(session) == []


@pytest.mark.parametrize(
    ("data", "code", "sentence"),
    [
        ([], 400, "The request is no object."),
        ({"do": "launch"}, 400, "The request asks for nothing the operator can do."),
        ({"do": "waive", "check": "tilt; drop", "lasting": "5"}, 400, "The request names no finding."),
        (
            {"do": "waive", "check": "tilt", "channel": "1", "lasting": "5"},
            400,
            "Channel 1 is none: 1 to 16 expected.",
        ),
        (
            {"do": "waive", "check": "tilt", "lasting": 5},
            400,
            "Say for how many minutes, 1 to 240, or until when, such as 14:30.",
        ),
        (
            {"do": "waive", "check": "tilt", "lasting": "24:30"},
            400,
            "Say for how many minutes, 1 to 240, or until when, such as 14:30; found 24:30.",
        ),
        ({"do": "waive", "check": "tilt", "lasting": "999"}, 400, "A waiver is for 1 to 240 minutes, found 999."),
        ({"do": "note", "text": "x" * 5000}, 413, "The request is too long."),
        (
            {"do": "waive", "check": "packet_age", "lasting": "5", "text": "in a hurry"},
            409,
            "The finding packet age cannot be waived: a vehicle that is not heard cannot be judged.",
        ),
        ({"do": "resume"}, 409, "The count is not started: only one that holds is resumed."),
    ],
)
def test_what_cannot_be_done_is_said_in_a_sentence(data, code, sentence):
    session = staged(30)
    with served(session) as address:
        assert post(address, data) == (code, sentence)
        assert log(session) == []
