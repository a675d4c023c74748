import pytest

from groundstation.readiness.finding import Verdict

from .conftest import example_pad

SETTLED_S = 12.0


def goes(pad):
    """Ticks after settling, and those of them that are GO."""
    told = pad.assessments()
    late = [a for a in told if a.at_ns - told[0].at_ns >= SETTLED_S * 1e9]
    return len(late), sum(a.verdict is Verdict.GO for a in late), [f.text for a in late for f in a.reasons]


@pytest.mark.parametrize(("motion_hz", "health_hz"), [(10, 4), (5, 2), (20, 5), (50, 10)])
def test_healthy_vehicle_stays_go_while_one_packet_in_ten_is_lost(motion_hz, health_hz) -> None:
    pad = example_pad(seconds=90.0, loss=0.1, seed=motion_hz)
    pad.vehicle["telemetry"]["packet"][0]["rate_hz"] = motion_hz
    pad.vehicle["telemetry"]["packet"][1]["rate_hz"] = health_hz
    ticks, go, reasons = goes(pad)
    assert (go, reasons) == (ticks, [])
    assert ticks > 350


@pytest.mark.campaign
@pytest.mark.parametrize(("motion_hz", "health_hz", "loss"), [(10, 4, 0.1), (5, 2, 0.1), (20, 5, 0.1), (10, 4, 0.2)])
def test_healthy_vehicle_is_go_through_long_watches(motion_hz, health_hz, loss) -> None:
    ticks = go = 0
    why = set()
    for seed in range(20):
        pad = example_pad(seconds=1200.0, loss=loss, seed=seed)
        pad.vehicle["telemetry"]["packet"][0]["rate_hz"] = motion_hz
        pad.vehicle["telemetry"]["packet"][1]["rate_hz"] = health_hz
        seen, well, reasons = goes(pad)
        ticks, go = ticks + seen, go + well
        why |= {r for r in reasons if not r.startswith("All checks pass")}
    assert go >= 0.995 * ticks, (go / ticks, sorted(why)[:5])
