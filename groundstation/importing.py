"""A raw byte dump without times made into a recording: receive times from the vehicle's own clock.

Each frame's bytes get the time of the packet in it; bytes that hold no packet with a clock get the time of the
nearest one that does. The times are as good as the vehicle's clock; how long a packet was on its way is not known.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from decoders.layout import Field, WireKind
from decoders.stream import Decoded, StreamDecoder
from groundstation.config.telemetry import columns, layout_of
from groundstation.config.vehicle import Vehicle
from groundstation.errors import GroundstationError
from groundstation.inputs import NS_PER_S, Chunk, EventKind, Stamp, StationEvent
from groundstation.recording import Recorder, SessionHeader
from groundstation.table import IntArray
from groundstation.vehicle_clock import Reading, unwrapped

PIECE_BYTES = 1 << 18  # fed, and recorded, at once
CHUNKS_A_COMMIT = 256


class ImportingError(GroundstationError, ValueError):
    """The bytes cannot be given times; the message says why and what to look at."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of an import: bytes, packets, frames rejected, duration [s], restarts and wraps of the clock."""

    n_bytes: int
    n_packets: int
    n_rejects: int
    duration_s: float
    restarts: int
    wraps: int


@dataclass(frozen=True, slots=True)
class TimedBytes:
    """All bytes of a dump: from byte `starts[k]` on, `times_ns[k]` after the first packet; and what was found."""

    starts: IntArray
    times_ns: IntArray
    summary: Imported


def timed(data: bytes, vehicle: Vehicle, *, progress: Callable[[int], None] = lambda _bytes: None) -> TimedBytes:
    """Give every byte a time by the vehicle's clock; 0 is the first packet's.

    Args:
        data: The dump.
        vehicle: The vehicle file; a field of it has the meaning vehicle_time.
        progress: Called with the number of bytes decoded so far.
    Raises:
        ImportingError: No field has that meaning, or no packet with it was found.
    """
    clocks = _clocks(vehicle)
    if not clocks:
        raise ImportingError(
            'found no field with meaning = "vehicle_time" in the vehicle file, expected one: '
            "it is the only clock a byte dump has"
        )
    decoder = StreamDecoder(layout_of(vehicle))
    decoded: list[Decoded] = []
    for at in range(0, len(data), PIECE_BYTES):
        decoded.append(decoder.feed(data[at : at + PIECE_BYTES]))
        progress(min(len(data), at + PIECE_BYTES))
    decoded.append(decoder.finish())
    found = sorted(_readings(decoded, clocks), key=lambda reading: reading[1])
    rejects = [reject for part in decoded for reject in part.rejects]
    if not found:
        first = f"; the first bytes refused: {rejects[0].text}" if rejects else ""
        raise ImportingError(
            f"found no packet in {len(data)} bytes, expected those of {vehicle.name!r}: "
            f"is it the vehicle file of the firmware that sent them?{first}"
        )
    clock = unwrapped([reading for _, _, reading in found])
    first_bytes = np.array([start for start, _, _ in found], np.int64)
    ends = np.array([end for _, end, _ in found], np.int64)
    times_ns = np.round(np.array(clock.times_s) * NS_PER_S).astype(np.int64)
    starts, stamps_ns = _stamps(first_bytes, ends, times_ns)
    n_packets = sum(len(table) for part in decoded for table in part.tables)
    summary = Imported(
        len(data), n_packets, len(rejects), float(times_ns[-1]) / NS_PER_S, clock.restarts, clock.wraps
    )
    return TimedBytes(starts, stamps_ns, summary)


def write_recording(
    path: Path, data: bytes, times: TimedBytes, header: SessionHeader, *, link: str, source: str
) -> None:
    """Write a new recording of the dump, started at the header's time.

    Args:
        path: The recording to write; it must not exist.
        data: The dump.
        times: Its times, from `timed`.
        header: What the recording says about the session.
        link: Name of the link the bytes are recorded under.
        source: Where they came from, for the recording's first event.
    Raises:
        RecordingError: It exists, or cannot be written; nothing is left behind then.
    """
    started_ns = header.started_ns
    recorder = Recorder.create(path, header)
    try:
        recorder.append(
            [
                StationEvent(started_ns, EventKind.RECORDING, True, f"imported from {source}"),
                StationEvent(
                    started_ns, EventKind.LINK, True, f"bytes of {source}, timed by the vehicle's clock", link
                ),
            ]
        )
        batch: list[Chunk | StationEvent] = []
        for chunk in _chunks(data, times, started_ns, link):
            batch.append(chunk)
            if len(batch) == CHUNKS_A_COMMIT:
                recorder.append(batch)
                batch = []
        recorder.append(batch)
        recorder.close(started_ns + int(times.times_ns[-1]))
    except BaseException:
        recorder.abandon()
        for left in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
            left.unlink(missing_ok=True)
        raise


def _clocks(vehicle: Vehicle) -> dict[str, Field]:
    """By packet, the field that holds the vehicle's clock."""
    return {column.packet: column.field for column in columns(vehicle) if column.meaning == "vehicle_time"}


def _readings(decoded: list[Decoded], clocks: dict[str, Field]) -> Iterator[tuple[int, int, Reading]]:
    """First byte, byte after the last, and clock of each packet that has one."""
    for part in decoded:
        for table in part.tables:
            field = clocks.get(table.packet.name)
            if field is None:
                continue
            counts = field.kind in (WireKind.UNSIGNED, WireKind.SIGNED)
            period_s = abs(field.scale) * 2.0**field.bits if counts else float("inf")
            column = table.columns[field.name].astype(np.float64)
            for start, end, clock_s in zip(table.start.tolist(), table.end.tolist(), column.tolist(), strict=True):
                yield start, end, Reading(clock_s, period_s)


def _stamps(first_bytes: IntArray, ends: IntArray, times_ns: IntArray) -> tuple[IntArray, IntArray]:
    """Where each packet's time begins to hold: at its first byte, or halfway through what lies before it."""
    halfway = (ends[:-1] + first_bytes[1:] + 1) // 2
    starts = np.concatenate([np.zeros(1, np.int64), halfway])
    kept = np.concatenate([np.ones(1, np.bool_), np.diff(times_ns) > 0])
    return starts[kept], times_ns[kept]


def _chunks(data: bytes, times: TimedBytes, started_ns: int, link: str) -> Iterator[Chunk]:
    ends = np.append(times.starts[1:], len(data))
    for start, end, at_ns in zip(times.starts.tolist(), ends.tolist(), times.times_ns.tolist(), strict=True):
        for at in range(start, end, PIECE_BYTES):
            yield Chunk(link, data[at : min(end, at + PIECE_BYTES)], (Stamp(0, started_ns + at_ns),))
