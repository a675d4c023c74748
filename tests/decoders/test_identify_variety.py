"""Streams that differ from those of `unknown_streams` in one habit of firmware each."""

import binascii
import struct
import sys
import zlib
from functools import reduce
from operator import xor
from pathlib import Path

import crccheck.crc as crcs
import numpy as np
import pytest
import sliplib
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st

from decoders.identify import LEAST_BYTES, identify
from decoders.identifying.evidence import Strength
from decoders.identifying.inside import inside
from decoders.identifying.values import text_columns
from decoders.layout import ByteOrder

sys.path.insert(0, str(Path(__file__).parent))
import unknown_streams as unknown

SYNC_LENGTH = "sync word and length field"
SYNC_FIXED = "sync word and fixed length"
FIXED = "fixed length without a delimiter"


def crc16(data, start=0xFFFF):
    return struct.pack("<H", binascii.crc_hqx(data, start))


def fletcher_modulo_256(data):
    first = second = 0
    for byte in data:
        first = (first + byte) & 0xFF
        second = (second + first) & 0xFF
    return bytes((first, second))


def bodies(rng, count=300):
    vehicle = unknown.Vehicle(rng)
    return [vehicle.packet() for _ in range(count)]


def alike(rng, count=300):
    """Bodies of one kind and length, without the byte that says so."""
    vehicle = unknown.Vehicle(rng)
    found = []
    for _ in range(count):
        vehicle.tick()
        found.append(vehicle.motion()[1:24])
    return found


def stream(rng, frames):
    return unknown.torn_and_damaged(rng, frames)


def cobs_with_lines(rng):
    frames = []
    for number, body in enumerate(bodies(rng)):
        frames.append(cobs.encode(body + crc16(body)) + b"\0")
        if number % 3 == 0:
            frames.append(f"RSSI: -{60 + int(rng.integers(30))} dBm\r\n".encode())
    return stream(rng, frames)


def rfc1662_all_controls(rng):
    frames = []
    for body in bodies(rng):
        stuffed = bytearray()
        for byte in body + struct.pack("<I", zlib.crc32(body)):
            stuffed += bytes((0x7D, byte ^ 0x20)) if byte in (0x7D, 0x7E) or byte < 0x20 else bytes((byte,))
        frames.append(b"\x7e" + bytes(stuffed) + b"\x7e")
    return stream(rng, frames)


def sum_after(head, body, tail=b""):
    counted = head + body
    return counted + bytes((sum(counted) & 0xFF,)) + tail


def class_and_length(rng):
    """Two sync bytes, two bytes of kind, u16 length of the body, two sums over all but the sync word."""
    frames = []
    for body in bodies(rng):
        counted = bytes((1, body[0])) + struct.pack("<H", len(body)) + body
        frames.append(b"\xb5\x62" + counted + fletcher_modulo_256(counted))
    return stream(rng, frames)


def one_sync_byte(rng):
    frames = []
    for body in bodies(rng):
        counted = bytes((len(body),)) + body
        frames.append(b"\xfe" + counted + crcs.Crc16Mcrf4XX.calc(counted).to_bytes(2, "little"))
    return stream(rng, frames)


def four_sync_bytes(rng):
    frames = []
    for body in bodies(rng):
        frame = b"\xde\xad\xbe\xef" + struct.pack(">H", len(body)) + body
        frames.append(frame + struct.pack(">I", zlib.crc32(frame)))
    return stream(rng, frames)


def lines_of_hex(rng):
    return stream(rng, ((body + crc16(body)).hex().encode() + b"\n" for body in bodies(rng, 200)))


def json_lines(rng):
    vehicle = unknown.Vehicle(rng)
    lines = []
    for _ in range(200):
        vehicle.tick()
        lines.append(f'{{"n":{vehicle.count},"t":{vehicle.t_ms},"ax":{vehicle.accel()[0]}}}\n'.encode())
    return stream(rng, lines)


