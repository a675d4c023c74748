import os
import signal
import sys
import time
from pathlib import Path

import pytest
from playwright.sync_api import Page

sys.path.insert(0, str(Path(__file__).parent))

from browsing import chromium
from demo import WATCH, Demo, Shown, running_demo, shown

pytestmark = pytest.mark.browser

FAULT_AT_S = 22.0
ALLOWED_S = 2.0
# What the first reason on the page must speak of, fault by fault.
NAMED = {
    "battery-low": "V per cell",
    "igniter-open": "Igniter circuit 1",
    "pin-reversed": "pull-pin",
    "accel-stuck": "accelerometer",
    "gyro-bias": "gyro",
    "pressure-stuck": "pressure",
    "tilt-excessive": "vehicle leans",
    "link-silent": "No packet has come",
    "corrupted-frames": "damaged",
}


def go_then_hold(page: Page, demo: Demo, *, until_s: float) -> tuple[Shown, Shown, Shown]:
    """The first HOLD, the GO after it, and the HOLD after that, all as shown by the page up to `until_s`."""
    while time.time() < until_s:
        page.wait_for_timeout(100)
    changes: list[Shown] = []
    for item in shown(page):
        if item.verdict and (not changes or item.verdict != changes[-1].verdict):
            changes.append(item)
    assert [c.verdict for c in changes] == ["HOLD", "GO", "HOLD"], (changes, demo.said)
    return changes[0], changes[1], changes[2]


def watched(page: Page, demo: Demo) -> None:
    page.goto(demo.address)
    page.evaluate(WATCH)


def late_s(fault: str, page: Page) -> float:
    """Seconds from the fault to HOLD on the screen, its cause named."""
    with running_demo("--fault", f"{fault}@{FAULT_AT_S}") as demo:
        watched(page, demo)
        fault_s = demo.began_s + FAULT_AT_S
        first, _, last = go_then_hold(page, demo, until_s=fault_s + ALLOWED_S + 1.0)
        assert first.reasons
        named = next(s for s in shown(page) if s.at_s >= last.at_s and s.reasons)
        assert NAMED[fault].lower() in named.reasons[0].lower(), named
        assert last.at_s >= fault_s - 0.1
        return named.at_s - fault_s


def test_page_goes_from_hold_to_go_and_within_two_seconds_of_an_open_igniter_to_hold() -> None:
    with chromium() as browser:
        assert late_s("igniter-open", browser.new_page()) <= ALLOWED_S


@pytest.mark.campaign
@pytest.mark.parametrize("fault", NAMED)
def test_every_fault_is_hold_on_the_screen_within_two_seconds_with_its_cause_named(fault: str) -> None:
    with chromium() as browser:
        late = late_s(fault, browser.new_page())
    print(f"{fault}: {late:.2f} s from the fault to HOLD on the screen")
    assert late <= ALLOWED_S


@pytest.mark.campaign
def test_killed_simulator_is_hold_on_the_screen_within_two_seconds() -> None:
    with chromium() as browser, running_demo() as demo:
        page = browser.new_page()
        watched(page, demo)
        while not any(s.verdict == "GO" for s in shown(page)):
            page.wait_for_timeout(100)
        killed_s = time.time()
        os.kill(demo.simulator_pid, signal.SIGKILL)
        _, _, last = go_then_hold(page, demo, until_s=killed_s + ALLOWED_S + 1.0)
        named = next(s for s in shown(page) if s.at_s >= last.at_s and s.reasons)
        assert "No packet has come" in named.reasons[0]
        print(f"killed simulator: {named.at_s - killed_s:.2f} s to HOLD on the screen")
        assert named.at_s - killed_s <= ALLOWED_S
