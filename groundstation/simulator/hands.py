"""Simulated hands: what a person does with the vehicle in a bench test, step by step, on a schedule.

The steps are the test's own; here stands what each does to what is true, measured and sent. They work like faults,
and before them, so that a fault shows through what the hands do. The figures are our own invention.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from groundstation.bench.range_walk import SHARES, walk_m
from groundstation.bench.walk import BenchTest
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Load, Vehicle
from groundstation.simulator.fault import (
    AirTime,
    Context,
    Fault,
    OnFrame,
    OnRunning,
    OnState,
    OnValues,
    Running,
    TimedFault,
)
from groundstation.simulator.faults_circuits import OPEN_OHM
from groundstation.simulator.pad import PadPlan
from groundstation.simulator.rotation import from_rotation_vector, product, to_body, to_local
from groundstation.simulator.sensors import Values
from groundstation.simulator.truth import BodyState

STEP_S = 16.0
LEAN_RAD = math.radians(9.0)
LEAN_HZ = 0.2
LEANS = {"lean x": (1.0, 0.0), "lean y": (0.0, 1.0)}  # shares of it about body x and y
REST_S = 1.5  # upright at the beginning of a step, before it leans
RIGHTING = 0.4  # deflection over lean of the simulated control, and over rate [s]
DAMPING_S = 0.03
SWEEP_HZ = 0.5
SERVO_S = 0.02
PLAY_RAD = math.radians(0.15)  # what a sound linkage gives under a hand
BOOT_S = 0.8
NEAR_M = 50.0  # at which the simulated receiver has the strength it says on the pad


@dataclass(frozen=True, slots=True)
class Hands:
    """What the hands do.

    Attributes:
        doings: What changes, and when; given to the simulated vehicle before its faults.
        plan: What is switched on the pad meanwhile.
        says: When each step begins [s], and what it is.
        ends_s: When the last step is over.
    """

    doings: tuple[TimedFault, ...]
    plan: PadPlan
    says: tuple[tuple[float, str], ...]
    ends_s: float


def hands(test: BenchTest, vehicle: Vehicle, *, begins_s: float = 0.0, step_s: float = STEP_S) -> Hands:
    """The hands going through a bench test's steps from `begins_s` on, each for `step_s`."""
    steps = test.steps(vehicle)
    begun = [(begins_s + k * step_s, step.key) for k, step in enumerate(steps)]
    ends_s = begins_s + len(steps) * step_s
    make = _DOINGS.get(test.name)
    doings = tuple(d for at_s, key in begun for d in make(vehicle, key, at_s, at_s + step_s)) if make else ()
    camera = ((0.0, True),) if test.name is ProofName.ENDURANCE_CAMERA_ON else ()
    return Hands(doings, PadPlan(camera_switches=camera), tuple(begun), ends_s)


def _doing(
    at_s: float,
    until_s: float,
    *,
    on_state: OnState | None = None,
    on_values: OnValues | None = None,
    on_frame: OnFrame | None = None,
    on_running: OnRunning | None = None,
) -> TimedFault:
    what = Fault(
        "hands",
        "what hands do on the bench",
        (),
        0.0,
        on_state=on_state,
        on_values=on_values,
        on_frame=on_frame,
        on_running=on_running,
    )
    return TimedFault(what, at_s, 0, until_s)


def _gimbal_sign(vehicle: Vehicle, key: str, at_s: float, until_s: float) -> list[TimedFault]:
    gimbal = vehicle.gimbal
    shares = LEANS.get(key)
    if gimbal is None or shares is None:
        return []

    def deflection_rad(lean_rad: float, rate_radps: float) -> float:
        return max(-gimbal.limit_rad, min(gimbal.limit_rad, RIGHTING * lean_rad + DAMPING_S * rate_radps))

    def lean(state: BodyState, since_s: float) -> BodyState:
        turn, after_s = 2.0 * math.pi * LEAN_HZ, max(0.0, since_s - REST_S)
        angle = LEAN_RAD * math.sin(turn * after_s)
        rate = LEAN_RAD * turn * math.cos(turn * after_s) if after_s > 0.0 else 0.0
        about_x, about_y = shares
        attitude = product(state.attitude, from_rotation_vector(about_x * angle, about_y * angle, 0.0))
        answer = (deflection_rad(about_x * angle, about_x * rate), deflection_rad(about_y * angle, about_y * rate))
        p, q, r = state.rate_radps
        return state._replace(
            attitude=attitude,
            force_mps2=to_body(attitude, to_local(state.attitude, state.force_mps2)),
            rate_radps=(p + about_x * rate, q + about_y * rate, r),
            command_rad=answer,
            gimbal_rad=answer,
        )

    return [_doing(at_s, until_s, on_state=lean)]


