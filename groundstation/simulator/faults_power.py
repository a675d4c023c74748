"""Faults of the supply: the pack, the regulated supplies, and new starts of the flight computer."""

from groundstation.config.vehicle import ZERO_CELSIUS_K, Vehicle
from groundstation.simulator.fault import Context, Fault, Running, fixed, noisy, shifted
from groundstation.simulator.sensors import Values

LOW_CELL_V = 3.55
SAG_CELL_V = 0.3
SAG_EVERY_S = 2.0
SAG_S = 0.5
OLD_FACTOR = 5.0
COLD_K = ZERO_CELSIUS_K - 6.0
HOT_K = ZERO_CELSIUS_K + 58.0
MORE_CURRENT_A = 2.5
STARTING_S = 0.8  # from a new start until the first packet
LOOP_S = 4.0
_PACK = ("battery_voltage", "pyro_supply_voltage")


def _pack_lower(values: Values, drop_v: float) -> Values:
    return {name: max(0.0, values[name] - drop_v) for name in _PACK}


def _low(values: Values, context: Context) -> Values:
    return _pack_lower(values, context.before["battery_voltage"] - LOW_CELL_V * context.vehicle.battery.cells)


def _sagging(values: Values, context: Context) -> Values:
    sags = context.since_s % SAG_EVERY_S >= SAG_EVERY_S - SAG_S
    return _pack_lower(values, SAG_CELL_V * context.vehicle.battery.cells) if sags else {}


def _old(values: Values, context: Context) -> Values:
    more_ohm = (OLD_FACTOR - 1.0) * context.vehicle.battery.internal_resistance_ohm
    return _pack_lower(values, values["battery_current"] * more_ohm)


def _one_cell_more(values: Values, context: Context) -> Values:
    cells = context.vehicle.battery.cells
    return {name: values[name] * (cells + 1) / cells for name in _PACK}


def _drained(values: Values, context: Context) -> Values:
    drop_v = MORE_CURRENT_A * context.vehicle.battery.internal_resistance_ohm
    return _pack_lower(values, drop_v) | {"battery_current": values["battery_current"] + MORE_CURRENT_A}


def _once(since_s: float) -> Running:
    return Running(1, since_s - STARTING_S)


def _again_and_again(since_s: float) -> Running:
    starts = int(since_s // LOOP_S)
    return Running(starts + 1, since_s - starts * LOOP_S - STARTING_S)


def _has_board_band(vehicle: Vehicle) -> str | None:
    return None if vehicle.supplies.board_v else "whose file gives no band for the flight computer's supply"


def _has_servo_band(vehicle: Vehicle) -> str | None:
    return None if vehicle.supplies.servo_v else "whose file gives no band for the servos' supply"


def _has_planned_hold(vehicle: Vehicle) -> str | None:
    return None if vehicle.pad.planned_hold_s else "whose file plans no hold"


POWER_FAULTS = (
    Fault(
        "battery-low",
        f"the pack drops to {LOW_CELL_V} V a cell",
        ("battery_voltage",),
        4.0,
        ("battery_voltage",),
        on_values=_low,
    ),
    Fault(
        "battery-sagging",
        f"every {SAG_EVERY_S:g} s the pack dips by {SAG_CELL_V} V a cell for half a second",
        ("battery_sag",),
        12.0,
        ("battery_voltage",),
        on_values=_sagging,
    ),
    Fault(
        "battery-old",
        f"the pack has {OLD_FACTOR:g} times a new one's resistance, seen once a load such as the camera is switched",
        ("battery_resistance", "supply_left"),
        18.0,
        ("battery_voltage",),
        on_values=_old,
    ),
    Fault(
        "battery-cold",
        f"the pack is at {COLD_K - ZERO_CELSIUS_K:.0f} °C",
        ("pack_temperature",),
        5.0,
        ("battery_temperature",),
        on_values=fixed("battery_temperature", COLD_K),
    ),
    Fault(
        "battery-hot",
        f"the pack is at {HOT_K - ZERO_CELSIUS_K:.0f} °C",
        ("pack_temperature",),
        5.0,
        ("battery_temperature",),
        on_values=fixed("battery_temperature", HOT_K),
    ),
    Fault(
        "battery-cells",
        "a pack with one cell more than the file says",
        ("battery_voltage",),
        4.0,
        ("battery_voltage",),
        on_values=_one_cell_more,
    ),
    Fault(
        "battery-drained",
        f"something draws {MORE_CURRENT_A:g} A more",
        ("battery_minutes",),
        15.0,
        ("battery_current",),
        on_values=_drained,
        asks=_has_planned_hold,
    ),
    Fault(
        "board-low",
        "the flight computer's supply drops to 2.9 V",
        ("board_supply",),
        5.0,
        ("board_voltage",),
        on_values=fixed("board_voltage", 2.9),
        asks=_has_board_band,
    ),
    Fault(
        "board-ripple",
        "the flight computer's supply has 0.3 V of ripple on it",
        ("board_supply",),
        8.0,
        ("board_voltage",),
        on_values=noisy(("board_voltage",), 0.3),
        asks=_has_board_band,
    ),
    Fault(
        "servo-supply-low",
        "the servos' supply drops by 1.2 V",
        ("servo_supply",),
        5.0,
        ("servo_voltage",),
        on_values=shifted("servo_voltage", -1.2),
        asks=_has_servo_band,
    ),
    Fault(
        "brown-out",
        "the flight computer starts anew, once",
        ("no_restart",),
        5.0,
        on_running=_once,
    ),
    Fault(
        "reset-loop",
        f"the flight computer starts anew every {LOOP_S:g} s",
        ("no_restart",),
        5.0,
        on_running=_again_and_again,
    ),
)
