"""Cyclic redundancy checks: the published catalogue by name, and any other by its parameters.

A single message goes through the standard library where that computes the same polynomial at C speed, and through a
table of 256 entries elsewhere; many messages of one length go through the table together.

Source: G. Cook, "Catalogue of parametrised CRC algorithms" (parameters and check values).
"""

import binascii
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

_MIRRORED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True, slots=True)
class CrcModel:
    """A CRC by the catalogue's parameters.

    width: bits, 8 to 64. polynomial: without its highest term. init: the register at the start. reflect_in: each
    byte's lowest bit goes first. reflect_out: the register is mirrored at the end. xor_out: is then applied.
    """

    name: str
    width: int
    polynomial: int
    init: int
    reflect_in: bool
    reflect_out: bool
    xor_out: int

    def __post_init__(self) -> None:
        if not 8 <= self.width <= 64:
            raise ValueError(f"{self.name}: found a width of {self.width} bits, expected 8 to 64")
        for part in ("polynomial", "init", "xor_out"):
            value = getattr(self, part)
            if not 0 <= value < 1 << self.width:
                raise ValueError(f"{self.name}: found {part} = {value:#x}, expected a number of {self.width} bits")

    @property
    def size(self) -> int:
        """Bytes the CRC takes in a frame."""
        return (self.width + 7) // 8

    def of(self, data: bytes) -> int:
        """The CRC of one message."""
        return _engine(self)(data)

    def engine(self) -> Callable[[bytes], int]:
        """`of` as a plain function, for those who call it for every frame."""
        return _engine(self)

    def of_rows(self, rows: NDArray[np.uint8]) -> NDArray[np.uint64]:
        """The CRCs of many messages of one length.

        Args:
            rows: (n, length) one message a row.
        Returns:
            (n,) the CRCs.
        """
        table = _numpy_table(self)
        register = np.full(rows.shape[0], _start(self), dtype=table.dtype)
        low_byte = table.dtype.type(0xFF)
        eight = table.dtype.type(8)
        if self.reflect_in:
            for column in rows.T:
                register = table[(register ^ column) & low_byte] ^ (register >> eight)
        else:
            mask = table.dtype.type((1 << self.width) - 1)
            down = table.dtype.type(self.width - 8)
            for column in rows.T:
                register = table[(register >> down) ^ column] ^ ((register << eight) & mask)
        if self.reflect_in != self.reflect_out:
            register = np.array([_mirror(int(r), self.width) for r in register], dtype=table.dtype)
        return np.asarray(register ^ table.dtype.type(self.xor_out), dtype=np.uint64)


def _mirror(number: int, width: int) -> int:
    return int(f"{number:0{width}b}"[::-1], 2)


def _start(model: CrcModel) -> int:
    return _mirror(model.init, model.width) if model.reflect_in else model.init


@cache
def _engine(model: CrcModel) -> Callable[[bytes], int]:
    """The quickest way to compute the CRC of one message.

    The standard library has two polynomials, one taking each byte's highest bit first, the other its lowest.
    Mirroring every byte going in, and the register at both ends, turns each into its twin.
    """
    if (model.width, model.polynomial) == (16, 0x1021):
        return _mirrored_where_needed(model, binascii.crc_hqx, highest_first=True)
    if (model.width, model.polynomial) == (32, 0x04C11DB7):
        # zlib complements the register on the way in and on the way out
        return _mirrored_where_needed(
            model, lambda data, start: zlib.crc32(data, start ^ 0xFFFFFFFF) ^ 0xFFFFFFFF, highest_first=False
        )
    return _by_table(model)


def _mirrored_where_needed(
    model: CrcModel, register_after: Callable[[bytes, int], int], *, highest_first: bool
) -> Callable[[bytes], int]:
    start = model.init if highest_first else _mirror(model.init, model.width)
    width, xor_out = model.width, model.xor_out

    def plain(data: bytes) -> int:
        return register_after(data, start)

    def mirrored(data: bytes) -> int:
        return register_after(data.translate(_MIRRORED), start)

    register = mirrored if model.reflect_in == highest_first else plain
    if model.reflect_out == highest_first:
        return lambda data: _mirror(register(data), width) ^ xor_out
    if xor_out:
        return lambda data: register(data) ^ xor_out
    return register


