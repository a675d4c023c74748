import numpy as np

from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.config.station import Site
from groundstation.config.telemetry import columns_of, sources_of
from groundstation.inputs import NS_PER_S
from groundstation.link_lines import link_lines, session_lines
from groundstation.state import Restart, RestartSign
from groundstation.timeline import Timeline

START_NS = 1_700_000_000 * NS_PER_S


def heard(*rows: tuple[float, float, float, float, float]) -> Timeline:
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    made = Timeline(vehicle, Site(), started_ns=START_NS, packets=columns_of(vehicle), sources=sources_of(vehicle))
    if rows:
        t_ns = np.array([at(row[0]) for row in rows], np.int64)
        repeated, late, odd, held_s = np.array([row[1:] for row in rows]).T
        made.arrivals.append(t_ns, np.array([repeated, late, odd, np.zeros(len(rows)), held_s]))
        made.now_ns = int(t_ns[-1])
    return made


def at(seconds: float) -> int:
    return START_NS + round(seconds * NS_PER_S)


def test_nothing_heard_and_no_start_are_said() -> None:
    assert link_lines(heard(), at(5.0)) == (
        "Packets: none over the last 60 s.",
        "Flight computer: no new start in this session.",
    )


def test_packets_of_the_last_minute_are_told_by_how_they_came() -> None:
    nan = np.nan
    made = heard((1, 0, 0, 0, 9.0), (70, 0, 0, 0, 0.01), (71, 1, 0, 0, nan), (72, 0, 1, 0, 0.42), (73, 0, 0, 1, nan))
    told = (
        "Packets: 4 over the last 60 s, 1 came twice, 1 came late, 1 went on from none before; held up on their way "
    )
    assert link_lines(made, at(73.5))[0] == told + "by at most 0.4 s."
    assert link_lines(made, at(70.5))[0] == (
        "Packets: 1 over the last 60 s, each once and in order; held up on their way by at most 0.0 s."
    )
    assert session_lines(made)[0].startswith("Packets: 5 over the last 73 s, 1 came twice")
    assert session_lines(made)[0].endswith("by at most 9.0 s.")


def test_how_long_packets_were_held_up_is_left_out_where_no_clock_tells() -> None:
    assert link_lines(heard((1, 0, 0, 0, np.nan)), at(2.0))[0] == (
        "Packets: 1 over the last 60 s, each once and in order."
    )


def test_new_starts_are_counted_up_to_the_moment() -> None:
    made = heard()
    signs = [(5.0, 1, RestartSign.COUNTER), (5.2, 1, RestartSign.RESET_COUNT), (47.0, 2, RestartSign.CLOCK)]
    made.restarts.extend(Restart(at(t_s), boot, sign) for t_s, boot, sign in signs)
    assert link_lines(made, at(4.0))[1] == "Flight computer: no new start in this session."
    assert link_lines(made, at(6.0))[1] == (
        "Flight computer: 1 new start in this session, the last after 5.0 s, seen by its counter and reset count."
    )
    assert link_lines(made, at(50.0))[1] == (
        "Flight computer: 2 new starts in this session, the last after 47 s, seen by its clock."
    )
