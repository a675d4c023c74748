"""Measured values into frames: which packet is due when, which field carries what, saturated as firmware would.

A field without a meaning, or whose meaning the simulator has no value for, is sent as 0.
"""

import heapq
import math
from collections.abc import Iterator

from decoders.calibration import DegreesMinutes
from decoders.errors import LayoutError
from decoders.fields import nearest_value, raw_limits, value_of
from decoders.layout import Field, Packet, WireKind
from decoders.packing import FrameEncoder
from groundstation.config.telemetry import callsigns_of, columns, layout_of, texts_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import PacketError
from groundstation.simulator.sensors import Values

_AT_REST = {"w": 1.0, "x": 0.0, "y": 0.0, "z": 0.0}  # parts of a quaternion that nothing is known of

STAGGER_S = 0.037  # between the first packets of each kind, so that they do not all fall together


class PacketBuilder:
    """Builds the frames of one vehicle; keeps its packet counters."""

    def __init__(self, vehicle: Vehicle, *, uptime_s: float) -> None:
        telemetry = vehicle.telemetry
        layout = layout_of(vehicle)
        self._encoder = FrameEncoder(layout)
        self._columns = {
            packet.name: [
                (column, *_inside(column.field), f"{packet.name}.{column.name}")
                for column in columns(vehicle)
                if column.packet == packet.name
            ]
            for packet in telemetry.packets
        }
        self._texts = texts_of(vehicle)
        self._callsigns = callsigns_of(vehicle)
        self._callsign = (vehicle.computer.callsign or "").encode("ascii", "replace")
        self._letters = {name: _letters(packet) for name, packet in zip(self._columns, layout.packets, strict=True)}
        self._shared = telemetry.shares_counter
        rates = {packet.name: packet.rate_hz for packet in telemetry.packets}
        self._rates = rates
        total_hz = sum(rates.values())
        self._counts = {
            name: math.floor(uptime_s * (total_hz if self._shared else rate)) for name, rate in rates.items()
        }
        if self._shared:
            self._counts = {"": math.floor(uptime_s * total_hz)}

    def restart(self) -> None:
        """The flight computer starts anew: its counters begin at zero."""
        self._counts = dict.fromkeys(self._counts, 0)

    def due(self) -> Iterator[tuple[float, str]]:
        """(time [s], packet name) of every packet from the start on, in order of time, without end."""
        queue = [(k * STAGGER_S, k, 0, name) for k, name in enumerate(self._rates)]
        heapq.heapify(queue)
        while True:
            t_s, k, n, name = heapq.heappop(queue)
            yield t_s, name
            heapq.heappush(queue, (k * STAGGER_S + (n + 1) / self._rates[name], k, n + 1, name))

    def frame(self, packet_name: str, values: Values) -> bytes:
        """The next frame of a packet.

        Raises:
            PacketError: A value that is not a number for a field that holds whole numbers.
        """
        counter = "" if self._shared else packet_name
        sent: dict[str, float | bytes] = dict.fromkeys(self._texts[packet_name], b"")
        if packet_name in self._callsigns:
            sent[self._callsigns[packet_name]] = self._callsign
        for column, least, greatest, where in self._columns[packet_name]:
            item = column.field
            if column.meaning == "sequence":
                sent[column.name] = self._counts[counter] & ((1 << item.bits) - 1)
            elif column.meaning == "vehicle_time":
                sent[column.name] = wrapped(item, values.get("vehicle_time", 0.0), where=where)
            elif least < (value := values.get(column.meaning or "", 0.0)) < greatest:
                sent[column.name] = value  # which the encoder rounds
            elif item.kind is WireKind.QUATERNION:
                sent[column.name] = values.get(column.meaning or "", _AT_REST[column.name[-1]])
            else:
                sent[column.name] = saturated(item, values.get(column.meaning or "", 0.0), where=where)
        for letter, (position, positive, negative) in self._letters[packet_name].items():
            sent[letter] = ord(negative if float(sent[position]) < 0 else positive)
        self._counts[counter] += 1
        try:
            return self._encoder.encode(packet_name, sent)
        except LayoutError as error:
            raise PacketError(str(error), field=packet_name) from error


def saturated(item: Field, value: float, *, where: str) -> float:
    """The value a field can carry that is nearest to `value`.

    Raises:
        PacketError: NaN or infinity for a field that holds whole numbers.
    """
    if item.kind is not WireKind.FLOAT and not math.isfinite(value):
        raise PacketError(f"found {value!r}, expected a number the field can carry", field=where)
    return nearest_value(item, value)


def wrapped(item: Field, clock_s: float, *, where: str) -> float:
    """The flight computer's clock in a field; an unsigned one starts again from zero when it is full."""
    if item.kind is not WireKind.UNSIGNED:
        return saturated(item, clock_s, where=where)
    return value_of(item, round((clock_s - item.bias) / item.scale) & raw_limits(item)[1])


def _inside(item: Field) -> tuple[float, float]:
    """Between which values the encoder needs no help: none for a field whose nearest value is no plain rounding."""
    if item.kind not in (WireKind.UNSIGNED, WireKind.SIGNED) or item.curve is not None:
        return math.inf, -math.inf
    ends = [value_of(item, raw) for raw in raw_limits(item)]
    return min(ends), max(ends)


def _letters(packet: Packet) -> dict[str, tuple[str, str, str]]:
    """Fields that hold a position's letter: the position's field, and the letters for positive and negative."""
    found = {}
    for item in packet.fields:
        if isinstance(item.curve, DegreesMinutes) and item.curve.letter:
            letters = ("E", "W") if item.name.startswith("lon") else ("N", "S")
            found[item.curve.letter] = (item.name, *letters)
    return found
