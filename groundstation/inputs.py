"""What enters the pipeline: bytes with their receive times, and events of the station and its operator.

Times are integer nanoseconds since 1970-01-01 UTC, taken once from the laptop's clock at the session's start and
carried on by its monotonic clock, so that they never jump. Within a session they never decrease.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

NS_PER_S = 1_000_000_000


class Stamp(NamedTuple):
    """From byte `start` of a chunk on (until the next stamp), bytes were received at `received_ns`.

    A tuple, not a dataclass: a recording has one of each packet.
    """

    start: int
    received_ns: int


@dataclass(frozen=True, slots=True)
class Chunk:
    """Bytes from one link, in order, each with the time it was received.

    A chunk may be cut anywhere: what the pipeline makes of the bytes depends on their order and times alone. An
    empty chunk is the evidence that the link was open and silent at its time.
    """

    link: str
    data: bytes
    stamps: tuple[Stamp, ...]

    @classmethod
    def at(cls, received_ns: int, data: bytes, *, link: str) -> "Chunk":
        """A chunk whose bytes were all received at one time."""
        return cls(link, data, (Stamp(0, received_ns),))

    def __post_init__(self) -> None:
        starts = [s.start for s in self.stamps]
        times = [s.received_ns for s in self.stamps]
        if not starts or starts[0] != 0 or starts != sorted(set(starts)) or times != sorted(times):
            raise ValueError(f"stamps must start at byte 0 and go up in place and time, found {self.stamps!r}")
        if self.data and starts[-1] >= len(self.data):
            raise ValueError(f"a stamp at byte {starts[-1]} lies outside a chunk of {len(self.data)} bytes")


class EventKind(StrEnum):
    """Who or what an event of the station is about."""

    RECORDING = "recording"  # text: "running" or why it is not
    LINK = "link"  # text: what became of the link
    OPERATOR = "operator"  # text: what the operator noted
    COUNT = "count"  # text: what the operator told the count, see groundstation.operator_actions
    WAIVER = "waiver"  # text: what the operator waived or took back, see groundstation.operator_actions
    LAPTOP_WATCH = "laptop watch"  # text: what of the laptop is watched from now on, see groundstation.laptop
    LAPTOP_POWER = "laptop power"  # text: how the laptop is supplied
    LAPTOP_DISK = "laptop disk"  # text: room on the disk that is recorded to
    LAPTOP_CLOCK = "laptop clock"  # text: whether its clock was set
    BENCH_PROOF = "bench proof"  # text: a bench proof known at the start, see groundstation.bench.kept
    BENCH_FILE = "bench file"  # text: how the file of bench proofs stands; told after the proofs in it
    BENCH_STEP = "bench step"  # text: what the person said on the bench, see groundstation.bench.events


@dataclass(frozen=True, slots=True)
class StationEvent:
    """Something that happened at the station, not on the vehicle."""

    at_ns: int
    kind: EventKind
    ok: bool
    text: str
    link: str = ""


@dataclass(frozen=True, slots=True)
class Tick:
    """Everything up to and including `now_ns` has been handed over; whatever comes later is strictly later."""

    now_ns: int


Item = Chunk | StationEvent  # what a recording holds
Input = Chunk | StationEvent | Tick  # what the pipeline is given


def recut(chunks: Sequence[Chunk], sizes: Iterator[int]) -> list[Chunk]:
    """The same bytes of one link with the same receive times, cut into chunks of the given sizes (each at least 1).

    Empty chunks keep their place in time as empty chunks.
    """
    out: list[Chunk] = []
    data = bytearray()
    stamps: list[Stamp] = []
    room = next(sizes)

    def flush() -> None:
        nonlocal data, stamps, room
        if data:
            out.append(Chunk(link, bytes(data), tuple(stamps)))
        data, stamps, room = bytearray(), [], next(sizes)

    for chunk in chunks:
        link = chunk.link
        if not chunk.data:
            flush()
            out.append(chunk)
            continue
        for k, stamp in enumerate(chunk.stamps):
            end = chunk.stamps[k + 1].start if k + 1 < len(chunk.stamps) else len(chunk.data)
            at = stamp.start
            while at < end:
                take = min(room - len(data), end - at)
                if not stamps or stamps[-1].received_ns != stamp.received_ns:
                    stamps.append(Stamp(len(data), stamp.received_ns))
                data += chunk.data[at : at + take]
                at += take
                if len(data) == room:
                    flush()
    if data:
        out.append(Chunk(link, bytes(data), tuple(stamps)))
    return out
