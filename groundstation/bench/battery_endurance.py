"""Bench proofs of the battery's endurance: how many minutes the pack lasts with the camera off, and with it on.

The vehicle runs for at least the stated length from a charged pack. How long it would last is that run, and what the
pack has left at its end by its voltage and the run's mean current (`groundstation.estimation.battery`), with the 95 %
interval of that. A new start of the flight computer in the run fails it: the supply browned out.
"""

import math
from collections.abc import Sequence
from functools import partial

import numpy as np

from groundstation.bench.proof import Figure, Point, ProofOutcome, cannot_tell, failed, passed
from groundstation.bench.walk import BenchTest, Ends, Seen, Step, Stretch, try_each
from groundstation.bench.words import NO_MOTOR
from groundstation.config.bench_plan import BenchPlan, ProofName, plan_or_usual
from groundstation.config.vehicle import Place, Vehicle
from groundstation.estimation.battery import drawn_c, endurance, pack_from_reading
from groundstation.readiness.finding import Limit
from groundstation.readiness.window import Unknown
from groundstation.readiness.words import allowed, number
from groundstation.table import FloatArray

S_PER_MINUTE = 60.0
SMOOTHED_S = 30.0  # of voltage, at the run's end and where it falls below the limit
SWITCHED_S = 10.0  # of the run's beginning, in which the camera may still be switched
LONGEST_GAP_S = 20.0  # between packets; in a longer one a brown-out would not be told from radio loss
_VOLTAGE, _CURRENT, _CAMERA = "battery_voltage", "battery_current", "camera_on"


def _measurements(vehicle: Vehicle) -> tuple[str, ...]:
    return (_VOLTAGE, _CURRENT, *([_CAMERA] if vehicle.camera is not None else []))


def _plan(vehicle: Vehicle) -> BenchPlan:
    return plan_or_usual(vehicle.bench)


def _steps(camera_on: float, vehicle: Vehicle) -> tuple[Step, ...]:
    minutes = number(_plan(vehicle).endurance_s / S_PER_MINUTE, 0 if _plan(vehicle).endurance_s >= 60 else 2)
    camera = f"Switch the camera {'on' if camera_on else 'off'}. " if vehicle.camera is not None else ""
    return (
        Step(
            "run",
            f"Begin with a charged pack. {camera}Let the vehicle run as it waits on the pad, for at least {minutes} "
            "min, and do not touch it. It goes on by itself.",
            _plan(vehicle).endurance_s,
            Ends.AFTER_TIME,
        ),
    )


def _watch(stretch: Stretch) -> Seen:
    window = stretch.window
    per_cell = window.need(_VOLTAGE) / window.vehicle.battery.cells
    current = f", {number(window.need(_CURRENT), 2)} A" if window.in_layout(_CURRENT) else ""
    camera = ""
    if window.vehicle.camera is not None:
        camera = f", camera {'on' if window.need(_CAMERA) == 1.0 else 'off'}"
    return Seen(f"{number(per_cell, 2)} V per cell{current}{camera}")


def _judge(camera_on: float, stretches: Sequence[Stretch]) -> list[Point]:
    (run,) = stretches
    vehicle = run.timeline.vehicle
    rules = [partial(_no_restart, run), partial(_unbroken, run), partial(_least_voltage, run)]
    rules.append(partial(_minutes, run, camera_on))
    camera = try_each(partial(_camera, run, camera_on)) if vehicle.camera is not None else []
    if camera_on and all(point.outcome is ProofOutcome.PASSED for point in camera):
        rules.append(partial(_camera_draw, run))
    return [*camera, *try_each(*rules)]


def _no_restart(run: Stretch) -> Point:
    boots = {r.boot for r in run.window.restarts if r.at_ns > run.from_ns}
    if not boots:
        return passed("The flight computer has not started anew in the run.")
    return failed(
        f"The flight computer started anew {'once' if len(boots) == 1 else f'{len(boots)} times'} in the run.",
        "the pack, its plug and switch, then what was switched on just before: the supply browned out",
        Figure("new starts", len(boots), ""),
    )


def _unbroken(run: Stretch) -> Point:
    asked = Limit(_plan(run.timeline.vehicle).endurance_s / S_PER_MINUTE)
    long = Figure("length of the run", round(run.seconds / S_PER_MINUTE, 2), "min")
    if long.value < round(asked.least or 0.0, 2):
        return cannot_tell(f"The run lasted {number(long.value, 1)} min, {allowed(asked, 1, 'min')}.", "", long)
    t_s, _ = _volts(run)
    edges = np.concatenate([[-run.seconds], t_s, [0.0]])
    gap_s = float(np.max(np.diff(edges)))
    if gap_s > LONGEST_GAP_S:
        return cannot_tell(
            f"No packet came for {number(gap_s, 0)} s of the run: the radio or the supply failed.",
            "the distance to the receiver, then the pack's plug",
            long,
        )
    return passed(f"The run lasted {number(long.value, 1)} min without a break.", long)


