"""How long a frame takes from the server's stamp to the screen, and how evenly frames come."""

from dataclasses import dataclass

from playwright.sync_api import Page

# The stamp is taken when the timeline has grown, before the frame is computed. The screen is the animation frame
# after the one in which the page has drawn: by then the browser has put the drawing out. Both clocks are this
# machine's; the browser's Date.now() is good to a millisecond.
_MEASURE = """seconds => new Promise(done => {
    const taken = [], at = [];
    function heard(event) {
        const served = event.detail.served_ms;
        requestAnimationFrame(() => requestAnimationFrame(() => { taken.push(Date.now() - served); }));
        at.push(performance.now());
    }
    document.addEventListener('frame-drawn', heard);
    setTimeout(() => { document.removeEventListener('frame-drawn', heard); done([taken, at]); }, seconds * 1000);
})"""


@dataclass(frozen=True)
class Latency:
    """Figures of one run, in milliseconds and frames a second."""

    frames: int
    median_ms: float
    p95_ms: float
    greatest_ms: float
    rate_hz: float

    def __str__(self) -> str:
        return (
            f"{self.frames} frames at {self.rate_hz:.1f} Hz: median {self.median_ms:.0f} ms, "
            f"95th percentile {self.p95_ms:.0f} ms, greatest {self.greatest_ms:.0f} ms"
        )


def measure(page: Page, seconds: float) -> Latency:
    """Watch a page that follows the present for `seconds`."""
    taken, at = page.evaluate(_MEASURE, seconds)
    ordered = sorted(taken)
    if len(ordered) < 2:
        raise RuntimeError(f"only {len(ordered)} frames were drawn in {seconds} s")
    return Latency(
        frames=len(ordered),
        median_ms=ordered[len(ordered) // 2],
        p95_ms=ordered[int(0.95 * (len(ordered) - 1))],
        greatest_ms=ordered[-1],
        rate_hz=1000 * (len(at) - 1) / (at[-1] - at[0]),
    )
