"""Decoding a recording and live packets, side by side with loops over single packets.

    python tests/benchmarks/bench_decoding.py [packets] [rounds]

The stream: 1,000,000 packets of 48 and 40 bytes, 9 to 1, COBS, CRC-16/IBM-3740, about 6 zeros a packet, 0.1 % of the
frames damaged; seeded. The contenders, run in turn, each ending in the same columns and the same rejects:

- ours: `RecordingDecoder` fed blocks of 4 MiB, and of 1 MiB;
- ours, tables: `StreamDecoder` fed blocks of 4 MiB, the columns of its tables put one after the other;
- loop: split, `cobs` (C), `binascii.crc_hqx`, `struct.unpack` for each packet, then arrays from the tuples;
- careful loop: as the loop, but the good bodies are joined and read by one `numpy.frombuffer` with a structured type;
- memcpy: the stream copied by `numpy.copyto`.

Times are processor time, so that other work on the machine counts less; it still takes cache and memory bandwidth.
Printed: nanoseconds a packet (median of the rounds), ratios, the share of memcpy's bandwidth, the memory used beyond
the stream; and for live packets microseconds a call.
"""

import argparse
import binascii
import gc
import statistics
import struct
import time
import tracemalloc

import numpy as np
from cobs import cobs

from decoders.layout import ByteOrder, Field, Layout, Packet, WireKind
from decoders.recording import RecordingDecoder
from decoders.stream import StreamDecoder

CODES = {"u8": "B", "i16": "h", "u16": "H", "i32": "i", "u32": "I", "f32": "f"}
MOTION = (
    "n:u16 t:u32 ax:i16 ay:i16 az:i16 gx:i16 gy:i16 gz:i16 p:u32 "
    "qw:i16 qx:i16 qy:i16 qz:i16 gxc:i16 gyc:i16 gxa:i16 gya:i16 h:f32 v:f32 flags:u8"
)
HEALTH = (
    "n:u16 t:u32 vbat:u16 ibat:u16 tbat:i16 tbay:i16 r1:u16 r2:u16 r3:u16 "
    "flags:u8 fix:u8 sats:u8 lat:i32 lon:i32 alt:i32 hdop:u8 k:u16 m:u16"
)


def packet(name, number, text, *, scaled):
    """A packet whose fields follow each other; the 16-bit ones scaled where asked for."""
    place, fields = 1, []
    for entry in text.split():
        label, kind = entry.split(":")
        bits = int(kind[1:])
        wire = {"u": WireKind.UNSIGNED, "i": WireKind.SIGNED, "f": WireKind.FLOAT}[kind[0]]
        scale = 0.005 if scaled and kind == "i16" else 1.0
        fields.append(Field(label, wire, bits, 8 * place, scale=scale))
        place += bits // 8
    return Packet(name, number, place, tuple(fields)), "<B" + "".join(CODES[e.split(":")[1]] for e in text.split())


def stream_of(kinds, count, seed):
    """The stream, every packet of random bytes with one in eight a zero."""
    rng = np.random.default_rng(seed)
    which = rng.random(count) < 0.9
    damaged = rng.random(count) < 0.001
    frames = []
    for i in range(count):
        length = kinds[0 if which[i] else 1][0].length
        if i % 10_000 == 0:
            noise = rng.integers(1, 256, (10_000, 64), dtype=np.uint8)
            noise[rng.random(noise.shape) < 0.125] = 0
            finite = np.frombuffer(rng.random(20_000, dtype=np.float32).tobytes(), np.uint8).reshape(10_000, 8)
            noise[:, 39:47] = finite  # floats without NaN, so that columns can be compared
        body = noise[i % 10_000, :length].copy()
        body[0] = 1 if which[i] else 2
        body = body.tobytes()
        frame = bytearray(cobs.encode(body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, "little")) + b"\0")
        if damaged[i]:
            frame[int(rng.integers(len(frame) - 1))] ^= int(rng.integers(1, 256))
        frames.append(bytes(frame))
    return b"".join(frames)


