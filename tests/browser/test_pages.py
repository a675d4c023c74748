import contextlib
import socket
import time
import urllib.error
import urllib.request
from collections.abc import Iterator

import pytest
from browsing import SIZES, until, wait_for_frames
from playwright.sync_api import Browser, Page
from served import served
from synthetic import StagedSession, simulated

from groundstation.inputs import NS_PER_S

pytestmark = pytest.mark.browser


def staged(seconds: float, *, live: bool = True, **vehicle: object) -> StagedSession:
    started_ns = time.time_ns() - round(seconds * NS_PER_S)
    return StagedSession(simulated(**vehicle), live=live, started_ns=started_ns).advance_to(seconds)  # type: ignore[arg-type]


@contextlib.contextmanager
def opened(
    browser: Browser, address: str, *, size: str = "laptop", light: str = "light", path: str = ""
) -> Iterator[Page]:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=light)
    try:
        page = context.new_page()
        page.goto(address + path)
        wait_for_frames(page, 2)
        yield page
    finally:
        context.close()


def words(page: Page, place: str) -> str:
    return page.evaluate("id => document.getElementById(id).textContent", place)


def marked(page: Page, name: str) -> str:
    return page.evaluate("name => document.body.dataset[name]", name)


def test_a_live_page_goes_on_by_itself(browser):
    session = staged(20)
    with served(session, alongside=session.run) as address, opened(browser, address) as page:
        assert words(page, "when-word") == "LIVE"
        before = page.evaluate("() => notebook.known.frame.cursor_s")
        wait_for_frames(page, 10)
        assert page.evaluate("() => notebook.known.frame.cursor_s") > before


def test_a_fault_turns_the_band_to_hold_with_its_reason(browser):
    session = staged(30, faults=["battery-low@33"])
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        assert words(page, "verdict") == "GO"
        session.leap_to_s = 34.0
        until(page, "() => document.getElementById('verdict').textContent === 'HOLD'")
        assert "V per cell" in words(page, "reasons")
        assert (
            page.evaluate("() => document.querySelector('[data-place=battery].group > .row').className")
            == "row row-fail"
        )


def test_the_page_turns_to_the_flight_at_liftoff_and_says_so(browser):
    session = staged(27, launch_at_s=30.0)
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        assert marked(page, "page") == "pad"
        session.leap_to_s = 33.0
        until(page, "() => document.body.dataset.page === 'flight'")
        assert words(page, "turned").startswith("Liftoff at")
        page.click("#turned a")
        until(page, "() => document.body.dataset.page === 'pad'")


def test_a_viewer_who_chose_the_pad_page_stays_there(browser):
    session = staged(40, launch_at_s=30.0)
    with served(session, alongside=session.stand) as address, opened(browser, address, path="#pad") as page:
        until(page, "() => document.body.dataset.page === 'pad'")
        assert words(page, "turned") == ""


def test_the_past_is_marked_and_the_way_back_leads_to_the_present(browser):
    session = staged(60)
    with served(session, alongside=session.run) as address, opened(browser, address) as page:
        filled = page.evaluate("() => getComputedStyle(document.getElementById('band')).backgroundColor")
        page.click("#back")
        until(page, "() => document.body.dataset.when === 'PAST'")
        until(page, "() => document.getElementById('when-beside').textContent.endsWith('ago')")
        outlined = page.evaluate("() => getComputedStyle(document.getElementById('band')).backgroundColor")
        ground = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
        assert filled != outlined == ground
        assert words(page, "margin-word").startswith("PAST")
        page.click("#now")
        until(page, "() => document.body.dataset.when === 'LIVE'")
        assert words(page, "margin-word") == ""


def test_rewinding_a_live_session_and_playing_fast_catches_up_with_it(browser):
    session = staged(60)
    with served(session, alongside=session.run) as address, opened(browser, address) as page:
        page.click("#back")
        until(page, "() => document.body.dataset.when === 'PAST'")
        page.select_option("#speed", "10")
        page.click("#play")
        until(page, "() => document.body.dataset.when === 'LIVE'")


