"""How findings speak: measurement names, numbers and ranges as a person on the field reads them."""

from functools import lru_cache

from groundstation.readiness.finding import Limit

# A value outside its limit is shown with up to this many decimals more than the sensor earns, so that
# "3.75 V, at least 3.75 V allowed" never stands there as a failure.
EXTRA_DECIMALS = 3

_SPOKEN = {
    "sequence": "packet counter",
    "pull_pin": "pull-pin's contact",
    "temperature": "avionics bay's temperature",
    "battery_temperature": "pack's temperature",
    "battery_voltage": "pack's voltage",
    "battery_current": "pack's current",
    "servo_voltage": "servos' supply voltage",
    "board_voltage": "flight computer's supply voltage",
    "camera_on": "camera's state, on or off,",
    "gimbal_x_command": "command to the gimbal's outer axis",
    "gimbal_y_command": "command to the gimbal's inner axis",
    "gimbal_x_angle": "angle of the gimbal's outer axis",
    "gimbal_y_angle": "angle of the gimbal's inner axis",
    "gnss_fix": "position receiver's fix",
    "gnss_latitude": "position receiver's latitude",
    "gnss_longitude": "position receiver's longitude",
    "gnss_height": "position receiver's height",
    "gnss_satellites": "position receiver's number of satellites",
    "gnss_hdop": "position receiver's dilution of precision",
    "rssi": "signal strength",
    "snr": "signal-to-noise ratio",
    "vehicle_time": "flight computer's clock",
    "vehicle_phase": "flight computer's own state",
    "vehicle_address": "vehicle's address",
    "reset_count": "flight computer's count of starts",
    "reset_cause": "cause of the flight computer's last start",
    "firmware_version": "firmware's number",
    "layout_fingerprint": "packet layout's fingerprint",
    "storage_recording": "flight computer's word that it stores its record",
    "storage_free": "free space for the flight computer's record",
}
_FAMILIES = {"accel": "accelerometer's {} axis", "gyro": "gyro's {} axis", "attitude": "attitude's {} part"}
_PYRO = {
    "resistance": "resistance of pyro circuit {}",
    "sense": "sense voltage of pyro circuit {}",
    "continuity": "continuity of pyro circuit {}",
    "energised": "switch state of pyro channel {}",
}


def spoken(name: str) -> str:
    """A measurement's name in words: `pyro_1_resistance` is "resistance of pyro circuit 1"."""
    family, _, rest = name.partition("_")
    if family in _FAMILIES:
        return _FAMILIES[family].format(rest)
    channel, _, kind = rest.partition("_")
    if family == "pyro" and kind in _PYRO:
        return _PYRO[kind].format(channel)
    return _SPOKEN.get(name, name.replace("_", " "))


def number(value: float, decimals: int) -> str:
    """The value with so many decimals, a true minus sign, and no minus before a zero."""
    text = f"{value:.{decimals}f}"
    if text[0] != "-":
        return text
    return text[1:] if not text.strip("-0.") else "−" + text[1:]


def seconds(age_s: float) -> str:
    """A time in seconds: one decimal below 10 s, whole seconds from there on, so that old ages change seldom."""
    return f"{number(age_s, 1 if age_s < 10 else 0)} s"


def times(packets: int) -> str:
    """How often something was seen: "once", or "in 4 packets"."""
    return "once" if packets == 1 else f"in {packets} packets"


@lru_cache(maxsize=512)  # a session has some tens of limits, said on every tick
def allowed(limit: Limit, decimals: int, unit: str) -> str:
    """What a limit allows, such as "0.8 to 3.0 ohm allowed"; `unit` may be empty."""
    tail = f" {unit} allowed" if unit else " allowed"
    if limit.least is not None and limit.greatest is not None:
        return f"{number(limit.least, decimals)} to {number(limit.greatest, decimals)}{tail}"
    if limit.greatest is not None:
        return f"at most {number(limit.greatest, decimals)}{tail}"
    return f"at least {number(limit.least or 0.0, decimals)}{tail}"


def within(value: float, limit: Limit) -> bool:
    """Whether a value lies within a limit; NaN never does."""
    least, greatest = limit
    return value == value and (least is None or value >= least) and (greatest is None or value <= greatest)


def telling(value: float, limit: Limit, decimals: int) -> tuple[float, int]:
    """The value rounded to `decimals`, or to more where rounding would hide that it lies outside its limit.

    Returns:
        The rounded value and the number of decimals it is rounded to.
    """
    if within(value, limit):
        return round(value, decimals), decimals
    for places in range(decimals, decimals + EXTRA_DECIMALS + 1):
        rounded = round(value, places)
        if not within(rounded, limit):
            break
    return rounded, places
