import dataclasses
import random
import struct
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from decoders.calibration import Polynomial
from decoders.crc import CrcModel
from decoders.fields import number_place, place_of, text_place
from decoders.fingerprint import layout_fingerprint
from decoders.framing import contents_of, framing
from decoders.layout import (
    Address,
    BitOrder,
    ByteOrder,
    ChecksumPlace,
    Field,
    Layout,
    LengthField,
    Packet,
    Sync,
    WireKind,
)
from decoders.packing import FrameEncoder, raw_limits
from decoders.stream import StreamDecoder
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.layout_tools.c_header import c_header
from groundstation.layout_tools.c_words import identifier
from groundstation.layout_tools.described import Description, described
from groundstation.layout_tools.errors import LayoutToolError

FLAGS = ["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-Wsign-conversion", "-O1"]

Raws = dict[str, int | float | bytes]


def every_kind(id_bits: int) -> tuple[Field, ...]:
    """A field of every kind and width, whole and as bits of larger numbers."""
    place = id_bits
    fields: list[Field] = []

    def whole(name: str, kind: WireKind, bits: int, scale: float = 1.0, bias: float = 0.0) -> None:
        nonlocal place
        fields.append(Field(name, kind, bits, place, scale, bias))
        place += bits

    for bits in range(8, 65, 8):
        whole(f"u{bits}", WireKind.UNSIGNED, bits)
        whole(f"i{bits}", WireKind.SIGNED, bits)
    whole("scaled", WireKind.SIGNED, 24, 0.01, -40.0)
    whole("f32", WireKind.FLOAT, 32)
    whole("f64", WireKind.FLOAT, 64)
    whole("switch", WireKind.BOOLEAN, 8)  # a keyword in C
    for container in (8, 16, 24, 40, 64):
        shift = 0
        for width in (1, 2, 4, container - 7):
            if width > 0:
                kind = WireKind.SIGNED if width == 4 else WireKind.UNSIGNED
                name = f"part-{container}-{shift}"
                fields.append(Field(name, kind, width, place, container_bits=container, shift=shift))
            shift += width
        place += container
    return tuple(fields)


