"""How packets came on the link and how often the flight computer started anew, as a plain line each."""

import math
from dataclasses import dataclass

import numpy as np

from groundstation.inputs import NS_PER_S
from groundstation.readiness.words import number, seconds
from groundstation.timeline import Timeline

OVER_S = 60.0


@dataclass(frozen=True, slots=True)
class Arrived:
    """How packets came over `over_s`; `held_s` is the longest any was held back, NaN where that is not known."""

    over_s: float
    heard: int
    repeated: int
    late: int
    odd: int
    held_s: float


def arrived(timeline: Timeline, at_ns: int, over_s: float = OVER_S) -> Arrived:
    """How the packets came over so long up to a moment; of a long session's pad only what was not thinned."""
    table = timeline.arrivals
    from_ns = at_ns - round(over_s * NS_PER_S)
    start, end = np.searchsorted(table.t_ns, [from_ns, at_ns], side="right").tolist()
    repeated, late, odd = (int(table.column(name)[start:end].sum()) for name in ("repeated", "late", "odd"))
    held_s = table.column("held_s")[start:end]
    known = held_s[np.isfinite(held_s)]
    return Arrived(over_s, end - start, repeated, late, odd, float(known.max()) if known.size else math.nan)


def starts(timeline: Timeline, at_ns: int) -> int:
    """How often the flight computer had started anew by a moment, in this session."""
    restarts = timeline.restarts_until(at_ns)
    return restarts[-1].boot if restarts else 0


def link_lines(timeline: Timeline, at_ns: int) -> tuple[str, str]:
    """The two lines at a moment: arrivals, then new starts."""
    return _arrivals_line(arrived(timeline, at_ns)), _starts_line(timeline, at_ns)


def session_lines(timeline: Timeline) -> tuple[str, str]:
    """The two lines of a whole session."""
    over_s = (timeline.now_ns - timeline.started_ns) / NS_PER_S
    return _arrivals_line(arrived(timeline, timeline.now_ns, over_s)), _starts_line(timeline, timeline.now_ns)


def _arrivals_line(seen: Arrived) -> str:
    if not seen.heard:
        return f"Packets: none over the last {seen.over_s:.0f} s."
    parts = [(seen.repeated, "came twice"), (seen.late, "came late"), (seen.odd, "went on from none before")]
    told = ", ".join(f"{count} {what}" for count, what in parts if count) or "each once and in order"
    held = "" if math.isnan(seen.held_s) else f"; held up on their way by at most {seconds(seen.held_s)}"
    return f"Packets: {seen.heard} over the last {seen.over_s:.0f} s, {told}{held}."


def _starts_line(timeline: Timeline, at_ns: int) -> str:
    restarts = timeline.restarts_until(at_ns)
    if not restarts:
        return "Flight computer: no new start in this session."
    newest = restarts[-1]
    together = [r for r in restarts if r.boot == newest.boot]
    signs = " and ".join(dict.fromkeys(r.sign.value for r in together))
    since_s = (together[0].at_ns - timeline.started_ns) / NS_PER_S
    often = "1 new start" if newest.boot == 1 else f"{number(newest.boot, 0)} new starts"
    return f"Flight computer: {often} in this session, the last after {seconds(since_s)}, seen by its {signs}."
