import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.inputs import NS_PER_S, EventKind, StationEvent
from groundstation.operator_actions import (
    GREATEST_WAIVER_S,
    MAX_REASON_CHARACTERS,
    CountAction,
    CountOrder,
    Note,
    TakeBack,
    Waive,
    WaiveUntil,
    action_of,
    event_kind,
    event_text,
    plain,
)

AT_NS = 1_780_000_000 * NS_PER_S  # 2026-05-28 20:26:40 UTC

names = st.from_regex(r"[a-z][a-z0-9_]{0,30}", fullmatch=True)
keys = st.tuples(names, st.none() | st.integers(1, 16))
words = st.text(max_size=300).map(plain)
said = words.filter(bool)
actions = st.one_of(
    st.builds(CountAction, st.sampled_from(CountOrder), words),
    st.builds(Waive, keys, st.integers(1, GREATEST_WAIVER_S), said),
    st.builds(WaiveUntil, keys, st.integers(1, GREATEST_WAIVER_S).map(lambda s: AT_NS + s * NS_PER_S), said),
    st.builds(TakeBack, keys),
    st.builds(Note, said),
)


def recorded(kind: EventKind, text: str) -> StationEvent:
    return StationEvent(AT_NS, kind, True, text)


@given(actions)
def test_what_is_recorded_reads_back_as_what_was_done(action) -> None:
    assert action_of(recorded(event_kind(action), event_text(action))) == action


@given(actions)
def test_recorded_text_is_one_printable_line(action) -> None:
    assert event_text(action).isprintable()


@pytest.mark.parametrize(
    ("kind", "text", "action"),
    [
        (EventKind.COUNT, "start", CountAction(CountOrder.START)),
        (EventKind.COUNT, "hold: gust at the pad", CountAction(CountOrder.HOLD, "gust at the pad")),
        (EventKind.COUNT, "set back", CountAction(CountOrder.RESET)),
        (
            EventKind.WAIVER,
            "waive pyro_circuit, channel 2 for 600 s: measured by hand",
            Waive(("pyro_circuit", 2), 600, "measured by hand"),
        ),
        (
            EventKind.WAIVER,
            "waive wind until 2026-05-28T21:00:00Z: the meter is in the lee",
            WaiveUntil(("wind", None), AT_NS + 2000 * NS_PER_S, "the meter is in the lee"),
        ),
        (EventKind.WAIVER, "take back wind", TakeBack(("wind", None))),
        (EventKind.OPERATOR, "start", Note("start")),
    ],
)
def test_text_a_person_reads_is_the_action(kind, text, action) -> None:
    assert action_of(recorded(kind, text)) == action
    assert event_text(action) == text


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (EventKind.COUNT, "launch"),
        (EventKind.COUNT, ""),
        (EventKind.COUNT, "start now"),
        (EventKind.WAIVER, "waive wind for 600 s: "),
        (EventKind.WAIVER, "waive wind for 0 s: calm enough"),
        (EventKind.WAIVER, "waive wind for 99999 s: calm enough"),
        (EventKind.WAIVER, "waive wind until 2026-05-28T20:26:40Z: over already"),
        (EventKind.WAIVER, "waive wind until 2026-05-29T00:26:41Z: longer than four hours"),
        (EventKind.WAIVER, "waive wind until 2026-02-30T12:00:00Z: no such day"),
        (EventKind.WAIVER, "waive wind until 21:00: which day"),
        (EventKind.WAIVER, "waive everything"),
        (EventKind.LINK, "start"),
        (EventKind.RECORDING, "running"),
    ],
)
def test_text_that_is_no_action_is_none(kind, text) -> None:
    assert action_of(recorded(kind, text)) is None


@given(st.text())
def test_any_text_is_an_action_or_none(text) -> None:
    for kind in EventKind:
        action = action_of(recorded(kind, text))
        assert action is None or event_kind(action) is kind


@given(st.text())
def test_words_become_one_short_printable_line(text) -> None:
    line = plain(text)
    assert line.isprintable()
    assert line == line.strip()
    assert len(line) <= MAX_REASON_CHARACTERS
