"""Layouts and frames to test decoding with, made without the code under test."""

import binascii
import dataclasses
import struct

import numpy as np
import pytest
from cobs import cobs
from hypothesis import settings
from hypothesis import strategies as st

from decoders.layout import ByteOrder, Field, Layout, Packet, WireKind


@dataclasses.dataclass(frozen=True)
class Sample:
    """One packet of a layout: its kind, the raw number of each field, and its body."""

    packet: Packet
    raws: dict[str, int | float]
    body: bytes


WHOLE = st.sampled_from([8, 16, 24, 32, 40, 48, 56, 64])
SCALES = st.one_of(
    st.just((1.0, 0.0)),
    st.tuples(st.sampled_from([0.001, 0.5, 1.0, 3.0, -2.5, 1e-7]), st.sampled_from([0.0, 1.0, -273.15, 40.0])),
)


@st.composite
def packets(draw, *, name, number, id_size):
    """A packet with whole-byte fields, bit fields and gaps, listed in any order."""
    place = id_size + draw(st.integers(0, 2))
    fields = []
    for index in range(draw(st.integers(1, 5))):
        shape = draw(st.sampled_from(["integer", "float", "boolean", "bits"]))
        scale, bias = draw(SCALES)
        label = f"f{index}"
        bits = draw(st.sampled_from([32, 64])) if shape == "float" else draw(WHOLE)
        if shape == "bits":
            lowest = 0
            while lowest < bits and len(fields) < 12:
                lowest += draw(st.integers(0, 3))
                width = min(draw(st.integers(1, 20)), bits - lowest)
                if width < 1:
                    break
                kind = draw(st.sampled_from([WireKind.UNSIGNED, WireKind.SIGNED, WireKind.BOOLEAN]))
                scaled = {} if kind is WireKind.BOOLEAN else {"scale": scale, "bias": bias}
                fields.append(
                    Field(f"{label}b{lowest}", kind, width, 8 * place, container_bits=bits, shift=lowest, **scaled)
                )
                lowest += width
        elif shape == "boolean":
            fields.append(Field(label, WireKind.BOOLEAN, bits, 8 * place))
        else:
            kind = WireKind.FLOAT if shape == "float" else draw(st.sampled_from([WireKind.UNSIGNED, WireKind.SIGNED]))
            fields.append(Field(label, kind, bits, 8 * place, scale=scale, bias=bias))
        place += bits // 8 + draw(st.integers(0, 1))
    return Packet(name, number, place, tuple(draw(st.permutations(fields))))


@st.composite
def layout_strategy(draw):
    """A layout of one to three kinds of packet."""
    id_size = draw(st.sampled_from([0, 1, 2, 4]))
    kinds = 1 if id_size == 0 else draw(st.integers(1, 3))
    ids = draw(st.lists(st.integers(0, 256**id_size - 1), min_size=kinds, max_size=kinds, unique=True))
    return Layout(
        framing="cobs",
        checksum="CRC-16/IBM-3740",
        byte_order=draw(st.sampled_from(ByteOrder)),
        packets=tuple(draw(packets(name=f"p{n}", number=number, id_size=id_size)) for n, number in enumerate(ids)),
        id_bits=8 * id_size,
        checksum_order=draw(st.sampled_from(ByteOrder)),
    )


def raw_strategy(item):
    """Every raw number the field can hold."""
    if item.kind is WireKind.FLOAT:
        return st.floats(width=item.bits, allow_nan=False)
    if item.kind is WireKind.BOOLEAN:
        return st.integers(0, 1)
    if item.kind is WireKind.SIGNED:
        return st.integers(-(2 ** (item.bits - 1)), 2 ** (item.bits - 1) - 1)
    return st.integers(0, 2**item.bits - 1)


