"""Tables of a vehicle file for what a vehicle may or may not have: a camera, a known radio, a plan for the pad.

Whatever is left out is not there, and no check asks for it; what is stated, but not sent, is unknown and HOLD.
"""

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from groundstation.config.filetable import Count, FileTable, Flag, Found
from groundstation.config.quantities import (
    Amperes,
    BytesPerSecond,
    DecibelMilliwatts,
    Decibels,
    Hertz,
    Metres,
    Seconds,
    Volts,
    shown,
)
from groundstation.config.spelling import did_you_mean
from groundstation.estimation.radio import LoraSetting, margin_by_snr_db
from groundstation.measurements import measurement, names


def _band_faults(key: str, band: tuple[float, float] | None, unit: str) -> Iterator[Found]:
    if band is not None and not 0 <= band[0] < band[1]:
        found = f"found {band[0]:g} {unit} to {band[1]:g} {unit}"
        yield Found((key,), f"{found}, expected the least first, at least 0 {unit}, then the greatest")


class Loads(FileTable):
    """Currents of single loads, for what the supply has left; measured or from their data sheets."""

    igniter_a: Amperes | None = Field(
        alias="igniter", default=None, gt=0, description="that one igniter takes while its channel is on"
    )
    servo_stall_a: Amperes | None = Field(
        alias="servo_stall", default=None, gt=0, description="of one stalled servo; two turn the gimbal"
    )
    board_a: Amperes | None = Field(
        alias="board", default=None, gt=0, description="of the vehicle at rest, camera off"
    )


class Supplies(FileTable):
    """What the regulated supplies should have; a dip below is the beginning of a brown-out."""

    board_v: tuple[Volts, Volts] | None = Field(
        alias="board", default=None, description="[least, greatest] of the flight computer's, sent as board_voltage"
    )
    servo_v: tuple[Volts, Volts] | None = Field(
        alias="servo", default=None, description="[least, greatest] of the servos', sent as servo_voltage"
    )

    def faults(self) -> Iterator[Found]:
        """Bands the wrong way round."""
        yield from _band_faults("board", self.board_v, "V")
        yield from _band_faults("servo", self.servo_v, "V")


class Camera(FileTable):
    """The camera, and when it should run."""

    on_pad: Literal["on", "off", "either"] = Field(
        default="either", description="whether it runs when the verdict is to be GO"
    )
    longest_on_s: Seconds | None = Field(
        alias="longest_on", default=None, gt=0, description="on the pad; started as late as that allows"
    )
    current_a: tuple[Amperes, Amperes] | None = Field(
        alias="current", default=None, description="[least, greatest] that it takes from the pack"
    )
    channel: Count | None = Field(default=None, ge=1, le=16, description="the pyro channel that switches it")

    def faults(self) -> Iterator[Found]:
        """A band the wrong way round."""
        yield from _band_faults("current", self.current_a, "A")


class Computer(FileTable):
    """The flight computer: what it should send of itself."""

    firmware_version: Count | None = Field(default=None, ge=0, description="the number it should send")
    address: Count | None = Field(default=None, ge=0, description="the vehicle_address it should send")
    callsign: str | None = Field(
        default=None,
        min_length=1,
        max_length=32,
        description='the text it should send in a field that means "callsign"',
    )
    pad_state: Count | None = Field(
        default=None, ge=0, description="the vehicle_phase it sends when it is ready on the pad"
    )
    records: Flag = Field(default=False, description="true if it stores a record of its own and says so")
    record_rate_bps: BytesPerSecond | None = Field(
        alias="record_rate", default=None, gt=0, description="how fast its record grows"
    )
    record_length_s: Seconds | None = Field(
        alias="record_length", default=None, gt=0, description="from GO to the landing, waiting included"
    )


class Radio(FileTable):
    """The radio link, for its margin at the farthest point of the flight."""

    frequency_hz: Hertz = Field(alias="frequency", gt=0, description="of the carrier")
    farthest_m: Metres = Field(alias="farthest", gt=0, description="the greatest distance the flight may reach")
    pad_distance_m: Metres = Field(
        alias="pad_distance", gt=0, description="from the receiver to the pad, over which rssi and snr are seen"
    )
    sensitivity_dbm: DecibelMilliwatts | None = Field(
        alias="sensitivity", default=None, description="the weakest signal the receiver can use"
    )
    radiated_dbm: DecibelMilliwatts | None = Field(
        alias="radiated", default=None, description="the transmitter's power with its aerial's gain"
    )
    receive_gain_dbi: Decibels = Field(
        alias="receive_gain", default=0.0, description="of the receiving aerial over an isotropic one"
    )
    spreading_factor: Count | None = Field(default=None, ge=7, le=12, description="of a LoRa link")
    bandwidth_hz: Hertz | None = Field(alias="bandwidth", default=None, gt=0, description="of a LoRa link")

    def faults(self) -> Iterator[Found]:
        """A link whose sensitivity nothing says, or half a LoRa setting."""
        if (self.spreading_factor is None) != (self.bandwidth_hz is None):
            key = "bandwidth" if self.bandwidth_hz is None else "spreading_factor"
            yield Found((key,), "found one of spreading_factor and bandwidth, expected both or neither")
        elif self.least_dbm is None:
            text = "found no sensitivity and no LoRa setting with a published one, expected sensitivity"
            yield Found(("sensitivity",), text)

    @property
    def lora(self) -> LoraSetting | None:
        """The LoRa setting, if it is one."""
        if self.spreading_factor is None or self.bandwidth_hz is None:
            return None
        return LoraSetting(self.spreading_factor, self.bandwidth_hz)

    def above_weakest(self, snr_db: float | None, rssi_dbm: float | None) -> tuple[float, str] | None:
        """How far a signal lies above the weakest that can be used [dB], and by what; None where that is not known.

        By the signal-to-noise ratio where the LoRa setting says what it takes, else by the strength.
        """
        if self.lora is not None and snr_db is not None:
            return margin_by_snr_db(self.lora, snr_db), "signal-to-noise ratio"
        if self.least_dbm is not None and rssi_dbm is not None:
            return rssi_dbm - self.least_dbm, "strength"
        return None

    @property
    def least_dbm(self) -> float | None:
        """The weakest signal the receiver can use: as stated, else as published for the LoRa setting."""
        if self.sensitivity_dbm is not None or self.lora is None:
            return self.sensitivity_dbm
        return self.lora.sensitivity_dbm


class PadPlan(FileTable):
    """What is planned on the pad, and what must have been seen there before GO."""

    planned_hold_s: Seconds | None = Field(
        alias="planned_hold", default=None, gt=0, description="how long the pack must last from now on, waiting"
    )
    must_come: tuple[str, ...] = Field(
        default=(), description="measurements that must come, besides those the checks cannot do without"
    )
    load_step: Flag = Field(
        default=False, description="true if GO asks for the pack's resistance to have been seen at a load step"
    )
    gimbal_sweep: Flag = Field(default=False, description="true if GO asks for a sweep of the gimbal to be seen")
    gimbal_wiggle: Flag = Field(
        default=False, description="true if GO asks for the gimbal to have been seen righting a lean by hand"
    )

    def faults(self) -> Iterator[Found]:
        """Names that are no measurements."""
        for place, name in enumerate(self.must_come):
            if measurement(name) is None:
                text = f"found {shown(name)}, expected the name of a standard measurement"
                yield Found(("must_come", place), f"{text}{did_you_mean(name, names())}")
