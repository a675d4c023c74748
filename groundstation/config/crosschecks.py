"""What no table of a vehicle file can tell alone: names used twice, channels that do not exist, sums that do not fit.

Names are looked at in the file's own data, so that they are judged even where another key beside them is wrong.
"""

import re
from collections.abc import Iterator, Mapping

from decoders.errors import LayoutError
from decoders.stream import StreamDecoder
from groundstation.config.fields import ATTITUDE
from groundstation.config.filetable import Found
from groundstation.config.lines import KeyPath
from groundstation.config.packets import SHARED_MEANINGS
from groundstation.config.quantities import shown
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Airframe, Gimbal, Motor, Vehicle
from groundstation.measurements import measurement

_Row = Mapping[str, object]
# the keys of a vehicle file that stand for what a layout calls otherwise
_LAYOUT_KEYS = {
    "checksum": ("checksum",),
    "framing": ("framing",),
    "separator": ("framing", "separator"),
    "receiver": ("receiver",),
}
_AROUND = ("before", "after", "after_delimiter")  # the keys of what a receiver adds
_CHANNEL = re.compile(r"pyro_([0-9]+)_")


def name_faults(data: _Row) -> Iterator[Found]:
    """Names, numbers and meanings used twice, and pyro channels that are named but not described.

    Args:
        data: The vehicle file as tomllib gives it, good or not.
    """
    pyro = list(_rows(data.get("pyro"), ("pyro",)))
    yield from _twice([(path, row.get("channel")) for path, row in pyro], "channel", "a channel")
    channels = {c for _, row in pyro if isinstance(c := row.get("channel"), int)}
    telemetry = data.get("telemetry")
    packets = list(_rows(telemetry.get("packet") if isinstance(telemetry, dict) else None, ("telemetry", "packet")))
    yield from _twice([(path, row.get("name")) for path, row in packets], "name", "a packet")
    yield from _twice([(path, row.get("id")) for path, row in packets], "id", "a packet")
    yield from _twice([(path, row.get("tag")) for path, row in packets], "tag", "a packet")
    for path, packet in packets:
        yield from _twice(
            [(p, row.get("name")) for p, row in _fields(packet, path)], "name", "a field of this packet"
        )
    yield from _meaning_faults([*packets, *_receiver(telemetry)], channels)
    around = [(p, row) for path, row in _receiver(telemetry) for p, row in _fields(row, path)]
    yield from _twice([(path, row.get("name")) for path, row in around], "name", "a field of the receiver")
    for path, packet in packets:
        own = {row.get("name") for _, row in _fields(packet, path)}
        for receiver_path, row in around:
            if row.get("name") in own:
                text = f"found {shown(row.get('name'))}, which a field of packet {packet.get('name')} has already"
                yield Found((*receiver_path, "name"), f"{text}, expected one of its own")
    pull_pin = data.get("pull_pin")
    enabled = pull_pin.get("enables_pyro") if isinstance(pull_pin, dict) else None
    for place, channel in enumerate(enabled if isinstance(enabled, list) else []):
        if isinstance(channel, int) and channel not in channels:
            text = f"found {channel}, {_no_channel(channel, channels)}"
            yield Found(("pull_pin", "enables_pyro", place), text)


def table_faults(airframe: Airframe | None, motor: Motor | None, gimbal: Gimbal | None) -> Iterator[Found]:
    """What tables say against each other; a table that is wrong by itself is None and left out."""
    if airframe is not None and motor is not None and motor.propellant_mass_kg >= airframe.liftoff_mass_kg:
        text = (
            f"found {motor.propellant_mass_kg:g} kg, expected less than the liftoff mass "
            f"of {airframe.liftoff_mass_kg:g} kg"
        )
        yield Found(("motor", "propellant_mass"), text)
    if airframe is not None and gimbal is not None and gimbal.lever_arm_m > airframe.length_m:
        text = f"found {gimbal.lever_arm_m:g} m, expected at most the airframe's length of {airframe.length_m:g} m"
        yield Found(("gimbal", "lever_arm"), text)


