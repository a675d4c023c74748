"""The vehicle file: what the builder says of the vehicle, checked and in SI units.

Attributes carry their unit in the name; the file's keys do not, because there a value carries its unit
(`capacity = "850 mAh"` becomes `battery.capacity_c`). `groundstation.config.load` reads a file into a `Vehicle`.
"""

import itertools
from enum import StrEnum
from typing import Any, Literal

from pydantic import Field, model_validator

from groundstation.config.filetable import FileTable
from groundstation.config.quantities import (
    Coulombs,
    Kelvins,
    Kilograms,
    KilogramSquareMetres,
    Metres,
    MetresPerSecondSquared,
    Newtons,
    Ohms,
    Pascals,
    Radians,
    RadiansPerSecond,
    Seconds,
    SquareMetres,
    Volts,
)

Band = tuple[float, float]


class Place(StrEnum):
    """Where along the vehicle, or beside it, a part or a finding belongs; in the order nose to tail, then ground."""

    NOSE = "nose"
    PARACHUTE = "parachute"
    BULKHEAD = "bulkhead"
    AVIONICS = "avionics"
    BATTERY = "battery"
    CAMERA = "camera"
    GIMBAL = "gimbal"
    MOTOR = "motor"
    VEHICLE = "vehicle"
    RADIO = "radio"
    STATION = "station"
    RANGE = "range"


class Part(FileTable):
    """A part as it is drawn: from so far to so far behind the nose's tip."""

    place: Place
    from_m: Metres = Field(alias="from", ge=0)
    to_m: Metres = Field(alias="to", gt=0)


class Airframe(FileTable):
    """The body."""

    length_m: Metres = Field(alias="length", gt=0)
    diameter_m: Metres = Field(alias="diameter", gt=0)
    liftoff_mass_kg: Kilograms = Field(alias="liftoff_mass", gt=0)
    drag_coefficient: float = Field(gt=0)
    pitch_inertia_kg_m2: KilogramSquareMetres = Field(alias="pitch_inertia", gt=0)
    centre_of_mass_m: Metres = Field(alias="centre_of_mass", gt=0, description="behind the nose's tip, at liftoff")
    centre_of_pressure_m: Metres = Field(alias="centre_of_pressure", gt=0, description="behind the nose's tip")
    parts: tuple[Part, ...] = Field(alias="part", default=())


class Battery(FileTable):
    """The pack."""

    chemistry: Literal["lithium polymer"]
    cells: int = Field(ge=1, le=12)
    capacity_c: Coulombs = Field(alias="capacity", gt=0)
    internal_resistance_ohm: Ohms = Field(alias="internal_resistance", gt=0, description="of the whole pack, new")


class Load(StrEnum):
    """What hangs on a pyro channel."""

    IGNITER = "igniter"
    AUXILIARY = "auxiliary"


class Pyro(FileTable):
    """One pyro channel. Its circuit is judged by whichever of resistance, sense or continuity is telemetered."""

    channel: int = Field(ge=1, le=16)
    purpose: str = Field(description='in words, such as "main parachute"')
    load: Load
    place: Place = Place.PARACHUTE
    resistance_ohm: tuple[Ohms, Ohms] | None = Field(alias="resistance", default=None)
    sense_v: tuple[Volts, Volts] | None = Field(alias="sense", default=None)


class PullPin(FileTable):
    """The pull-pin: what its contact reads with the pin in, and what pulling it does."""

    inserted_reads: Literal[0, 1]
    powers_board: bool
    enables_pyro: tuple[int, ...] = Field(default=(), description="channels live only with the pin pulled")


class Gimbal(FileTable):
    """The motor's gimbal; outer axis is body x, inner axis body y."""

    limit_rad: Radians = Field(alias="limit", gt=0)
    neutral_rad: tuple[Radians, Radians] = Field(alias="neutral")
    signs: tuple[Literal[-1, 1], Literal[-1, 1]]
    lever_arm_m: Metres = Field(alias="lever_arm", gt=0, description="from the pivot to the centre of mass")
    rate_limit_radps: RadiansPerSecond = Field(alias="rate_limit", gt=0)


class Motor(FileTable):
    """The motor: a thrust curve from ignition to burnout, or an average thrust and a burn time."""

    propellant_mass_kg: Kilograms = Field(alias="propellant_mass", gt=0)
    thrust_curve: tuple[tuple[Seconds, Newtons], ...] | None = None
    average_thrust_n: Newtons | None = Field(alias="average_thrust", default=None, gt=0)
    burn_time_s: Seconds | None = Field(alias="burn_time", default=None, gt=0)

    @model_validator(mode="after")
    def _one_description(self) -> "Motor":
        pair = (self.average_thrust_n, self.burn_time_s)
        if (self.thrust_curve is None) == (pair == (None, None)) or (None in pair and pair != (None, None)):
            raise ValueError("expected either thrust_curve, or average_thrust and burn_time")
        if self.thrust_curve is not None:
            times = [t for t, _ in self.thrust_curve]
            if len(times) < 2 or times != sorted(set(times)) or times[0] < 0:
                raise ValueError("expected a thrust_curve of two or more points at rising times from 0 s on")
        return self

    @property
    def curve(self) -> tuple[tuple[float, float], ...]:
        """(time [s], thrust [N]) points from ignition to burnout, straight lines between them."""
        if self.thrust_curve is not None:
            return self.thrust_curve
        assert self.average_thrust_n is not None
        assert self.burn_time_s is not None
        return ((0.0, self.average_thrust_n), (self.burn_time_s, self.average_thrust_n))

    @property
    def burn_s(self) -> float:
        """Time from ignition to burnout [s]."""
        return self.curve[-1][0]

    @property
    def impulse_ns(self) -> float:
        """Total impulse [N s], the area under the curve."""
        points = self.curve
        return sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in itertools.pairwise(points))