def _least_voltage(run: Stretch) -> Point:
    vehicle = run.timeline.vehicle
    _, volts = _volts(run)
    least_v, greatest_v = (float(v) / vehicle.battery.cells for v in (np.min(volts), np.max(volts)))
    if greatest_v > vehicle.limits.cell_voltage_max_v:
        most = allowed(Limit(None, vehicle.limits.cell_voltage_max_v), 2, "V")
        return failed(
            f"The pack has {number(greatest_v, 2)} V per cell, {most}.",
            "the number of cells under [battery], then the scale of battery_voltage",
        )
    limit = Limit(vehicle.limits.cell_voltage_loaded_min_v)
    figure = Figure("least voltage per cell", round(least_v, 3), "V")
    text = f"The pack's least voltage was {number(least_v, 2)} V per cell, {allowed(limit, 2, 'V')}."
    if least_v >= (limit.least or 0.0):
        return passed(text, figure)
    return failed(text, "the pack: its charge, its plug and leads, its age", figure)


def _camera(run: Stretch, camera_on: float) -> Point:
    t_s, (on,) = run.together((_CAMERA,))
    wrong = int(np.count_nonzero(on[t_s > SWITCHED_S - run.seconds] != camera_on))
    name = "on" if camera_on else "off"
    if not wrong:
        return passed(f"The camera was {name} all the while.")
    return cannot_tell(f"The camera was not {name} all the while.", f"the camera: switch it {name} and begin anew")


def _camera_draw(run: Stretch) -> Point:
    """The camera takes what the file says, above what the file gives for the board."""
    vehicle = run.timeline.vehicle
    band = None if vehicle.camera is None else vehicle.camera.current_a
    board_a = vehicle.loads.board_a
    if band is None or board_a is None or not run.window.in_layout(_CURRENT):
        return passed(
            "The camera's draw is not judged: it takes battery_current, [loads] board and [camera] current."
        )
    t_s, (_, amperes) = run.together((_VOLTAGE, _CURRENT))
    draws_a = float(np.median(amperes[t_s > SWITCHED_S - run.seconds])) - board_a
    limit, figure = Limit(*band), Figure("camera's current", round(draws_a, 3), "A")
    text = f"The camera draws {number(draws_a, 2)} A, {allowed(limit, 2, 'A')}."
    if band[0] <= draws_a <= band[1]:
        return passed(text, figure)
    low = "its plug, its card, its own battery: it may be switched but not running"
    return failed(text, f"the camera: {low if draws_a < band[0] else 'its leads may be shorted'}", figure)


def _minutes(run: Stretch, camera_on: float) -> Point:
    vehicle = run.timeline.vehicle
    battery = vehicle.battery
    t_s, volts = _volts(run)
    ran, limit_v = run.seconds / S_PER_MINUTE, vehicle.limits.cell_voltage_min_v * battery.cells
    fell_s = _fell_below(t_s, volts, limit_v)
    needed_s = _needed_s(vehicle, camera_on)
    amperes = _amperes(run, camera_on, t_s)
    if amperes is None:
        return _without_current(ran if fell_s is None else (fell_s + run.seconds) / S_PER_MINUTE, fell_s, needed_s)
    mean_a = drawn_c(t_s, amperes) / float(t_s[-1] - t_s[0]) if t_s.size > 1 else 0.0
    if not mean_a > 0.0:
        return cannot_tell("The pack's current reads nothing.", "the current sensor")
    if fell_s is not None:
        minutes = least = most = (fell_s + run.seconds) / S_PER_MINUTE
    else:
        end = t_s > -SMOOTHED_S
        pack = pack_from_reading(
            float(np.mean(volts[end])),
            float(np.mean(amperes[end])),
            cells=battery.cells,
            capacity_c=battery.capacity_c,
            resistance_ohm=battery.internal_resistance_ohm,
        )
        spread_a = float(np.std(amperes)) / math.sqrt(max(1.0, run.seconds / SMOOTHED_S))
        left = endurance(pack, mean_a, limit_v=limit_v, current_sigma_a=spread_a)
        minutes, least, most = ran + left.minutes, ran + left.least_minutes, ran + left.most_minutes
    figures = (
        Figure("minutes until the least voltage for GO", round(minutes, 1), "min"),
        Figure("least of its 95 % interval", round(least, 1), "min"),
        Figure("greatest of its 95 % interval", round(most, 1), "min"),
        Figure("mean current", round(mean_a, 3), "A"),
    )
    text = f"The pack lasts {number(least, 0)} to {number(most, 0)} min at {number(mean_a, 2)} A"
    if needed_s is None:
        return passed(f"{text}; the vehicle file plans no length to hold that against.", *figures)
    limit = Limit(needed_s / S_PER_MINUTE)
    if least >= (limit.least or 0.0):
        return passed(f"{text}, {allowed(limit, 0, 'min')}.", *figures)
    look = "the pack: was it charged; then its age, and what draws that current"
    return failed(f"{text}, {allowed(limit, 0, 'min')}.", look, *figures)