HABITS = {
    "COBS without a checksum": ("COBS", lambda r: stream(r, (cobs.encode(b) + b"\0" for b in bodies(r)))),
    "COBS, zeros on both sides": (
        "COBS",
        lambda r: stream(r, (b"\0" + cobs.encode(b + crc16(b, 0)) + b"\0" for b in bodies(r))),
    ),
    "COBS, lines between": ("COBS", cobs_with_lines),
    "COBS, 14 frames": ("COBS", lambda r: stream(r, (cobs.encode(b + crc16(b)) + b"\0" for b in bodies(r, 14)))),
    "SLIP, END behind only": (
        "SLIP",
        lambda r: stream(r, (sliplib.encode(b + crc16(b)) + b"\xc0" for b in bodies(r))),
    ),
    "RFC 1662, 32 bits, all stuffed": ("RFC 1662", rfc1662_all_controls),
    "length counts the frame": (
        SYNC_LENGTH,
        lambda r: stream(r, (sum_after(b"\xd3\x91" + struct.pack("<H", len(b) + 5), b) for b in bodies(r))),
    ),
    "kind before the length": (SYNC_LENGTH, class_and_length),
    "one sync byte": (SYNC_LENGTH, one_sync_byte),
    "four sync bytes": (SYNC_LENGTH, four_sync_bytes),
    "length, no checksum, line feed": (
        SYNC_LENGTH,
        lambda r: stream(r, (b"\x55\xaa" + bytes((len(b) + 1,)) + b + b"\n" for b in bodies(r))),
    ),
    "end byte behind the sum": (
        SYNC_LENGTH,
        lambda r: stream(r, (b"\x02\x5b" + sum_after(bytes((len(b),)), b, b"\x03") for b in bodies(r))),
    ),
    "sync, no checksum": (SYNC_FIXED, lambda r: stream(r, (b"\x3c\x5a\xc3" + b for b in alike(r)))),
    "sync, XOR": (
        SYNC_FIXED,
        lambda r: stream(r, (b"\x3c\x5a" + b + bytes((reduce(xor, b"\x3c\x5a" + b),)) for b in alike(r))),
    ),
    "sync, line end": (SYNC_FIXED, lambda r: stream(r, (b"\x3c\x5a" + b + crc16(b) + b"\r\n" for b in alike(r)))),
    "no delimiter, CRC-8": (FIXED, lambda r: stream(r, (b + bytes((crcs.Crc8MaximDow.calc(b),)) for b in alike(r)))),
    "no delimiter, sum": (FIXED, lambda r: stream(r, (sum_after(b"", b) for b in alike(r)))),
    "no delimiter, CRC-32": (FIXED, lambda r: stream(r, (b + struct.pack("<I", zlib.crc32(b)) for b in alike(r)))),
    "no delimiter, own start value": (FIXED, lambda r: stream(r, (b + crc16(b, 0x4711) for b in alike(r)))),
    "no delimiter, 14 frames": (FIXED, lambda r: stream(r, (b + crc16(b) for b in alike(r, 14)))),
    "no delimiter, random contents": (
        FIXED,
        lambda r: stream(r, (b + crc16(b) for b in (unknown.random_bytes(r, 90) for _ in range(99)))),
    ),
    "hexadecimal": ("lines of hexadecimal packets", lines_of_hex),
    "JSON": ("lines of key=value", json_lines),
}


@pytest.mark.parametrize("habit", HABITS)
def test_framing_is_told_whatever_the_habits_of_the_firmware(habit):
    kind, made = HABITS[habit]
    for seed in (1, 4):
        proposed = identify(made(np.random.default_rng(seed))).proposed
        assert proposed is not None
        assert proposed.kind.value == kind


def noise_and_zeros(rng):
    return b"".join(
        bytes(int(rng.integers(1, 30))) + unknown.random_bytes(rng, int(rng.integers(1, 20))) for _ in range(600)
    )


NOTHING = {
    "a sampled tone": lambda r: (128 + 100 * np.sin(np.arange(20_000) / 7) + r.normal(0, 3, 20_000)).astype(np.uint8),
    "numbers without a frame": lambda r: np.cumsum(r.normal(0, 5, (8000, 3)), axis=0).astype("<i2"),
    "five byte values": lambda r: r.choice(np.array([0, 1, 2, 3, 255], np.uint8), 20_000),
    "noise and zeros": lambda r: np.frombuffer(noise_and_zeros(r), dtype=np.uint8),
}


@pytest.mark.parametrize("name", NOTHING)
def test_bytes_without_a_framing_are_given_none(name):
    assert identify(NOTHING[name](np.random.default_rng(3)).tobytes()).proposed is None


@pytest.mark.parametrize("name", [n for n in unknown.STREAMS if not n.startswith(("lines", "NMEA"))])
def test_a_binary_stream_with_its_bytes_shuffled_is_given_no_framing(name):
    rng = np.random.default_rng(12)
    shuffled = np.frombuffer(unknown.STREAMS[name](rng), dtype=np.uint8).copy()
    rng.shuffle(shuffled)
    assert identify(shuffled.tobytes()).proposed is None


def garbled(name, *, sent_baud, read_baud, seed):
    rng = np.random.default_rng(seed)
    return unknown.at_wrong_speed(
        unknown.STREAMS[name](rng)[:5000], sent_baud=sent_baud, read_baud=read_baud, rng=rng
    )


@pytest.mark.parametrize("name", unknown.STREAMS)
def test_sums_of_few_different_bytes_prove_nothing_in_a_stream_read_six_times_too_fast(name):
    assert identify(garbled(name, sent_baud=9600, read_baud=57600, seed=50)).proposed is None


