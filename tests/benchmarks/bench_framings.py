"""Decoding a recording in every binary framing and with several checksums, side by side with careful loops.

    python tests/benchmarks/bench_framings.py [packets] [rounds] [only]

The packets are those of bench_decoding.py, 0.1 % of the frames damaged (a byte changed); seeded. A careful loop finds
each frame with bytes.find or split, takes escapes back with bytes.replace, computes its checksum at C speed where the
standard library can, joins the good contents and reads them by one numpy.frombuffer. Both ways must give the same
columns and, of framings without a delimiter, leave over as many bytes. Times are processor time; the median of the
rounds, run in turn.
"""

import argparse
import gc
import re
import statistics
import struct
import sys
import time
from pathlib import Path

import numpy as np
from cobs import cobs

sys.path.insert(0, str(Path(__file__).parent))
import bench_decoding as base

from decoders.checksums import checksum
from decoders.envelope import put_around
from decoders.framing import contents_of, framing
from decoders.layout import BitOrder, ByteOrder, Envelope, Field, Layout, LengthField, Packet, Sync, WireKind
from decoders.line_beside import LineBeside, is_beside, without_line
from decoders.stream import StreamDecoder

WORD = b"\xa5\x5a"
COUNTED = Sync(WORD, LengthField(8, adds=1), 1)
# what a receiver adds: RSSI and SNR behind the packet, or one of them in front
RSSI = Field("rssi", WireKind.SIGNED, 8, 0)
SNR = Field("snr", WireKind.SIGNED, 8, 8)
BEHIND, AROUND = Envelope(0, 2, (RSSI, SNR)), Envelope(1, 1, (RSSI, SNR))
TRAILING = Envelope(0, 2, (RSSI, SNR), behind=2)
TOLD = tuple(Field(name, WireKind.FLOAT, 64, 64 * k) for k, name in enumerate(("rssi", "snr")))
LINE = "RSSI {rssi} SNR {snr}"
LINE_IN_FRONT, LINE_BEHIND = Envelope(16, 0, TOLD, LINE), Envelope(0, 16, TOLD, LINE)
CASES = {
    "cobs, CRC-16/IBM-3740": {"framing": "cobs"},
    "cobs, CRC-16/KERMIT": {"framing": "cobs", "checksum": "CRC-16/KERMIT"},
    "cobs, CRC-16/MODBUS": {"framing": "cobs", "checksum": "CRC-16/MODBUS"},
    "cobs, CRC-32/ISO-HDLC": {"framing": "cobs", "checksum": "CRC-32/ISO-HDLC"},
    "cobs, CRC-8/SMBUS": {"framing": "cobs", "checksum": "CRC-8/SMBUS"},
    "cobs, Fletcher-16": {"framing": "cobs", "checksum": "Fletcher-16"},
    "cobs, Fletcher-32": {"framing": "cobs", "checksum": "Fletcher-32"},
    "cobs, Adler-32": {"framing": "cobs", "checksum": "Adler-32"},
    "cobs, XOR-8": {"framing": "cobs", "checksum": "XOR-8"},
    "cobs, sum-8": {"framing": "cobs", "checksum": "sum-8"},
    "cobs, none": {"framing": "cobs", "checksum": "none"},
    "slip, CRC-16/IBM-3740": {"framing": "slip"},
    "rfc 1662, CRC-16/IBM-SDLC": {"framing": "rfc 1662", "checksum": "CRC-16/IBM-SDLC"},
    "sync and length, CRC-16/IBM-3740": {"framing": "sync", "sync": COUNTED},
    "sync and length, CRC-32/ISO-HDLC": {"framing": "sync", "sync": COUNTED, "checksum": "CRC-32/ISO-HDLC"},
    "sync and fixed length, CRC-16/IBM-3740": {"framing": "sync", "sync": Sync(WORD)},
    "fixed length, CRC-16/IBM-3740": {"framing": "fixed length"},
    "fixed length, CRC-32/ISO-HDLC": {"framing": "fixed length", "checksum": "CRC-32/ISO-HDLC"},
    "ccsds, CRC-16/IBM-3740": {"framing": "ccsds"},
    "ccsds, none": {"framing": "ccsds", "checksum": "none"},
    "cobs, RSSI and SNR behind": {"framing": "cobs", "envelope": BEHIND},
    "cobs, RSSI in front, SNR behind": {"framing": "cobs", "envelope": AROUND},
    "slip, RSSI and SNR behind": {"framing": "slip", "envelope": BEHIND},
    "rfc 1662, RSSI and SNR behind": {"framing": "rfc 1662", "checksum": "CRC-16/IBM-SDLC", "envelope": BEHIND},
    "sync and length, RSSI and SNR behind": {"framing": "sync", "sync": COUNTED, "envelope": BEHIND},
    "sync and fixed length, RSSI and SNR behind": {"framing": "sync", "sync": Sync(WORD), "envelope": BEHIND},
    "fixed length, RSSI and SNR behind": {"framing": "fixed length", "envelope": BEHIND},
    "ccsds, RSSI and SNR behind": {"framing": "ccsds", "envelope": BEHIND},
    "cobs, RSSI and SNR after the delimiter": {"framing": "cobs", "envelope": TRAILING},
    "slip, RSSI and SNR after the delimiter": {"framing": "slip", "envelope": TRAILING},
    "cobs, a line in front": {"framing": "cobs", "envelope": LINE_IN_FRONT},
    "cobs, a line behind": {"framing": "cobs", "envelope": LINE_BEHIND},
    "rfc 1662, RSSI and SNR after the delimiter": {
        "framing": "rfc 1662",
        "checksum": "CRC-16/IBM-SDLC",
        "envelope": TRAILING,
    },
}
# CCSDS 133.0-B, 4.1.3: the primary header, its application process identifier and its packet sequence count
HEADER = 6
SPACE_PACKETS = {"id_bits": 11, "id_first_bit": 5, "id_bit_order": BitOrder.MOST}
COUNT = Field("ccsds_count", WireKind.UNSIGNED, 14, 18, bit_order=BitOrder.MOST)


