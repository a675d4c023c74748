"""Sessions with all that goes wrong between a flight computer and the station, as a recording would hold them."""

import random
import tomllib
from dataclasses import dataclass

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station
from groundstation.config.vehicle import Vehicle
from groundstation.inputs import NS_PER_S, Chunk, EventKind, StationEvent
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.radio import PERFECT
from groundstation.simulator.simulate import SimulatedVehicle

SITE = load_station(EXAMPLE_STATION).site
STARTED_NS = 1_790_000_000 * NS_PER_S
DELAY_S = 0.02


def narrow_vehicle(*, counter: str = "u8", clock: str = "u16", own_counters: bool = False) -> Vehicle:
    """The example vehicle with a narrow counter (u8 wraps each 18 s) and clock (u16 each 65.5 s)."""
    file = tomllib.loads(EXAMPLE_VEHICLE.read_text())
    for packet in file["telemetry"]["packet"]:
        for entry in packet["fields"]:
            meaning = entry.get("meaning")
            entry["type"] = {"sequence": counter, "vehicle_time": clock}.get(meaning, entry["type"])
    file["telemetry"]["sequence_counts"] = "packets of its kind" if own_counters else "all packets"
    return Vehicle.model_validate(file)


@dataclass(frozen=True)
class Trouble:
    """What goes wrong; shares from 0 to 1 of the packets.

    `runs` are the times the flight computer is on and then off [s]; each receiver loses and delays for itself.
    """

    runs: tuple[tuple[float, float], ...] = ((40.0, 0.0),)
    first_uptime_s: float = 60.0
    receivers: int = 1
    loss: float = 0.0
    repeated: float = 0.0
    late: float = 0.0


@dataclass(frozen=True)
class Session:
    """The items, and what is true: packets sent, those heard at least once, and starts of the flight computer."""

    items: list[Chunk | StationEvent]
    sent: int
    heard: int
    boots: int
    seconds: float


def session(vehicle: Vehicle, trouble: Trouble, seed: int) -> Session:
    """A session that goes wrong so."""
    draws = random.Random(seed)
    items: list[tuple[float, int, Chunk | StationEvent]] = []
    at_s, sent, heard = 0.0, 0, set()
    for run, (on_s, off_s) in enumerate(trouble.runs):
        plan = PadPlan(uptime_s=trouble.first_uptime_s if run == 0 else 0.3)
        frames = list(SimulatedVehicle(vehicle, SITE, seed=seed, radio=PERFECT, plan=plan).frames(on_s))
        for k, frame in enumerate(frames):
            edge = k in (0, len(frames) - 1)
            for receiver in range(trouble.receivers):
                if draws.random() < trouble.loss and not edge:
                    continue
                came_s = at_s + frame.t_s + DELAY_S + draws.expovariate(1 / 0.004)
                if draws.random() < trouble.late and not edge:
                    came_s += draws.uniform(0.0, 0.5)
                times = [came_s]
                if draws.random() < trouble.repeated and k < len(frames) - 20:
                    times.append(came_s + draws.uniform(0.0, 0.8))
                for time_s in times:
                    received_ns = STARTED_NS + round(time_s * NS_PER_S)
                    chunk = Chunk.at(received_ns, frame.data, link=f"receiver {receiver}")
                    items.append((time_s, len(items), chunk))
                heard.add(sent + k)
        sent += len(frames)
        at_s += on_s + off_s
    recording = StationEvent(STARTED_NS, EventKind.RECORDING, True, "running")
    ordered = [recording, *(item for _, _, item in sorted(items, key=lambda i: i[:2]))]
    return Session(ordered, sent, len(heard), len(trouble.runs), at_s + 2.0)