def _gimbal_sweep(vehicle: Vehicle, key: str, at_s: float, until_s: float) -> list[TimedFault]:
    gimbal = vehicle.gimbal
    if gimbal is None or key == "neutral":
        return []
    half_s = (until_s - at_s) / 2.0

    def swept_rad(since_s: float) -> tuple[float, float]:
        angle = gimbal.limit_rad * math.sin(2.0 * math.pi * SWEEP_HZ * since_s) if since_s > 0.0 else 0.0
        return (angle, 0.0) if since_s < half_s else (0.0, angle)

    def sweep(state: BodyState, since_s: float) -> BodyState:
        return state._replace(command_rad=swept_rad(since_s), gimbal_rad=swept_rad(since_s - SERVO_S))

    def move(state: BodyState, since_s: float) -> BodyState:
        given = PLAY_RAD * math.sin(2.0 * math.pi * since_s)
        return state._replace(gimbal_rad=(given, -given))

    return [_doing(at_s, until_s, on_state=sweep if key == "sweep" else move)]


def _igniter_circuit(vehicle: Vehicle, key: str, at_s: float, until_s: float) -> list[TimedFault]:
    channels = [pyro.channel for pyro in vehicle.pyro if pyro.load is Load.IGNITER]
    put_in = 0 if key == "nothing in" else channels.index(int(key.rsplit(" ", 1)[1])) + 1
    reads: Values = {}
    for channel in channels[put_in:]:
        start = f"pyro_{channel}_"
        reads |= {start + "resistance": OPEN_OHM, start + "sense": 0.0, start + "continuity": 0.0}
    return [_doing(at_s, until_s, on_values=_reading(reads))]


def _pin_order(vehicle: Vehicle, key: str, at_s: float, until_s: float) -> list[TimedFault]:
    pin = vehicle.pull_pin
    if pin is None:
        return []
    if key.startswith("out"):
        if not pin.powers_board:
            return []

        def started(since_s: float) -> Running:
            return Running(1, since_s - BOOT_S)

        return [_doing(at_s, math.inf, on_running=started)]
    reads: Values = {"pull_pin": float(pin.inserted_reads)}
    if pin.enables_pyro:
        reads["pyro_supply_voltage"] = 0.0
    doings = [_doing(at_s, until_s, on_values=_reading(reads))]
    return [*doings, _doing(at_s, until_s, on_frame=_silent)] if pin.powers_board else doings


def _range_walk(vehicle: Vehicle, key: str, at_s: float, until_s: float) -> list[TimedFault]:
    distance_m = SHARES[int(key.rsplit(" ", 1)[1]) - 1] * walk_m(vehicle)
    weaker_db = 20.0 * math.log10(distance_m / NEAR_M)

    def fade(values: Values, context: Context) -> Values:
        return {name: values[name] - weaker_db for name in ("rssi", "snr")}

    return [_doing(at_s, until_s, on_values=fade)]


def _reading(reads: Values) -> OnValues:
    def read(values: Values, context: Context) -> Values:
        return reads

    return read


def _silent(frame: bytes, air: AirTime) -> tuple[bytes, ...]:
    return ()


_DOINGS: dict[ProofName, Callable[[Vehicle, str, float, float], list[TimedFault]]] = {
    ProofName.GIMBAL_SIGN: _gimbal_sign,
    ProofName.GIMBAL_SWEEP: _gimbal_sweep,
    ProofName.IGNITER_CIRCUIT: _igniter_circuit,
    ProofName.PIN_ORDER: _pin_order,
    ProofName.RANGE_WALK: _range_walk,
}