def _needed_s(vehicle: Vehicle, camera_on: float) -> float | None:
    """How long the pack must last: the planned hold; with the camera on as long as that may be on, if stated."""
    if camera_on and vehicle.camera is not None and vehicle.camera.longest_on_s is not None:
        return vehicle.camera.longest_on_s
    return vehicle.pad.planned_hold_s


def _fell_below(t_s: FloatArray, volts: FloatArray, limit_v: float) -> float | None:
    """When the mean over `SMOOTHED_S` first lay below a limit [s, up to the run's end]; None where it never did."""
    first = float(t_s[0])
    for start in np.arange(first, 0.0, SMOOTHED_S).tolist():
        part = volts[(t_s >= start) & (t_s < start + SMOOTHED_S)]
        if part.size and float(np.mean(part)) < limit_v:
            return float(start)
    return None


def _without_current(minutes: float, fell_s: float | None, needed_s: float | None) -> Point:
    """What a run says by its length alone, where no current is sent and the file states none."""
    figure = Figure("minutes above the least voltage for GO, at least", round(minutes, 1), "min")
    text = f"The pack stood {number(minutes, 0)} min above the least voltage for GO"
    if needed_s is None:
        return passed(f"{text}; the vehicle file plans no length to hold that against.", figure)
    asked = allowed(Limit(needed_s / S_PER_MINUTE), 0, "min")
    if S_PER_MINUTE * minutes >= needed_s:
        return passed(f"{text}, {asked}.", figure)
    if fell_s is not None:
        return failed(f"{text}, {asked}.", "the pack: was it charged; then its age, and what draws from it", figure)
    return cannot_tell(
        f"{text}, {asked}; how much longer it lasts no current says.",
        "the run: let it go on for that long; or state [loads] board in the vehicle file",
        figure,
    )


def _volts(run: Stretch) -> tuple[FloatArray, FloatArray]:
    """Times [s, up to the run's end] and voltages of the pack, (n,) each and at least one."""
    t_s, (volts,) = run.together((_VOLTAGE,))
    if not t_s.size:
        raise Unknown("No voltage of the pack has come in the run. Look at the radio link.", stale=True)
    return t_s, volts


def _amperes(run: Stretch, camera_on: float, t_s: FloatArray) -> FloatArray | None:
    """(n,) currents at times of a run: as sent, else as the vehicle file states; None where neither says."""
    vehicle = run.timeline.vehicle
    if run.window.in_layout(_CURRENT):
        rows = run.together((_VOLTAGE, _CURRENT))[1]
        return rows[1] if rows.shape[1] == t_s.size else np.full(t_s.shape, float(np.mean(rows[1])))
    camera_a = vehicle.camera.current_a if vehicle.camera is not None else None
    if vehicle.loads.board_a is None or (camera_on and camera_a is None):
        return None
    with_camera_a = sum(camera_a) / 2.0 if camera_on and camera_a is not None else 0.0
    return np.full(t_s.shape, vehicle.loads.board_a + with_camera_a)


def _test(name: ProofName, camera_on: float, shows: str) -> BenchTest:
    return BenchTest(
        name=name,
        shows=shows,
        cautions=(NO_MOTOR, "Keep the pack in sight, on a surface that does not burn, and away from heat."),
        place=Place.BATTERY,
        tables=("battery", "camera") if camera_on else ("battery",),
        limits=("cell_voltage_loaded_min_v", "cell_voltage_max_v"),
        measurements=_measurements,
        steps=partial(_steps, camera_on),
        watch=_watch,
        judge=partial(_judge, camera_on),
    )


ENDURANCE_CAMERA_OFF = _test(
    ProofName.ENDURANCE_CAMERA_OFF, 0.0, "how many minutes the pack lasts on the pad with the camera off"
)
ENDURANCE_CAMERA_ON = _test(
    ProofName.ENDURANCE_CAMERA_ON, 1.0, "how many minutes the pack lasts on the pad with the camera on"
)
