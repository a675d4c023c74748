import pytest

from groundstation.readiness.window import Unknown, Window


def test_nothing_received_later_can_be_seen(pad) -> None:
    whole = pad(seconds=20.0).set("battery_voltage", 11.0, since=10.0)
    cut = pad(seconds=20.0, silent={"motion": (7.9, 99.0), "health": (7.9, 99.0)})
    late, early = whole.window(7.9), cut.window(7.9)
    for name in ("battery_voltage", "pressure", "gyro_x"):
        assert late.need(name) == early.need(name)
        assert late.recent(name, 1.0) == early.recent(name, 1.0)
        assert late.unchanged(name) == early.unchanged(name)
    assert late.packet_age_s == early.packet_age_s
    assert late.radio(5.0) == early.radio(5.0)


def test_recent_gives_the_values_of_the_window_and_older_ones_where_radio_loss_left_too_few(pad) -> None:
    p = pad(seconds=9.0, silent={"motion": (5.0, 5.85)})
    made = p.timeline()
    t_s = (made.packets["motion"].t_ns - made.started_ns) / 1e9
    pressure = made.packets["motion"].column("pressure" if "pressure" in made.packets["motion"].columns else "p")
    at_s = 5.9
    window = Window(made, made.started_ns + round(at_s * 1e9))
    inside = pressure[(t_s > at_s - 1.0) & (t_s <= at_s)]
    assert window.recent("pressure", 1.0) == (inside if len(inside) >= 3 else pressure[t_s <= at_s][-3:]).tolist()
    at_s = 8.0
    window = Window(made, made.started_ns + round(at_s * 1e9))
    assert window.recent("pressure", 1.0) == pressure[(t_s > at_s - 1.0) & (t_s <= at_s)].tolist()


def test_recent_does_not_reach_back_across_an_outage(pad) -> None:
    p = pad(seconds=30.0, silent={"motion": (5.0, 20.0)})
    with pytest.raises(Unknown, match="Too few values of the pressure") as caught:
        p.window(20.15).recent("pressure", 1.0)
    assert caught.value.stale
    assert len(p.window(20.5).recent("pressure", 1.0)) >= 3


def test_latest_says_what_is_wrong_and_nothing_where_nothing_came(pad) -> None:
    assert pad().window(0.0).latest("pressure") is None
    assert pad().window().latest("no_such_thing") is None
    assert pad().window().latest("pressure").problem is None
    assert pad().set("pressure", 1.0).window().latest("pressure").problem == "is outside its valid range"
    assert pad().set("pressure", float("nan")).window().latest("pressure").problem == "is not a number"


def test_unchanged_counts_from_the_first_equal_value(pad) -> None:
    p = pad(seconds=8.0).freeze("pressure", since=5.0)
    since_s, count = p.window().unchanged("pressure")
    assert since_s == pytest.approx(3.0, abs=0.15)
    assert count == pytest.approx(30, abs=1)
    assert pad().set("pressure", 9e4, since=5.95).window().unchanged("pressure")[1] == 1


def test_what_is_fixed_is_worked_out_once_a_session(pad) -> None:
    made = pad().timeline()
    calls = []
    for k in range(3):
        Window(made, made.started_ns + k).fixed("key", lambda window: calls.append(window.vehicle.name) or "value")
    assert calls == [made.vehicle.name]


def test_last_and_state_read_the_timeline(pad) -> None:
    window = pad().window()
    assert len(window.last("pressure", 1.0).values) == pytest.approx(10, abs=1)
    assert window.last("no_such_thing", 1.0) is None
    assert window.elapsed_s == pytest.approx(6.0, abs=1e-9)
    assert window.state.phase is window.phase is window.need_phase()
