"""The vehicle file: what the builder says of the vehicle, checked and in SI units.

Attributes carry their unit in the name; the file's keys do not, because there a value carries its unit
(`capacity = "850 mAh"` becomes `battery.capacity_c`). `groundstation.config.load` reads a file into a `Vehicle`.
"""

import itertools
import math
from collections.abc import Iterator
from enum import StrEnum
from typing import Any, Literal

from pydantic import Field

from groundstation.config.bench_plan import BenchPlan
from groundstation.config.count_plan import CountPlan
from groundstation.config.equipment import Camera, Computer, Loads, PadPlan, Radio, Supplies
from groundstation.config.filetable import Count, FileTable, Flag, Found, Number
from groundstation.config.packets import Telemetry
from groundstation.config.quantities import (
    Coulombs,
    Decibels,
    Kelvins,
    KelvinsPerSecond,
    Kilograms,
    KilogramSquareMetres,
    Metres,
    MetresPerSecond,
    MetresPerSecondSquared,
    Newtons,
    Ohms,
    Pascals,
    Radians,
    RadiansPerSecond,
    Seconds,
    SquareMetres,
    Volts,
    shown,
)

ZERO_CELSIUS_K = 273.15  # the degree Celsius's definition, SI Brochure, 9th edition, 2.3.4, table 4


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

    place: Place = Field(description="what the part is")
    from_m: Metres = Field(alias="from", ge=0, description="its fore end, behind the nose's tip")
    to_m: Metres = Field(alias="to", gt=0, description="its aft end, behind the nose's tip")

    def faults(self) -> Iterator[Found]:
        """Ends the wrong way round."""
        if self.from_m >= self.to_m:
            yield Found(
                ("to",), f"found {self.to_m:g} m, expected more than {self.from_m:g} m, where the part begins"
            )


class Airframe(FileTable):
    """The body."""

    length_m: Metres = Field(alias="length", gt=0, description="from the nose's tip to the tail")
    diameter_m: Metres = Field(
        alias="diameter", gt=0, description="of the tube; its cross-section is the drag's area"
    )
    liftoff_mass_kg: Kilograms = Field(alias="liftoff_mass", gt=0, description="with battery, parachute and motor")
    drag_coefficient: Number = Field(gt=0, description="of the whole vehicle in upright flight")
    pitch_inertia_kg_m2: KilogramSquareMetres = Field(
        alias="pitch_inertia", gt=0, description="moment of inertia across the long axis, about the centre of mass"
    )
    centre_of_mass_m: Metres = Field(alias="centre_of_mass", gt=0, description="behind the nose's tip, at liftoff")
    centre_of_pressure_m: Metres = Field(alias="centre_of_pressure", gt=0, description="behind the nose's tip")
    parts: tuple[Part, ...] = Field(alias="part", default=(), description="what is drawn of the inside")

    def faults(self) -> Iterator[Found]:
        """Places outside the body."""
        places = [(("centre_of_mass",), self.centre_of_mass_m), (("centre_of_pressure",), self.centre_of_pressure_m)]
        ends = [(("part", k, "to"), part.to_m) for k, part in enumerate(self.parts)]
        for path, at_m in [*places, *ends]:
            if at_m > self.length_m:
                yield Found(path, f"found {at_m:g} m, expected at most the airframe's length of {self.length_m:g} m")


class Battery(FileTable):
    """The pack."""

    chemistry: Literal["lithium polymer"] = Field(description="what its cells are made of")
    cells: Count = Field(ge=1, le=12, description="cells in series")
    capacity_c: Coulombs = Field(alias="capacity", gt=0, description="as printed on the pack")
    internal_resistance_ohm: Ohms = Field(alias="internal_resistance", gt=0, description="of the whole pack, new")


class Load(StrEnum):
    """What hangs on a pyro channel."""

    IGNITER = "igniter"
    AUXILIARY = "auxiliary"