def layout_faults(vehicle: Vehicle) -> Iterator[Found]:
    """What decoding itself objects to in a file whose tables are good, such as a checksum that covers too much."""
    try:
        StreamDecoder(layout_of(vehicle))
    except LayoutError as error:
        packet, _, field = error.where.partition(".")
        for p, entry in enumerate(vehicle.telemetry.packets):
            if entry.name == packet:
                places = [f for f, item in enumerate(entry.fields) if item.name == field.split("[")[0]]
                path: KeyPath = ("telemetry", "packet", p, *(("fields", places[0]) if places else ()))
                yield Found(path, error.objection)
                return
        yield Found(("telemetry", *_LAYOUT_KEYS.get(packet, ())), error.objection)


def _meaning_faults(packets: list[tuple[KeyPath, _Row]], channels: set[int]) -> Iterator[Found]:
    first: dict[str, KeyPath] = {}
    for packet_path, packet in packets:
        here: dict[str, KeyPath] = {}
        for path, key, meaning in _meanings(packet, packet_path):
            match = _CHANNEL.match(meaning)
            if match is not None and int(match[1]) not in channels:
                yield Found((*path, *key), f"found {shown(meaning)}, {_no_channel(int(match[1]), channels)}")
            if meaning in first and (meaning in here or meaning not in SHARED_MEANINGS):
                other = _label(packets, here.get(meaning, first[meaning]))
                text = f"found {shown(meaning)}, which {other} has already, expected it on one field"
                yield Found((*path, *key), text)
            first.setdefault(meaning, path)
            here.setdefault(meaning, path)


def _meanings(packet: _Row, packet_path: KeyPath) -> Iterator[tuple[KeyPath, KeyPath, str]]:
    """Every standard measurement in a packet: the path of its field, the rest of its own path, and its name."""
    for path, row in _fields(packet, packet_path):
        several = row.get("meanings")
        named: list[tuple[KeyPath, object]] = [(("meaning",), row.get("meaning"))]
        named += [(("meanings", k), name) for k, name in enumerate(several if isinstance(several, list) else [])]
        for key, meaning in named:
            if meaning == ATTITUDE:
                yield from ((path, key, f"{ATTITUDE}_{part}") for part in "wxyz")
            elif isinstance(meaning, str) and measurement(meaning) is not None:
                yield path, key, meaning


def _receiver(telemetry: object) -> Iterator[tuple[KeyPath, _Row]]:
    """What the receiver puts before, after and behind each packet, as if each were a packet of its own."""
    receiver = telemetry.get("receiver") if isinstance(telemetry, dict) else None
    for key in _AROUND:
        if isinstance(receiver, dict) and isinstance(receiver.get(key), list):
            yield ("telemetry", "receiver", key), {"name": "receiver", "fields": receiver[key]}


def _label(packets: list[tuple[KeyPath, _Row]], field_path: KeyPath) -> str:
    packet = next(row for path, row in packets if field_path[: len(path)] == path)
    field = next(row for path, row in _fields(packet, field_path[:3]) if path == field_path)
    return f"{packet.get('name')}.{field.get('name')}"


def _no_channel(channel: int, channels: set[int]) -> str:
    if not channels:
        return "but there is no [[pyro]], expected one for each channel"
    return f"but no [[pyro]] has channel {channel}, expected one of {', '.join(map(str, sorted(channels)))}"


def _rows(value: object, path: KeyPath) -> Iterator[tuple[KeyPath, _Row]]:
    """The tables in an array of tables, each with its path; nothing where it is none."""
    for place, row in enumerate(value if isinstance(value, list) else []):
        if isinstance(row, dict):
            yield (*path, place), row


def _fields(packet: _Row, path: KeyPath) -> Iterator[tuple[KeyPath, _Row]]:
    """Every field of a packet (or of what a receiver adds), each followed by its bits."""
    inner = path if path[-1] in _AROUND else (*path, "fields")
    for field_path, row in _rows(packet.get("fields"), inner):
        yield field_path, row
        yield from _rows(row.get("bits"), (*field_path, "bits"))


def _twice(named: list[tuple[KeyPath, object]], key: str, what: str) -> Iterator[Found]:
    seen: set[object] = set()
    for path, value in named:
        if not isinstance(value, (str, int)):
            continue
        if value in seen:
            yield Found((*path, key), f"found {shown(value)}, which {what} has already, expected one of its own")
        seen.add(value)
