"""Everything the vehicle measures at one moment, by standard measurement name, in SI units and before any fault.

Truth of the flight comes in as a `BodyState`; battery, pyro circuits, pull-pin, camera and the flight computer's own
counters are kept here.
"""

import math
import random

from decoders.fingerprint import layout_fingerprint
from groundstation.config.station import Site
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Load, Pyro, Vehicle
from groundstation.simulator.battery import Loads, Pack
from groundstation.simulator.pad import PadPlan, Weather, pad_air
from groundstation.simulator.radio import received_strength
from groundstation.simulator.scatter import Scatter
from groundstation.simulator.sensors import Sensors, Values
from groundstation.simulator.truth import PHASES, BodyState, FlightTimes
from groundstation.state import Phase

CLOCK_ERROR = 20e-6  # of the flight computer's clock (common practice for a small crystal, no source)
RECOGNISED_S = 0.15  # after a moment of the flight, until the vehicle's own phase follows
SWITCHED_S = 1.0  # how long a channel stays switched on
SECOND_CHANNEL_S = 1.0  # after the first igniter's channel, the second's
SERVO_FULL_RATE_RADPS = math.radians(60.0)  # command change that keeps a servo moving all the time
POWERED_ON, BROWNED_OUT = 1.0, 4.0  # our own numbers for why it started
STORAGE_BYTE = 12e6
STORAGE_BYTE_PER_S = 4000.0