def layout_of(packets, change):
    """The layout of a case; of space packets, the header takes the place of the one byte that tells packets apart."""
    given = {"checksum": "CRC-16/IBM-3740", "byte_order": ByteOrder.LITTLE, "packets": packets, **change}
    if given["framing"] == "ccsds":
        moved = tuple(
            Packet(
                p.name,
                p.id,
                p.length + HEADER - 1,
                (COUNT, *(Field(f.name, f.kind, f.bits, f.first_bit + 8 * (HEADER - 1)) for f in p.fields)),
            )
            for p in packets
        )
        given |= SPACE_PACKETS | {"packets": moved}
    return Layout(**given)


def stream_of(layout, kinds, count, seed):
    """The stream; every frame of random bytes with one in eight a zero."""
    rng = np.random.default_rng(seed)
    line = LineBeside.of(layout)
    layout = without_line(layout)
    framed = framing(layout)
    contents = contents_of(layout, framed)
    frames = []
    noise = rng.integers(1, 256, (10_000, 64), dtype=np.uint8)
    noise[rng.random(noise.shape) < 0.125] = 0
    finite = np.frombuffer(rng.random(20_000, dtype=np.float32).tobytes(), np.uint8).reshape(10_000, 8)
    noise[:, 39:47] = finite
    for i, first in enumerate(rng.random(count) < 0.9):
        length = kinds[0 if first else 1][0].length
        head = bytes([1 if first else 2])
        if layout.framing == "ccsds":
            head = bytes([0]) + head + (0xC000 | i & 0x3FFF).to_bytes(2, "big") + bytes(2)
        body = head + noise[i % 10_000, 1:length].tobytes()
        whole = contents.with_room(body)
        if not line:
            put_around(whole, layout, contents, noise[i % 10_000, :2].tobytes())
        framed.prepare(whole)
        frame = bytearray(framed.encode(contents.seal(whole)))
        if rng.random() < 0.001:
            frame[int(rng.integers(len(frame) - 1))] ^= int(rng.integers(1, 256))
        if line:
            run = (float(-30 - i % 90), i % 37 / 2 - 9)
            frame = line.put_beside(bytes(frame), struct.pack("<2d", *run))
        frames.append(bytes(frame))
    return b"".join(frames)


def cobs_contents(stream):
    for frame in stream.split(b"\0"):
        if frame:
            try:
                yield cobs.decode(frame)
            except cobs.DecodeError:
                continue


def slip_contents(stream):
    for frame in stream.split(b"\xc0"):
        if b"\xdb" in frame:
            frame = frame.replace(b"\xdb\xdc", b"\xc0").replace(b"\xdb\xdd", b"\xdb")
        if frame:
            yield frame


def rfc1662_contents(stream):
    for frame in stream.split(b"\x7e"):
        if b"\x7d" in frame:
            frame = frame.replace(b"\x7d\x5e", b"\x7e").replace(b"\x7d\x5d", b"\x7d")
        if frame:
            yield frame


