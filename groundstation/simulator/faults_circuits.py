"""Faults of pyro circuits, pull-pin and camera."""

import math

from groundstation.config.telemetry import columns
from groundstation.config.vehicle import Load, Vehicle
from groundstation.simulator.battery import CAMERA_A
from groundstation.simulator.fault import Context, Fault, OnValues, fixed
from groundstation.simulator.sensors import Values

OPEN_OHM = 1e6  # saturates to the field's greatest value, as an open circuit does
SHORT_OHM = 0.02
OUT_OF_BAND = 1.5
WEAK_SHARE = 0.4
PIN_IN_S = 5.0
CROSSTALK_SHARE = 0.2  # of a channel's band, either way
CROSSTALK_HZ = 0.4
TOO_MUCH_A = 0.8
_CIRCUIT = ("pyro_{n}_resistance", "pyro_{n}_sense", "pyro_{n}_continuity")
_MEASURED = ("pyro_{n}_resistance", "pyro_{n}_sense")
_CAMERA = ("camera_on",)
_DRAW = ("battery_current",)


def _open(values: Values, context: Context) -> Values:
    start = f"pyro_{context.channel}_"
    return {start + "resistance": OPEN_OHM, start + "sense": 0.0, start + "continuity": 0.0}


def _short(values: Values, context: Context) -> Values:
    _, most_v = context.pyro.sense_v or (0.0, 3.5)
    start = f"pyro_{context.channel}_"
    return {start + "resistance": SHORT_OHM, start + "sense": OUT_OF_BAND * most_v}


def _out_of_band(values: Values, context: Context) -> Values:
    _, most_ohm = context.pyro.resistance_ohm or (0.0, 2.5)
    least_v, _ = context.pyro.sense_v or (2.5, 3.5)
    start = f"pyro_{context.channel}_"
    return {start + "resistance": OUT_OF_BAND * most_ohm, start + "sense": least_v / OUT_OF_BAND}


def _intermittent(values: Values, context: Context) -> Values:
    return _open(values, context) if context.drops_out else {}


def _energised(values: Values, context: Context) -> Values:
    return {f"pyro_{context.channel}_energised": 1.0}


def _crosstalk(values: Values, context: Context) -> Values:
    swing = CROSSTALK_SHARE * math.sin(2 * math.pi * CROSSTALK_HZ * context.since_s)
    changed: Values = {}
    for pyro in context.vehicle.pyro:
        if pyro.load is Load.IGNITER:
            for kind, band in (("resistance", pyro.resistance_ohm), ("sense", pyro.sense_v)):
                if band is not None:
                    name = f"pyro_{pyro.channel}_{kind}"
                    changed[name] = values[name] + swing * (band[1] - band[0])
    return changed


def _swapped(values: Values, context: Context) -> Values:
    first, second = [p.channel for p in context.vehicle.pyro if p.load is Load.IGNITER][:2]
    if values[f"pyro_{first}_continuity"] == values[f"pyro_{second}_continuity"]:
        return {}  # two good circuits read alike, whichever channel they are on
    kinds = ("resistance", "sense", "continuity")
    pairs = [(first, second), (second, first)]
    return {f"pyro_{a}_{kind}": values[f"pyro_{b}_{kind}"] for a, b in pairs for kind in kinds}


def _pin_reads(inserted: bool, values: Values, context: Context) -> Values:
    reads = context.vehicle.pull_pin.inserted_reads if context.vehicle.pull_pin is not None else 0
    return {"pull_pin": float(reads if inserted else 1 - reads)}


def _pin_in(values: Values, context: Context) -> Values:
    return _pin_reads(True, values, context) | {"pyro_supply_voltage": 0.0}


def _pin_chatters(values: Values, context: Context) -> Values:
    return _pin_reads(True, values, context) if context.drops_out else {}


def _pin_was_in(values: Values, context: Context) -> Values:
    return _pin_reads(True, values, context) if context.since_s < PIN_IN_S else {}


def _pin_reversed(values: Values, context: Context) -> Values:
    return {"pull_pin": 1.0 - values["pull_pin"]}


def _supply_weak(values: Values, context: Context) -> Values:
    return {"pyro_supply_voltage": WEAK_SHARE * values["pyro_supply_voltage"]}