class Pyro(FileTable):
    """One pyro channel. Its circuit is judged by whichever of resistance, sense or continuity is telemetered."""

    channel: Count = Field(ge=1, le=16, description="number of the channel, as in pyro_1_resistance")
    purpose: str = Field(description='in words, such as "main parachute"')
    load: Load = Field(description="what hangs on the channel")
    place: Place = Field(default=Place.PARACHUTE, description="where along the vehicle the load is")
    resistance_ohm: tuple[Ohms, Ohms] | None = Field(
        alias="resistance", default=None, description="[least, greatest] of a good circuit"
    )
    sense_v: tuple[Volts, Volts] | None = Field(
        alias="sense", default=None, description="[least, greatest] sense voltage of a good circuit"
    )

    def faults(self) -> Iterator[Found]:
        """Bands the wrong way round or below nothing."""
        for key, band, unit in (("resistance", self.resistance_ohm, "ohm"), ("sense", self.sense_v, "V")):
            if band is not None and not 0 <= band[0] < band[1]:
                found = f"found {band[0]:g} {unit} to {band[1]:g} {unit}"
                yield Found((key,), f"{found}, expected the least first, at least 0 {unit}, then the greatest")


class PullPin(FileTable):
    """The pull-pin: what its contact reads with the pin in, and what pulling it does."""

    inserted_reads: Literal[0, 1] = Field(description="level at the contact with the pin in")
    powers_board: Flag = Field(description="true if the flight computer only runs with the pin pulled")
    enables_pyro: tuple[Count, ...] = Field(default=(), description="channels live only with the pin pulled")


class Gimbal(FileTable):
    """The motor's gimbal; outer axis is body x, inner axis body y."""

    limit_rad: Radians = Field(alias="limit", gt=0, description="greatest deflection either way")
    neutral_rad: tuple[Radians, Radians] = Field(alias="neutral", description="deflection at rest [outer, inner]")
    signs: tuple[Literal[-1, 1], Literal[-1, 1]] = Field(
        description="[outer, inner]: 1 where a positive command turns about the positive body axis"
    )
    lever_arm_m: Metres = Field(alias="lever_arm", gt=0, description="from the pivot to the centre of mass")
    rate_limit_radps: RadiansPerSecond = Field(alias="rate_limit", gt=0, description="how fast the servos turn it")

    def faults(self) -> Iterator[Found]:
        """A neutral place that the gimbal cannot reach."""
        for k, angle_rad in enumerate(self.neutral_rad):
            if abs(angle_rad) > self.limit_rad:
                found, limit = math.degrees(angle_rad), math.degrees(self.limit_rad)
                yield Found(("neutral", k), f"found {found:g} deg, expected at most the limit of {limit:g} deg")


class Motor(FileTable):
    """The motor: a thrust curve from ignition to burnout, or an average thrust and a burn time."""

    propellant_mass_kg: Kilograms = Field(
        alias="propellant_mass", gt=0, description="burnt between liftoff and burnout"
    )
    thrust_curve: tuple[tuple[Seconds, Newtons], ...] | None = Field(
        default=None, description="points [time from ignition, thrust]; straight lines between them"
    )
    average_thrust_n: Newtons | None = Field(
        alias="average_thrust", default=None, gt=0, description="instead of a curve, together with burn_time"
    )
    burn_time_s: Seconds | None = Field(
        alias="burn_time", default=None, gt=0, description="instead of a curve, together with average_thrust"
    )

    def faults(self) -> Iterator[Found]:
        """No description of the thrust, two of them, or a curve that is none."""
        given = [
            key
            for key, value in (
                ("thrust_curve", self.thrust_curve),
                ("average_thrust", self.average_thrust_n),
                ("burn_time", self.burn_time_s),
            )
            if value is not None
        ]
        if given not in (["thrust_curve"], ["average_thrust", "burn_time"]):
            found = " and ".join(given) or "neither"
            yield Found((), f"found {found}, expected either thrust_curve, or average_thrust and burn_time")
        if self.thrust_curve is None:
            return
        times = [t for t, _ in self.thrust_curve]
        if len(times) < 2 or times != sorted(set(times)) or times[0] < 0:
            text = f"found the times {', '.join(f'{t:g} s' for t in times[:8])}"
            yield Found(("thrust_curve",), f"{text}, expected two or more points at rising times from 0 s on")
        for k, (_, thrust_n) in enumerate(self.thrust_curve):
            if thrust_n < 0:
                yield Found(("thrust_curve", k), f"found {thrust_n:g} N, expected at least 0 N")

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

    parachute_area_m2: SquareMetres = Field(alias="parachute_area", gt=0, description="of the canopy laid flat")
    drag_coefficient: Number = Field(gt=0, description="of the open canopy, for that area")