class Measuring:
    """One vehicle's measurements; to be asked in order of time."""

    def __init__(
        self,
        vehicle: Vehicle,
        site: Site,
        plan: PadPlan,
        times: FlightTimes | None,
        *,
        scatter: Scatter,
        seed: int,
    ) -> None:
        draws = random.Random(f"{seed}/pack and circuits")
        air = pad_air(site, scatter.lapse_k_per_m, scatter.thermometer_error_k)
        self._vehicle = vehicle
        self._plan = plan
        self._times = times
        self._draws = draws
        self._weather = Weather(air, random.Random(f"{seed}/weather"))
        self._sensors = Sensors(
            vehicle, site, air, random.Random(f"{seed}/sensors"), random.Random(f"{seed}/attitude filter")
        )
        self._pack = Pack(vehicle.battery, draws.uniform(0.93, 0.99) if plan.charge is None else plan.charge)
        self._circuits = {pyro.channel: _inside(pyro, draws) for pyro in vehicle.pyro}
        self._started_s, self._uptime_s, self._starts = 0.0, plan.uptime_s, 1
        self._identity = _identity(vehicle)
        self._clock_factor = 1.0 + draws.uniform(-CLOCK_ERROR, CLOCK_ERROR)
        self._last_s = 0.0
        self._last_command = (0.0, 0.0)

    @property
    def charge(self) -> float:
        """The pack's true state of charge."""
        return self._pack.charge

    @property
    def resistance_ohm(self) -> float:
        """The pack's true internal resistance."""
        return self._pack.resistance_ohm

    def restart(self, at_s: float) -> None:
        """The flight computer starts anew at that time, for want of voltage."""
        self._started_s, self._uptime_s, self._starts = at_s, 0.0, self._starts + 1

    def at(self, t_s: float, state: BodyState) -> Values:
        """All measurements at a time not before the last one asked for."""
        bay_k = self._weather.bay_k(t_s)
        values = self._sensors.inertial(state)
        values |= self._sensors.attitude(state, self._since(t_s, "liftoff_s"))
        values |= self._sensors.air(
            state,
            bay_k=bay_k,
            change_pa=self._weather.pressure_change_pa(t_s),
            since_ejection_s=self._since(t_s, "ejection_s"),
        )
        values |= self._sensors.gimbal(state)
        values |= self._sensors.gnss(state, t_s)
        values |= self._power(t_s, state)
        values |= self._pyro(t_s)
        values |= self._computer(t_s)
        values |= received_strength(state, self._draws)
        self._last_s = t_s
        return values

    def _since(self, t_s: float, moment: str) -> float:
        """Seconds since a moment of the flight; negative before it and without a flight."""
        since = t_s - getattr(self._times, moment) if self._times is not None else math.nan
        return since if since >= 0 else -math.inf

    def _power(self, t_s: float, state: BodyState) -> Values:
        seconds = t_s - self._last_s
        travel = sum(abs(a - b) for a, b in zip(state.command_rad, self._last_command, strict=True))
        moving = min(2.0, travel / seconds / SERVO_FULL_RATE_RADPS) if seconds > 0 else 0.0
        ignition_s = self._times.ignition_s if self._times is not None else None
        camera = self._plan.camera_on(t_s, ignition_s)
        current_a = Loads(camera=camera, moving_servos=moving).current_a
        self._pack.draw(current_a, seconds)
        self._last_command = state.command_rad
        pack_v = self._pack.voltage_v(current_a)
        gauss = self._draws.gauss
        pin = self._vehicle.pull_pin
        return {
            "battery_voltage": pack_v + gauss(0.0, 0.004),
            "battery_current": max(0.0, current_a + gauss(0.0, 0.004)),
            "battery_temperature": self._weather.pack_k(t_s) + gauss(0.0, 0.05),
            "servo_voltage": min(5.0, pack_v) + gauss(0.0, 0.004),
            "board_voltage": 3.3 + gauss(0.0, 0.002),
            "pyro_supply_voltage": pack_v - 0.02 + gauss(0.0, 0.004),
            "pull_pin": 1.0 - (pin.inserted_reads if pin is not None else 0),  # the pin is pulled all the while
            "camera_on": float(camera),
        }

    def _pyro(self, t_s: float) -> Values:
        values: Values = {}
        igniters = [p.channel for p in self._vehicle.pyro if p.load is Load.IGNITER]
        camera_on = self._plan.camera_on(t_s, self._times.ignition_s if self._times is not None else None)
        for pyro in self._vehicle.pyro:
            resistance_ohm, sense_v = self._circuits[pyro.channel]
            closed, on = 1.0, 0.0
            if pyro.load is Load.IGNITER:
                since_s = self._since(t_s, "ejection_s") - SECOND_CHANNEL_S * igniters.index(pyro.channel)
                if since_s >= 0:
                    closed, on = 0.0, float(since_s < SWITCHED_S)
            else:
                on = float(camera_on)
            start = f"pyro_{pyro.channel}_"
            noise = self._draws.gauss(0.0, 1.0)
            values[start + "resistance"] = resistance_ohm * (1.0 + 0.004 * noise) if closed else 1e6
            values[start + "sense"] = sense_v * (1.0 + 0.002 * noise) if closed else 0.0
            values[start + "continuity"] = closed
            values[start + "energised"] = on
        return values

    def _computer(self, t_s: float) -> Values:
        uptime_s = self._uptime_s + (t_s - self._started_s) * self._clock_factor
        return self._identity | {
            "vehicle_time": max(0.0, uptime_s),
            "reset_count": float(self._starts),
            "reset_cause": POWERED_ON if self._starts == 1 else BROWNED_OUT,
            "vehicle_phase": self._own_phase(t_s),
            "storage_recording": 1.0,
            "storage_free": max(0.0, STORAGE_BYTE - STORAGE_BYTE_PER_S * (self._plan.uptime_s + t_s)),
        }

    def _own_phase(self, t_s: float) -> float:
        phase = Phase.PAD if self._times is None else self._times.phase_at(t_s - RECOGNISED_S)
        ready = self._vehicle.computer.pad_state
        return float(ready if phase is Phase.PAD and ready is not None else PHASES.index(phase))


def _identity(vehicle: Vehicle) -> Values:
    """What the flight computer says of itself that never changes: what the vehicle file states, else 1."""
    computer, telemetry = vehicle.computer, vehicle.telemetry
    address = telemetry.address if telemetry.address is not None else computer.address
    return {
        "firmware_version": float(1 if computer.firmware_version is None else computer.firmware_version),
        "vehicle_address": float(1 if address is None else address),
        "layout_fingerprint": float(layout_fingerprint(layout_of(vehicle))),
    }


def _inside(pyro: Pyro, draws: random.Random) -> tuple[float, float]:
    """Resistance [ohm] and sense voltage [V] well inside the channel's bands; 2 ohm and 3 V where it has none."""
    share = draws.uniform(0.3, 0.7)
    bands = (pyro.resistance_ohm or (1.5, 2.5), pyro.sense_v or (2.5, 3.5))
    resistance, sense = (least + share * (greatest - least) for least, greatest in bands)
    return resistance, sense