def test_a_replay_begins_at_its_start_paused_and_plays(browser):
    session = staged(100, live=False, launch_at_s=30.0)
    with served(session) as address, opened(browser, address) as page:
        assert words(page, "when-word") == "REPLAY"
        assert words(page, "when-beside").startswith("recorded")
        wait_for_frames(page, 2)
        assert page.evaluate("() => notebook.known.frame.cursor_s") == 0
        page.select_option("#speed", "10")
        page.click("#play")
        until(page, "() => notebook.known.frame.cursor_s > 32")
        until(page, "() => document.body.dataset.page === 'flight'")
        assert marked(page, "when") == "REPLAY"


def test_the_ruler_is_worked_by_keys_and_by_the_pointer(browser):
    session = staged(60)
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        page.focus("#ruler")
        page.keyboard.press("PageDown")
        until(page, "() => notebook.known.frame.cursor_s === 50")
        page.keyboard.press("ArrowLeft")
        until(page, "() => notebook.known.frame.cursor_s === 49")
        page.keyboard.press("Home")
        until(page, "() => notebook.known.frame.cursor_s === 0")
        page.keyboard.press("End")
        until(page, "() => document.body.dataset.when === 'LIVE'")
        box = page.locator("#ruler").bounding_box()
        page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
        until(page, "() => Math.abs(notebook.known.frame.cursor_s - 30) < 0.5")
        assert page.get_attribute("#ruler", "aria-valuetext").startswith("PAST")


def test_every_control_can_be_reached_by_the_tab_key(browser):
    session = staged(60)
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        reached = set()
        for _ in range(40):
            page.keyboard.press("Tab")
            reached.add(page.evaluate("() => document.activeElement.id || document.activeElement.tagName"))
        assert {"to-pad", "to-flight", "theme", "sensor", "back", "play", "on", "speed", "now", "ruler"} <= reached
        assert "SUMMARY" in reached


def test_the_band_is_a_live_region_and_keeps_still_while_nothing_changes(browser):
    session = staged(60)
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        assert page.get_attribute("#band-words", "aria-live") == "assertive"
        changes = page.evaluate(
            """() => new Promise(done => {
                let seen = 0;
                const watch = new MutationObserver(list => { seen += list.length; });
                const all = {subtree: true, childList: true, characterData: true};
                watch.observe(document.getElementById('band-words'), all);
                setTimeout(() => done(seen), 1500);
            })"""
        )
        assert changes == 0


def test_no_word_from_the_station_is_hold_and_its_return_is_noticed(browser):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    first = staged(60)
    serving = contextlib.ExitStack()
    address = serving.enter_context(served(first, alongside=first.stand, port=port))
    with serving, opened(browser, address) as page:
        assert words(page, "verdict") == "GO"
        serving.close()
        until(page, "() => document.body.dataset.lost === 'yes'")
        assert words(page, "banner").startswith("No word from the station")
        assert (words(page, "verdict"), words(page, "when-word")) == ("HOLD", "STALE")
        second = staged(60)
        with served(second, alongside=second.stand, port=port):
            until(
                page, "() => document.body.dataset.lost !== 'yes' && Boolean(window.notebook.known.frame)", seconds=30
            )
            until(page, "() => document.getElementById('verdict').textContent === 'GO'")


def test_a_browser_without_shared_workers_is_told_and_still_served(browser):
    session = staged(20)
    with served(session, alongside=session.run) as address:
        context = browser.new_context()
        context.add_init_script("delete window.SharedWorker")
        page = context.new_page()
        page.goto(address)
        wait_for_frames(page, 3)
        assert "once a second" in words(page, "slow")
        before = page.evaluate("() => notebook.known.frame.cursor_s")
        wait_for_frames(page, 3)
        assert page.evaluate("() => notebook.known.frame.cursor_s") > before
        page.click("#back")
        until(page, "() => document.body.dataset.when === 'PAST'")
        context.close()


