"""The system's Chromium under Playwright, and what to say where it is missing."""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from playwright.sync_api import Browser, Error, Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
INSTALL_LINE = "Chromium is missing; install it with: apt-get install chromium"
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"laptop": (1366, 768), "projector": (1920, 1080), "phone": (390, 844)}


@contextmanager
def chromium() -> Iterator[Browser]:
    path = CHROMIUM if os.path.exists(CHROMIUM) else shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        if os.environ.get("CI") == "true":
            pytest.fail(INSTALL_LINE)
        pytest.skip(INSTALL_LINE)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


def until(page: Page, condition: str, *, seconds: float = 20.0) -> None:
    """Wait for a condition; Playwright's own waiting evaluates text in the page, which the pages' policy forbids."""
    end = time.monotonic() + seconds
    while True:
        with suppress(Error):  # a page that loads itself anew has nothing to be asked for a moment
            if page.evaluate(condition):
                return
        if time.monotonic() > end:
            raise TimeoutError(f"{condition} did not come true within {seconds} s")
        page.wait_for_timeout(20)


def wait_for_frames(page: Page, count: int = 3) -> None:
    """Until the page has drawn `count` more frames, and Plotly what it draws with."""
    until(page, "() => Boolean(window.Plotly && window.notebook && window.notebook.known.frame)")
    page.evaluate(
        """count => new Promise(done => {
            let left = count;
            document.addEventListener('frame-drawn', function heard() {
                if (--left <= 0) { document.removeEventListener('frame-drawn', heard); done(); }
            });
        })""",
        count,
    )
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