def trailed_contents(stream, layout):
    """As the others, the receiver's bytes behind each delimiter at the end of the contents."""
    delimiter, behind = framing(layout).delimiter, layout.envelope.behind
    place, find = 0, stream.find
    while True:
        end = find(delimiter, place)
        if end < 0:
            return
        if end == place:
            place += 1
            continue
        frame, place = stream[place:end], end + 1 + behind
        if layout.framing == "cobs":
            try:
                yield cobs.decode(frame) + stream[end + 1 : place]
            except cobs.DecodeError:
                continue
            continue
        if layout.framing == "slip" and b"\xdb" in frame:
            frame = frame.replace(b"\xdb\xdc", b"\xc0").replace(b"\xdb\xdd", b"\xdb")
        elif layout.framing == "rfc 1662" and b"\x7d" in frame:
            frame = frame.replace(b"\x7d\x5e", b"\x7e").replace(b"\x7d\x5d", b"\x7d")
        yield frame + stream[end + 1 : place]


def lined(stream, layout, kinds):
    """As `careful`, for COBS and a line of text beside each frame, which a regular expression finds."""
    size, compute = 2, checksum(layout.checksum).of
    found, told = {p.id: [] for p in layout.packets}, {p.id: [] for p in layout.packets}
    lengths = {p.id: p.length + size for p in layout.packets}
    match, in_front = re.compile(rb"RSSI ([-+.0-9]+) SNR ([-+.0-9]+)\r\n").match, layout.envelope.before > 0
    last = None
    for piece in stream.split(b"\0"):
        line = match(piece)
        if line and not in_front and last is not None:
            told[last][-1] = (float(line[1]), float(line[2]))
        last = None
        frame = piece[line.end() :] if line else piece
        if not frame:
            continue
        try:
            contents = cobs.decode(frame)
        except cobs.DecodeError:
            continue
        if compute(contents[:-2]) == int.from_bytes(contents[-2:], "little") and lengths.get(contents[0]) == len(
            contents
        ):
            last = contents[0]
            found[last].append(contents)
            told[last].append((float(line[1]), float(line[2])) if line and in_front else (np.nan, np.nan))
    columns = {}
    for p in layout.packets:
        dtype = np.dtype(
            {
                "names": [f.name for f in p.fields],
                "formats": [base.dtype_of(f) for f in p.fields],
                "offsets": [f.first_bit // 8 for f in p.fields],
                "itemsize": lengths[p.id],
            }
        )
        rows = np.frombuffer(b"".join(found[p.id]), dtype=dtype)
        numbers = np.array(told[p.id])
        columns[p.name] = {name: np.ascontiguousarray(rows[name]) for name in dtype.names}
        columns[p.name] |= {"rssi": numbers[:, 0].copy(), "snr": numbers[:, 1].copy()}
    return columns, 0


def careful(stream, layout, kinds):
    """Columns of the good packets by the careful loop of the layout's framing, and the bytes left over by it."""
    framed = framing(layout)
    check, around = checksum(layout.checksum), layout.envelope
    head, after = framed.head_size + around.before, around.after
    size, compute = check.size, check.of
    kinds = [(p, code) for p, (_, code) in zip(layout.packets, kinds, strict=True)]
    lengths = {p.id: head + p.length + size + after for p, _ in kinds}
    body, stated = slice(head, -size - after or None), slice(-size - after, -after or None)
    found = {p.id: [] for p, _ in kinds}
    if layout.framing in ("cobs", "slip", "rfc 1662"):
        ways = {"cobs": cobs_contents, "slip": slip_contents, "rfc 1662": rfc1662_contents}
        every = trailed_contents(stream, layout) if around.behind else ways[layout.framing](stream)
        for contents in every:
            if size and compute(contents[body]) != int.from_bytes(contents[stated], "little"):
                continue
            if len(contents) > head and lengths.get(contents[head]) == len(contents):
                found[contents[head]].append(contents)
    elif layout.framing == "ccsds":
        marker, place, last = bytes.fromhex("1ACFFC1D"), 0, len(stream)
        while True:
            place = stream.find(marker, place)
            if place < 0 or place + head + HEADER > last:
                break
            length = (stream[place + 8] << 8 | stream[place + 9]) + head + HEADER + 1 + after
            frame = stream[place : place + length]
            number = (frame[4] & 7) << 8 | frame[5]
            is_right = len(frame) == length and lengths.get(number) == length
            if not is_right or (size and compute(frame[body]) != int.from_bytes(frame[stated], "little")):
                place += 1
                continue
            found[number].append(frame)
            place += length
    else:
        word = layout.sync.word if layout.sync else b""
        counted = layout.sync is not None and layout.sync.length is not None
        longest = max(lengths.values())
        place, last = 0, len(stream)
        while True:
            place = stream.find(word, place)
            if place < 0 or place + head >= last:
                break
            length = stream[place + 2] + 3 + after if counted else lengths.get(stream[place + head], 0)
            frame = stream[place : place + length]
            is_whole = head + size + after < length == len(frame) <= longest
            if not is_whole or compute(frame[body]) != int.from_bytes(frame[stated], "little"):
                place += 1
                continue
            if lengths.get(frame[head]) == length:
                found[frame[head]].append(frame)
            place += length
    columns, left = {}, len(stream)
    for p, _ in kinds:
        at = [framed.head_size + k if k < around.before else lengths[p.id] - 2 + k for k in range(len(around.fields))]
        dtype = np.dtype(
            {
                "names": [f.name for f in (*p.fields, *around.fields)],
                "formats": [">u2" if f == COUNT else base.dtype_of(f) for f in (*p.fields, *around.fields)],
                "offsets": [*(head + f.first_bit // 8 for f in p.fields), *at],
                "itemsize": lengths[p.id],
            }
        )
        rows = np.frombuffer(b"".join(found[p.id]), dtype=dtype)
        left -= rows.nbytes
        columns[p.name] = {name: np.ascontiguousarray(rows[name]) for name in dtype.names}
        if COUNT in p.fields:
            columns[p.name][COUNT.name] = (rows[COUNT.name] & 0x3FFF).astype(np.uint16)
    return columns, left


def left_over(stream, layout):
    """Bytes that are rejects."""
    decoder = StreamDecoder(layout)
    rejects = [*decoder.feed(stream).rejects, *decoder.finish().rejects]
    return sum(reject.end - reject.start for reject in rejects)


def live(layout, stream, size):
    """Median and 99th percentile of feeding so many packets at once, microseconds."""
    mean = len(stream) // 20_000
    calls = [stream[at : at + size * mean] for at in range(0, len(stream), size * mean)][:3_000]
    decoder = StreamDecoder(layout)
    spent = []
    gc.collect()
    for call in calls:
        start = time.thread_time_ns()
        decoder.feed(call)
        spent.append((time.thread_time_ns() - start) / 1000)
    return np.percentile(spent, [50, 99])


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("packets", type=int, nargs="?", default=300_000)
    arguments.add_argument("rounds", type=int, nargs="?", default=5)
    arguments.add_argument("only", nargs="?", default="")
    chosen = arguments.parse_args()
    kinds = (
        base.packet("motion", 1, base.MOTION, scaled=False),
        base.packet("health", 2, base.HEALTH, scaled=False),
    )
    packets = tuple(p for p, _ in kinds)
    print(f"{chosen.packets} packets, median of {chosen.rounds}: ns a packet, and live 1 and 100 packets in us")
    for name, change in CASES.items():
        if chosen.only not in name:
            continue
        layout = layout_of(packets, change)
        stream = stream_of(layout, kinds, chosen.packets, seed=20)
        blocks = base.blocks_of(stream, 4 << 20)
        way = lined if is_beside(layout) else careful
        mine, theirs = [], []
        for number in range(chosen.rounds):
            elapsed, (columns, _) = base.timed(lambda b=blocks, made=layout: base.ours(b, made))
            mine.append(elapsed)
            elapsed, (other, left) = base.timed(lambda s=stream, made=layout, way=way: way(s, made, kinds))
            theirs.append(elapsed)
            if number == 0:
                base.same((columns, 0), (other, 0))
                if layout.framing in ("sync", "fixed length", "ccsds"):
                    assert left == left_over(stream, layout), "different bytes left over"
        a, b = (1e9 * statistics.median(spent) / chosen.packets for spent in (mine, theirs))
        few = stream[: len(stream) * 20_000 // chosen.packets]
        one, hundred = live(layout, few, 1), live(layout, few, 100)
        print(
            f"  {name:<40}{a:7.0f}, careful loop {b:7.0f}: {b / a:6.1f} times"
            f"   live {one[0]:6.1f} (p99 {one[1]:6.1f}), {hundred[0]:6.1f} (p99 {hundred[1]:6.1f})",
            flush=True,
        )


if __name__ == "__main__":
    main()
