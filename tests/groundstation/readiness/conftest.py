"""A vehicle on a pad, made directly as a timeline: packets of plausible values, with any of them changed."""

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import numpy as np
import pytest

from groundstation.config.quantities import unit_to_si
from groundstation.config.station import Site, Station
from groundstation.config.telemetry import columns_of, sources_of
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, EventKind, StationEvent
from groundstation.measurements import measurement
from groundstation.readiness.assessor import Assessor
from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Assessment, Finding
from groundstation.readiness.window import Window
from groundstation.state import Phase, Restart, RestartSign
from groundstation.timeline import PHASES, STATE_COLUMNS, Timeline

STARTED_NS = 1_700_000_000 * NS_PER_S
TICK_S = 0.2
Change = Callable[[np.ndarray, np.ndarray], np.ndarray]  # (times [s], values as they would be) -> values

# Mean and noise (standard deviation) of each measurement on the pad, in its SI unit: our own plausible figures.
NOMINAL = {
    "accel_x": (0.05, 0.05),
    "accel_y": (0.30, 0.05),
    "accel_z": (9.80, 0.05),
    "gyro_x": (0.004, 0.0015),
    "gyro_y": (-0.003, 0.0015),
    "gyro_z": (0.002, 0.0015),
    "pressure": (100_930.0, 2.5),
    "attitude_w": (0.99985, 5e-5),
    "attitude_x": (0.0173, 2e-4),
    "attitude_y": (0.0, 2e-4),
    "attitude_z": (0.0, 2e-4),
    "battery_voltage": (12.2, 0.006),
    "battery_current": (0.2, 0.01),
    "battery_temperature": (294.0, 0.02),
    "temperature": (296.0, 0.02),
    "pyro_supply_voltage": (12.1, 0.006),
    "pyro_1_resistance": (1.4, 0.01),
    "pyro_2_resistance": (1.5, 0.01),
    "pyro_3_resistance": (24.0, 0.05),
    "pyro_1_sense": (1.1, 0.005),
    "pyro_1_continuity": (1.0, 0.0),
    "pull_pin": (1.0, 0.0),
    "gnss_fix": (3.0, 0.0),
    "gnss_satellites": (11.0, 0.0),
    "gnss_latitude": (0.8290314, 0.0),
    "gnss_longitude": (-0.2661627, 0.0),
    "gnss_height": (12.0, 0.5),
    "storage_recording": (1.0, 0.0),
    "gimbal_x_command": (0.0, 0.0),
    "gimbal_y_command": (0.0, 0.0),
    "gimbal_x_angle": (0.001, 5e-4),
    "gimbal_y_angle": (-0.001, 5e-4),
    "board_voltage": (3.3, 0.002),
    "servo_voltage": (5.0, 0.005),
    "rssi": (-62.0, 1.5),
    "snr": (9.0, 0.7),
    "firmware_version": (12.0, 0.0),
    "vehicle_address": (7.0, 0.0),
    "storage_free": (12e6, 0.0),
}


