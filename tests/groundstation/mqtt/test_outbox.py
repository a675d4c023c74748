import math

import mqtt_scene as scene
import numpy as np

from groundstation.count import CountPhase, CountState
from groundstation.inputs import NS_PER_S
from groundstation.mqtt.outbox import MAX_EVENTS, Outbox
from groundstation.readiness.finding import Verdict
from groundstation.state import FlightEvent, FlightEventKind, Phase, State

S = 1_000_000_000


def test_latest_value_wins_and_the_replaced_one_is_counted() -> None:
    line, outbox = scene.timeline(0), Outbox()
    for k, volts in enumerate((12.1, 12.0, 11.9), start=1):
        scene.receive(line, k * S, volts)
        outbox.offer(line)
    taken = {d.topic: d for d in outbox.take_measurements()}
    assert (taken["measurement/battery_voltage"].value, taken["measurement/battery_voltage"].at_ns) == (11.9, 3 * S)
    assert outbox.superseded == 4
    assert outbox.take_measurements() == []


def test_a_value_is_taken_once_until_a_new_packet_comes() -> None:
    line, outbox = scene.timeline(0), Outbox()
    scene.receive(line, S, 12.1)
    outbox.offer(line)
    assert len(outbox.take_measurements()) == 2
    outbox.offer(line)
    assert outbox.take_measurements() == []
    scene.receive(line, S, 12.1)
    outbox.offer(line)
    assert len(outbox.take_measurements()) == 2


def test_values_out_of_range_and_missing_ones_are_marked_invalid() -> None:
    line, outbox = scene.timeline(0), Outbox()
    scene.receive(line, S, 99.0, math.nan)
    outbox.offer(line)
    volts, odd = outbox.take_measurements()
    assert (volts.value, volts.more) == (99.0, {"valid": False})
    assert (odd.value, odd.more) == (None, {"valid": False})


def test_a_name_that_topics_cannot_hold_is_written_with_underscores() -> None:
    line, outbox = scene.timeline(0), Outbox()
    scene.receive(line, S, 12.0)
    outbox.offer(line)
    assert [d.topic for d in outbox.take_measurements()][1] == "measurement/health.odd_name"


def test_estimates_carry_si_units_and_the_phase() -> None:
    line, outbox = scene.timeline(0), Outbox()
    line.append_state(State(S, Phase.COAST, 120.5, 1.0, 44.0, 0.5, -9.9, 0.1, math.nan, 219.0, 4.0))
    line.now_ns = S
    outbox.offer(line)
    taken = {d.name: (d.value, d.unit) for d in outbox.take_measurements()}
    assert taken["phase"] == ("coast", "1")
    assert taken["height_m"] == (120.5, "m")
    assert taken["speed_mps"] == (44.0, "m/s")
    assert taken["accel_up_mps2"] == (-9.9, "m/s^2")
    assert taken["tilt_heading_rad"] == (None, "rad")


def test_verdict_is_hold_before_any_assessment_and_when_the_last_is_old() -> None:
    line, outbox = scene.timeline(0), Outbox()
    assert outbox.verdict(0).value == "HOLD"
    scene.assess(line, S, Verdict.GO)
    outbox.offer(line)
    assert outbox.verdict(2 * S).value == "GO"
    stale = outbox.verdict(S + 3 * S + 1)
    assert stale.value == "HOLD"
    assert stale.more["reasons"][0]["text"] == "the station's last assessment is 3 s old"


def test_verdict_carries_its_reasons_with_value_unit_and_limit() -> None:
    line, outbox = scene.timeline(0), Outbox()
    scene.assess(line, S, Verdict.HOLD)
    outbox.offer(line)
    assert outbox.verdict(S).more["reasons"] == [
        {"check": "battery", "value": 3.61, "unit": "V", "limit": 3.75, "text": "3.61 V per cell, at least 3.75 V"}
    ]


def test_verdict_key_changes_with_verdict_reasons_and_staleness_alone() -> None:
    line, outbox = scene.timeline(0), Outbox()
    keys = [outbox.verdict_key(0)]
    scene.assess(line, S, Verdict.HOLD)
    outbox.offer(line)
    keys.append(outbox.verdict_key(S))
    scene.assess(line, 2 * S, Verdict.HOLD)
    outbox.offer(line)
    assert outbox.verdict_key(2 * S) == keys[-1]
    scene.assess(line, 3 * S, Verdict.GO)
    outbox.offer(line)
    keys.append(outbox.verdict_key(3 * S))
    keys.append(outbox.verdict_key(99 * S))
    assert len(set(keys)) == 4


def test_events_queue_in_order_and_forget_the_oldest_with_a_count() -> None:
    line, outbox = scene.timeline(0), Outbox()
    for k in range(MAX_EVENTS + 3):
        scene.note(line, k * S, f"note {k}")
    outbox.offer(line)
    first = outbox.next_event()
    assert first is not None
    assert (first.value, outbox.dropped) == ("note 3", 3)
    outbox.event_sent(first)
    second = outbox.next_event()
    assert second is not None
    assert second.value == "note 4"


def test_flight_events_give_their_height_and_when_they_were_called() -> None:
    line, outbox = scene.timeline(0), Outbox()
    line.events.append(FlightEvent(FlightEventKind.APOGEE, 9 * S, 10 * S, 212.25, 1.5))
    outbox.offer(line)
    event = outbox.next_event()
    assert event is not None
    assert (event.name, event.at_ns, event.value, event.unit) == ("apogee", 9 * S, 212.25, "m")
    assert event.more == {"called_ns": str(10 * S), "height_sigma_m": 1.5}


def test_station_says_the_newest_of_each_link_and_the_packet_age() -> None:
    line, outbox = scene.timeline(0), Outbox()
    scene.note(line, S, "opened")
    scene.note(line, 2 * S, "opened again")
    scene.receive(line, 3 * S, 12.0)
    outbox.offer(line)
    said = outbox.station(5 * S)
    assert said.more["links"] == [{"link": "pad", "ok": True, "text": "opened again"}]
    assert said.more["packet_age_s"] == 2.0


def test_memory_stays_bounded_while_nobody_takes_anything() -> None:
    line, outbox = scene.timeline(0), Outbox()
    for k in range(2000):
        scene.receive(line, k * S, 12.0)
        scene.note(line, k * S, "again")
        outbox.offer(line)
    assert len(outbox.take_measurements()) == 2
    assert outbox.dropped == 2000 - MAX_EVENTS
    assert np.isfinite(outbox.superseded)


def test_count_is_told_in_seconds_after_zero_with_its_phase_and_why() -> None:
    timeline = scene.timeline(1_700_000_000 * NS_PER_S)
    outbox = Outbox()
    outbox.offer(timeline)
    assert outbox.count(timeline.now_ns) is None
    timeline.counts += [
        CountState(CountPhase.NOT_STARTED, timeline.now_ns, 0),
        CountState(CountPhase.HOLDING, timeline.now_ns, 65 * NS_PER_S, "Planned: clear the pad."),
    ]
    outbox.offer(timeline)
    draft = outbox.count(timeline.now_ns + 5 * NS_PER_S)
    assert draft is not None
    assert (draft.topic, draft.value, draft.unit) == ("count", -65.0, "s")
    assert draft.more == {"phase": "holding", "text": "T−01:05", "why": "Planned: clear the pad."}
