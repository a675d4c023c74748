"""Decoding a recording of text lines, side by side with careful loops.

    python tests/benchmarks/bench_lines.py [packets] [rounds] [only]

Lines of two kinds, 9 to 1, as firmware prints them (`%d`, `%.3f`, `%.7f`), 0.1 % of the lines damaged (a byte
changed); seeded. Hexadecimal lines hold the packets of bench_decoding.py, in one case among a receiver's own words.

A careful loop splits the stream into lines, checks each at C speed (its checksum; the characters that are no numbers;
the number of its values), joins the good ones of a kind and reads all their numbers by one `numpy.fromstring`, for
lines of hexadecimal digits by `bytes.fromhex` and one `numpy.frombuffer`. Both ways must give the same columns. Times
are processor time; the median of the rounds, run in turn.
"""

import argparse
import binascii
import dataclasses
import statistics
import sys
import time
import warnings
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import bench_decoding as base

from decoders.checksums import checksum
from decoders.framing import contents_of, framing
from decoders.layout import ByteOrder, Envelope, Field, Layout, Packet, WireKind
from decoders.stream import StreamDecoder

MOTION = "n:u16 t:u32 ax:f32:.3 ay:f32:.3 az:f32:.3 gx:f32:.2 gy:f32:.2 gz:f32:.2 p:f32:.1 h:f32:.2"
HEALTH = "n:u16 t:u32 vbat:f32:.3 tbat:i16 lat:f64:.7 lon:f64:.7 alt:f32:.1 sats:u8"
FIX = (
    "time:f64:09.2 lat:f64:011.6 ns:u8 lon:f64:012.6 ew:u8 quality:u8 sats:u8 hdop:f32:.1 alt:f32:.1 m:u8 sep:f32:.1 "
    "s:u8 age:f64 ref:f64"
)
COURSE = "course:f32:.1 t:u8 other:f64 m:u8 knots:f32:.1 n:u8 speed:f32:.1 k:u8"
LETTERS = {"ns": b"N", "ew": b"E", "m": b"M", "s": b"M", "t": b"T", "n": b"N", "k": b"K"}
EMPTY = ("age", "ref", "other")
CHUNK = 2_000  # lines whose numbers a careful loop reads at once, so that an odd one costs no more than these
HEARD = Envelope(0, 8, (Field("rssi", WireKind.FLOAT, 64, 0),), "HEARD {packet} {rssi}")
CASES = {
    "delimited values, none": {},
    "delimited values, XOR-8": {"checksum": "XOR-8"},
    "delimited values, CRC-16/IBM-3740": {"checksum": "CRC-16/IBM-3740"},
    "delimited values, all digits of a float": {"checksum": "XOR-8"},
    "key=value, none": {"framing": "key=value", "separator": " "},
    "key=value, XOR-8": {"framing": "key=value", "checksum": "XOR-8"},
    "nmea 0183, own sentences": {"framing": "nmea 0183", "checksum": "XOR-8"},
    "nmea 0183, GGA and VTG": {"framing": "nmea 0183", "checksum": "XOR-8"},
    "hexadecimal lines, CRC-16/IBM-3740": {"framing": "hexadecimal lines", "checksum": "CRC-16/IBM-3740"},
    "hexadecimal lines, HEARD {packet} {rssi}": {
        "framing": "hexadecimal lines",
        "checksum": "CRC-16/IBM-3740",
        "envelope": HEARD,
    },
}


