"""Checks of the radio link."""

from groundstation.config.vehicle import Place, Vehicle
from groundstation.readiness.check import Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number, seconds

LOSS_WINDOW_S = 5.0
# A vehicle that sends seldom is judged by so many packets, as long as they take no longer than this. Of 45 packets,
# 3 in 10 lost on average, more than 40 % are lost in one window of 14; of 100 in one of 70. Common practice, no
# source.
LOSS_PACKETS = 100
LONGEST_LOSS_WINDOW_S = 10.0
DAMAGE_WINDOW_S = 2.0
# Fewer packets than this do not give a share worth the name. Common practice, no source.
LEAST_PACKETS = 3
LEAST_DAMAGED = 3
_LOOK = "Look at the vehicle's power, the receiver's plug and light, and its aerial."


@check(Place.RADIO, limits=("packet_age_s",))
def packet_age(window: Window) -> list[Outcome]:
    """A packet of any kind came just now, and was not held back on its way, by the flight computer's clock.

    At ten packets a second and one in ten lost, eleven in a row are missing once in 10^11 packets. A vehicle that
    sends no clock is judged by when its packets arrive alone.
    """
    age_s = window.packet_age_s
    if age_s is None:
        raise Unknown(f"No packet has come yet. {_LOOK}")
    sent_s = window.sent_age_s
    said_s = age_s if sent_s is None else max(age_s, sent_s)
    most_s = window.packet_age_most_s
    limit = Limit(None, most_s)
    if 0.0 <= age_s <= most_s < said_s:
        text = f"The newest packet is {seconds(said_s)} old, {seconds(most_s)} allowed. {_LOOK}"
        if said_s - age_s > age_s:  # more of its age is delay than silence
            text = (
                f"Packets come, but what they say is {seconds(said_s)} old by the flight computer's clock, "
                f"{seconds(most_s)} allowed: they were held up on their way. Look at this laptop (did it sleep?), "
                "then at the receiver and the network in between. If nothing holds them up, start a new session."
            )
        return [Outcome(Status.FAIL, text, round(said_s, 1), "s", limit)]
    if 0.0 <= age_s <= most_s:
        return [Outcome(Status.PASS, f"Packets come, the newest within {seconds(most_s)}.", unit="s", limit=limit)]
    text = f"No packet has come for {seconds(age_s)}, {seconds(most_s)} allowed. {_LOOK}"
    return [Outcome(Status.FAIL, text, round(age_s, 1), "s", limit)]


@check(Place.RADIO, limits=("packet_loss",), needs=("sequence",), every_s=1.0)
def packet_loss(window: Window) -> list[Outcome]:
    """Few of the packets sent over the last five to ten seconds are lost, by the vehicle's packet counter.

    The share is taken over five seconds or a hundred packets, whichever is longer, ten seconds at the most. It is a
    mean that strays: a link that loses 30 % all the time is beyond 40 % now and then, while one that loses 10 % at 14
    packets a second strays beyond 40 % of 100 packets less than once in 10^11 windows.
    """
    if not window.in_layout("sequence"):
        window.need("sequence")
    over_s = window.fixed("loss window", lambda w: loss_window_s(w.vehicle))
    decoded, _, lost = window.radio(over_s)
    if decoded + lost < LEAST_PACKETS:
        raise Unknown(
            f"Too few packets over the last {seconds(over_s)} to judge the loss. {_LOOK}",
            stale=True,
        )
    limit = Limit(None, 100.0 * window.limits.packet_loss)

    def good(value: float, decimals: int) -> str:
        return f"{number(value, decimals)} % of the packets are lost, {allowed(limit, 0, '%')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at both aerials and their direction, and at the distance."

    return [judged(100.0 * lost / (decoded + lost), limit, unit="%", decimals=0, good=good, bad=bad)]


def loss_window_s(vehicle: Vehicle) -> float:
    """Over how long the share of lost packets is taken."""
    rate_hz = sum(packet.rate_hz for packet in vehicle.telemetry.packets)
    return min(max(LOSS_WINDOW_S, LOSS_PACKETS / rate_hz), LONGEST_LOSS_WINDOW_S)


@check(Place.RADIO, limits=("damaged_share",), every_s=0.4)
def frame_damage(window: Window) -> list[Outcome]:
    """Few of the frames received over the last two seconds are damaged, or fewer than three.

    At 28 frames in two seconds, 3 % damage strays beyond a quarter of them about once in a million windows.
    """
    decoded, damaged, _ = window.radio(DAMAGE_WINDOW_S)
    if decoded + damaged == 0:
        raise Unknown(f"No frame has come over the last 2 s to judge. {_LOOK}", stale=True)
    limit = Limit(None, 100.0 * window.limits.damaged_share)
    share = 100.0 * damaged / (decoded + damaged)

    def good(value: float, decimals: int) -> str:
        return f"{number(value, decimals)} % of the frames arrive damaged, {allowed(limit, 0, '%')}."

    def bad(value: float, decimals: int) -> str:
        return (
            f"{good(value, decimals)} Look for another transmitter on the channel, for another program on the "
            "receiver's port, and at the receiver's speed setting."
        )

    if damaged < LEAST_DAMAGED:
        return [Outcome(Status.PASS, good(share, 0), round(share), "%", limit)]
    return [judged(share, limit, unit="%", decimals=0, good=good, bad=bad)]
