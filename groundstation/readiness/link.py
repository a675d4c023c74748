"""Checks of the radio link beyond age and loss: what is left at the farthest point, and whose packets these are."""

import numpy as np

from groundstation.config.equipment import Radio
from groundstation.config.vehicle import PRACTICE, Place
from groundstation.estimation.radio import budget, margin_at_db
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

MEAN_S = 10.0
CHANNEL_WINDOW_S = 10.0
# Two flight computers' clocks, packet by packet, go back and forth; a restart goes back once, a repeat by less than a
# second. Common practice, no source.
BACK_S = 1.0
LEAST_BACKS = 2
_MARGIN = (
    Figure("farthest distance, receiver, aerials", "[radio]", "vehicle file"),
    Figure("loss over distance", "free space", "Recommendation ITU-R P.525"),
    Figure(
        "sensitivity of a LoRa setting", "by spreading factor and bandwidth", "Semtech, SX1276 data sheet, rev. 7"
    ),
)
_CHANNEL = (Figure("clock going back by over a second within 10 s", f"fewer than {LEAST_BACKS} times", PRACTICE),)


@check(Place.RADIO, limits=("radio_margin_db",), figures=_MARGIN, every_s=2.0)
def radio_margin(window: Window) -> list[Outcome]:
    """The signal keeps its margin at the farthest point of the flight, by what is received now or on paper.

    From signal-to-noise ratio where that is sent and the LoRa setting stated, else from signal strength, else from
    the transmitter's power, each over a free path. A vehicle file without [radio] has no such finding.

    Source:
        Recommendation ITU-R P.525; Semtech, SX1276/77/78/79 data sheet, revision 7.
    """
    radio = window.vehicle.radio
    if radio is None:
        return []
    margin_db, by = _margin_db(window, radio)
    limit = Limit(window.limits.radio_margin_db)
    at = f"{number(radio.farthest_m, 0)} m"

    def good(value: float, decimals: int) -> str:
        return f"The signal would have {number(value, decimals)} dB to spare at {at} {by}, {allowed(limit, 0, 'dB')}."

    def bad(value: float, decimals: int) -> str:
        look = "Look at both aerials, their plugs and their direction, then at the radio's setting."
        return f"{good(value, decimals)} {look}"

    return [judged(margin_db, limit, unit="dB", decimals=0, good=good, bad=bad)]


def _margin_db(window: Window, radio: Radio) -> tuple[float, str]:
    snr_db = window.mean("snr", MEAN_S) if radio.lora is not None and window.in_layout("snr") else None
    rssi_dbm = window.mean("rssi", MEAN_S) if snr_db is None and window.in_layout("rssi") else None
    here = radio.above_weakest(snr_db, rssi_dbm)
    if here is not None:
        here_db, by = here
        return margin_at_db(here_db, radio.pad_distance_m, radio.farthest_m), f"by its {by} now"
    if radio.least_dbm is None or radio.radiated_dbm is None:
        raise Unknown(
            "The link's margin is not known: no rssi or snr is sent and [radio] gives no radiated power. "
            "Add one of them in the vehicle file."
        )
    figures = budget(
        radio.farthest_m,
        radio.frequency_hz,
        radiated_dbm=radio.radiated_dbm,
        receive_gain_dbi=radio.receive_gain_dbi,
        sensitivity_dbm=radio.least_dbm,
    )
    return figures.margin_db, "on paper"


@check(Place.RADIO, figures=_CHANNEL, every_s=3.0)
def one_vehicle(window: Window) -> list[Outcome]:
    """Only one vehicle is on the channel: one address, one clock that does not go back and forth.

    A vehicle that sends neither address nor clock has no such finding.
    """
    backs = addresses = 0
    if window.in_layout("vehicle_time"):
        _, (clock_s,) = window.together(("vehicle_time",), CHANNEL_WINDOW_S)
        backs = int(np.count_nonzero(np.diff(clock_s) < -BACK_S))
    if window.in_layout("vehicle_address"):
        _, (address,) = window.together(("vehicle_address",), CHANNEL_WINDOW_S)
        addresses = int(np.unique(address).size)
    elif not window.in_layout("vehicle_time"):
        return []
    look = "Look at who else has a vehicle switched on, and change the channel of one."
    if addresses > 1:
        text = f"Packets of {addresses} addresses have come within the last 10 s, only 1 allowed. {look}"
        return [Outcome(Status.FAIL, text, float(addresses), "", Limit(None, 1.0))]
    if backs >= LEAST_BACKS:
        text = (
            f"The flight computer's clock went back {backs} times within the last 10 s, at most {LEAST_BACKS - 1} "
            f"allowed: two vehicles may send on this channel. {look}"
        )
        return [Outcome(Status.FAIL, text, float(backs), "", Limit(None, LEAST_BACKS - 1.0))]
    return [Outcome(Status.PASS, "One vehicle is on the channel.")]