@dataclass
class Pad:
    """What is to be seen; `timeline()` makes it. Times in seconds since the session's start."""

    seconds: float = 6.0
    vehicle: dict[str, Any] = field(default_factory=dict)  # the vehicle file's tables, to be changed at will
    site: Site = field(default_factory=Site)
    changes: dict[str, Change] = field(default_factory=dict)  # by measurement
    silent: dict[str, tuple[float, float]] = field(default_factory=dict)  # by packet: no packets from, to
    loss: float = 0.0  # share of packets lost
    damage: tuple[float, float, float] = (0.0, 0.0, 0.0)  # share of frames damaged, from, to
    phases: tuple[tuple[float, Phase], ...] = ((0.0, Phase.PAD),)
    recording: tuple[tuple[float, bool, str], ...] = ((0.0, True, "running"),)
    said: tuple[tuple[EventKind, float, bool, str], ...] = ()  # what the station says besides
    callsigns: tuple[tuple[float, str], ...] = ()  # when received, which
    restarts: tuple[tuple[float, int, RestartSign], ...] = ()  # when seen, which start anew, by what
    seed: int = 1

    def set(self, name: str, value: float, *, since: float = 0.0) -> "Pad":
        """The measurement has this very value from then on."""
        self.changes[name] = lambda t, v: np.where(t >= since, value, v)
        return self

    def hold(self, name: str, value: float, since: float, until: float) -> "Pad":
        """The measurement has this very value between two times."""
        self.changes[name] = lambda t, v: np.where((t >= since) & (t < until), value, v)
        return self

    def add(self, name: str, value: float, *, since: float = 0.0) -> "Pad":
        """The measurement is so much more from then on, noise and all."""
        self.changes[name] = lambda t, v: np.where(t >= since, v + value, v)
        return self

    def freeze(self, name: str, *, since: float = 0.0) -> "Pad":
        """The measurement keeps the value it has then."""

        def frozen(t: np.ndarray, v: np.ndarray) -> np.ndarray:
            first = int(np.searchsorted(t, since))
            return np.where(np.arange(len(t)) > first, v[min(first, len(v) - 1)], v)

        self.changes[name] = frozen
        return self

    def drop(self, *names: str) -> "Pad":
        """The layout lacks these meanings; the fields are sent under their own names, of any value."""
        for packet in self.vehicle["telemetry"]["packet"]:
            for entry in packet["fields"]:
                for part in (entry, *entry.get("bits", ())):
                    if part.get("meaning") in names:
                        del part["meaning"]
                        part.pop("valid", None)
        return self

    def alone(self, name: str) -> "Pad":
        """The measurement comes in a packet of its own, named `alone`, ten times a second."""
        entry = {"name": "only", "type": "f64", "unit": measurement(name).unit, "meaning": name}
        self.drop(name).vehicle["telemetry"]["packet"].append(
            {"name": "alone", "id": 9, "rate_hz": 10, "fields": [entry]}
        )
        return self

    def mean(self, old: str, new: str) -> "Pad":
        """The field that has the one meaning has the other instead, without scale, range or unit trouble."""
        for packet in self.vehicle["telemetry"]["packet"]:
            for entry in packet["fields"]:
                if entry.get("meaning") == old:
                    meant = measurement(new)
                    entry.pop("valid", None)
                    entry.pop("bits", None)
                    entry |= {"meaning": new, "type": "f32", "scale": 1.0, "unit": meant.unit}
        return self

    def timeline(self) -> Timeline:
        rng = np.random.default_rng(self.seed)
        vehicle = Vehicle.model_validate(self.vehicle)
        columns = columns_of(vehicle)
        made = Timeline(vehicle, self.site, started_ns=STARTED_NS, packets=columns, sources=sources_of(vehicle))
        radio: list[tuple[int, float, float, float]] = []
        for packet in vehicle.telemetry.packets:
            t = np.arange(0.03, self.seconds, 1.0 / packet.rate_hz) + rng.uniform(0.0, 0.01)
            rows = np.array([self._column(vehicle, packet.name, c, t, rng) for c in columns[packet.name]])
            low, high = self.silent.get(packet.name, (np.inf, np.inf))
            sent = (t < low) | (t >= high)
            share, since, until = self.damage
            damaged = sent & (t >= since) & (t < until) & (rng.random(len(t)) < share)
            lost = sent & ~damaged & (rng.random(len(t)) < self.loss)
            come = sent & ~lost & ~damaged
            t_ns = STARTED_NS + np.round(t * NS_PER_S).astype(np.int64)
            made.packets[packet.name].append(t_ns[come], rows[:, come])
            radio += [(int(n), c, d, x) for n, c, d, x in zip(t_ns, come, damaged, lost | damaged, strict=True)]
            if packet.name == "motion":
                self._states(made, t[come], t_ns[come])
        radio.sort()
        table = np.array([r for r in radio if any(r[1:])], np.float64).reshape(-1, 4)
        times = np.array([r[0] for r in radio if any(r[1:])], np.int64)
        made.radio.append(times, table[:, 1:].T)
        said = [(EventKind.RECORDING, *event) for event in self.recording]
        for kind, at_s, ok, text in sorted([*said, *self.said], key=lambda event: event[1]):
            made.station_events.append(StationEvent(STARTED_NS + round(at_s * NS_PER_S), kind, ok, text))
        for at_s, text in self.callsigns:
            made.note_callsign(STARTED_NS + round(at_s * NS_PER_S), text)
        for at_s, boot, sign in self.restarts:
            made.restarts.append(Restart(STARTED_NS + round(at_s * NS_PER_S), boot, sign))
        return made

    def window(self, at_s: float | None = None) -> Window:
        """The window at a time; by default at the end."""
        at_s = self.seconds if at_s is None else at_s
        return Window(self.timeline(), STARTED_NS + round(at_s * NS_PER_S))

    def findings(self, check: str, at_s: float | None = None) -> tuple[Finding, ...]:
        """What one check finds."""
        return next(c for c in CHECKS if c.name == check).run(self.window(at_s))

    def finding(self, check: str, at_s: float | None = None) -> Finding:
        """The one finding of a check."""
        (finding,) = self.findings(check, at_s)
        return finding

    def assessments(self) -> list[Assessment]:
        """An assessment each tick."""
        made = self.timeline()
        assessor = Assessor(made.vehicle)
        ticks = range(1, int(self.seconds / TICK_S) + 1)
        return [assessor.assess(Window(made, STARTED_NS + round(k * TICK_S * NS_PER_S))) for k in ticks]

    def _column(
        self, vehicle: Vehicle, packet: str, column: str, t: np.ndarray, rng: np.random.Generator
    ) -> np.ndarray:
        entry = next(p for p in vehicle.telemetry.packets if p.name == packet)
        parts = {f.name: f for f in entry.fields} | {b.name: b for f in entry.fields for b in f.bits}
        part = parts[column]
        mean, sigma = NOMINAL.get(part.meaning or "", (0.0, 0.0))
        values = mean + sigma * rng.standard_normal(len(t))
        if part.meaning and getattr(part, "type", "u8")[0] != "f":
            # As the wire carries it: in steps of the field's scale.
            scale, bias = unit_to_si(part.unit, measurement(part.meaning).unit)
            values = np.round((values - bias) / scale / part.scale) * part.scale * scale + bias
        if part.meaning == "vehicle_time":
            values = 42.0 + t
        change = self.changes.get(part.meaning or f"{packet}.{column}")
        return values if change is None else change(t, values)

    def _states(self, made: Timeline, t: np.ndarray, t_ns: np.ndarray) -> None:
        rows = np.zeros((len(STATE_COLUMNS), len(t)))
        for since, phase in self.phases:
            rows[STATE_COLUMNS.index("phase"), t >= since] = PHASES.index(phase)
        made.states.append(t_ns, rows)


def example_pad(**kwargs: Any) -> Pad:
    """The example vehicle on the example site."""
    folder = files("groundstation.config")
    station = Station.model_validate(tomllib.loads((folder / "saltmarsh.toml").read_text()))
    vehicle = tomllib.loads((folder / "curlew.toml").read_text())
    return Pad(**({"vehicle": vehicle, "site": station.site} | kwargs))


@pytest.fixture
def pad() -> Callable[..., Pad]:
    return example_pad
