import tomllib

import pytest

from groundstation.config.errors import ConfigError
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, parse_vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.pipeline import Pipeline
from groundstation.readiness.finding import Finding, Status
from groundstation.simulator.simulate import SimulatedVehicle

from .conftest import example_pad
from .test_computer import called

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
SITE = load_station(EXAMPLE_STATION).site
FIELD = '  { name = "call", type = "text10", meaning = "callsign" },\n'
PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def with_callsign(stated: str, *, field: str = FIELD) -> str:
    """The example's text with a callsign stated and, at the end of its health packet, sent."""
    assert TEXT.rstrip().endswith("]")
    head, table, rest = TEXT.partition("[computer]\n")
    assert table, "the example has no [computer]"
    return (head + table + f'callsign = "{stated}"\n' + rest).rstrip().removesuffix("]") + field + "]\n"


def heard(text: str, *sent: str) -> Finding:
    """What is found of a vehicle that sends these callsigns, five seconds each."""
    vehicle = parse_vehicle(text, file_name="test")
    pipeline = Pipeline(vehicle, SITE, started_ns=0)
    pipeline.feed(StationEvent(1, EventKind.RECORDING, True, "running"))
    begin_s = 0.0
    for callsign in sent:
        sender = parse_vehicle(with_callsign(callsign), file_name="sender")
        for frame in SimulatedVehicle(sender, SITE, seed=1).frames(begin_s + 5.0):
            if begin_s <= frame.t_s < begin_s + 4.9:
                pipeline.feed(Chunk.at(round(frame.t_s * NS_PER_S) + 2, frame.data, link="test"))
        begin_s += 5.0
    pipeline.advance(round(begin_s * NS_PER_S))
    assessment = pipeline.timeline.assessment_at(pipeline.timeline.now_ns)
    assert assessment is not None
    return next(f for f in assessment.findings if f.check == "vehicle_callsign")


def test_callsign_sent_as_text_is_held_to_the_vehicle_files() -> None:
    assert heard(with_callsign("XX1TEST"), "XX1TEST").status is PASS
    wrong = heard(with_callsign("XX1TEST"), "XX2NEAR")
    assert wrong.status is FAIL
    assert wrong.text.startswith(
        "The callsign is XX2NEAR, only XX1TEST allowed. Look at which vehicle is switched on"
    )


def test_another_callsign_within_the_last_ten_seconds_is_no_pass() -> None:
    assert heard(with_callsign("XX1TEST"), "XX1TEST", "XX2NEAR", "XX1TEST").status is FAIL
    assert heard(with_callsign("XX1TEST"), "XX2NEAR", "XX1TEST", "XX1TEST", "XX1TEST").status is PASS


def test_callsign_that_held_when_the_ten_seconds_began_counts_with_them() -> None:
    pad = called("XX1TEST")(example_pad(seconds=40.0))
    assert pad.finding("vehicle_callsign").status is PASS
    pad.callsigns = ((0.0, "XX2NEAR"), (25.0, "XX1TEST"))
    assert pad.finding("vehicle_callsign", 24.0).status is FAIL
    assert pad.finding("vehicle_callsign", 30.0).status is FAIL
    assert pad.finding("vehicle_callsign", 36.0).status is PASS


def test_callsign_that_is_not_sent_or_no_longer_comes_is_unknown_and_one_not_stated_no_finding() -> None:
    assert example_pad().findings("vehicle_callsign") == ()
    pad = called("XX1TEST")(example_pad(seconds=20.0))
    pad.callsigns = ()
    assert pad.finding("vehicle_callsign").text.startswith("The callsign has not come yet.")
    pad.callsigns, pad.silent = ((0.0, "XX1TEST"),), {"health": (10.0, 30.0)}
    late = pad.finding("vehicle_callsign")
    assert (late.status, late.stale) == (UNKNOWN, True)
    bare = example_pad()
    bare.vehicle["computer"] = bare.vehicle.get("computer", {}) | {"callsign": "XX1TEST"}
    assert bare.finding("vehicle_callsign").status is UNKNOWN
    assert "does not send its callsign" in bare.finding("vehicle_callsign").text


def test_an_empty_callsign_and_one_of_other_bytes_are_said() -> None:
    for sent in ("", "\x07\x08"):
        found = called(sent)(example_pad()).finding("vehicle_callsign")
        assert (found.status, "is empty or not text" in found.text) == (FAIL, True)


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ('  { name = "call", type = "u16", meaning = "callsign" },\n', "expected it on a field of text"),
        ('  { name = "call", type = "text10", meaning = "pressure" },\n', 'expected "callsign" or none'),
        ('  { name = "call", type = "text10", count = 2, meaning = "callsign" },\n', "expected one"),
    ],
)
def test_callsign_is_one_field_of_text(field: str, said: str) -> None:
    tomllib.loads(with_callsign("XX1TEST", field=field))
    with pytest.raises(ConfigError) as told:
        parse_vehicle(with_callsign("XX1TEST", field=field), file_name="test.toml")
    assert said in str(told.value)
