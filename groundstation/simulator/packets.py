"""Measured values into frames: which packet is due when, which field carries what, saturated as firmware would.

A field without a meaning, or whose meaning the simulator has no value for, is sent as 0.
"""

import heapq
import math
from collections.abc import Iterator

from decoders.errors import LayoutError
from decoders.layout import Field, WireKind
from decoders.packing import FrameEncoder, raw_limits
from groundstation.config.telemetry import layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.simulator.errors import PacketError
from groundstation.simulator.sensors import Values

STAGGER_S = 0.037  # between the first packets of each kind, so that they do not all fall together


class PacketBuilder:
    """Builds the frames of one vehicle; keeps its packet counters."""

    def __init__(self, vehicle: Vehicle, *, uptime_s: float) -> None:
        telemetry = vehicle.telemetry
        layout = layout_of(vehicle)
        self._encoder = FrameEncoder(layout)
        self._layouts = {packet.name: packet for packet in layout.packets}
        self._meanings = {
            packet.name: {
                **{f.name: f.meaning for f in packet.fields if not f.bits},
                **{bit.name: bit.meaning for f in packet.fields for bit in f.bits},
            }
            for packet in telemetry.packets
        }
        self._shared = telemetry.sequence_counts == "all packets"
        rates = {packet.name: packet.rate_hz for packet in telemetry.packets}
        self._rates = rates
        total_hz = sum(rates.values())
        self._counts = {
            name: math.floor(uptime_s * (total_hz if self._shared else rate)) for name, rate in rates.items()
        }
        if self._shared:
            self._counts = {"": math.floor(uptime_s * total_hz)}

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
        meanings = self._meanings[packet_name]
        sent: dict[str, float] = {}
        for item in self._layouts[packet_name].fields:
            meaning = meanings.get(item.name)
            if meaning == "sequence":
                sent[item.name] = self._counts[counter] & ((1 << item.bits) - 1)
            elif meaning == "vehicle_time":
                clock_s = values.get("vehicle_time", 0.0)
                sent[item.name] = wrapped(item, clock_s, where=f"{packet_name}.{item.name}")
            else:
                value = values.get(meaning, 0.0) if meaning is not None else 0.0
                sent[item.name] = saturated(item, value, where=f"{packet_name}.{item.name}")
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
    if item.kind is WireKind.FLOAT:
        return value
    if not math.isfinite(value):
        raise PacketError(f"found {value!r}, expected a number the field can carry", field=where)
    if item.kind is WireKind.BOOLEAN:
        return 1.0 if value else 0.0
    raw = round((value - item.bias) / item.scale)
    least, greatest = raw_limits(item)
    clipped = max(least, min(greatest, raw))
    if item.scale == 1 and item.bias == 0:
        return clipped
    return clipped * item.scale + item.bias


def wrapped(item: Field, clock_s: float, *, where: str) -> float:
    """The flight computer's clock in a field; an unsigned one starts again from zero when it is full."""
    if item.kind is not WireKind.UNSIGNED:
        return saturated(item, clock_s, where=where)
    raw = round((clock_s - item.bias) / item.scale) & ((1 << item.bits) - 1)
    return raw if item.scale == 1 and item.bias == 0 else raw * item.scale + item.bias
