from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.acts import ActError, next_ns, read_action
from groundstation.inputs import NS_PER_S
from groundstation.operator_actions import Waive, WaiveUntil

ZONE = timezone(timedelta(hours=5, minutes=30))
NOW = datetime(2026, 5, 28, 23, 10, 20, tzinfo=ZONE)
NOW_NS = round(NOW.timestamp()) * NS_PER_S + 123
ASKED = {"do": "waive", "check": "tilt", "text": "seen"}


def waived(lasting: object):
    return read_action(ASKED | {"lasting": lasting}, NOW_NS, ZONE)


def test_minutes_are_as_many_from_now() -> None:
    assert waived("10") == Waive(("tilt", None), 600, "seen")
    assert waived(" 240 ") == Waive(("tilt", None), 14400, "seen")


@pytest.mark.parametrize(
    ("lasting", "then"),
    [
        ("23:11", datetime(2026, 5, 28, 23, 11, tzinfo=ZONE)),
        ("0:05", datetime(2026, 5, 29, 0, 5, tzinfo=ZONE)),
        ("03:10", datetime(2026, 5, 29, 3, 10, tzinfo=ZONE)),
    ],
)
def test_time_of_day_is_the_next_one_at_the_station(lasting, then) -> None:
    assert waived(lasting) == WaiveUntil(("tilt", None), round(then.timestamp()) * NS_PER_S, "seen")


@pytest.mark.parametrize(
    ("lasting", "said"),
    [
        ("23:10", "A waiver is for at most 240 minutes: 23:10 is 1440 minutes away."),
        ("03:11", "A waiver is for at most 240 minutes: 03:11 is 241 minutes away."),
        ("0", "A waiver is for 1 to 240 minutes, found 0."),
        ("241", "A waiver is for 1 to 240 minutes, found 241."),
        ("", "Say for how many minutes, 1 to 240, or until when, such as 14:30."),
        ("24:00", "Say for how many minutes, 1 to 240, or until when, such as 14:30; found 24:00."),
        ("١٤:٣٠", "Say for how many minutes, 1 to 240, or until when, such as 14:30; found ١٤:٣٠."),
        (True, "Say for how many minutes, 1 to 240, or until when, such as 14:30."),
        (None, "Say for how many minutes, 1 to 240, or until when, such as 14:30."),
    ],
)
def test_what_is_neither_minutes_nor_a_time_is_said(lasting, said) -> None:
    with pytest.raises(ActError) as told:
        waived(lasting)
    assert str(told.value) == said


@given(st.integers(0, 23), st.integers(0, 59), st.integers(0, 2**31), st.integers(-23, 23))
def test_next_time_is_within_a_day_and_shows_that_time(hour, minute, now_s, offset_h) -> None:
    zone = timezone(timedelta(hours=offset_h))
    then_ns = next_ns(hour, minute, now_s * NS_PER_S, zone)
    then = datetime.fromtimestamp(then_ns // NS_PER_S, UTC).astimezone(zone)
    assert (then.hour, then.minute, then.second) == (hour, minute, 0)
    assert 2 <= then_ns // NS_PER_S - now_s <= 86_401


@given(st.text(max_size=20))
def test_any_text_is_a_waiver_of_at_most_four_hours_or_an_error(lasting) -> None:
    try:
        action = waived(lasting)
    except ActError:
        return
    seconds = action.seconds if isinstance(action, Waive) else (action.until_ns - NOW_NS) / NS_PER_S
    assert 0.5 < seconds <= 4 * 3600
