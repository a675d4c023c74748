import pytest

from decoders.fingerprint import layout_fingerprint
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.readiness.finding import Status


def sending(pad, difference):
    """The vehicle sends its file's fingerprint, or one that is so much more."""
    pad.mean("gnss_height", "layout_fingerprint")
    for packet in pad.vehicle["telemetry"]["packet"]:
        for entry in packet["fields"]:
            if entry.get("meaning") == "layout_fingerprint":
                entry["type"] = "u32"
    number = layout_fingerprint(layout_of(Vehicle.model_validate(pad.vehicle)))
    return pad.set("layout_fingerprint", float((number + difference) % 2**32))


LAYOUT_FAULTS = [
    (
        "other layout",
        lambda p: sending(p, 1),
        "layout_fingerprint",
        "values stand in the wrong places until one is made to match the other.",
    ),
]


def test_same_layout_passes(pad) -> None:
    assert sending(pad(), 0).finding("layout_fingerprint").status is Status.PASS


@pytest.mark.parametrize("difference", [1, -1, 2**31])
def test_other_layout_fails_with_both_fingerprints(pad, difference) -> None:
    finding = sending(pad(), difference).finding("layout_fingerprint")
    assert finding.status is Status.FAIL
    assert f"{int(finding.value):08X}, only the vehicle file's {int(finding.limit.least):08X}" in finding.text


def test_vehicle_that_sends_no_fingerprint_has_no_finding_of_it(pad) -> None:
    assert pad().findings("layout_fingerprint") == ()
