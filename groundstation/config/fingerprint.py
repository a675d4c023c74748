"""A short mark of what a vehicle file says, to tell whether two files, or a file and a recording, say the same."""

import hashlib
import json

from groundstation.config.vehicle import Vehicle

FINGERPRINT_DIGITS = 12  # 48 bits: two of a hundred thousand files are alike by chance with odds of 1 in 50,000


def vehicle_fingerprint(vehicle: Vehicle) -> str:
    """Twelve hexadecimal digits of the SHA-256 over the vehicle's content.

    Comments, order of keys, units of the same quantity and defaults written out make no difference; any value does.
    Quantities count to twelve significant digits, so that "0.85 Ah" and "850 mAh" are the same.
    """
    return fingerprint_of(vehicle.model_dump(mode="json", exclude_defaults=True))


def fingerprint_of(content: object) -> str:
    """The same mark of plain JSON content: what is equal but for the order of keys and rounding has the same one."""
    text = json.dumps(_rounded(content), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:FINGERPRINT_DIGITS]


def _rounded(value: object) -> object:
    if isinstance(value, float):
        return float(f"{value:.12g}")
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_rounded(item) for item in value]
    return value