def body_of(layout, packet, raws):
    """The body of a packet, put together as one long number."""
    body = bytearray(packet.length)
    body[: layout.id_bits // 8] = packet.id.to_bytes(layout.id_bits // 8, layout.byte_order.value)
    for item in packet.fields:
        at = item.first_bit // 8
        size = (item.container_bits or item.bits) // 8
        number = raws[item.name]
        if item.kind is WireKind.FLOAT:
            number = int.from_bytes(struct.pack(">f" if item.bits == 32 else ">d", number), "big")
        before = int.from_bytes(body[at : at + size], layout.byte_order.value)
        after = before | (number & (2**item.bits - 1)) << item.shift
        body[at : at + size] = after.to_bytes(size, layout.byte_order.value)
    return bytes(body)


@st.composite
def sample_strategy(draw, layout):
    """One packet of the layout."""
    packet = draw(st.sampled_from(layout.packets))
    raws = {item.name: draw(raw_strategy(item)) for item in packet.fields}
    return Sample(packet, raws, body_of(layout, packet, raws))


def frame_of(layout, body):
    """The frame of a body: CRC-16/IBM-3740 of the standard library, stuffing of the cobs package."""
    return cobs.encode(body + binascii.crc_hqx(body, 0xFFFF).to_bytes(2, layout.checksum_order.value)) + b"\0"


def expected_column(item, raws):
    """The column those raw numbers of a field decode to."""
    if item.kind is WireKind.BOOLEAN:
        return np.array(raws, dtype=bool)
    if item.scale != 1 or item.bias != 0:
        return np.array([float(raw) * item.scale + item.bias for raw in raws])
    size = next(size for size in (1, 2, 4, 8) if 8 * size >= item.bits)
    letter = {WireKind.UNSIGNED: "u", WireKind.SIGNED: "i", WireKind.FLOAT: "f"}[item.kind]
    return np.array(raws, dtype=f"{letter}{size}")


def equal_columns(found, expected):
    """Whether two columns have one type and the same numbers, NaN equal to NaN."""
    return found.dtype == expected.dtype and np.array_equal(found, expected, equal_nan=found.dtype.kind == "f")


def gathered(*decoded):
    """Everything several calls gave, comparable: rows by kind, and the rejects with their raw bytes."""
    rows = {}
    rejects = []
    for part in decoded:
        for table in part.tables:
            columns = [table.columns[item.name].tolist() for item in table.packet.fields]
            values = zip(*columns, strict=True) if columns else [()] * len(table)
            rows.setdefault(table.packet.name, []).extend(
                (start, end, *(repr(v) for v in row))
                for start, end, row in zip(table.start.tolist(), table.end.tolist(), values, strict=True)
            )
        rejects.extend((r.reason, r.start, r.end, r.text, r.raw) for r in part.rejects)
    return rows, rejects


MOTION = Packet(
    "motion",
    1,
    16,
    (
        Field("n", WireKind.UNSIGNED, 16, 8),
        Field("t", WireKind.UNSIGNED, 32, 24, scale=0.001, unit="s"),
        Field("ax", WireKind.SIGNED, 16, 56, scale=0.005, unit="m/s^2"),
        Field("p", WireKind.UNSIGNED, 24, 72, scale=0.1, unit="Pa"),
        Field("q", WireKind.FLOAT, 32, 96),
    ),
)
HEALTH = Packet(
    "health",
    2,
    8,
    (
        Field("n", WireKind.UNSIGNED, 16, 8),
        Field("vbat", WireKind.UNSIGNED, 16, 24, scale=0.001, unit="V"),
        Field("tbat", WireKind.SIGNED, 16, 40, scale=0.01, bias=273.15, unit="K"),
        Field("pin", WireKind.BOOLEAN, 1, 56, container_bits=8, shift=0),
        Field("phase", WireKind.UNSIGNED, 3, 56, container_bits=8, shift=5),
    ),
)
TWO_KINDS = Layout("cobs", "CRC-16/IBM-3740", ByteOrder.LITTLE, (MOTION, HEALTH))


def frames_of_two_kinds(count, seed):
    """Frames of TWO_KINDS in random order with random contents, about one byte in eight a zero."""
    rng = np.random.default_rng(seed)
    frames = []
    for _ in range(count):
        packet = MOTION if rng.random() < 0.7 else HEALTH
        body = rng.integers(1, 256, packet.length, dtype=np.uint8)
        body[rng.random(packet.length) < 0.12] = 0
        body[0] = packet.id
        frames.append(frame_of(TWO_KINDS, body.tobytes()))
    return frames


class Bench:
    """What the tests of this folder share."""

    layouts = staticmethod(layout_strategy)
    samples = staticmethod(sample_strategy)
    frame_of = staticmethod(frame_of)
    body_of = staticmethod(body_of)
    expected_column = staticmethod(expected_column)
    equal_columns = staticmethod(equal_columns)
    gathered = staticmethod(gathered)
    frames_of_two_kinds = staticmethod(frames_of_two_kinds)
    two_kinds = TWO_KINDS


@pytest.fixture(scope="session")
def bench():
    """Layouts and frames to test decoding with."""
    return Bench


settings.register_profile("shared machine", deadline=None)  # other work on it would make a deadline fail by chance
settings.load_profile("shared machine")
# for the comparisons with other libraries: pytest tests/decoders/test_crc.py --hypothesis-profile="thousand cases"
settings.register_profile("thousand cases", deadline=None, max_examples=1000)