class Sensors(FileTable):
    """How the sensors sit: for each body axis, the sensor's axis that lies along it, with its sign ("+x", "-z")."""

    accel: tuple[str, str, str] = Field(
        default=("+x", "+y", "+z"), description="accelerometer's axis along body x, y, z"
    )
    gyro: tuple[str, str, str] = Field(default=("+x", "+y", "+z"), description="gyro's axis along body x, y, z")
    accel_range_mps2: MetresPerSecondSquared | None = Field(
        alias="accel_range", default=None, gt=0, description="greatest specific force it tells, either way"
    )
    gyro_range_radps: RadiansPerSecond | None = Field(
        alias="gyro_range", default=None, gt=0, description="greatest rate it tells, either way"
    )

    def faults(self) -> Iterator[Found]:
        """Axes that are not three different ones, or a gyro's that mirror the body's."""
        for key, axes in (("accel", self.accel), ("gyro", self.gyro)):
            if any(a not in _AXES for a in axes) or len({a[1] for a in axes}) != 3:
                yield Found((key,), f'found {shown(axes)}, expected three different axes such as ["+x", "-z", "+y"]')
            elif key == "gyro" and _handedness(axes) < 0:
                # An accelerometer is let off: one that gives gravity's sign instead of specific force's is mirrored.
                text = f"found {shown(axes)}, which mirrors the axes, expected a way the sensor can be turned"
                yield Found((key,), f"{text}: check one sign")


_AXES = {f"{sign}{axis}" for sign in "+-" for axis in "xyz"}


def _handedness(axes: tuple[str, str, str]) -> int:
    """1 where the three signed axes follow the right-hand rule, -1 where they are a mirror image of that."""
    turned = "".join(a[1] for a in axes) in ("xyz", "yzx", "zxy")
    minus = sum(a[0] == "-" for a in axes)
    return 1 if turned == (minus % 2 == 0) else -1


def _limit(
    default: Any,
    source: str,
    *,
    alias: str | None = None,
    text: str,
    gt: float | None = None,
    le: float | None = None,
) -> Any:
    """A limit with its default (as the file would write it), where it comes from, and what it limits."""
    return Field(
        default=default,
        alias=alias,
        validate_default=True,
        description=text,
        gt=gt,
        le=le,
        json_schema_extra={"source": source},
    )


PRACTICE = "common practice, no source"
NAR_MODEL = "model rocket safety code (National Association of Rocketry, 2018)"
NAR_HIGH_POWER = "high power rocket safety code (National Association of Rocketry, 2012)"


