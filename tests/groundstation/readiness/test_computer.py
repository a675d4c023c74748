import numpy as np
import pytest

from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def stated(key, value, old, new):
    """The file states something under [computer], sent in place of a measurement of the example."""

    def made(pad):
        pad.vehicle["computer"][key] = value
        return pad.mean(old, new)

    return made


def recording(pad, *, free):
    pad.vehicle["computer"] |= {"record_rate": "4 kB/s", "record_length": "30 min"}
    return pad.mean("gnss_height", "storage_free").set("storage_free", free)


def fast_clock(pad):
    pad.seconds = 20.0
    pad.changes["vehicle_time"] = lambda t, v: 1.05 * v
    return pad


def called(text: str, *, stated: str = "XX1TEST"):
    """The example with a callsign in its health packet."""

    def made(pad):
        pad.vehicle["computer"] = pad.vehicle.get("computer", {}) | {"callsign": stated}
        field = {"name": "call", "type": "text10", "meaning": "callsign"}
        next(p for p in pad.vehicle["telemetry"]["packet"] if p["name"] == "health")["fields"].append(field)
        pad.callsigns = ((0.0, text),)
        return pad

    return made


COMPUTER_FAULTS = [
    ("another's callsign", called("XX2NEAR"), "vehicle_callsign", "The callsign is XX2NEAR, only XX1TEST allowed."),
    (
        "old firmware",
        lambda p: stated("firmware_version", 13, "gnss_height", "firmware_version")(p),
        "firmware_version",
        "is 12, only 13 allowed",
    ),
    (
        "another's address",
        lambda p: stated("address", 3, "gnss_height", "vehicle_address")(p),
        "vehicle_address",
        "this may be another one's",
    ),
    ("thinks it flies", lambda p: p.set("vehicle_phase", 1.0), "vehicle_state", "is 1, only 0 allowed"),
    ("stores nothing", lambda p: p.set("storage_recording", 0.0), "vehicle_record", "does not store its record"),
    ("memory full", lambda p: recording(p, free=5e6), "vehicle_record", "5.0 MB left for its record"),
    ("clock runs fast", fast_clock, "vehicle_clock", "gains 5.0 %"),
]


def test_only_what_the_file_states_is_asked_for(pad) -> None:
    p = pad()
    p.vehicle["computer"] = {}
    for check in ("firmware_version", "vehicle_address", "vehicle_state", "vehicle_record"):
        assert p.findings(check) == ()
    p.vehicle["computer"] = {"firmware_version": 12, "address": 7}
    for check in ("firmware_version", "vehicle_address"):
        assert check in p.finding(check).text
        assert p.finding(check).status is UNKNOWN
    assert "firmware_version, vehicle_address" in p.finding("required_measurements").text


@pytest.mark.parametrize("check", ["firmware_version", "vehicle_address"])
def test_number_as_the_file_states_passes(pad, check) -> None:
    key, value = ("address", 7) if check == "vehicle_address" else ("firmware_version", 12)
    assert stated(key, value, "gnss_height", check)(pad()).finding(check).status is PASS


def test_a_state_is_told_by_its_label_too(pad) -> None:
    p = pad().set("vehicle_phase", 1.0)
    for packet in p.vehicle["telemetry"]["packet"]:
        for part in (part for entry in packet["fields"] for part in entry.get("bits", ())):
            if part.get("meaning") == "vehicle_phase":
                part["labels"] = [[0, "on the pad"], [1, "boosting"]]
    assert "is 1 (boosting), only 0 (on the pad) allowed" in p.finding("vehicle_state").text
    p.set("vehicle_phase", 0.0)
    assert "is 0 (on the pad), as the vehicle file states" in p.finding("vehicle_state").text


def test_room_for_the_record_is_its_rate_times_its_length(pad) -> None:
    # 4 kB/s over 30 min is 7.2 MB.
    assert recording(pad(), free=7.3e6).finding("vehicle_record").status is PASS
    assert recording(pad(), free=7.1e6).finding("vehicle_record").status is FAIL
    assert recording(pad(), free=7.3e6).finding("vehicle_record").limit.least == pytest.approx(7.2, abs=1e-9)


def test_clock_that_wraps_or_starts_anew_once_keeps_time(pad) -> None:
    p = pad(seconds=20.0)
    p.changes["vehicle_time"] = lambda t, v: np.where(t > 15.0, v - 40.0, v)
    assert p.finding("vehicle_clock", 19.5).status is PASS
    assert pad(seconds=20.0).finding("vehicle_clock").value == pytest.approx(0.0, abs=0.2)
    assert pad(seconds=20.0, loss=0.3).finding("vehicle_clock").status is PASS


def test_clock_that_stands_still_is_no_clock(pad) -> None:
    assert pad(seconds=20.0).set("vehicle_time", 42.0).finding("vehicle_clock").status is FAIL


def test_vehicle_without_a_clock_has_no_finding_of_it(pad) -> None:
    assert pad().drop("vehicle_time").findings("vehicle_clock") == ()
