import dataclasses
import json
import math
from functools import cache

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from synthetic import STARTED_NS, StagedSession, simulated

from dashboard.ask import Ask, PageChoice
from dashboard.frame import PageFrame, When, as_json, frame, page_for
from groundstation.config.load import EXAMPLE_VEHICLE, parse_vehicle
from groundstation.config.telemetry import sources_of
from groundstation.inputs import NS_PER_S
from groundstation.state import Phase
from groundstation.timeline import Timeline


@cache
def flown() -> StagedSession:
    return StagedSession(simulated(launch_at_s=30.0)).advance_to(130.0)


@cache
def failing() -> StagedSession:
    return StagedSession(simulated(faults=["battery-low@40", "igniter-open:1@45"])).advance_to(70.0)


def at(session: StagedSession, seconds: float, *, live: bool = True, ask: Ask | None = None) -> PageFrame:
    cursor_ns = STARTED_NS + round(seconds * NS_PER_S)
    return frame(
        session.timeline,
        cursor_ns,
        session.now_ns(),
        live=live,
        ask=ask or Ask(at_s=seconds),
        with_text=True,
        zone=None,
    )


def without_ruler(shown: PageFrame) -> PageFrame:
    # The ruler is of the whole session by design: it is how one finds the way in it.
    return dataclasses.replace(shown, ruler=None)


def known_until(session: StagedSession, seconds: float) -> Timeline:
    return StagedSession(simulated(launch_at_s=30.0)).advance_to(seconds).timeline


@settings(max_examples=12, deadline=None)
@given(st.integers(1, 125 * 5).map(lambda n: n / 5 + 0.13), st.sampled_from([PageChoice.PAD, PageChoice.FLIGHT]))
@example(56.33, PageChoice.FLIGHT)  # its newest fix lies between two states
def test_a_frame_at_a_cursor_is_what_was_shown_when_that_moment_was_the_present(seconds, page):
    ask = Ask(at_s=seconds, page=page)
    then = known_until(flown(), seconds)
    cursor_ns = STARTED_NS + round(seconds * NS_PER_S)
    common = {"live": True, "ask": ask, "with_text": True, "zone": None}
    present = frame(then, cursor_ns, cursor_ns, **common)
    past = frame(flown().timeline, cursor_ns, flown().now_ns(), **common)
    assert without_ruler(past) == without_ruler(present)


@pytest.mark.parametrize("seconds", [0.0, 0.1, 5.0, 29.9, 31.0, 36.0, 60.0, 130.0])
@pytest.mark.parametrize("page", [PageChoice.PAD, PageChoice.FLIGHT])
def test_a_frame_says_nothing_that_json_cannot(seconds, page):
    text = json.dumps(as_json(at(flown(), seconds, ask=Ask(at_s=seconds, page=page))), allow_nan=False)
    assert json.loads(text)["page"] == page.value


def test_not_a_number_is_refused_at_the_page_edge():
    with pytest.raises(ValueError, match="expected None for what is missing"):
        as_json({"height": math.nan})


def test_nothing_received_is_hold_with_its_reason():
    empty = StagedSession(simulated())
    shown = at(empty, 0.0)
    assert shown.verdict == "HOLD"
    assert shown.pad is not None
    assert shown.pad.band.reasons == ("Nothing has been received yet.",)
    assert shown.packet_age_s is None


def test_the_band_names_the_gravest_reasons_first():
    band = at(failing(), 70.0).pad.band
    assert band.verdict == "HOLD"
    assert band.reasons[0].startswith("Igniter circuit 1")
    assert "3.55 V per cell" in band.reasons[1]


def test_every_finding_stands_at_its_place_with_value_limit_and_duration():
    groups = {g.place: g for g in at(failing(), 70.0).pad.groups}
    row = groups["battery"].rows[0]
    assert (row.status, row.value) == ("fail", "3.55\N{THIN SPACE}V per cell")
    assert row.limit == "3.75 to 4.25\N{THIN SPACE}V per cell"
    assert row.since == "30\N{THIN SPACE}s"
    assert [g.place for g in at(failing(), 70.0).pad.groups][:3] == ["parachute", "avionics", "battery"]


def test_failing_findings_come_first_in_their_place():
    group = next(g for g in at(failing(), 70.0).pad.groups if g.place == "parachute")
    statuses = [r.status for r in group.rows]
    assert statuses == ["fail"] + ["pass"] * (len(statuses) - 1)
    assert (group.worst, group.passing) == ("fail", len(statuses) - 1)


def test_what_changed_since_go_names_only_what_changed():
    changes = at(failing(), 70.0).pad.changes
    assert {"battery_voltage", "pyro_circuit-1"} <= {row.key for row in changes.rows}
    assert not any(row.status == "pass" for row in changes.rows)
    assert changes.heading.startswith("GO until")
    assert at(failing(), 30.0).pad.changes.rows == ()
    assert at(failing(), 5.0).pad.changes.heading == "Not yet GO in this session."


@pytest.mark.parametrize(
    ("seconds", "phase", "page"), [(29.0, "pad", "pad"), (31.5, "boost", "flight"), (120.0, "landed", "flight")]
)
def test_the_page_turns_to_the_flight_by_itself_and_says_so(seconds, phase, page):
    shown = at(flown(), seconds)
    assert shown.page == page
    assert bool(shown.turned) == (page == "flight")
    assert flown().timeline.phase_at(STARTED_NS + round(seconds * NS_PER_S)).value == phase