def _by_table(model: CrcModel) -> Callable[[bytes], int]:
    table, start, width, xor_out = _table(model), _start(model), model.width, model.xor_out
    mirrored_at_end = model.reflect_in != model.reflect_out
    mask = (1 << width) - 1

    def low_first(data: bytes) -> int:
        register = start
        for byte in data:
            register = table[(register ^ byte) & 0xFF] ^ (register >> 8)
        return register

    def high_first(data: bytes) -> int:
        register = start
        for byte in data:
            register = table[(register >> (width - 8)) ^ byte] ^ ((register << 8) & mask)
        return register

    register_after = low_first if model.reflect_in else high_first
    if mirrored_at_end:
        return lambda data: _mirror(register_after(data), width) ^ xor_out
    return lambda data: register_after(data) ^ xor_out


@cache
def _table(model: CrcModel) -> tuple[int, ...]:
    """What each byte does to the register."""
    entries = []
    if model.reflect_in:
        polynomial = _mirror(model.polynomial, model.width)
        for register in range(256):
            for _ in range(8):
                register = (register >> 1) ^ (polynomial if register & 1 else 0)
            entries.append(register)
        return tuple(entries)
    top, mask = 1 << (model.width - 1), (1 << model.width) - 1
    for byte in range(256):
        register = byte << (model.width - 8)
        for _ in range(8):
            register = ((register << 1) ^ (model.polynomial if register & top else 0)) & mask
        entries.append(register)
    return tuple(entries)


@cache
def _numpy_table(model: CrcModel) -> NDArray[np.unsignedinteger]:
    kinds = ((16, np.uint16), (32, np.uint32), (64, np.uint64))
    kind = next(k for bits, k in kinds if model.width <= bits)
    return np.array(_table(model), dtype=kind)


def _catalogue(text: str) -> dict[str, CrcModel]:
    models = {}
    for line in text.strip().splitlines():
        name, width, polynomial, init, reflect_in, reflect_out, xor_out = line.split()
        models[name] = CrcModel(
            name,
            int(width),
            int(polynomial, 16),
            int(init, 16),
            reflect_in == "true",
            reflect_out == "true",
            int(xor_out, 16),
        )
    return models