def packet(name, number, text):
    """A packet of numbers one behind the other, and the form in which each is printed."""
    place, fields, forms = 8, [], []
    for entry in text.split():
        label, kind, *form = entry.split(":")
        wire = {"u": WireKind.UNSIGNED, "i": WireKind.SIGNED, "f": WireKind.FLOAT}[kind[0]]
        fields.append(Field(label, wire, int(kind[1:]), place))
        forms.append(f"%{form[0]}f".encode() if form else b"%d")
        place += int(kind[1:])
    return Packet(name, number, place // 8, tuple(fields)), forms


def values_of(rng, count):
    """What a flight's fields could be, each at random."""
    n = np.arange(count)
    draw = rng.normal
    return {
        "n": n % 65_536, "t": n * 20, "ax": draw(0, 20, count), "ay": draw(0, 20, count), "az": draw(10, 30, count),
        "gx": draw(0, 90, count), "gy": draw(0, 90, count), "gz": draw(0, 300, count),
        "p": 101_325 - 9_000 * rng.random(count), "h": 800 * rng.random(count), "vbat": 10 + 3 * rng.random(count),
        "tbat": rng.integers(-20, 60, count), "lat": 90 * (2 * rng.random(count) - 1),
        "lon": 180 * (2 * rng.random(count) - 1), "alt": 900 * rng.random(count), "sats": rng.integers(0, 24, count),
        "time": 120_000 + rng.integers(0, 6_000, count) / 100, "quality": rng.integers(0, 6, count),
        "hdop": 5 * rng.random(count), "sep": 46.9 + 0 * n, "course": 360 * rng.random(count),
        "knots": 99 * rng.random(count), "speed": 180 * rng.random(count),
    }  # fmt: skip


def stream_of(layout, forms, count, seed, *, all_digits, is_fix):
    """The stream."""
    rng = np.random.default_rng(seed)
    values = values_of(rng, count)
    if is_fix:
        values["lat"], values["lon"] = 4807 + 50 * rng.random(count), 1131 + 20 * rng.random(count)
    values = {name: column.tolist() for name, column in values.items()}
    separator = layout.separator.encode()
    sum_of = checksum(layout.checksum)
    opening = b"$" if layout.framing == "nmea 0183" else b""
    lines = []
    for i, kind in enumerate((rng.random(count) >= 0.9).astype(int)):
        which = layout.packets[kind]
        tokens = [(b"GP" if is_fix else b"") + (which.tag or which.name).encode()]
        for item, form in zip(which.fields, forms[kind], strict=True):
            if is_fix and (item.name in LETTERS or item.name in EMPTY):
                token = LETTERS.get(item.name, b"")
            elif all_digits and item.kind is WireKind.FLOAT:
                token = repr(values[item.name][i]).encode()
            else:
                token = form % values[item.name][i]
            tokens.append(item.name.encode() + b"=" + token if layout.framing == "key=value" else token)
        line = separator.join(tokens)
        if sum_of.size:
            line += b"*%0*X" % (2 * sum_of.size, sum_of.of(line))
        lines.append(sent(opening + line + b"\r\n", rng))
    return b"".join(lines)


def hexadecimal_stream(layout, kinds, count, seed):
    """The packets of bench_decoding.py as lines of digits, and what a receiver adds."""
    rng = np.random.default_rng(seed)
    bare = dataclasses.replace(layout, envelope=Envelope())
    framed = framing(bare)
    contents = contents_of(bare, framed)
    lines = []
    noise = rng.integers(0, 256, (10_000, 64), dtype=np.uint8)
    noise[:, 39:47] = np.frombuffer(rng.random(20_000, dtype=np.float32).tobytes(), np.uint8).reshape(10_000, 8)
    for i, first in enumerate(rng.random(count) < 0.9):
        body = bytes([1 if first else 2]) + noise[i % 10_000, 1 : kinds[0 if first else 1][0].length].tobytes()
        line = framed.encode(contents.seal(contents.with_room(body)))[:-1]
        if layout.envelope.line:
            line = b"HEARD %s %.1f" % (line, rng.normal(-80, 10))
        lines.append(sent(line + b"\r\n", rng))
    return b"".join(lines)


def sent(line, rng):
    """The line as it is received: one in a thousand with a byte changed, to none that may be around numbers."""
    if rng.random() >= 0.001:
        return line
    place, put = int(rng.integers(len(line) - 1)), b" "
    while put.isspace() or put == line[place : place + 1]:
        put = rng.bytes(1)
    return line[:place] + put + line[place + 1 :]


def xor_of(text):
    """The exclusive or of all characters, by halving one long number."""
    number, size = int.from_bytes(text, "little"), 1024
    while size >= 8:
        number ^= number >> size
        size >>= 1
    return number & 0xFF


def crc_of(text):
    return binascii.crc_hqx(text, 0xFFFF)


def numbers_of(rests, separator, columns):
    """The numbers of some lines by one call; line by line where that cannot be."""
    try:
        found = np.fromstring(separator.join(rests), sep=separator.decode())
        if found.size == len(rests) * columns:
            return found.reshape(-1, columns)
    except (ValueError, DeprecationWarning):
        pass
    rows = []
    for rest in rests:
        try:
            rows.append([float(token) for token in rest.split(separator)])
        except ValueError:
            continue
    return np.array(rows).reshape(-1, columns)


def careful(stream, layout):
    """Columns of the good lines."""
    separator = layout.separator.encode()
    compute = {"none": None, "XOR-8": xor_of, "CRC-16/IBM-3740": crc_of}[layout.checksum]
    width = 2 * checksum(layout.checksum).size
    is_nmea, is_named = layout.framing == "nmea 0183", layout.framing == "key=value"
    kinds = {(p.tag or p.name).encode(): p for p in layout.packets}
    rests = {tag: [] for tag in kinds}
    skeletons = {
        tag: separator.join((f"{item.name}=" if is_named else "").encode() for item in p.fields)
        for tag, p in kinds.items()
    }
    letters = b"abcdfghijklmnopqrstuvwxyz=" if is_named else None  # no name has an e
    numbers = b"0123456789+-.e"
    for line in stream.split(b"\n"):
        line = line.rstrip(b"\r")
        if is_nmea:
            if line[:1] not in (b"$", b"!"):
                continue
            line = line[1:]
        if compute is not None:
            line, mark, digits = line.rpartition(b"*")
            try:
                if len(digits) != width or not mark or int(digits, 16) != compute(line):
                    continue
            except ValueError:
                continue
        tag, _, rest = line.partition(separator)
        kept = rests.get(tag)
        if kept is None or rest.translate(None, numbers) != skeletons[tag]:
            continue
        kept.append(rest)
    columns = {}
    for tag, p in kinds.items():
        plain, count = rests[tag], len(p.fields)
        if letters:
            plain = [rest.translate(None, letters) for rest in plain]
        parts = [numbers_of(plain[at : at + CHUNK], separator, count) for at in range(0, len(plain), CHUNK)]
        columns[p.name] = as_columns(p, np.concatenate(parts))
    return columns


def careful_fixes(stream, layout):
    """Columns of the good sentences with letters and empty fields in them: each field a list of its own."""
    kinds = {p.tag.encode(): p for p in layout.packets}
    rows = {tag: [] for tag in kinds}
    for line in stream.split(b"\n"):
        if line[:1] not in (b"$", b"!"):
            continue
        line, mark, digits = line[1:].rstrip(b"\r").rpartition(b"*")
        try:
            if not mark or len(digits) != 2 or int(digits, 16) != xor_of(line):
                continue
        except ValueError:
            continue
        tag, *tokens = line.split(b",")
        p = kinds.get(tag[2:])
        if p is not None and len(tokens) == len(p.fields):
            rows[tag[2:]].append(tokens)
    columns = {}
    for tag, p in kinds.items():
        made = {}
        for item, tokens in zip(p.fields, zip(*rows[tag], strict=True), strict=True):
            if item.name in LETTERS:
                numbers = np.frombuffer(b"".join(tokens), np.uint8)
            elif item.name in EMPTY:
                numbers = np.array([float(token or b"nan") for token in tokens])
            else:
                numbers = np.fromstring(b",".join(tokens), sep=",")
            made[item.name] = numbers.astype(base.dtype_of(item))
        columns[p.name] = made
    return columns


def as_columns(p, table):
    """The columns of a table of numbers, without the rows that their types cannot hold."""
    fits = np.ones(len(table), dtype=bool)
    for item, column in zip(p.fields, table.T, strict=True):
        if item.kind is not WireKind.FLOAT:
            limits = np.iinfo(base.dtype_of(item))
            fits &= (column >= limits.min) & (column <= limits.max) & (column == np.floor(column))
    if not fits.all():
        table = table[fits]
    with warnings.catch_warnings():
        return {item.name: table[:, k].astype(base.dtype_of(item)) for k, item in enumerate(p.fields)}


def careful_digits(stream, layout, kinds):
    """Columns of the good packets in lines of hexadecimal digits, and of the numbers behind them."""
    lengths = {p.id: p.length + 2 for p, _ in kinds}
    found, heard = {p.id: [] for p, _ in kinds}, {p.id: [] for p, _ in kinds}
    is_heard = bool(layout.envelope.line)
    crc = binascii.crc_hqx
    for line in stream.split(b"\n"):
        try:
            line = line.rstrip(b"\r")
            if is_heard:
                word, line, number = line.split(b" ")
                if word != b"HEARD":
                    continue
                number = float(number)
            contents = binascii.unhexlify(line)
        except ValueError:
            continue
        if not contents or crc(contents[:-2], 0xFFFF) != int.from_bytes(contents[-2:], "little"):
            continue
        if lengths.get(contents[0]) == len(contents):
            found[contents[0]].append(contents)
            if is_heard:
                heard[contents[0]].append(number)
    columns = {}
    for p, _ in kinds:
        names, formats = [f.name for f in p.fields], [base.dtype_of(f) for f in p.fields]
        offsets = [f.first_bit // 8 for f in p.fields]
        dtype = np.dtype({"names": names, "formats": formats, "offsets": offsets, "itemsize": p.length + 2})
        rows = np.frombuffer(b"".join(found[p.id]), dtype=dtype)
        columns[p.name] = {f.name: np.ascontiguousarray(rows[f.name]) for f in p.fields}
        if is_heard:
            columns[p.name]["rssi"] = np.array(heard[p.id])
    return columns


def same(ours, theirs):
    for name, columns in ours.items():
        for field, column in columns.items():
            other = theirs[name][field]
            assert column.dtype == other.dtype, (name, field)
            assert np.array_equal(column, other, equal_nan=column.dtype.kind == "f"), (name, field)


def live(layout, stream, size):
    """Median and 99th percentile of feeding so many lines at once, microseconds."""
    lines = stream.splitlines(keepends=True)
    decoder, spent = StreamDecoder(layout), []
    for at in range(0, min(len(lines), 3_000 * size), size):
        call = b"".join(lines[at : at + size])
        start = time.thread_time_ns()
        decoder.feed(call)
        spent.append((time.thread_time_ns() - start) / 1000)
    return np.percentile(spent, [50, 99])


def case(name, change, count):
    """The layout of a case, its stream, and the careful loop of it."""
    plain = {"framing": "delimited values", "checksum": "none", "byte_order": ByteOrder.LITTLE}
    if name.startswith("hexadecimal"):
        kinds = (
            base.packet("motion", 1, base.MOTION, scaled=False),
            base.packet("health", 2, base.HEALTH, scaled=False),
        )
        layout = Layout(**{**plain, "packets": tuple(p for p, _ in kinds), **change})
        return layout, hexadecimal_stream(layout, kinds, count, 20), lambda s: careful_digits(s, layout, kinds)
    is_fix = "GGA" in name
    texts = (("GGA", FIX), ("VTG", COURSE)) if is_fix else (("motion", MOTION), ("health", HEALTH))
    made = [packet(label, number, text) for number, (label, text) in enumerate(texts, 1)]
    packets = tuple(Packet(p.name.lower(), p.id, p.length, p.fields, tag=p.name if is_fix else "") for p, _ in made)
    layout = Layout(**{**plain, "packets": packets, **change})
    forms = [printed for _, printed in made]
    stream = stream_of(layout, forms, count, 20, all_digits="all digits" in name, is_fix=is_fix)
    return layout, stream, lambda s: careful_fixes(s, layout) if is_fix else careful(s, layout)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("packets", type=int, nargs="?", default=200_000)
    arguments.add_argument("rounds", type=int, nargs="?", default=5)
    arguments.add_argument("only", nargs="?", default="")
    chosen = arguments.parse_args()
    warnings.simplefilter("error", DeprecationWarning)
    print(f"{chosen.packets} packets, median of {chosen.rounds}: ns a packet, and live 1 and 100 packets in us")
    for name, change in CASES.items():
        if chosen.only not in name:
            continue
        layout, stream, careful_loop = case(name, change, chosen.packets)
        blocks = base.blocks_of(stream, 4 << 20)
        mine, theirs = [], []
        for number in range(chosen.rounds):
            elapsed, (columns, _) = base.timed(lambda b=blocks, made=layout: base.ours(b, made))
            mine.append(elapsed)
            elapsed, other = base.timed(lambda s=stream, loop=careful_loop: loop(s))
            theirs.append(elapsed)
            if number == 0:
                same(columns, other)
        a, b = (1e9 * statistics.median(spent) / chosen.packets for spent in (mine, theirs))
        one, hundred = live(layout, stream, 1), live(layout, stream, 100)
        print(
            f"  {name:<40}{a:7.0f}, careful loop {b:7.0f}: {b / a:6.1f} times"
            f"   live {one[0]:6.1f} (p99 {one[1]:6.1f}), {hundred[0]:6.1f} (p99 {hundred[1]:6.1f})"
            f"   {len(stream) / chosen.packets:.0f} bytes a line",
            flush=True,
        )


if __name__ == "__main__":
    main()
