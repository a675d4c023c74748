"""Streams of senders we invented, for finding out what they are: seeded, made by the standard library and others'
codecs (cobs, sliplib, crccheck, spacepackets, pynmeagps), never by the code under test.

Every stream begins inside a frame, one frame in a hundred is damaged, and noise stands between some frames.
"""

import binascii
import struct
from collections.abc import Callable, Iterable

import crccheck.crc as crcs
import numpy as np
import pynmeagps
import sliplib
from cobs import cobs
from spacepackets.ccsds import PacketType, SpacePacketHeader

Random = np.random.Generator


class Vehicle:
    """An invented vehicle on its pad and in flight: slow numbers, noisy numbers, a counter and a clock."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.count = int(rng.integers(0, 60_000))
        self.t_ms = int(rng.integers(10_000, 90_000))
        self.volts_mv = 12_400.0
        self.pressure_pa = 98_700.0

    def tick(self) -> None:
        self.count = (self.count + 1) & 0xFFFF
        self.t_ms += 50 + int(self.rng.integers(0, 3))
        self.volts_mv += self.rng.normal(0, 2)
        self.pressure_pa += self.rng.normal(0, 6)

    def accel(self) -> list[int]:
        return [int(v) for v in self.rng.normal((0, 0, 1960), 12)]

    def motion(self, order: str = "<") -> bytes:
        """28 bytes: kind 1, u16 counter, u32 ms, six i16, u32 pressure, four spare zeros and a constant."""
        gyro = [int(v) for v in self.rng.normal(0, 5, 3)]
        return struct.pack(
            order + "BHI6hI5B",
            1,
            self.count,
            self.t_ms,
            *self.accel(),
            *gyro,
            int(self.pressure_pa * 10),
            0,
            0,
            0,
            0,
            3,
        )

    def health(self, order: str = "<") -> bytes:
        """15 bytes: kind 2, u16 counter, u32 ms, u16 battery, i16 temperature, three u8 and a flag."""
        return struct.pack(
            order + "BHIHhBBBB",
            2,
            self.count,
            self.t_ms,
            int(self.volts_mv),
            int(self.rng.normal(2150, 4)),
            8,
            int(self.rng.integers(6, 12)),
            0,
            1,
        )

    def packet(self, order: str = "<") -> bytes:
        self.tick()
        return self.motion(order) if self.rng.random() < 0.7 else self.health(order)


def torn_and_damaged(rng: Random, frames: Iterable[bytes]) -> bytes:
    """One stream: its start is torn, one frame in 100 has a wrong bit, noise stands before one in 50."""
    pieces = []
    for frame in frames:
        if rng.random() < 0.02:
            pieces.append(rng.integers(0, 256, int(rng.integers(1, 8)), dtype=np.uint8).tobytes())
        if rng.random() < 0.01:
            wrong = bytearray(frame)
            wrong[int(rng.integers(0, len(frame)))] ^= 1 << int(rng.integers(0, 8))
            frame = bytes(wrong)
        pieces.append(frame)
    stream = b"".join(pieces)
    return stream[int(rng.integers(1, max(2, len(pieces[0])))) :]


def cobs_crc16(rng: Random, count: int = 300) -> bytes:
    vehicle = Vehicle(rng)
    bodies = (vehicle.packet() for _ in range(count))
    return torn_and_damaged(
        rng, (cobs.encode(b + struct.pack("<H", binascii.crc_hqx(b, 0xFFFF))) + b"\0" for b in bodies)
    )


def slip_crc16(rng: Random, count: int = 300) -> bytes:
    """SLIP with CRC-16/KERMIT, low byte first; the receiver prints a line of its own after every eighth frame."""
    vehicle = Vehicle(rng)

    def frames() -> Iterable[bytes]:
        for number in range(count):
            body = vehicle.packet(">")
            contents = body + crcs.Crc16Kermit.calc(body).to_bytes(2, "little")
            yield b"\xc0" + sliplib.encode(contents) + b"\xc0"
            if number % 8 == 7:
                yield f"RX ok rssi={-70 - int(rng.integers(0, 9))} snr={9 + int(rng.integers(0, 3))}\r\n".encode()

    return torn_and_damaged(rng, frames())


def rfc1662_fcs16(rng: Random, count: int = 300) -> bytes:
    """RFC 1662: address and control FF 03, frame check sequence of 16 bits, control characters not stuffed."""
    vehicle = Vehicle(rng)

    def frames() -> Iterable[bytes]:
        for _ in range(count):
            body = b"\xff\x03" + vehicle.packet(">")
            contents = body + crcs.Crc16X25.calc(body).to_bytes(2, "little")
            stuffed = contents.replace(b"\x7d", b"\x7d\x5d").replace(b"\x7e", b"\x7d\x5e")
            yield b"\x7e" + stuffed + b"\x7e"

    return torn_and_damaged(rng, frames())


def sync_length_sum8(rng: Random, count: int = 300) -> bytes:
    """A5 5A, length of the body in one byte, body, sum of length and body modulo 256."""
    vehicle = Vehicle(rng)

    def frames() -> Iterable[bytes]:
        for _ in range(count):
            body = vehicle.packet()
            counted = bytes((len(body),)) + body
            yield b"\xa5\x5a" + counted + bytes((sum(counted) & 0xFF,))

    return torn_and_damaged(rng, frames())


def sync_fixed_crc8(rng: Random, count: int = 400) -> bytes:
    """EB 90, 28 bytes of body, CRC-8/SMBUS over the body."""
    vehicle = Vehicle(rng)

    def frames() -> Iterable[bytes]:
        for _ in range(count):
            vehicle.tick()
            body = vehicle.motion()
            yield b"\xeb\x90" + body + bytes((crcs.Crc8Smbus.calc(body),))

    return torn_and_damaged(rng, frames())


def fixed_crc16(rng: Random, count: int = 400) -> bytes:
    """A kind, a counter and numbers, CRC-16/MODBUS low byte first, one frame right behind the other."""
    vehicle = Vehicle(rng)

    def frames() -> Iterable[bytes]:
        for _ in range(count):
            vehicle.tick()
            body = vehicle.motion()[1:24]
            yield body + crcs.Crc16Modbus.calc(body).to_bytes(2, "little")

    return torn_and_damaged(rng, frames())


def comma_values(rng: Random, count: int = 250) -> bytes:
    vehicle = Vehicle(rng)

    def lines() -> Iterable[bytes]:
        for _ in range(count):
            vehicle.tick()
            x, y, z = vehicle.accel()
            volts = vehicle.volts_mv / 1e3
            yield f"{vehicle.count},{vehicle.t_ms},{x},{y},{z},{volts:.2f},{vehicle.pressure_pa:.1f}\r\n".encode()

    return torn_and_damaged(rng, lines())


def key_values(rng: Random, count: int = 250) -> bytes:
    vehicle = Vehicle(rng)

    def lines() -> Iterable[bytes]:
        for _ in range(count):
            vehicle.tick()
            yield f"n={vehicle.count} t={vehicle.t_ms} vbat={vehicle.volts_mv / 1e3:.2f} pin=1\n".encode()

    return torn_and_damaged(rng, lines())


def nmea_mix(rng: Random, count: int = 120) -> bytes:
    def sentences() -> Iterable[bytes]:
        for second in range(count):
            lat, lon = 47.4 + rng.normal(0, 1e-5), 8.5 + rng.normal(0, 1e-5)
            time = f"12{second // 60:02d}{second % 60:02d}.00"
            gga = {"time": "12:00:00", "lat": lat, "NS": "N", "lon": lon, "EW": "E", "quality": 1, "numSV": 9}
            yield pynmeagps.NMEAMessage("GP", "GGA", pynmeagps.GET, **gga, HDOP=0.9, alt=431.0, sep=47.0).serialize()
            for text in (f"GPRMC,{time},A,4724.0,N,00830.0,E,0.01,0.0,200724,,,A", "PINVX,1,2,3.3"):
                checksum = 0
                for byte in text.encode():
                    checksum ^= byte
                yield f"${text}*{checksum:02X}\r\n".encode()

    return torn_and_damaged(rng, sentences())


def space_packets(rng: Random, count: int = 250) -> bytes:
    """Attached sync markers, space packets of two applications, CRC-16/IBM-3740 high byte first as error control."""
    vehicle = Vehicle(rng)
    counts = {11: 0, 12: 0}

    def frames() -> Iterable[bytes]:
        for _ in range(count):
            body = vehicle.packet(">")
            apid = 10 + body[0]
            counts[apid] = (counts[apid] + 1) & 0x3FFF
            header = SpacePacketHeader(
                packet_type=PacketType.TM, apid=apid, seq_count=counts[apid], data_len=len(body) + 2 - 1
            ).pack()
            packet = bytes(header) + body
            yield b"\x1a\xcf\xfc\x1d" + packet + struct.pack(">H", binascii.crc_hqx(packet, 0xFFFF))

    return torn_and_damaged(rng, frames())


def random_bytes(rng: Random, count: int = 20_000) -> bytes:
    return rng.integers(0, 256, count, dtype=np.uint8).tobytes()


def at_wrong_speed(stream: bytes, *, sent_baud: int, read_baud: int, rng: Random) -> bytes:
    """What an asynchronous receiver set to another speed makes of a stream: 8 data bits, no parity, one stop bit.

    The line rests for a while after every burst. The receiver waits for a falling edge, samples the middle of each
    of its own bits, and takes a missing stop bit as it comes (most systems hand on the byte, or a zero).
    """
    times, levels = [0.0], [1]  # changes of the line, in bits of the sender
    now = 20.0
    for number, byte in enumerate(stream):
        for bit in (0, *((byte >> k) & 1 for k in range(8)), 1):
            if bit != levels[-1]:
                times.append(now)
                levels.append(bit)
            now += 1
        if number % 64 == 63:
            now += float(rng.integers(20, 200))
    step = sent_baud / read_baud
    edges, states = np.array(times), np.array(levels)
    falling = edges[states == 0]
    received = bytearray()
    at = 0.0
    while True:
        k = int(np.searchsorted(falling, at))
        if k == falling.size:
            return bytes(received)
        start = falling[k]
        middles = start + (np.arange(1, 10) + 0.5) * step
        bits = states[np.searchsorted(edges, middles, side="right") - 1]
        received.append(int(sum(int(b) << i for i, b in enumerate(bits[:8]))) if bits[8] else 0)
        at = float(middles[8])


STREAMS: dict[str, Callable[[Random], bytes]] = {
    "COBS": cobs_crc16,
    "SLIP": slip_crc16,
    "RFC 1662": rfc1662_fcs16,
    "sync word and length field": sync_length_sum8,
    "sync word and fixed length": sync_fixed_crc8,
    "fixed length without a delimiter": fixed_crc16,
    "lines of delimited values": comma_values,
    "lines of key=value": key_values,
    "NMEA 0183 sentences": nmea_mix,
    "CCSDS space packets behind an attached sync marker": space_packets,
}
