"""Faults of the radio link."""

from groundstation.simulator.fault import AirTime, Context, Fault
from groundstation.simulator.radio import damaged
from groundstation.simulator.sensors import Values

CORRUPTED_SHARE = 0.85
LOST_SHARE = 0.88
WEAKER_DB = 45.0


def _silent(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return ()


def _corrupted(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return (damaged(frame, air.draws) if air.draws.random() < CORRUPTED_SHARE else frame,)


def _mostly_lost(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return () if air.draws.random() < LOST_SHARE else (frame,)


def _twice(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return (frame, frame)


def _two_vehicles(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return (frame, air.stranger())


def _weaker(values: Values, context: Context) -> Values:
    return {name: values[name] - WEAKER_DB for name in ("rssi", "snr")}


RADIO_FAULTS = (
    Fault("link-silent", "no frame arrives any more", ("packet_age",), 3.0, on_frame=_silent),
    Fault(
        "corrupted-frames",
        f"{CORRUPTED_SHARE:.0%} of the frames arrive with a changed byte",
        ("frame_damage",),
        4.0,
        on_frame=_corrupted,
    ),
    Fault(
        "link-lossy",
        f"{LOST_SHARE:.0%} of the frames are lost",
        ("packet_loss",),
        8.0,
        on_frame=_mostly_lost,
    ),
    Fault("packets-twice", "each frame arrives twice, which does no harm", (), 8.0, on_frame=_twice),
    Fault(
        "second-vehicle",
        "another vehicle of the kind sends on the same channel",
        ("one_vehicle", "vehicle_address"),
        8.0,
        ("vehicle_address",),
        on_frame=_two_vehicles,
    ),
    Fault(
        "signal-weak",
        f"the signal is {WEAKER_DB:.0f} dB weaker",
        ("radio_margin",),
        12.0,
        ("rssi", "snr"),
        on_values=_weaker,
    ),
)