def _camera_switched(on: float) -> OnValues:
    def switch(values: Values, context: Context) -> Values:
        drawn_a = (on - values["camera_on"]) * CAMERA_A
        return _camera_says(context, on) | {"battery_current": values["battery_current"] + drawn_a}

    return switch


def _camera_says(context: Context, on: float) -> Values:
    camera = context.vehicle.camera
    says: Values = {"camera_on": on}
    if camera is not None and camera.channel is not None:
        says[f"pyro_{camera.channel}_energised"] = on
    return says


def _camera_draws(values: Values, context: Context) -> Values:
    return {"battery_current": values["battery_current"] + TOO_MUCH_A * values["camera_on"]}


def _camera_dead(values: Values, context: Context) -> Values:
    return {"battery_current": values["battery_current"] - CAMERA_A * values["camera_on"]}


def _camera_unseen(values: Values, context: Context) -> Values:
    drawn_a = (1.0 - values["camera_on"]) * CAMERA_A
    return _camera_says(context, 0.0) | {"battery_current": values["battery_current"] + drawn_a}


def _camera_torn(values: Values, context: Context) -> Values:
    camera = context.vehicle.camera
    channel = camera.channel if camera is not None else None
    return {f"pyro_{channel}_energised": 1.0 - values["camera_on"]}


def _has_pin(vehicle: Vehicle) -> str | None:
    return None if vehicle.pull_pin is not None else "which has no pull-pin"


def _pin_enables_pyro(vehicle: Vehicle) -> str | None:
    if vehicle.pull_pin is None or not vehicle.pull_pin.enables_pyro:
        return "which has no pull-pin that enables pyro channels"
    return None


def _has_camera(vehicle: Vehicle) -> str | None:
    return None if vehicle.camera is not None else "which has no camera"


def _camera_draw_known(vehicle: Vehicle) -> str | None:
    if vehicle.camera is None or vehicle.camera.current_a is None:
        return "whose file gives no current for a camera"
    return None


def _camera_on_channel(vehicle: Vehicle) -> str | None:
    camera = vehicle.camera
    sent = {column.meaning for column in columns(vehicle)}
    if camera is None or camera.channel is None or f"pyro_{camera.channel}_energised" not in sent:
        return "which does not send whether its camera's channel is switched on"
    return None


def _two_igniters(vehicle: Vehicle) -> str | None:
    igniters = [p for p in vehicle.pyro if p.load is Load.IGNITER]
    return None if len(igniters) > 1 else "which has no two igniters"