class Recovery(FileTable):
    """The parachute."""

    parachute_area_m2: SquareMetres = Field(alias="parachute_area", gt=0)
    drag_coefficient: float = Field(gt=0)


class Sensors(FileTable):
    """How the sensors sit: for each body axis, the sensor's axis that lies along it, with its sign ("+x", "-z")."""

    accel: tuple[str, str, str] = ("+x", "+y", "+z")
    gyro: tuple[str, str, str] = ("+x", "+y", "+z")
    accel_range_mps2: MetresPerSecondSquared | None = Field(alias="accel_range", default=None)
    gyro_range_radps: RadiansPerSecond | None = Field(alias="gyro_range", default=None)

    @model_validator(mode="after")
    def _axes(self) -> "Sensors":
        for name, axes in (("accel", self.accel), ("gyro", self.gyro)):
            if any(a not in _AXES for a in axes) or len({a[1] for a in axes}) != 3:
                raise ValueError(
                    f"found {name} = {list(axes)}, expected three different axes such as ['+x', '-y', '+z']"
                )
        return self


_AXES = {f"{sign}{axis}" for sign in "+-" for axis in "xyz"}


def _limit(default: Any, source: str, *, alias: str | None = None, text: str) -> Any:
    """A limit with its default (as the file would write it), where it comes from, and what it limits."""
    return Field(
        default=default,
        alias=alias,
        validate_default=True,
        description=text,
        json_schema_extra={"source": source},
    )


PRACTICE = "common practice, no source"


class Limits(FileTable):
    """What each check allows. Every limit may be set in the file; the defaults say where they come from."""

    settling_time_s: Seconds = _limit(
        "10 s", PRACTICE, alias="settling_time", text="all checks pass this long before GO"
    )
    packet_age_s: Seconds = _limit("1.2 s", PRACTICE, alias="packet_age", text="age of the newest packet")
    health_age_s: Seconds = _limit("3 s", PRACTICE, alias="health_age", text="age of a value sent less often")
    packet_loss: float = _limit(0.40, PRACTICE, text="share of packets lost over the last seconds")
    damaged_share: float = _limit(0.25, PRACTICE, text="share of frames that arrive damaged")
    cell_voltage_min_v: Volts = _limit("3.75 V", PRACTICE, alias="cell_voltage_min", text="per cell at rest")
    cell_voltage_max_v: Volts = _limit("4.25 V", PRACTICE, alias="cell_voltage_max", text="per cell")
    gravity_error_mps2: MetresPerSecondSquared = _limit(
        "0.5 m/s^2", PRACTICE, alias="gravity_error", text="accelerometer's magnitude against local gravity"
    )
    gyro_rest_radps: RadiansPerSecond = _limit("2 deg/s", PRACTICE, alias="gyro_rest", text="mean rate at rest")
    tilt_rad: Radians = _limit(
        "8 deg",
        PRACTICE + "; the model rocket safety code (NAR, 2018) allows 30 deg",
        alias="tilt",
        text="from vertical",
    )
    pressure_error_pa: Pascals = _limit(
        "500 Pa", PRACTICE, alias="pressure_error", text="against the site's pressure"
    )
    temperature_min_k: Kelvins = _limit("-10 degC", PRACTICE, alias="temperature_min", text="avionics bay")
    temperature_max_k: Kelvins = _limit("60 degC", PRACTICE, alias="temperature_max", text="avionics bay")
    stuck_time_s: Seconds = _limit("1.2 s", PRACTICE, alias="stuck_time", text="a noisy sensor without any change")


class FieldEntry(FileTable):
    """One field of a packet as the file describes it; see `groundstation.config.telemetry` for the types."""

    name: str
    type: str = Field(description="u8 … u64, i8 … i64, f32, f64, bool")
    unit: str = "1"
    scale: float = 1.0
    offset: float = 0.0
    valid: tuple[float, float] | None = Field(default=None, description="[least, greatest] in `unit`")
    meaning: str | None = None
    bits: tuple["BitEntry", ...] = ()
    text: str = ""


class BitEntry(FileTable):
    """Some bits of a field: `at` counts from the least significant bit."""

    name: str
    at: int = Field(ge=0, le=63)
    width: int = Field(default=1, ge=1, le=64)
    scale: float = 1.0
    offset: float = 0.0
    unit: str = "1"
    valid: tuple[float, float] | None = None
    meaning: str | None = None
    text: str = ""


class PacketEntry(FileTable):
    """One kind of packet: the fields follow the discriminator in the order given, without gaps."""

    name: str
    id: int = Field(ge=0)
    rate_hz: float = Field(gt=0, description="packets a second the vehicle sends")
    fields: tuple[FieldEntry, ...] = Field(min_length=1)


class Telemetry(FileTable):
    """The stream."""

    framing: Literal["cobs"]
    checksum: Literal["CRC-16/IBM-3740"]
    checksum_order: Literal["little", "big"] = "little"
    byte_order: Literal["little", "big"]
    id_type: Literal["none", "u8", "u16", "u32"] = "u8"
    sequence_counts: Literal["packets of its kind", "all packets"] = "all packets"
    packets: tuple[PacketEntry, ...] = Field(alias="packet", min_length=1)


class Vehicle(FileTable):
    """Everything the vehicle file says."""

    name: str
    airframe: Airframe
    battery: Battery
    pyro: tuple[Pyro, ...] = ()
    pull_pin: PullPin | None = None
    gimbal: Gimbal | None = None
    motor: Motor
    recovery: Recovery
    sensors: Sensors = Field(default_factory=Sensors)
    limits: Limits = Field(default_factory=Limits)
    telemetry: Telemetry
