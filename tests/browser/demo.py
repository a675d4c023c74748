"""The demo as a person runs it, and what its page showed when."""

import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Page

# Notes each change of what the page shows, with the browser's wall clock, which is the machine's.
WATCH = """() => {
    window.shown = [];
    const look = () => {
        const now = {
            verdict: document.getElementById('verdict')?.textContent ?? '',
            reasons: [...document.querySelectorAll('#reasons li')].map(li => li.textContent),
            phase: document.getElementById('phase')?.textContent ?? '',
        };
        const said = JSON.stringify(now);
        if (said !== look.before) { look.before = said; window.shown.push({at_ms: Date.now(), ...now}); }
        requestAnimationFrame(look);
    };
    look();
}"""


@dataclass
class Demo:
    """A running demo: `began_s` is the wall time at which its simulator began."""

    process: subprocess.Popen[str]
    began_s: float = 0.0
    simulator_pid: int = 0
    address: str = ""
    said: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Shown:
    """What the page showed from `at_s` (wall time) on."""

    at_s: float
    verdict: str
    reasons: tuple[str, ...]


@contextmanager
def running_demo(*options: str) -> Iterator[Demo]:
    """`groundstation demo` until its page answers; ended with Ctrl-C."""
    line = [sys.executable, "-m", "groundstation.cli", "demo", "--port", "0", *options]
    with subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        demo = Demo(process)
        reader = threading.Thread(target=_read, args=(demo,), daemon=True)
        reader.start()
        end = time.monotonic() + 60
        while not demo.address and process.poll() is None and time.monotonic() < end:
            time.sleep(0.05)
        try:
            assert demo.address, "".join(demo.said)
            yield demo
        finally:
            process.send_signal(signal.SIGINT)
            process.wait(20)
            reader.join(5)


def _read(demo: Demo) -> None:
    for text in demo.process.stdout or []:
        demo.said.append(text)
        if found := re.search(r"is process (\d+),", text):
            demo.began_s, demo.simulator_pid = time.time(), int(found[1])
        if found := re.search(r"pages are at (\S+)", text):
            demo.address = found[1]


def shown(page: Page) -> list[Shown]:
    """Everything the page has shown since `WATCH` began, in order."""
    return [
        Shown(item["at_ms"] / 1000, item["verdict"], tuple(item["reasons"]))
        for item in page.evaluate("() => window.shown")
    ]
