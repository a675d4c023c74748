import asyncio
from collections.abc import Coroutine
from dataclasses import replace
from typing import Any

import pytest
from synthetic import StagedSession, simulated

from dashboard.ask import Ask, PageChoice, read_ask
from dashboard.stream import LARGEST_STEP_S, Stream, moved
from groundstation.inputs import NS_PER_S


class Clock:
    def __init__(self) -> None:
        self.now_ns = 1_790_000_000 * NS_PER_S

    def __call__(self) -> int:
        return self.now_ns


def stream_of(session: StagedSession, clock: Clock | None = None) -> Stream:
    return Stream(session, clock_ns=clock or Clock(), zone=None)


def run(work: Coroutine[Any, Any, Any]) -> Any:
    return asyncio.run(work)


def staged(seconds: float = 20.0, *, live: bool = True) -> StagedSession:
    return StagedSession(simulated(), live=live).advance_to(seconds)


def test_the_first_frame_comes_at_once_and_whole():
    answer = run(stream_of(staged()).next(Ask()))
    assert answer["following"] is True
    assert answer["frame"]["pad"] is not None
    assert answer["frame"]["plots"]["continues_s"] is None


def test_pages_that_ask_alike_share_one_frame():
    async def work() -> int:
        session = staged()
        stream = stream_of(session)
        ticking = asyncio.ensure_future(session.stand())
        asks = [Ask(number=k, tick=0) for k in range(5)]
        answers = await asyncio.gather(*(stream.next(ask) for ask in asks))
        ticking.cancel()
        assert [a["number"] for a in answers] == [0, 1, 2, 3, 4]
        assert {a["tick"] for a in answers} == {1}
        return stream.frames_computed

    assert run(work()) == 1


def test_a_page_waits_for_a_later_tick_than_it_has():
    async def work() -> tuple[bool, int]:
        session = staged()
        stream = stream_of(session)
        waiting = asyncio.ensure_future(stream.next(Ask(tick=0)))
        await asyncio.sleep(0.05)
        early = waiting.done()
        ticking = asyncio.ensure_future(session.stand())
        answer = await asyncio.wait_for(waiting, 5)
        ticking.cancel()
        return early, answer["tick"]

    assert run(work()) == (False, 1)


def test_a_silent_session_still_brings_heartbeats():
    answer = run(asyncio.wait_for(stream_of(staged()).next(Ask(tick=0)), 5))
    assert answer["tick"] == 1


def test_a_page_that_goes_away_does_not_end_the_wait_of_others():
    async def work() -> int:
        stream = stream_of(staged())
        leaving = asyncio.ensure_future(stream.next(Ask(tick=0)))
        staying = asyncio.ensure_future(stream.next(Ask(tick=0)))
        await asyncio.sleep(0.05)
        leaving.cancel()
        return (await asyncio.wait_for(staying, 5))["tick"]

    assert run(work()) == 1


def test_words_come_at_most_four_times_a_second_but_a_new_verdict_at_once():
    clock = Clock()
    stream = stream_of(staged(), clock)
    first = stream.at_once(Ask())
    ask = Ask(text_ms=first["served_ms"], verdict=first["frame"]["verdict"])
    clock.now_ns += 100_000_000
    assert stream.at_once(ask)["frame"]["pad"] is None
    assert stream.at_once(replace(ask, verdict="GO" if ask.verdict == "HOLD" else "HOLD"))["frame"]["pad"] is not None
    clock.now_ns += 150_000_000
    assert stream.at_once(ask)["frame"]["pad"] is not None


def test_a_replay_begins_at_its_start_and_stands_still():
    answer = stream_of(staged(live=False)).at_once(Ask(playing=True))
    assert (answer["following"], answer["playing"]) == (False, False)
    assert answer["frame"]["cursor_s"] == 0.0
    assert answer["frame"]["when"] == "REPLAY"


@pytest.mark.parametrize("speed", [0.25, 1.0, 10.0])
def test_a_playing_cursor_moves_at_its_speed(speed):
    clock = Clock()
    session = staged(live=False)
    ask = Ask(at_s=2.0, playing=True, speed=speed, served_ms=clock() // 1_000_000)
    clock.now_ns += 400_000_000
    answer = stream_of(session, clock).at_once(ask)
    assert answer["frame"]["cursor_s"] == pytest.approx(2.0 + 0.4 * speed, abs=0.002)


def test_a_cursor_that_slept_goes_on_from_where_it_was():
    clock = Clock()
    session = staged(live=False)
    ask = Ask(at_s=2.0, playing=True, served_ms=clock() // 1_000_000)
    clock.now_ns += 3600 * NS_PER_S
    assert stream_of(session, clock).at_once(ask)["frame"]["cursor_s"] == pytest.approx(
        2.0 + LARGEST_STEP_S, abs=0.002
    )


def test_a_replay_stops_at_its_end():
    clock = Clock()
    session = staged(live=False)
    ask = Ask(at_s=19.9, playing=True, served_ms=clock() // 1_000_000)
    clock.now_ns += NS_PER_S
    answer = stream_of(session, clock).at_once(ask)
    assert (answer["frame"]["cursor_s"], answer["playing"]) == (20.0, False)


def test_a_past_cursor_that_reaches_the_present_follows_it():
    session = staged()
    ask, cursor_ns = moved(Ask(at_s=20.5, playing=True), session, session.now_ns(), 0)
    assert ask.at_s is None
    assert cursor_ns == session.now_ns()


def test_a_paused_cursor_in_the_past_stays_in_the_past():
    answer = stream_of(staged()).at_once(Ask(at_s=20.0, playing=False))
    assert answer["frame"]["when"] == "PAST"


@pytest.mark.parametrize(
    "data",
    [
        None,
        [],
        "live",
        {"at_s": "now", "speed": None, "page": 7, "trend_columns": "wide", "number": True},
        {"at_s": float("nan"), "speed": float("inf"), "served_ms": 1e300, "have": {"a": 1}},
        {"page": "recovery", "sensor": ["pressure"]},
    ],
)
def test_an_odd_ask_is_read_as_a_plain_one(data):
    ask = read_ask(data)
    assert ask.page is PageChoice.AUTO
    assert ask.at_s is None
    assert 0.25 <= ask.speed <= 10
    assert 80 <= ask.trend_columns <= 2400


def test_an_ask_for_an_unknown_sensor_gets_the_pressure():
    answer = stream_of(staged()).at_once(read_ask({"sensor": "nothing.of.the.kind"}))
    assert answer["frame"]["pad"]["headings"][2]["label"] == "pressure"
