import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Page

sys.path.insert(0, str(Path(__file__).parent))

from browsing import chromium
from demo import running_demo

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.simulator.simulate import SimulatedVehicle

pytestmark = [pytest.mark.browser, pytest.mark.campaign]

SEED = 6
LAUNCH_AT_S = 30.0
PHASES = ["BOOST", "COAST", "DESCENT", "LANDED"]  # on the pad, the pad page is in sight
# Notes the phase each time it changes, and the page in sight.
WATCH = """() => {
    window.phases = [];
    const look = () => {
        const phase = document.getElementById('phase').textContent;
        if (phase && phase !== window.phases.at(-1)) window.phases.push(phase);
        requestAnimationFrame(look);
    };
    look();
}"""


def told(page: Page) -> list[str]:
    return [
        str(text)
        for text in page.evaluate("() => [...document.querySelectorAll('#flight-events li')].map(e => e.textContent)")
    ]


def wait_for_landing(page: Page, *, seconds: float) -> None:
    end = time.monotonic() + seconds
    while page.evaluate("() => window.phases.at(-1)") != "LANDED":
        assert time.monotonic() < end, (page.evaluate("() => window.phases"), told(page))
        page.wait_for_timeout(100)
    page.wait_for_timeout(1000)


@contextmanager
def replaying(recording: Path) -> Iterator[str]:
    line = [sys.executable, "-m", "groundstation.cli", "replay", str(recording), "--port", "0"]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        address = next(found[0] for text in process.stdout if (found := re.search(r"http://\S+", text)))
        rest = threading.Thread(target=process.stdout.read, daemon=True)
        rest.start()
        try:
            yield address
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(20)
            rest.join(5)


def test_flight_followed_live_and_replayed_ten_times_as_fast_shows_the_same(tmp_path: Path) -> None:
    site = load_station(EXAMPLE_STATION).site
    truth = SimulatedVehicle(load_vehicle(EXAMPLE_VEHICLE), site, seed=SEED, launch_at_s=LAUNCH_AT_S).truth
    assert truth is not None
    with chromium() as browser:
        page = browser.new_page()
        with running_demo("--launch-at", str(LAUNCH_AT_S), "--seed", str(SEED), "--record", str(tmp_path)) as demo:
            page.goto(demo.address)
            page.evaluate(WATCH)
            wait_for_landing(page, seconds=240)
            live_events, live_phases = told(page), page.evaluate("() => window.phases")
            assert page.evaluate("() => document.getElementById('turned').textContent").startswith("Liftoff")
        assert live_phases == PHASES
        apogee = next(text for text in live_events if "apogee" in text)
        shown_m = float(re.search(r"(\d+)\u2009?\s?m", apogee.split("apogee")[1])[1])  # type: ignore[index]
        print(f"apogee shown {shown_m} m, true {truth.apogee_m:.1f} m; events {live_events}")
        assert abs(shown_m - truth.apogee_m) <= 2 + 0.01 * truth.apogee_m
        (recording,) = tmp_path.glob("*.sqlite")
        with replaying(recording) as address:
            page.goto(address)
            page.evaluate(WATCH)
            page.wait_for_timeout(1500)
            assert page.evaluate("() => document.getElementById('when-word').textContent") != "LIVE"
            page.select_option("#speed", "10")
            page.click("#play")
            began = time.monotonic()
            wait_for_landing(page, seconds=60)
            assert time.monotonic() - began < 0.2 * (truth.times.landed_s + 10)
            assert page.evaluate("() => window.phases") == live_phases
            assert told(page) == live_events