class Growing:
    """Columns of the whole stream from those of its blocks; room for all is made once, after the first of them.

    The room is one piece of memory: the system gives that out in large pages, with far fewer faults.
    """

    def __init__(self):
        self._room, self._size = {}, 0

    def add(self, columns, share):
        """Columns of a block; `share` of the stream is then done."""
        end = self._size + len(next(iter(columns.values())))
        if not self._room or end > len(next(iter(self._room.values()))):
            self._make_room(columns, 64 + int(1.05 * end / share))
        for name, column in columns.items():
            self._room[name][self._size : end] = column
        self._size = end

    def _make_room(self, columns, capacity):
        before, sizes = self.columns(), [-(-capacity * c.itemsize // 8) * 8 for c in columns.values()]
        whole, at = np.empty(sum(sizes), dtype=np.uint8), 0
        for (name, column), size in zip(columns.items(), sizes, strict=True):
            self._room[name] = whole[at : at + capacity * column.itemsize].view(column.dtype)
            self._room[name][: self._size] = before.get(name, ())
            at += size

    def columns(self):
        return {name: room[: self._size] for name, room in self._room.items()}


def blocks_of(stream, size):
    """The stream as a reader of recordings gives it out."""
    return [stream[at : at + size] for at in range(0, len(stream), size)]


def ours(blocks, layout):
    decoder = RecordingDecoder(layout, sum(map(len, blocks)))
    rejects = sum(len(decoder.feed(block)) for block in blocks) + len(decoder.finish())
    return decoder.columns(), rejects


def ours_by_tables(blocks, layout):
    decoder = StreamDecoder(layout)
    whole = {p.name: Growing() for p in layout.packets}
    rejects = 0
    for number, block in enumerate(blocks, 1):
        decoded = decoder.feed(block)
        rejects += len(decoded.rejects)
        for table in decoded.tables:
            whole[table.packet.name].add(table.columns, min(number * len(blocks[0]) / sum(map(len, blocks)), 1.0))
    rejects += len(decoder.finish().rejects)
    return {name: found.columns() for name, found in whole.items()}, rejects


def loop(stream, kinds):
    unpackers = {p.id: struct.Struct(code) for p, code in kinds}
    rows = {p.id: [] for p, _ in kinds}
    rejects = 0
    for frame in stream.split(b"\0"):
        if not frame:
            continue
        try:
            contents = cobs.decode(frame)
        except cobs.DecodeError:
            rejects += 1
            continue
        body = contents[:-2]
        if binascii.crc_hqx(body, 0xFFFF) != int.from_bytes(contents[-2:], "little"):
            rejects += 1
            continue
        unpacker = unpackers.get(body[0])
        if unpacker is None or unpacker.size != len(body):
            rejects += 1
            continue
        rows[body[0]].append(unpacker.unpack(body))
    columns = {}
    for p, _ in kinds:
        dtype = np.dtype([("id", "u1"), *((f.name, dtype_of(f)) for f in p.fields)])
        table = np.array(rows[p.id], dtype=dtype)
        columns[p.name] = {f.name: scale(np.ascontiguousarray(table[f.name]), f) for f in p.fields}
    return columns, rejects


def careful(stream, kinds):
    lengths = {p.id: p.length + 2 for p, _ in kinds}
    bodies = {p.id: [] for p, _ in kinds}
    rejects = 0
    crc, decode = binascii.crc_hqx, cobs.decode
    for frame in stream.split(b"\0"):
        if not frame:
            continue
        try:
            contents = decode(frame)
        except cobs.DecodeError:
            rejects += 1
            continue
        if crc(contents[:-2], 0xFFFF) != contents[-2] | contents[-1] << 8 or lengths.get(contents[0]) != len(
            contents
        ):
            rejects += 1
            continue
        bodies[contents[0]].append(contents)
    columns = {}
    for p, _ in kinds:
        dtype = np.dtype(
            {
                "names": [f.name for f in p.fields],
                "formats": [dtype_of(f) for f in p.fields],
                "offsets": [f.first_bit // 8 for f in p.fields],
                "itemsize": p.length + 2,
            }
        )
        rows = np.frombuffer(b"".join(bodies[p.id]), dtype=dtype)
        columns[p.name] = {f.name: scale(np.ascontiguousarray(rows[f.name]), f) for f in p.fields}
    return columns, rejects


def dtype_of(item):
    letter = {WireKind.UNSIGNED: "u", WireKind.SIGNED: "i", WireKind.FLOAT: "f"}[item.kind]
    return np.dtype(f"<{letter}{item.bits // 8}")


def scale(column, item):
    return column if item.scale == 1 else column * item.scale


def timed(work):
    gc.collect()
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def same(ours_found, theirs):
    for name, columns in ours_found[0].items():
        for field, column in columns.items():
            other = theirs[0][name][field]
            assert column.dtype == other.dtype, (name, field)
            assert np.array_equal(column, other), (name, field)
    assert ours_found[1] == theirs[1], "different numbers of rejects"


def recording(count, rounds, *, scaled):
    kinds = (packet("motion", 1, MOTION, scaled=scaled), packet("health", 2, HEALTH, scaled=scaled))
    layout = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, tuple(p for p, _ in kinds))
    stream = stream_of(kinds, count, seed=20)
    target = np.empty(len(stream), dtype=np.uint8)
    source = np.frombuffer(stream, dtype=np.uint8)
    blocks, small = blocks_of(stream, 4 << 20), blocks_of(stream, 1 << 20)
    ways = {
        "ours": lambda: ours(blocks, layout),
        "ours, 1 MiB": lambda: ours(small, layout),
        "ours, tables": lambda: ours_by_tables(blocks, layout),
        "loop": lambda: loop(stream, kinds),
        "careful loop": lambda: careful(stream, kinds),
        "memcpy": lambda: np.copyto(target, source),
    }
    times = {name: [] for name in ways}
    for number in range(rounds):
        found = {}
        for name, work in ways.items():
            elapsed, found[name] = timed(work)
            times[name].append(elapsed)
        if number == 0:
            same(found["ours"], found["loop"])
            same(found["ours"], found["careful loop"])
            same(found["ours, tables"], found["ours"])
            output = sum(c.nbytes for columns in found["ours"][0].values() for c in columns.values())
        del found
    middle = {name: statistics.median(spent) for name, spent in times.items()}
    title = "with 16-bit fields scaled to float64" if scaled else "raw columns"
    print(f"\nrecording of {count} packets, {len(stream) / 1e6:.1f} MB, {title}; median of {rounds}:")
    for name, spent in middle.items():
        print(
            f"  {name:<13}{1e9 * spent / count:8.1f} ns a packet{len(stream) / spent / 1e6:9.0f} MB/s"
            f"{spent / middle['ours']:9.2f} times ours"
        )
    print(f"  share of memcpy's bandwidth: {100 * middle['memcpy'] / middle['ours']:.1f} %")
    decoder = StreamDecoder(layout)
    tracemalloc.start()
    for block in blocks:
        decoder.feed(block)
    print(f"  extra memory while streaming: {tracemalloc.get_traced_memory()[1] / 1e6:.1f} MB", end="")
    tracemalloc.reset_peak()
    ours(blocks, layout)
    print(f"; holding all columns ({output / 1e6:.1f} MB): {tracemalloc.get_traced_memory()[1] / 1e6:.1f} MB")
    tracemalloc.stop()


def live(*, scaled):
    kinds = (packet("motion", 1, MOTION, scaled=scaled), packet("health", 2, HEALTH, scaled=scaled))
    layout = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, tuple(p for p, _ in kinds))
    print(f"\nlive, {'16-bit fields scaled' if scaled else 'raw columns'}, microseconds a call:")
    frames = [f + b"\0" for f in stream_of(kinds, 200_000, seed=9).split(b"\0")[:-1]]
    for size in (1, 10, 100):
        calls = [b"".join(frames[i : i + size]) for i in range(0, len(frames) - size, size)][:5_000]
        decoder = StreamDecoder(layout)
        spent = []
        for call in calls:
            start = time.thread_time_ns()
            decoder.feed(call)
            spent.append((time.thread_time_ns() - start) / 1000)
        p50, p99 = np.percentile(spent, [50, 99])
        print(f"  {size:>3} packets: median {p50:7.1f}, 99th percentile {p99:7.1f}")


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("packets", type=int, nargs="?", default=1_000_000)
    arguments.add_argument("rounds", type=int, nargs="?", default=5)
    chosen = arguments.parse_args()
    recording(chosen.packets, chosen.rounds, scaled=False)
    recording(chosen.packets, chosen.rounds, scaled=True)
    live(scaled=False)
    live(scaled=True)


if __name__ == "__main__":
    main()
