import numpy as np
import pytest

from groundstation.inputs import EventKind
from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN
LORA = {"spreading_factor": 9, "bandwidth": "125 kHz"}


def linked(pad, sent=None, **more):
    """The file states the link; the vehicle's packets carry `sent` in place of its height."""
    pad.vehicle["radio"] = {"frequency": "868 MHz", "farthest": "2 km", "pad_distance": "50 m"} | more
    return pad if sent is None else pad.mean("gnss_height", sent)


def two_clocks(pad):
    pad.changes["vehicle_time"] = lambda t, v: np.where(np.arange(len(v)) % 3 == 0, v + 500.0, v)
    return pad


def two_addresses(pad):
    pad.mean("gnss_height", "vehicle_address")
    pad.changes["vehicle_address"] = lambda t, v: np.where(np.arange(len(v)) % 3 == 0, 9.0, v)
    return pad


def said(kind, ok, text):
    def made(pad):
        pad.said = ((kind, 1.0, ok, text),)
        return pad

    return made


LINK_FAULTS = [
    (
        "weak signal",
        lambda p: linked(p, "rssi", **LORA).set("rssi", -95.0),
        "radio_margin",
        "2 dB to spare at 2000 m",
    ),
    ("noisy channel", lambda p: linked(p, "snr", **LORA).set("snr", 3.0), "radio_margin", "signal-to-noise"),
    ("weak on paper", lambda p: linked(p, sensitivity="-95 dBm", radiated="10 dBm"), "radio_margin", "on paper"),
    ("two vehicles by clock", two_clocks, "one_vehicle", "two vehicles may send"),
    ("two vehicles by address", two_addresses, "one_vehicle", "Packets of 2 addresses"),
    ("laptop empty", said(EventKind.LAPTOP_POWER, False, "The laptop has 9 %"), "laptop_power", "charger"),
    ("disk nearly full", said(EventKind.LAPTOP_DISK, False, "The disk has 0.1 GB"), "laptop_disk", "clear it"),
    ("clock set", said(EventKind.LAPTOP_CLOCK, False, "The clock was set"), "laptop_clock", "time setting"),
]


def test_margin_falls_by_six_decibels_for_each_doubling_of_the_distance(pad) -> None:
    # SF 9 at 125 kHz: -129 dBm (SX1276 data sheet). -62 dBm at 50 m is 67 dB; to 2000 m 20 log 40 = 32.04 dB less.
    finding = linked(pad(), "rssi", **LORA).set("rssi", -62.0).finding("radio_margin")
    assert (finding.status, finding.value) == (PASS, pytest.approx(34.96, abs=0.5))
    # -12.5 dB is the least signal-to-noise ratio at SF 9: 9 dB is 21.5 dB above it, 2000 m cost 32.04 dB.
    finding = linked(pad(), "snr", **LORA).set("snr", 9.0).finding("radio_margin")
    assert finding.value == pytest.approx(21.5 - 32.04, abs=0.51)


def test_margin_on_paper_is_power_less_free_space_loss_less_sensitivity(pad) -> None:
    # 868 MHz over 2 km: 85.198 dB at 0.5 km plus 12.04 dB (Recommendation ITU-R P.525) is 97.24 dB.
    p = linked(pad(), sensitivity="-120 dBm", radiated="10 dBm", receive_gain="2 dB")
    assert p.finding("radio_margin").value == pytest.approx(10 + 2 - 97.24 + 120, abs=0.5)


def test_link_that_is_not_stated_has_no_finding_and_one_without_figures_is_unknown(pad) -> None:
    assert pad().findings("radio_margin") == ()
    finding = linked(pad(), sensitivity="-120 dBm").finding("radio_margin")
    assert finding.status is UNKNOWN
    assert "Add one of them" in finding.text


def test_one_restart_or_a_late_packet_is_not_a_second_vehicle(pad) -> None:
    p = pad(seconds=12.0)
    p.changes["vehicle_time"] = lambda t, v: np.where(t > 6.0, v - 40.0, v)
    assert p.finding("one_vehicle").status is PASS
    p.changes["vehicle_time"] = lambda t, v: v - 0.5 * (np.arange(len(v)) % 5 == 0)
    assert p.finding("one_vehicle").status is PASS
    assert pad().drop("vehicle_time").findings("one_vehicle") == ()


@pytest.mark.parametrize("check", ["laptop_power", "laptop_disk", "laptop_clock"])
def test_laptop_nobody_can_look_at_passes_and_says_so(pad, check) -> None:
    finding = pad().finding(check)
    assert finding.status is PASS
    assert "is not watched in this session" in finding.text
    assert "look at it yourself" in finding.text


@pytest.mark.parametrize("check", ["laptop_power", "laptop_disk", "laptop_clock"])
def test_laptop_that_is_watched_is_unknown_until_a_look_at_it_is_told(pad, check) -> None:
    finding = said(EventKind.LAPTOP_WATCH, True, "power, disk and clock")(pad()).finding(check)
    assert finding.status is UNKNOWN
    assert finding.text.startswith(f"The station has not said how the laptop's {check.partition('_')[2]} stands.")
    if check != "laptop_disk":
        told = said(EventKind.LAPTOP_DISK, True, "The disk has 20 GB")(pad())
        assert told.finding(check).status is UNKNOWN


def test_station_that_stopped_looking_at_its_laptop_is_unknown(pad) -> None:
    good = said(EventKind.LAPTOP_POWER, True, "The laptop's battery has 80 %")(pad(seconds=400.0))
    assert good.finding("laptop_power", 200.0).text == "The laptop's battery has 80 %."
    assert good.finding("laptop_power", 200.0).status is PASS
    assert good.finding("laptop_power", 390.0).status is UNKNOWN