# name, width, polynomial, init, reflect_in, reflect_out, xor_out, as the catalogue prints them
CATALOGUE = _catalogue("""
CRC-8/AUTOSAR              8 2f ff false false ff
CRC-8/BLUETOOTH            8 a7 00 true  true  00
CRC-8/CDMA2000             8 9b ff false false 00
CRC-8/DARC                 8 39 00 true  true  00
CRC-8/DVB-S2               8 d5 00 false false 00
CRC-8/GSM-A                8 1d 00 false false 00
CRC-8/GSM-B                8 49 00 false false ff
CRC-8/HITAG                8 1d ff false false 00
CRC-8/I-432-1              8 07 00 false false 55
CRC-8/I-CODE               8 1d fd false false 00
CRC-8/LTE                  8 9b 00 false false 00
CRC-8/MAXIM-DOW            8 31 00 true  true  00
CRC-8/MIFARE-MAD           8 1d c7 false false 00
CRC-8/NRSC-5               8 31 ff false false 00
CRC-8/OPENSAFETY           8 2f 00 false false 00
CRC-8/ROHC                 8 07 ff true  true  00
CRC-8/SAE-J1850            8 1d ff false false ff
CRC-8/SMBUS                8 07 00 false false 00
CRC-8/TECH-3250            8 1d ff true  true  00
CRC-8/WCDMA                8 9b 00 true  true  00
CRC-16/ARC                16 8005 0000 true  true  0000
CRC-16/CDMA2000           16 c867 ffff false false 0000
CRC-16/CMS                16 8005 ffff false false 0000
CRC-16/DDS-110            16 8005 800d false false 0000
CRC-16/DECT-R             16 0589 0000 false false 0001
CRC-16/DECT-X             16 0589 0000 false false 0000
CRC-16/DNP                16 3d65 0000 true  true  ffff
CRC-16/EN-13757           16 3d65 0000 false false ffff
CRC-16/GENIBUS            16 1021 ffff false false ffff
CRC-16/GSM                16 1021 0000 false false ffff
CRC-16/IBM-3740           16 1021 ffff false false 0000
CRC-16/IBM-SDLC           16 1021 ffff true  true  ffff
CRC-16/ISO-IEC-14443-3-A  16 1021 c6c6 true  true  0000
CRC-16/KERMIT             16 1021 0000 true  true  0000
CRC-16/LJ1200             16 6f63 0000 false false 0000
CRC-16/M17                16 5935 ffff false false 0000
CRC-16/MAXIM-DOW          16 8005 0000 true  true  ffff
CRC-16/MCRF4XX            16 1021 ffff true  true  0000
CRC-16/MODBUS             16 8005 ffff true  true  0000
CRC-16/NRSC-5             16 080b ffff true  true  0000
CRC-16/OPENSAFETY-A       16 5935 0000 false false 0000
CRC-16/OPENSAFETY-B       16 755b 0000 false false 0000
CRC-16/PROFIBUS           16 1dcf ffff false false ffff
CRC-16/RIELLO             16 1021 b2aa true  true  0000
CRC-16/SPI-FUJITSU        16 1021 1d0f false false 0000
CRC-16/T10-DIF            16 8bb7 0000 false false 0000
CRC-16/TELEDISK           16 a097 0000 false false 0000
CRC-16/TMS37157           16 1021 89ec true  true  0000
CRC-16/UMTS               16 8005 0000 false false 0000
CRC-16/USB                16 8005 ffff true  true  ffff
CRC-16/XMODEM             16 1021 0000 false false 0000
CRC-24/BLE                24 00065b 555555 true  true  000000
CRC-24/FLEXRAY-A          24 5d6dcb fedcba false false 000000
CRC-24/FLEXRAY-B          24 5d6dcb abcdef false false 000000
CRC-24/INTERLAKEN         24 328b63 ffffff false false ffffff
CRC-24/LTE-A              24 864cfb 000000 false false 000000
CRC-24/LTE-B              24 800063 000000 false false 000000
CRC-24/OPENPGP            24 864cfb b704ce false false 000000
CRC-24/OS-9               24 800063 ffffff false false ffffff
CRC-32/AIXM               32 814141ab 00000000 false false 00000000
CRC-32/AUTOSAR            32 f4acfb13 ffffffff true  true  ffffffff
CRC-32/BASE91-D           32 a833982b ffffffff true  true  ffffffff
CRC-32/BZIP2              32 04c11db7 ffffffff false false ffffffff
CRC-32/CD-ROM-EDC         32 8001801b 00000000 true  true  00000000
CRC-32/CKSUM              32 04c11db7 00000000 false false ffffffff
CRC-32/ISCSI              32 1edc6f41 ffffffff true  true  ffffffff
CRC-32/ISO-HDLC           32 04c11db7 ffffffff true  true  ffffffff
CRC-32/JAMCRC             32 04c11db7 ffffffff true  true  00000000
CRC-32/MEF                32 741b8cd7 ffffffff true  true  00000000
CRC-32/MPEG-2             32 04c11db7 ffffffff false false 00000000
CRC-32/XFER               32 000000af 00000000 false false 00000000
CRC-40/GSM                40 0004820009 0000000000 false false ffffffffff
CRC-64/ECMA-182           64 42f0e1eba9ea3693 0000000000000000 false false 0000000000000000
CRC-64/GO-ISO             64 000000000000001b ffffffffffffffff true  true  ffffffffffffffff
CRC-64/MS                 64 259c84cba6426349 ffffffffffffffff true  true  0000000000000000
CRC-64/NVME               64 ad93d23594c93659 ffffffffffffffff true  true  ffffffffffffffff
CRC-64/REDIS              64 ad93d23594c935a9 0000000000000000 true  true  0000000000000000
CRC-64/WE                 64 42f0e1eba9ea3693 ffffffffffffffff false false ffffffffffffffff
CRC-64/XZ                 64 42f0e1eba9ea3693 ffffffffffffffff true  true  ffffffffffffffff
""")