CIRCUIT_FAULTS = (
    Fault(
        "igniter-open",
        "an igniter's circuit opens; the first, or igniter-open:CHANNEL",
        ("pyro_circuit",),
        4.0,
        _CIRCUIT,
        on_values=_open,
        load=Load.IGNITER,
    ),
    Fault(
        "igniter-short",
        "an igniter's leads touch; the first, or igniter-short:CHANNEL",
        ("pyro_circuit",),
        4.0,
        _MEASURED,
        on_values=_short,
        load=Load.IGNITER,
    ),
    Fault(
        "igniter-odd",
        f"an igniter's circuit has {OUT_OF_BAND:g} times the most it should; the first, or igniter-odd:CHANNEL",
        ("pyro_circuit",),
        4.0,
        _MEASURED,
        on_values=_out_of_band,
        load=Load.IGNITER,
    ),
    Fault(
        "igniter-loose",
        "an igniter's circuit opens for one packet in five; the first, or igniter-loose:CHANNEL",
        ("pyro_circuit",),
        20.0,
        _CIRCUIT,
        on_values=_intermittent,
        load=Load.IGNITER,
    ),
    Fault(
        "pyro-energised",
        "an igniter's channel is switched on; the first, or pyro-energised:CHANNEL",
        ("pyro_energised",),
        4.0,
        ("pyro_{n}_energised",),
        on_values=_energised,
        load=Load.IGNITER,
    ),
    Fault(
        "pyro-crosstalk",
        "the igniters' circuits move together",
        ("pyro_crosstalk",),
        12.0,
        ("pyro_1_resistance", "pyro_2_resistance", "pyro_1_sense", "pyro_2_sense"),
        on_values=_crosstalk,
        asks=_two_igniters,
    ),
    Fault(
        "circuits-swapped",
        "two igniters hang on each other's channels, which shows only when one is put in alone: on the bench",
        (),
        8.0,
        ("pyro_1_resistance", "pyro_2_resistance", "pyro_1_sense", "pyro_2_sense"),
        on_values=_swapped,
        asks=_two_igniters,
    ),
    Fault(
        "auxiliary-open",
        "the circuit of an auxiliary load opens; the first, or auxiliary-open:CHANNEL",
        ("pyro_circuit",),
        4.0,
        _CIRCUIT,
        on_values=_open,
        load=Load.AUXILIARY,
    ),
    Fault(
        "auxiliary-short",
        "the leads of an auxiliary load touch; the first, or auxiliary-short:CHANNEL",
        ("pyro_circuit",),
        4.0,
        _MEASURED,
        on_values=_short,
        load=Load.AUXILIARY,
    ),
    Fault(
        "pin-reversed",
        "the pull-pin's contact reads the other way round",
        ("pull_pin",),
        4.0,
        ("pull_pin",),
        on_values=_pin_reversed,
        asks=_has_pin,
    ),
    Fault(
        "pin-in",
        "the pull-pin is in: contact and pyro supply agree",
        ("pull_pin",),
        4.0,
        ("pull_pin", "pyro_supply_voltage"),
        on_values=_pin_in,
        asks=_has_pin,
    ),
    Fault(
        "pin-in-supply-live",
        f"the pull-pin is in for {PIN_IN_S:.0f} s while the pyro supply stays live, then out again",
        ("pyro_supply_history",),
        5.0,
        ("pull_pin", "pyro_supply_voltage"),
        on_values=_pin_was_in,
        asks=_pin_enables_pyro,
    ),
    Fault(
        "pin-chatters",
        "the pull-pin's contact reads inserted in one packet of five",
        ("pull_pin",),
        20.0,
        ("pull_pin",),
        on_values=_pin_chatters,
        asks=_has_pin,
    ),
    Fault(
        "pyro-supply-dead",
        "the pull-pin is out but the pyro supply stays dead",
        ("pull_pin",),
        4.0,
        ("pyro_supply_voltage",),
        on_values=fixed("pyro_supply_voltage", 0.0),
        asks=_pin_enables_pyro,
    ),
    Fault(
        "pyro-supply-weak",
        f"the pyro supply has {WEAK_SHARE:.0%} of its voltage",
        ("pull_pin",),
        4.0,
        ("pyro_supply_voltage",),
        on_values=_supply_weak,
        asks=_pin_enables_pyro,
    ),
    Fault(
        "camera-on",
        "the camera is switched on, too early where the file wants it off",
        ("camera_state",),
        5.0,
        _CAMERA,
        on_values=_camera_switched(1.0),
        asks=_has_camera,
    ),
    Fault(
        "camera-off",
        "the camera is switched off, too early where the file wants it on",
        ("camera_state",),
        5.0,
        _CAMERA,
        on_values=_camera_switched(0.0),
        asks=_has_camera,
    ),
    Fault(
        "camera-draws",
        f"the camera draws {TOO_MUCH_A:g} A more than it should when it is on",
        ("camera_draw",),
        18.0,
        _DRAW,
        on_values=_camera_draws,
        asks=_camera_draw_known,
    ),
    Fault(
        "camera-dead",
        "the camera draws nothing when it is switched on",
        ("camera_draw",),
        18.0,
        _DRAW,
        on_values=_camera_dead,
        asks=_camera_draw_known,
    ),
    Fault(
        "camera-unseen",
        "the camera runs though its state says off",
        ("camera_draw",),
        8.0,
        (*_CAMERA, *_DRAW),
        on_values=_camera_unseen,
        asks=_camera_draw_known,
    ),
    Fault(
        "camera-torn",
        "the camera's channel is on while its state says off, or the other way round",
        ("camera_state",),
        5.0,
        _CAMERA,
        on_values=_camera_torn,
        asks=_camera_on_channel,
    ),
)