def test_sync_word_and_length_field_are_named_byte_by_byte():
    found = identify(four_sync_bytes(np.random.default_rng(2))).proposed
    assert found is not None
    assert found.sync == bytes.fromhex("DEADBEEF")
    length = found.length
    assert length is not None
    assert (length.at, length.size, length.order, length.beyond) == (4, 2, ByteOrder.BIG, 10)


def test_an_own_crc_is_given_by_parameters_that_make_its_frames_right():
    data = HABITS["no delimiter, own start value"][1](np.random.default_rng(8))
    found = identify(data).proposed
    assert found is not None
    assert found.checksum is not None
    model = found.checksum.own
    assert model is not None
    assert (model.width, model.polynomial, model.reflect_in) == (16, 0x1021, False)
    frame = found.frames.contents[20]
    assert model.of(frame[:-2]) == int.from_bytes(frame[-2:], "little")


def test_kinds_counter_and_byte_order_are_found_inside_the_frames():
    for name, order in (("COBS", ByteOrder.LITTLE), ("SLIP", ByteOrder.BIG)):
        proposed = identify(unknown.STREAMS[name](np.random.default_rng(6))).proposed
        assert proposed is not None
        contents = inside(proposed)
        assert contents.discriminator is not None
        assert (contents.discriminator.at, contents.discriminator.values) == (0, (1, 2))
        assert [(kind.id, kind.length) for kind in contents.kinds] == [(1, 28), (2, 15)]
        assert contents.order is order
        counter = contents.kinds[0].counter
        assert counter is not None
        assert (counter.at, counter.size, counter.across) == (1, 2, True)
        constant = {part.at for part in contents.kinds[0].parts if part.value is not None}
        assert {23, 24, 25, 26, 27} <= constant


def test_values_of_text_lines_are_counted_and_bounded():
    proposed = identify(unknown.comma_values(np.random.default_rng(6))).proposed
    assert proposed is not None
    columns = text_columns(proposed)
    assert [column.is_counter for column in columns] == [True, *[False] * 6]
    assert 12.0 < columns[5].least <= columns[5].greatest < 13.0


def test_too_few_bytes_are_not_judged():
    assert identify(bytes(range(LEAST_BYTES - 1))).hypotheses == ()


@settings(max_examples=40)
@given(
    st.sampled_from(sorted(unknown.STREAMS)),
    st.integers(0, 2**32 - 1),
    st.binary(max_size=300),
    st.integers(0, 3000),
    st.integers(0, 3000),
)
def test_whatever_comes_is_looked_at_without_an_exception(name, seed, noise, start, end):
    rng = np.random.default_rng(seed)
    data = bytearray(unknown.STREAMS[name](rng)[start : start + end] + noise)
    for place in rng.integers(0, max(1, len(data)), len(data) // 20):
        if data:
            data[int(place)] = int(rng.integers(0, 256))
    found = identify(bytes(data))
    for hypothesis in found.hypotheses:
        assert 0.0 <= hypothesis.coverage <= 1.01
        assert all(0 <= evidence.hits <= evidence.of for evidence in hypothesis.evidence)
        if hypothesis.strength is Strength.PROVEN:
            inside(hypothesis)


@pytest.mark.campaign
def test_share_of_the_set_told_over_many_seeds():
    told = dict.fromkeys(unknown.STREAMS, 0)
    seeds = 40
    for seed in range(100, 100 + seeds):
        for name, made in unknown.STREAMS.items():
            proposed = identify(made(np.random.default_rng(seed))).proposed
            told[name] += proposed is not None and proposed.kind.value == name
    print({name: f"{count}/{seeds}" for name, count in told.items()})
    assert sum(count >= 0.95 * seeds for count in told.values()) >= 9


SPEEDS = ((57600, 115200), (57600, 38400), (57600, 19200), (57600, 9600), (57600, 230400), (115200, 57600))


@pytest.mark.campaign
def test_nothing_is_proven_at_a_wrong_speed_and_hardly_anything_proposed():
    found = {
        (seed, name, sent, read): identify(garbled(name, sent_baud=sent, read_baud=read, seed=seed)).proposed
        for seed in range(60, 65)
        for name in unknown.STREAMS
        for sent, read in SPEEDS
    }
    proposed = {key: one for key, one in found.items() if one is not None}
    print(
        f"proposed at a wrong speed: {len(proposed)} of {len(found)}", {k: v.kind.value for k, v in proposed.items()}
    )
    assert all(one.strength < Strength.PROVEN for one in proposed.values())
    # lines of nearly one length still repeat at one distance when read at a whole fraction of their speed
    assert len(proposed) <= 0.02 * len(found)