class Limits(FileTable):
    """What each check allows. Every limit may be set in the file; the defaults say where they come from."""

    settling_time_s: Seconds = _limit(
        "10 s", PRACTICE, alias="settling_time", text="all checks pass this long before GO", gt=0
    )
    packet_age_s: Seconds = _limit(
        "1.2 s",
        PRACTICE,
        alias="packet_age",
        text="age of the newest packet (if not set here, the time of six packets where that is longer)",
        gt=0,
    )
    health_age_s: Seconds = _limit("3 s", PRACTICE, alias="health_age", text="age of a value sent seldom", gt=0)
    packet_loss: Number = _limit(0.40, PRACTICE, text="share of packets lost over 5 to 10 s", gt=0, le=1)
    damaged_share: Number = _limit(0.25, PRACTICE, text="share of frames that arrive damaged", gt=0, le=1)
    cell_voltage_min_v: Volts = _limit("3.75 V", PRACTICE, alias="cell_voltage_min", text="per cell at rest", gt=0)
    cell_voltage_max_v: Volts = _limit("4.25 V", PRACTICE, alias="cell_voltage_max", text="per cell", gt=0)
    gravity_error_mps2: MetresPerSecondSquared = _limit(
        "0.5 m/s^2", PRACTICE, alias="gravity_error", text="accelerometer's magnitude against local gravity", gt=0
    )
    gyro_rest_radps: RadiansPerSecond = _limit("2 deg/s", PRACTICE, alias="gyro_rest", text="mean rate at rest", gt=0)
    tilt_rad: Radians = _limit(
        "8 deg",
        PRACTICE + "; the model rocket safety code (NAR, 2018) allows 30 deg",
        alias="tilt",
        text="from vertical",
        gt=0,
    )
    pressure_error_pa: Pascals = _limit(
        "500 Pa", PRACTICE, alias="pressure_error", text="against the site's pressure", gt=0
    )
    temperature_min_k: Kelvins = _limit("-10 degC", PRACTICE, alias="temperature_min", text="avionics bay", gt=0)
    temperature_max_k: Kelvins = _limit("60 degC", PRACTICE, alias="temperature_max", text="avionics bay", gt=0)
    stuck_time_s: Seconds = _limit(
        "0.8 s", PRACTICE, alias="stuck_time", text="a noisy sensor without any change", gt=0
    )
    cell_sag_v: Volts = _limit(
        "0.15 V", PRACTICE, alias="cell_sag", text="how far a cell's voltage dips and comes back", gt=0
    )
    cell_voltage_loaded_min_v: Volts = _limit(
        "3.3 V", PRACTICE, alias="cell_voltage_loaded_min", text="per cell under the flight's greatest load", gt=0
    )
    resistance_growth: Number = _limit(
        2.5, PRACTICE, text="the pack's resistance, measured, over what the file gives for it new", gt=1
    )
    pack_temperature_min_k: Kelvins = _limit("5 degC", PRACTICE, alias="pack_temperature_min", text="the pack", gt=0)
    pack_temperature_max_k: Kelvins = _limit("50 degC", PRACTICE, alias="pack_temperature_max", text="the pack", gt=0)
    steady_time_s: Seconds = _limit(
        "30 s", PRACTICE, alias="steady_time", text="a circuit or contact has not dropped out for so long", gt=0
    )
    accel_noise_min_mps2: MetresPerSecondSquared = _limit(
        "0.002 m/s^2", PRACTICE, alias="accel_noise_min", text="least an axis' noise may be", gt=0
    )
    accel_noise_max_mps2: MetresPerSecondSquared = _limit(
        "0.5 m/s^2", PRACTICE, alias="accel_noise_max", text="most an axis' noise may be", gt=0
    )
    gyro_noise_min_radps: RadiansPerSecond = _limit(
        "0.005 deg/s", PRACTICE, alias="gyro_noise_min", text="least an axis' noise may be", gt=0
    )
    gyro_noise_max_radps: RadiansPerSecond = _limit(
        "1.5 deg/s", PRACTICE, alias="gyro_noise_max", text="most an axis' noise may be", gt=0
    )
    pressure_noise_min_pa: Pascals = _limit(
        "0.1 Pa", PRACTICE, alias="pressure_noise_min", text="least its noise may be", gt=0
    )
    pressure_noise_max_pa: Pascals = _limit(
        "25 Pa", PRACTICE, alias="pressure_noise_max", text="most its noise may be", gt=0
    )
    height_still_m: Metres = _limit(
        "5 m", PRACTICE, alias="height_still", text="how far the pressure height moves in ten seconds", gt=0
    )
    temperature_rate_kps: KelvinsPerSecond = _limit(
        "0.5 K/s", PRACTICE, alias="temperature_rate", text="how fast a temperature may move", gt=0
    )
    attitude_error_rad: Radians = _limit(
        "4 deg", PRACTICE, alias="attitude_error", text="between the attitude's down and the accelerometer's", gt=0
    )
    gnss_distance_m: Metres = _limit(
        "30 m", PRACTICE, alias="gnss_distance", text="of the position from the pad's in the station file", gt=0
    )
    gnss_height_error_m: Metres = _limit(
        "60 m", PRACTICE, alias="gnss_height_error", text="of its height from the pad's elevation", gt=0
    )
    gimbal_neutral_error_rad: Radians = _limit(
        "0.5 deg", PRACTICE, alias="gimbal_neutral_error", text="of command and angle from neutral at rest", gt=0
    )
    gimbal_following_rad: Radians = _limit(
        "1 deg", PRACTICE, alias="gimbal_following", text="between a command that stands and the angle", gt=0
    )
    gimbal_play_rad: Radians = _limit(
        "0.6 deg", PRACTICE, alias="gimbal_play", text="how far the angle strays under a command that stands", gt=0
    )
    gimbal_sweep_share: Number = _limit(
        0.8, PRACTICE, text="of the gimbal's limit that a sweep reaches either way", gt=0, le=1
    )
    clock_error: Number = _limit(0.02, PRACTICE, text="of the flight computer's clock against the station's", gt=0)
    radio_margin_db: Decibels = _limit(
        "10 dB", PRACTICE, alias="radio_margin", text="left at the farthest point of the flight", gt=0
    )
    wind_mps: MetresPerSecond = _limit(
        "20 mph", f"{NAR_MODEL}, section 9; {NAR_HIGH_POWER}", alias="wind", text="mean wind at the pad", gt=0
    )
    rod_tilt_rad: Radians = _limit(
        "30 deg",
        f"{NAR_MODEL}, section 6; {NAR_HIGH_POWER} allows 20 deg",
        alias="rod_tilt",
        text="of the launch rod from vertical",
        gt=0,
    )
    thrust_to_weight: Number = _limit(
        3.0, f"{NAR_HIGH_POWER}, section 8; 5 is common practice", text="average thrust over liftoff weight", gt=0
    )

    def faults(self) -> Iterator[Found]:
        """A least that is not below its greatest."""
        for key, least, greatest in (
            ("accel_noise", self.accel_noise_min_mps2, self.accel_noise_max_mps2),
            ("gyro_noise", self.gyro_noise_min_radps, self.gyro_noise_max_radps),
            ("pressure_noise", self.pressure_noise_min_pa, self.pressure_noise_max_pa),
            ("pack_temperature", self.pack_temperature_min_k, self.pack_temperature_max_k),
        ):
            if least >= greatest:
                yield Found(
                    (f"{key}_min",), f"found {least:.6g}, expected less than {key}_max, {greatest:.6g} (in SI)"
                )
        if self.cell_voltage_min_v >= self.cell_voltage_max_v:
            least, greatest = self.cell_voltage_min_v, self.cell_voltage_max_v
            text = f"found {least:g} V, expected less than cell_voltage_max, {greatest:g} V"
            yield Found(("cell_voltage_min",), text)
        if self.temperature_min_k >= self.temperature_max_k:
            least, greatest = self.temperature_min_k - ZERO_CELSIUS_K, self.temperature_max_k - ZERO_CELSIUS_K
            text = f"found {least:g} degC, expected less than temperature_max, {greatest:g} degC"
            yield Found(("temperature_min",), text)


class Vehicle(FileTable):
    """Everything the vehicle file says."""

    name: str = Field(description="what pages and reports call the vehicle")
    airframe: Airframe
    battery: Battery
    pyro: tuple[Pyro, ...] = Field(default=(), description="each pyro channel")
    pull_pin: PullPin | None = None
    gimbal: Gimbal | None = None
    motor: Motor
    recovery: Recovery
    loads: Loads = Field(default_factory=Loads)
    supplies: Supplies = Field(default_factory=Supplies)
    camera: Camera | None = None
    computer: Computer = Field(default_factory=Computer)
    radio: Radio | None = None
    pad: PadPlan = Field(default_factory=PadPlan)
    count: CountPlan | None = Field(default=None, description="the T-minus count, if one is kept here")
    bench: BenchPlan | None = Field(default=None, description="bench proofs, if GO asks for any")
    sensors: Sensors = Field(default_factory=Sensors)
    limits: Limits = Field(default_factory=Limits)
    telemetry: Telemetry

    @property
    def short_name(self) -> str:
        """The name without what stands in brackets behind it."""
        return self.name.partition(" (")[0]