def layout_of_every_kind(order: ByteOrder = ByteOrder.LITTLE, id_bits: int = 8, **rest: object) -> Layout:
    fields = every_kind(id_bits)
    last = max(item.first_bit + (item.container_bits or item.bits) for item in fields)
    some = tuple(item for item in fields if item.name in ("u8", "i16", "f32")) if id_bits else ()
    packets = [Packet("every-kind", 1, last // 8, fields)]
    if id_bits:
        packets.append(Packet("few", 2, some[-1].first_bit // 8 + 6, some))
    kept = {"framing": "cobs", "checksum": "CRC-16/IBM-3740"} | rest
    return Layout(byte_order=order, packets=tuple(packets), id_bits=id_bits, **kept)  # type: ignore[arg-type]


def driver(layout: Layout, prefix: str) -> str:
    """A C program: `p` takes raw numbers and gives frames, `u` takes frames and gives raw numbers."""
    pack, unpack = [], []
    for kind, packet in enumerate(layout.packets):
        name = f"{prefix}_{identifier(packet.name)}"
        reads, writes = [], []
        for item in packet.fields:
            c = {WireKind.FLOAT: "double", WireKind.SIGNED: "int64_t"}.get(item.kind, "uint64_t")
            for k in range(item.count):
                member = f"packet.{identifier(item.name)}" + (f"[{k}]" if item.count > 1 else "")
                if item.kind is WireKind.TEXT:
                    size = item.bits // 8
                    reads.append(f"if (fread({member}, {size}, 1, stdin) != 1) return 1;")
                    writes.append(f"fwrite({member}, {size}, 1, stdout);")
                    continue
                reads.append(
                    f"{{ {c} v; if (fread(&v, 8, 1, stdin) != 1) return 1; {member} = (__typeof__({member}))v; }}"
                )
                writes.append(f"{{ {c} v = ({c}){member}; fwrite(&v, 8, 1, stdout); }}")
        size = f"{name.upper()}_FRAME_SIZE"
        pack.append(f"""case {kind}: {{ struct {name} packet; uint8_t frame[{size}]; uint16_t n;
            {" ".join(reads)}
            n = (uint16_t){name}_frame(&packet, frame);
            fwrite(&n, 2, 1, stdout); fwrite(frame, 1, n, stdout); break; }}""")
        unpack.append(f"""{{ struct {name} packet; if ({name}_unpack(&packet, body, length)) {{
            putchar({kind}); {" ".join(writes)} continue; }} }}""")
    upper = prefix.upper()
    return f"""#include <stdio.h>
#include "layout.h"
int main(int count, char **words) {{
    if (count == 2 && words[1][0] == 'p') {{
        int kind;
        while ((kind = getchar()) != EOF) switch (kind) {{ {" ".join(pack)} default: return 1; }}
    }} else {{
        uint16_t n; static uint8_t frame[4096]; static uint8_t body[{upper}_BODY_SIZE_MAX];
        while (fread(&n, 2, 1, stdin) == 1) {{
            size_t length;
            if (fread(frame, 1, n, stdin) != n) return 1;
            length = {prefix}_unframe(frame, n, body);
            if (length) {{ {" ".join(unpack)} }}
            putchar(255);
        }}
    }}
    return 0;
}}
"""


def compiled(description: Description, gcc: str, folder: Path) -> Path:
    (folder / "layout.h").write_text(c_header(description), encoding="utf-8")
    (folder / "only.c").write_text('#include "layout.h"\nint main(void) { return 0; }\n')
    subprocess.run([gcc, *FLAGS, "only.c", "-o", "only"], cwd=folder, check=True)
    (folder / "driver.c").write_text(driver(description.layout, description.short_name))
    # the driver is ours and uses __typeof__; the header alone was held to the flags above
    subprocess.run([gcc, "-std=gnu99", "-O1", "driver.c", "-o", "driver"], cwd=folder, check=True)
    return folder / "driver"


def random_raw(item: Field, chance: random.Random) -> int | float | bytes:
    if item.kind is WireKind.TEXT:
        return chance.randbytes(item.bits // 8)
    if item.kind is WireKind.QUATERNION:
        return chance.getrandbits(item.bits)
    if item.kind is WireKind.BOOLEAN:
        return chance.randrange(2)
    if item.kind is WireKind.FLOAT:
        number = chance.choice(
            [0.0, -0.0, float("inf"), 1.5, chance.uniform(-1, 1) * 10.0 ** chance.randrange(-30, 30)]
        )
        return struct.unpack("<f", struct.pack("<f", number))[0] if item.bits == 32 else number
    least, greatest = raw_limits(item)
    return chance.choice([least, greatest, 0, chance.randint(least, greatest), chance.randint(least, greatest)])


def random_packets(layout: Layout, count: int, seed: int) -> list[tuple[int, Raws]]:
    chance = random.Random(seed)
    made = []
    for _ in range(count):
        kind = chance.randrange(len(layout.packets))
        every = [element for item in layout.packets[kind].fields for element in item.elements]
        made.append((kind, {element.name: random_raw(element, chance) for element in every}))
    return made


def letter(item: Field) -> str:
    if item.kind is WireKind.TEXT:
        return f"{item.bits // 8}s"
    return {WireKind.FLOAT: "d", WireKind.SIGNED: "q"}.get(item.kind, "Q")


def to_driver(layout: Layout, packets: list[tuple[int, Raws]]) -> bytes:
    form = ["=B" + "".join(letter(e) for item in packet.fields for e in item.elements) for packet in layout.packets]
    return b"".join(struct.pack(form[kind], kind, *raws.values()) for kind, raws in packets)


def framed(data: bytes) -> Iterator[bytes]:
    place = 0
    while place < len(data):
        (n,) = struct.unpack_from("=H", data, place)
        yield data[place + 2 : place + 2 + n]
        place += 2 + n


def in_units(item: Field, raw: int | float | bytes) -> int | float | bytes:
    assert not isinstance(raw, bytes)
    return raw if (item.scale, item.bias) == (1.0, 0.0) else raw * item.scale + item.bias


def packed_in_c(layout: Layout, program: Path, packets: list[tuple[int, Raws]]) -> list[bytes]:
    done = subprocess.run([program, "p"], input=to_driver(layout, packets), capture_output=True, check=True)
    return list(framed(done.stdout))


def assert_equal_both_ways(description: Description, gcc: str, folder: Path, count: int) -> None:
    layout = description.layout
    program = compiled(description, gcc, folder)
    packets = random_packets(layout, count, seed=20)
    frames = packed_in_c(layout, program, packets)

    decoder = StreamDecoder(layout)
    decoded = decoder.feed(b"".join(frames))
    assert not decoded.rejects
    assert sum(len(table) for table in decoded.tables) == count
    for table in decoded.tables:
        mine = [raws for kind, raws in packets if layout.packets[kind] is table.packet]
        for item in table.packet.fields:
            expected = [in_units(item, raws[item.name]) for raws in mine]
            np.testing.assert_array_equal(
                table.columns[item.name], np.array(expected, table.columns[item.name].dtype)
            )

    encoder = FrameEncoder(layout)
    ours = [
        encoder.encode(
            layout.packets[kind].name,
            {item.name: in_units(item, raws[item.name]) for item in layout.packets[kind].fields},
        )
        for kind, raws in packets
    ]
    assert ours == frames
    stream = b"".join(struct.pack("=H", len(frame)) + frame for frame in ours)
    done = subprocess.run([program, "u"], input=stream, capture_output=True, check=True)
    assert done.stdout == to_driver(layout, packets)


@pytest.mark.parametrize("order", list(ByteOrder))
def test_ten_thousand_random_packets_are_the_same_in_c_and_here(order: ByteOrder, gcc: str, tmp_path: Path) -> None:
    description = Description("Every kind", layout_of_every_kind(order, checksum_order=order))
    assert_equal_both_ways(description, gcc, tmp_path, 10_000)


def test_header_of_the_example_vehicle_is_the_same_in_c_and_here(gcc: str, tmp_path: Path) -> None:
    description = described(load_vehicle(EXAMPLE_VEHICLE))
    assert_equal_both_ways(description, gcc, tmp_path, 1_000)
    number = layout_fingerprint(description.layout)
    assert f"#define CURLEW_LAYOUT_FINGERPRINT UINT32_C(0x{number:08X})\n" in c_header(description)


SYNC = Sync(b"\xa5\x5a", LengthField(16, at=1, adds=2, byte_order=ByteOrder.BIG), header=3)
ODD_CRC = CrcModel("own", 24, 0x5D6DCB, 0x123456, True, False, 0x00FF00)


@pytest.mark.parametrize(
    "rest",
    [
        {"framing": "slip", "checksum": "CRC-32/ISO-HDLC"},
        {"framing": "rfc 1662", "checksum": "CRC-16/IBM-SDLC", "checksum_from": 1, "checksum_until": 2},
        {"framing": "hexadecimal lines", "checksum": "CRC-8/SMBUS"},
        {"framing": "sync", "sync": SYNC, "checksum": "Fletcher-16", "checksum_from": -3},
        {"framing": "sync", "sync": SYNC, "checksum": "CRC-64/XZ", "checksum_place": ChecksumPlace.START},
        {
            "framing": "sync",
            "sync": Sync(b"$$$"),
            "checksum": "sum-16",
            "checksum_from": -2,
            "checksum_place": ChecksumPlace.START,
            "checksum_order": ByteOrder.BIG,
        },
        {"framing": "fixed length", "checksum": "Fletcher-32"},
        {"framing": "fixed length", "checksum": "CRC-32/BZIP2", "id_bits": 32},
        {"framing": "cobs", "checksum": "none", "id_bits": 0},
        {"framing": "cobs", "checksum": "Adler-32", "id_bits": 64},
        {"framing": "cobs", "checksum": "XOR-8", "id_bits": 16},
        {"framing": "cobs", "checksum": "sum-8"},
        {"framing": "cobs", "checksum": "sum-32"},
        {"framing": "cobs", "checksum": "CRC-40/GSM"},
        {"framing": "cobs", "checksum": "own", "crc": ODD_CRC},
    ],
    ids=lambda rest: f"{rest['framing']}, {rest['checksum']}",
)
def test_every_framing_and_checksum_is_the_same_in_c_and_here(
    rest: dict[str, object], gcc: str, tmp_path: Path
) -> None:
    description = Description("7 sizes", layout_of_every_kind(ByteOrder.BIG, **rest))  # type: ignore[arg-type]
    assert_equal_both_ways(description, gcc, tmp_path, 200)


def test_runs_of_254_bytes_are_stuffed_as_here(gcc: str, tmp_path: Path) -> None:
    fields = tuple(Field(f"b{n}", WireKind.UNSIGNED, 8, 8 * n) for n in range(1, 512))
    layouts = [
        Layout("cobs", "none", ByteOrder.LITTLE, (Packet("run", 1, n, fields[: n - 1]),))
        for n in (253, 254, 255, 508, 509)
    ]
    for layout in layouts:
        folder = tmp_path / str(layout.packets[0].length)
        folder.mkdir()
        program = compiled(Description("run", layout), gcc, folder)
        ones = {item.name: 1 for item in layout.packets[0].fields}
        last_is_zero = ones | {layout.packets[0].fields[-1].name: 0}
        packets: list[tuple[int, Raws]] = [(0, dict(ones)), (0, dict(last_is_zero))]
        frames = packed_in_c(layout, program, packets)
        assert frames == [FrameEncoder(layout).encode("run", raws) for _, raws in packets]
        stream = b"".join(struct.pack("=H", len(frame)) + frame for frame in frames)
        done = subprocess.run([program, "u"], input=stream, capture_output=True, check=True)
        assert done.stdout == to_driver(layout, packets)


def test_damaged_frames_are_refused_in_c(gcc: str, tmp_path: Path) -> None:
    layout = layout_of_every_kind()
    program = compiled(Description("x", layout), gcc, tmp_path)
    chance = random.Random(3)
    sound = packed_in_c(layout, program, random_packets(layout, 300, seed=4))
    damaged = []
    for frame in sound:
        bad = bytearray(frame)
        bad[chance.randrange(len(bad) - 1)] ^= 1 << chance.randrange(8)
        damaged += [bytes(bad), frame[: chance.randrange(len(frame) - 1)], chance.randbytes(chance.randrange(300))]
    stream = b"".join(struct.pack("=H", len(frame)) + frame for frame in damaged)
    done = subprocess.run([program, "u"], input=stream, capture_output=True, check=True)
    assert done.stdout == b"\xff" * len(damaged)


def framed_here(layout: Layout, packet: Packet, raws: Raws) -> bytes:
    """A packet put together number by number from where each stands, without the encoder."""
    body = bytearray(packet.filler[: packet.length].ljust(packet.length, b"\0"))
    order = layout.byte_order
    if layout.id_bits:
        number_place(layout.id_first_bit, layout.id_bits, order, layout.id_bit_order, "id").put(body, packet.id)
    if layout.address is not None:
        own = layout.address
        number_place(own.first_bit, own.bits, order, own.bit_order, "address").put(body, own.value)
    for element in (e for item in packet.fields for e in item.elements):
        raw = raws[element.name]
        if isinstance(raw, bytes):
            body[text_place(element, "text")] = raw
            continue
        if element.kind is WireKind.FLOAT:
            raw = int.from_bytes(struct.pack("<f" if element.bits == 32 else "<d", raw), "little")
        place_of(element, order, "field").put(body, int(raw) & ((1 << element.bits) - 1))
    method = framing(layout)
    judge = contents_of(layout, method)
    contents = judge.with_room(bytes(body))
    method.prepare(contents)
    return method.encode(judge.seal(contents))


def odd_kinds(bit_order: BitOrder) -> tuple[Field, ...]:
    """Fields that keep to no byte, arrays, text, quaternions, labels and curves."""
    fields = []
    at = 40

    def field(name: str, kind: WireKind, bits: int, count: int = 1, **rest: object) -> None:
        nonlocal at
        order = None if kind is WireKind.TEXT else bit_order
        fields.append(Field(name, kind, bits, at, bit_order=order, count=count, **rest))  # type: ignore[arg-type]
        at += bits * count

    field("eleven", WireKind.UNSIGNED, 11)
    field("signed", WireKind.SIGNED, 13, curve=Polynomial((1.0, 2.0, 0.5)))
    field("three", WireKind.UNSIGNED, 3, count=7, labels=((0, "idle"), (1, "boost phase")))
    field("real", WireKind.FLOAT, 32)
    field("wide", WireKind.UNSIGNED, 57)
    field("attitude", WireKind.QUATERNION, 32)
    field("pad", WireKind.UNSIGNED, -at % 8 or 8)
    field("call", WireKind.TEXT, 48)
    field("words", WireKind.TEXT, 24, count=2)
    field("sixteen", WireKind.SIGNED, 16, count=4)
    return tuple(fields)


@pytest.mark.parametrize("bit_order", list(BitOrder))
@pytest.mark.parametrize("order", list(ByteOrder))
def test_bits_arrays_text_and_addresses_are_the_same_in_c_and_here(
    order: ByteOrder, bit_order: BitOrder, gcc: str, tmp_path: Path
) -> None:
    fields = odd_kinds(bit_order)
    last = fields[-1].first_bit + fields[-1].span
    packets = (
        Packet("odd", 5, last // 8, fields, filler=b"\xff\x00\xaa"),
        Packet("tail", 6, 12, (Field("a", WireKind.UNSIGNED, 32, 64),), shorter=(8,)),
    )
    layout = Layout(
        "cobs",
        "CRC-16/IBM-3740",
        order,
        packets,
        id_bits=5,
        id_first_bit=11,
        id_bit_order=bit_order,
        address=Address(0x2A5, 10, 20, bit_order),
    )
    program = compiled(Description("odd kinds", layout), gcc, tmp_path)
    sent = random_packets(layout, 2_000, seed=8)
    frames = packed_in_c(layout, program, sent)
    assert frames == [framed_here(layout, layout.packets[kind], raws) for kind, raws in sent]
    decoded = StreamDecoder(layout).feed(b"".join(frames))
    assert not decoded.rejects
    assert sum(len(table) for table in decoded.tables) == len(sent)
    stream = b"".join(struct.pack("=H", len(frame)) + frame for frame in frames)
    done = subprocess.run([program, "u"], input=stream, capture_output=True, check=True)
    assert done.stdout == to_driver(layout, sent)


def test_packet_without_its_tail_is_read_in_c_with_zeros(gcc: str, tmp_path: Path) -> None:
    fields = (Field("a", WireKind.UNSIGNED, 16, 8), Field("b", WireKind.UNSIGNED, 32, 24))
    packet = Packet("p", 1, 7, fields, shorter=(3,))
    layout = Layout("cobs", "XOR-8", ByteOrder.LITTLE, (packet,))
    program = compiled(Description("x", layout), gcc, tmp_path)
    frame = FrameEncoder(layout).encode("p", {"a": 0x1234})
    done = subprocess.run(
        [program, "u"], input=struct.pack("=H", len(frame)) + frame, capture_output=True, check=True
    )
    assert done.stdout == to_driver(layout, [(0, {"a": 0x1234, "b": 0})])


def test_space_packets_are_the_same_in_c_and_here(gcc: str, tmp_path: Path) -> None:
    fields = (
        Field("count", WireKind.UNSIGNED, 14, 18, bit_order=BitOrder.MOST),
        Field("a", WireKind.UNSIGNED, 32, 48),
    )
    packet = Packet("p", 291, 10, fields, filler=bytes([0, 0, 0xC0, 0, 0, 0]))
    layout = Layout(
        "ccsds",
        "CRC-16/IBM-3740",
        ByteOrder.BIG,
        (packet,),
        id_bits=11,
        id_first_bit=5,
        id_bit_order=BitOrder.MOST,
        checksum_order=ByteOrder.BIG,
    )
    program = compiled(Description("x", layout), gcc, tmp_path)
    sent: list[tuple[int, Raws]] = [(0, {"count": 1234, "a": 0x31323334})]
    frames = packed_in_c(layout, program, sent)
    assert frames == [FrameEncoder(layout).encode("p", sent[0][1])]  # type: ignore[arg-type]
    # marker of 131.0-B; primary header of 133.0-B: version 0, telemetry, process 0x123, unsegmented, count 1234, and
    # 4 + 2 bytes behind it, less one
    assert frames[0].startswith(bytes.fromhex("1A CF FC 1D 01 23 C4 D2 00 05 31 32 33 34"))


def test_text_of_the_file_cannot_break_out_of_a_comment(gcc: str, tmp_path: Path) -> None:
    packet = Packet("p", 1, 2, (Field("a", WireKind.UNSIGNED, 8, 8),))
    layout = Layout("cobs", "none", ByteOrder.LITTLE, (packet,))
    plain = Description('x */ #error "no" /* ??/ \\', layout)
    item = dataclasses.replace(plain.item(packet, packet.fields[0]), text='*/ int x; /*\\\n #error "no"')
    compiled(dataclasses.replace(plain, items={("p", "a"): item}), gcc, tmp_path)


def test_names_that_are_one_in_c_are_refused() -> None:
    fields = (Field("a-b", WireKind.UNSIGNED, 8, 8), Field("a_b", WireKind.UNSIGNED, 8, 16))
    layout = Layout("cobs", "none", ByteOrder.LITTLE, (Packet("p", 1, 3, fields),))
    with pytest.raises(LayoutToolError, match="same name in C"):
        c_header(Description("x", layout))


def test_text_framing_is_refused_by_name() -> None:
    layout = dataclasses.replace(layout_of_every_kind(), framing="nmea 0183", checksum="XOR-8")
    with pytest.raises(LayoutToolError, match="'nmea 0183' is not supported in the header yet"):
        c_header(Description("x", layout))


def test_header_needs_no_heap_no_printing_and_three_headers() -> None:
    text = c_header(described(load_vehicle(EXAMPLE_VEHICLE)))
    includes = [line for line in text.splitlines() if line.startswith("#include")]
    assert includes == ["#include <stddef.h>", "#include <stdint.h>", "#include <string.h>"]
    assert not any(word in text for word in ("malloc", "printf", "__attribute__", "#pragma"))