def test_a_page_that_turns_in_a_flight_first_heard_in_descent_tells_of_no_liftoff():
    session = StagedSession(simulated(launch_at_s=30.0))
    session.heard_from_s = 60.0
    shown = at(session.advance_to(95.0), 95.0)
    assert shown.page == "flight"
    assert shown.turned == "In flight, no liftoff heard: this page turned to the flight by itself."


@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("choice", [PageChoice.PAD, PageChoice.FLIGHT])
def test_the_viewers_choice_of_page_stands(choice, phase):
    assert page_for(choice, phase) is choice


def test_a_chosen_page_is_not_called_turned():
    assert at(flown(), 60.0, ask=Ask(at_s=60.0, page=PageChoice.FLIGHT)).turned == ""


@pytest.mark.parametrize(
    ("live", "at_s", "word"), [(True, None, When.LIVE), (True, 20.0, When.PAST), (False, 20.0, When.REPLAY)]
)
def test_the_past_is_never_called_live(live, at_s, word):
    shown = at(flown(), 20.0, live=live, ask=Ask(at_s=at_s))
    assert shown.when is word
    assert shown.ruler.word is word


def test_the_past_says_how_long_ago():
    assert at(flown(), 10.0).ruler.beside == "2\N{THIN SPACE}min 00\N{THIN SPACE}s ago"


def test_the_height_plot_has_its_phases_band_and_predicted_apogee():
    plot = at(flown(), 34.5).plots.plots[0]
    assert [span.word for span in plot.spans] == ["pad", "boost", "coast"]
    low, high = plot.band
    pairs = [
        (a, v, b) for a, v, b in zip(low.values, plot.line.values, high.values, strict=False) if None not in (a, v, b)
    ]
    assert pairs
    assert plot.marks[0].low < plot.marks[0].value < plot.marks[0].high
    assert at(flown(), 60.0).plots.plots[0].marks == ()


def test_the_flight_page_shows_the_estimate():
    state = flown().timeline.state_at(STARTED_NS + 35 * NS_PER_S)
    numbers = {n.key: n for n in at(flown(), 35.0).flight.numbers}
    assert numbers["height"].value == f"{state.height_m:.0f}\N{THIN SPACE}m"
    assert numbers["speed"].value == f"{state.speed_mps:.1f}\N{THIN SPACE}m/s"
    assert numbers["tilt"].value == f"{math.degrees(state.tilt_rad):.1f}°"
    assert numbers["time"].value.startswith("T+00:0")


def test_the_axis_view_shows_the_gimbal_as_received_and_the_tilt_as_estimated():
    view = at(flown(), 32.0).flight.axis
    at_ns = STARTED_NS + 32 * NS_PER_S
    angle = flown().timeline.series("gimbal_x_angle").before(at_ns).values[-1]
    assert view.limit_deg == 6.0
    assert view.angle_deg[0] == pytest.approx(math.degrees(angle), abs=0.006)
    state = flown().timeline.state_at(at_ns)
    assert math.hypot(*view.tilt_deg) == pytest.approx(math.degrees(state.tilt_rad), abs=2.0)


def test_a_page_that_has_the_lines_gets_only_what_is_new():
    first = at(failing(), 62.0)
    again = Ask(at_s=62.2, have=first.plots.signature, have_s=first.plots.upto_s)
    second = at(failing(), 62.2, ask=again)
    assert second.plots.continues_s == first.plots.upto_s
    whole, new = len(first.plots.plots[0].line.t_s), len(second.plots.plots[0].line.t_s)
    assert new < whole / 10


def test_a_page_with_other_lines_gets_them_whole():
    first = at(failing(), 62.0)
    other = Ask(at_s=62.2, have=first.plots.signature, have_s=first.plots.upto_s, sensor="temperature")
    assert at(failing(), 62.2, ask=other).plots.continues_s is None


def test_lines_stay_within_a_pixels_worth_of_points():
    shown = at(flown(), 130.0, ask=Ask(at_s=130.0, page=PageChoice.PAD, trend_columns=200))
    assert all(len(plot.line.t_s) <= 2 * 200 + 20 for plot in shown.plots.plots)


def test_an_enumeration_is_shown_by_its_label():
    session = StagedSession(simulated()).advance_to(20.0)
    phase = '{ name = "phase",   at = 5, width = 3, valid = [0, 4], meaning = "vehicle_phase"'
    text = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
    assert text.count(phase) == 1
    labelled = text.replace(phase, f'{phase}, labels = [[0, "on the pad"]]')
    session.timeline.sources = sources_of(parse_vehicle(labelled, file_name="labelled.toml"))
    heading = at(session, 20.0, ask=Ask(page=PageChoice.PAD, sensor="vehicle_phase")).pad.headings[2]
    assert heading.value == "on the pad"


def test_values_outside_their_valid_range_are_not_drawn():
    session = StagedSession(simulated()).advance_to(20.0)
    table = session.timeline.packets["health"]
    row = table.columns.index("vbat")
    values = [[float(table.column(c)[-1])] for c in table.columns]
    values[row] = [99.0]
    table.append(np.array([session.now_ns()], np.int64), np.array(values))
    plot = at(session, 20.0).plots.plots[0]
    assert max(v for v in plot.line.values if v is not None) < 20
    assert at(session, 20.0).pad.headings[0].stale == "not valid"
