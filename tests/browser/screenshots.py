"""Every page in every state at three sizes, by day and by night, as pictures to look at.

python tests/browser/screenshots.py OUTDIR [STATE …]
"""

import sys
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / "dashboard"), str(Path(__file__).parent)]

from browsing import SIZES, chromium, wait_for_frames  # noqa: E402
from playwright.sync_api import Browser, Page  # noqa: E402
from served import served  # noqa: E402
from synthetic import StagedSession, simulated  # noqa: E402

from groundstation.inputs import NS_PER_S  # noqa: E402


def _nothing(page: Page) -> None:
    """Leave the page as it opens."""


def _back(page: Page) -> None:
    page.click("#back")
    page.click("#play")


def _back_far(page: Page) -> None:
    page.evaluate("notebook.change({at_s: 32, playing: false})")


def _in_flight(page: Page) -> None:
    page.evaluate("notebook.change({at_s: 29.6, playing: false})")


def _in_fall(page: Page) -> None:
    page.evaluate("notebook.change({at_s: 47, playing: false})")


def _fold_open(page: Page) -> None:
    page.evaluate("document.querySelectorAll('#findings details').forEach(fold => { fold.open = true; })")


def _counting(page: Page) -> None:
    page.click("[data-order=start]")
    page.click("#operator-form button:last-child")


def _waive_form(page: Page) -> None:
    page.click("#operator-waive")
    page.fill("#waive-reason", "measured by hand, 12.1 V")


def _waive_asked(page: Page) -> None:
    _waive_form(page)
    page.click("#operator-form button[type=submit]")


def _waived(page: Page) -> None:
    _waive_asked(page)
    page.click("#operator-form button:last-child")


@dataclass(frozen=True)
class State:
    """A session filled up to `upto_s`, and what the viewer does."""

    upto_s: float
    faults: tuple[str, ...] = ()
    launch_at_s: float | None = None
    silent_from_s: float | None = None
    live: bool = True
    act: Callable[[Page], None] = _nothing
    lost: bool = False
    ejects: bool = True


MANY = ("battery-low@40", "igniter-open:1@45", "tilt-excessive@50", "pressure-stuck@52")
STATES = {
    "go": State(400),
    "go-open": State(60, act=_fold_open),
    "settling": State(6),
    "hold": State(70, faults=("battery-low@50",)),
    "count": State(60, act=_counting),
    "count-ask": State(60, act=lambda page: page.click("[data-order=start]")),
    "waive": State(70, faults=("tilt-excessive@50",), act=_waive_form),
    "waive-ask": State(70, faults=("tilt-excessive@50",), act=_waive_asked),
    "waived": State(70, faults=("tilt-excessive@50",), act=_waived),
    "hold-many": State(70, faults=MANY),
    "stale": State(70, silent_from_s=60),
    "lost": State(70, lost=True),
    "past": State(200, faults=("battery-low@180",), act=_back),
    "boost": State(32.2, launch_at_s=30),
    "coast": State(36.5, launch_at_s=30),
    "descent": State(60, launch_at_s=30),
    "ballistic": State(46.5, launch_at_s=30, ejects=False),
    "ballistic-past": State(60, launch_at_s=30, ejects=False, act=_in_fall),
    "descent-silent": State(150, launch_at_s=30, silent_from_s=80),
    "landed": State(150, launch_at_s=30),
    "past-flight": State(150, launch_at_s=30, act=_back_far),
    "flight-stale": State(40, launch_at_s=30, silent_from_s=36),
    "replay": State(150, launch_at_s=30, live=False),
    "replay-flight": State(150, launch_at_s=30, live=False, act=_back_far),
}


def staged(state: State) -> StagedSession:
    vehicle = simulated(launch_at_s=state.launch_at_s, faults=state.faults, ejects=state.ejects)
    started_ns = time.time_ns() - round(state.upto_s * NS_PER_S)
    session = StagedSession(vehicle, live=state.live, started_ns=started_ns)
    session.silent_from_s = state.silent_from_s
    return session.advance_to(state.upto_s)


def take(browser: Browser, name: str, state: State, folder: Path, only: list[str]) -> None:
    with ExitStack() as stack:
        session = staged(state)
        serving = stack.enter_context(ExitStack())
        address = serving.enter_context(served(session, alongside=session.stand))
        pages = []
        for size, (width, height) in SIZES.items():
            for light in ("light", "dark"):
                if only and not (size == only[0] and light == (only[1:] or [light])[0]):
                    continue
                context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=light)
                stack.callback(context.close)
                page = context.new_page()
                page.on("pageerror", lambda error: print(f"{name}: {error}", file=sys.stderr))
                page.goto(address)
                wait_for_frames(page, 2)
                state.act(page)
                wait_for_frames(page, 2)
                page.wait_for_timeout(400)
                pages.append((f"{name}-{size}-{'day' if light == 'light' else 'night'}", page))
                if not state.lost:
                    _save(page, folder / f"{pages[-1][0]}.png")
        if state.lost:
            serving.close()
            time.sleep(3.5)
            for label, page in pages:
                _save(page, folder / f"{label}.png")


def _save(page: Page, path: Path) -> None:
    page.screenshot(path=path)
    if "phone" in path.name:
        # The whole page as well: full-page pictures leave what sticks to the foot where the fold was.
        height = page.evaluate("document.documentElement.scrollHeight")
        page.set_viewport_size({"width": SIZES["phone"][0], "height": height})
        page.wait_for_timeout(300)
        page.screenshot(path=path.with_stem(f"{path.stem}-whole"))


def main() -> None:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    wanted = sys.argv[2:] or list(STATES)
    with chromium() as browser:
        for chosen in wanted:
            name, *only = chosen.split(":")
            take(browser, name, STATES[name], folder, only)
            print(chosen, flush=True)


if __name__ == "__main__":
    main()
