"""Checks of the flight computer: its firmware and address, its own state, its record, its clock.

Each asks only for what the vehicle file states under [computer].
"""

import numpy as np

from groundstation.config.vehicle import Place, Vehicle
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Window
from groundstation.readiness.words import allowed, number

CLOCK_WINDOW_S = 10.0
LEAST_CLOCK_S = 4.0
LEAP_S = 1.0
MB = 1e6
_FIRMWARE = (Figure("number of the firmware", "[computer] firmware_version", "vehicle file"),)
_ADDRESS = (Figure("address", "[computer] address", "vehicle file"),)
_STATE = (Figure("state on the pad", "[computer] pad_state", "vehicle file"),)
_RECORD = (Figure("space for the record", "[computer] record_rate times record_length", "vehicle file"),)


def _firmware_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("firmware_version",)] if vehicle.computer.firmware_version is not None else []


def _address_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("vehicle_address",)] if vehicle.computer.address is not None else []


def _state_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    return [("vehicle_phase",)] if vehicle.computer.pad_state is not None else []


def _record_needs(vehicle: Vehicle) -> list[tuple[str, ...]]:
    computer = vehicle.computer
    free = computer.record_rate_bps is not None and computer.record_length_s is not None
    return [*([("storage_recording",)] if computer.records else []), *([("storage_free",)] if free else [])]


@check(Place.AVIONICS, needs=_firmware_needs, figures=_FIRMWARE, every_s=2.0)
def firmware_version(window: Window) -> list[Outcome]:
    """The flight computer runs the firmware that the vehicle file states."""
    expected = window.vehicle.computer.firmware_version
    look = "Look at what was last loaded onto the flight computer, then at the vehicle file."
    return _same(window, "firmware_version", "The firmware's number is", expected, look)


@check(Place.RADIO, needs=_address_needs, figures=_ADDRESS, every_s=2.0)
def vehicle_address(window: Window) -> list[Outcome]:
    """The packets come from the vehicle of the address that the vehicle file states."""
    expected = window.vehicle.computer.address
    look = "Look at which vehicle is switched on, and at the channel: this may be another one's."
    return _same(window, "vehicle_address", "The vehicle's address is", expected, look)


@check(Place.AVIONICS, needs=_state_needs, figures=_STATE, every_s=2.0)
def vehicle_state(window: Window) -> list[Outcome]:
    """The flight computer believes itself on the pad, by its own number for it."""
    expected = window.vehicle.computer.pad_state
    look = "Look at the flight computer: start it anew on the pad; it may think that it flies or has landed."
    return _same(window, "vehicle_phase", "The flight computer's own state is", expected, look)


def _same(window: Window, name: str, what: str, expected: int | None, look: str) -> list[Outcome]:
    if expected is None:
        return []
    value = window.need(name)
    limit = Limit(expected, expected)
    if value == expected:
        text = f"{what} {_named(window, name, value)}, as the vehicle file states."
        return [Outcome(Status.PASS, text, value, "", limit)]
    allowed_one = _named(window, name, expected)
    text = f"{what} {_named(window, name, value)}, only {allowed_one} allowed. {look}"
    return [Outcome(Status.FAIL, text, value, "", limit)]


def _named(window: Window, name: str, value: float) -> str:
    """A number with what the vehicle file calls it: "2 (boost)"."""
    label = window.label(name, value)
    told = number(value, 0 if value == round(value) else 2)
    return told if label is None else f"{told} ({label})"


@check(Place.AVIONICS, needs=_record_needs, figures=_RECORD, every_s=2.0)
def vehicle_record(window: Window) -> list[Outcome]:
    """The flight computer stores its own record, with room for the flight, where the vehicle file states that."""
    computer = window.vehicle.computer
    if computer.records:
        level = window.need("storage_recording")
        if level != 1.0:
            text = (
                f"The flight computer does not store its record: it sends {number(level, 0)}, 1 allowed. "
                "Look at its card or memory and start it anew."
            )
            return [Outcome(Status.FAIL, text, level, "", Limit(1.0, 1.0))]
    if computer.record_rate_bps is None or computer.record_length_s is None:
        return [Outcome(Status.PASS, "The flight computer stores its record.")] if computer.records else []
    limit = Limit(computer.record_rate_bps * computer.record_length_s / MB)

    def good(value: float, decimals: int) -> str:
        return f"The flight computer has {number(value, decimals)} MB left for its record, {allowed(limit, 1, 'MB')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at its card or memory: copy the old records off and clear it."

    return [judged(window.need("storage_free") / MB, limit, unit="MB", decimals=1, good=good, bad=bad)]


@check(Place.AVIONICS, limits=("clock_error",), every_s=5.0)
def vehicle_clock(window: Window) -> list[Outcome]:
    """The flight computer's clock runs as fast as the station's, within the limit, over ten seconds.

    Steps by which it leaps, at a wrap or a restart, are left out while they are few. A radio's jitter of a tenth of a
    second is a percent of the ten. A vehicle that sends no clock has no such finding.
    """
    name = "vehicle_time"
    if not window.in_layout(name):
        return []
    t_s, (clock_s,) = window.together((name,), CLOCK_WINDOW_S)
    if not t_s.size or t_s[-1] - t_s[0] < LEAST_CLOCK_S:
        return [Outcome(Status.PASS, f"The flight computer's clock comes; it is judged after {LEAST_CLOCK_S:g} s.")]
    station, vehicle = np.diff(t_s), np.diff(clock_s)
    kept = np.abs(vehicle - station) < LEAP_S
    if 2.0 * float(station[kept].sum()) < float(station.sum()):
        kept = np.ones_like(kept)
    rate = float(vehicle[kept].sum() / station[kept].sum())
    limit = Limit(-100.0 * window.limits.clock_error, 100.0 * window.limits.clock_error)

    def good(_value: float, _decimals: int) -> str:
        return (
            f"The flight computer's clock keeps time, within {number(limit.greatest or 0.0, 0)} % of the station's."
        )

    def bad(value: float, decimals: int) -> str:
        return (
            f"The vehicle's clock gains {number(value, decimals)} % on the station's, {allowed(limit, 0, '%')}. "
            "Look at the clock field's unit and scale in the vehicle file, then at the firmware's timer."
        )

    return [judged(100.0 * (rate - 1.0), limit, unit="%", decimals=1, good=good, bad=bad)]