def test_lines_that_do_not_continue_what_is_there_are_refused_and_asked_for_whole(browser):
    session = staged(60)
    with served(session, alongside=session.run) as address, opened(browser, address) as page:
        refused = page.evaluate(
            """() => notebook.lines(Object.assign({}, notebook.known.frame.plots, {continues_s: 1.5}))"""
        )
        assert refused is False
        wait_for_frames(page, 5)
        drawn = page.evaluate("() => document.querySelector('.stroke path').getAttribute('d').length")
        assert drawn > 100


def test_nothing_is_loaded_from_elsewhere_and_the_policy_stands(browser):
    session = staged(60)
    with served(session, alongside=session.stand) as address:
        context = browser.new_context()
        page = context.new_page()
        asked: list[str] = []
        complaints: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.on("console", lambda line: complaints.append(line.text) if line.type == "error" else None)
        answer = page.goto(address)
        wait_for_frames(page, 3)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe-eval" not in policy
        assert [url for url in asked if not url.startswith((address, "data:", "blob:"))] == []
        assert complaints == []
        context.close()


def test_a_request_under_another_host_name_is_refused():
    session = staged(5)
    with served(session) as address:
        request = urllib.request.Request(address + "health", headers={"Host": "rebound.example"})
        with pytest.raises(urllib.error.HTTPError) as refusal:
            urllib.request.urlopen(request, timeout=5)
        assert refusal.value.code == 400
        refusal.value.close()
        with urllib.request.urlopen(address + "health", timeout=5) as answer:
            assert b'"live":true' in answer.read()


STATES = {
    "go": ("", 60, {}),
    "hold": ("", 70, {"faults": ["battery-low@40", "igniter-open:1@45", "tilt-excessive@50"]}),
    "coast": ("#flight", 36.5, {"launch_at_s": 30.0}),
    "landed": ("#flight", 150, {"launch_at_s": 30.0}),
}

_READ_STYLES = """() => {
    const out = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const at = walker.currentNode.parentElement;
        const text = walker.currentNode.textContent.trim();
        const box = at.getBoundingClientRect();
        if (!text || box.width < 2 || at.closest('script, style, option, .unseen') || !at.checkVisibility()) continue;
        const style = getComputedStyle(at);
        let behind = at, colour = 'rgba(0, 0, 0, 0)';
        while (behind && colour === 'rgba(0, 0, 0, 0)') {
            colour = getComputedStyle(behind).backgroundColor;
            behind = behind.parentElement;
        }
        const inDrawing = at.namespaceURI.endsWith('svg');
        const scale = inDrawing && at.getScreenCTM() ? at.getScreenCTM().a : 1;
        out.push([text, inDrawing ? style.fill : style.color, colour, parseFloat(style.fontSize) * scale, at.id]);
    }
    return out;
}"""


def _luminance(colour: str) -> float:
    channels = [float(c) / 255 for c in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """W3C, WCAG 2.2, definition of contrast ratio."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("state", STATES)
def test_every_text_is_large_and_strong_enough_and_nothing_runs_off_the_page(browser, state):
    path, seconds, vehicle = STATES[state]
    session = staged(seconds, **vehicle)
    with served(session, alongside=session.stand) as address, opened(browser, address, path=path) as page:
        for size, (width, height) in SIZES.items():
            for light in ("light", "dark"):
                page.set_viewport_size({"width": width, "height": height})
                page.emulate_media(color_scheme=light)
                wait_for_frames(page, 3)
                texts = page.evaluate(_READ_STYLES)
                assert len(texts) > 20
                weak = [t for t in texts if _contrast(t[1], t[2]) < 4.5]
                small = [t for t in texts if t[3] < 12.9]
                wide = page.evaluate("() => document.documentElement.scrollWidth - innerWidth")
                assert (weak, small, wide) == ([], [], 0), f"{size}, {light}"
                if state in ("go", "hold"):
                    verdict = next(t for t in texts if t[4] == "verdict")
                    assert _contrast(verdict[1], verdict[2]) >= 7
                    assert verdict[3] >= 96


def test_less_motion_is_respected_and_nothing_moves_by_itself_anyway(browser):
    session = staged(60)
    with served(session, alongside=session.stand) as address, opened(browser, address) as page:
        moving = page.evaluate("() => document.getAnimations().length")
        assert moving == 0
