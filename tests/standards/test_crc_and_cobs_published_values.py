"""Check values of the CRC catalogue, of ECSS-E-ST-70-41, and COBS encodings.

Sources: G. Cook, Catalogue of parametrised CRC algorithms (check: the CRC of the ASCII digits 123456789);
ECSS-E-ST-70-41, annex B (vectors of the packet error control); S. Cheshire, M. Baker, Consistent Overhead Byte
Stuffing, IEEE/ACM Transactions on Networking 7(2), 1999 (the 12-byte figure; the other pairs follow its rules and
agree with the package cobs 1.2.2).
"""

import pytest

from decoders import cobs
from decoders.checksums import checksum
from decoders.crc import CATALOGUE
from decoders.errors import FrameError

CHECKS = """
CRC-8/AUTOSAR DF
CRC-8/BLUETOOTH 26
CRC-8/CDMA2000 DA
CRC-8/DARC 15
CRC-8/DVB-S2 BC
CRC-8/GSM-A 37
CRC-8/GSM-B 94
CRC-8/HITAG B4
CRC-8/I-432-1 A1
CRC-8/I-CODE 7E
CRC-8/LTE EA
CRC-8/MAXIM-DOW A1
CRC-8/MIFARE-MAD 99
CRC-8/NRSC-5 F7
CRC-8/OPENSAFETY 3E
CRC-8/ROHC D0
CRC-8/SAE-J1850 4B
CRC-8/SMBUS F4
CRC-8/TECH-3250 97
CRC-8/WCDMA 25
CRC-16/ARC BB3D
CRC-16/CDMA2000 4C06
CRC-16/CMS AEE7
CRC-16/DDS-110 9ECF
CRC-16/DECT-R 007E
CRC-16/DECT-X 007F
CRC-16/DNP EA82
CRC-16/EN-13757 C2B7
CRC-16/GENIBUS D64E
CRC-16/GSM CE3C
CRC-16/IBM-3740 29B1
CRC-16/IBM-SDLC 906E
CRC-16/ISO-IEC-14443-3-A BF05
CRC-16/KERMIT 2189
CRC-16/LJ1200 BDF4
CRC-16/M17 772B
CRC-16/MAXIM-DOW 44C2
CRC-16/MCRF4XX 6F91
CRC-16/MODBUS 4B37
CRC-16/NRSC-5 A066
CRC-16/OPENSAFETY-A 5D38
CRC-16/OPENSAFETY-B 20FE
CRC-16/PROFIBUS A819
CRC-16/RIELLO 63D0
CRC-16/SPI-FUJITSU E5CC
CRC-16/T10-DIF D0DB
CRC-16/TELEDISK 0FB3
CRC-16/TMS37157 26B1
CRC-16/UMTS FEE8
CRC-16/USB B4C8
CRC-16/XMODEM 31C3
CRC-24/BLE C25A56
CRC-24/FLEXRAY-A 7979BD
CRC-24/FLEXRAY-B 1F23B8
CRC-24/INTERLAKEN B4F3E6
CRC-24/LTE-A CDE703
CRC-24/LTE-B 23EF52
CRC-24/OPENPGP 21CF02
CRC-24/OS-9 200FA5
CRC-32/AIXM 3010BF7F
CRC-32/AUTOSAR 1697D06A
CRC-32/BASE91-D 87315576
CRC-32/BZIP2 FC891918
CRC-32/CD-ROM-EDC 6EC2EDC4
CRC-32/CKSUM 765E7680
CRC-32/ISCSI E3069283
CRC-32/ISO-HDLC CBF43926
CRC-32/JAMCRC 340BC6D9
CRC-32/MEF D2C22F51
CRC-32/MPEG-2 0376E6E7
CRC-32/XFER BD0BE338
CRC-40/GSM D4164FC646
CRC-64/ECMA-182 6C40DF5F0B497347
CRC-64/GO-ISO B90956C775A41001
CRC-64/MS 75D4B74F024ECEEA
CRC-64/NVME AE8B14860A799888
CRC-64/REDIS E9C6D914C4B8D9CA
CRC-64/WE 62EC59E3F1A4F00A
CRC-64/XZ 995DC9BBDF1939FA
"""
PAIRS = [tuple(line.rsplit(maxsplit=1)) for line in CHECKS.strip().splitlines()]
RUN = bytes(range(0x01, 0xFF))  # 01 to FE, 254 bytes


@pytest.mark.parametrize(("name", "check"), PAIRS)
def test_crc_of_the_nine_digits_is_the_catalogues_check_value(name, check):
    assert checksum(name).of(b"123456789") == int(check, 16)


def test_every_crc_by_name_has_its_published_check_value_here():
    assert {name for name, _ in PAIRS} == set(CATALOGUE)


@pytest.mark.parametrize(
    ("message", "expected"), [("0000", 0x1D0F), ("000000", 0xCC9C), ("ABCDEF01", 0x04A2), ("1456F89A0001", 0x7FD5)]
)
def test_packet_error_control_of_the_ecss_vectors(message, expected):
    assert checksum("CRC-16/IBM-3740").of(bytes.fromhex(message)) == expected


# Fletcher: widely printed check values, those of 32 bits from memory; Adler: algorithm of RFC 1950, a printed value
@pytest.mark.parametrize(
    ("name", "message", "expected"),
    [
        ("Fletcher-16", b"abcde", 0xC8F0),
        ("Fletcher-16", b"abcdef", 0x2057),
        ("Fletcher-16", b"abcdefgh", 0x0627),
        ("Fletcher-32", b"abcde", 0xF04FC729),
        ("Fletcher-32", b"abcdef", 0x56502D2A),
        ("Fletcher-32", b"abcdefgh", 0xEBE19591),
        ("Adler-32", b"Wikipedia", 0x11E60398),
        ("Adler-32", b"", 0x00000001),
    ],
)
def test_sums_of_printed_examples(name, message, expected):
    assert checksum(name).of(message) == expected


@pytest.mark.parametrize(
    ("contents", "encoded"),
    [
        (b"", "01"),
        (bytes.fromhex("00"), "01 01"),
        (bytes.fromhex("00 00"), "01 01 01"),
        (bytes.fromhex("00 11 00"), "01 02 11 01"),
        (bytes.fromhex("11 22 00 33"), "03 11 22 02 33"),
        (bytes.fromhex("11 22 33 44"), "05 11 22 33 44"),
        (bytes.fromhex("11 00 00 00"), "02 11 01 01 01"),
        (bytes.fromhex("45 00 00 2C 4C 79 00 00 40 06 4F 37"), "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
        (RUN, "FF" + RUN.hex()),
        (b"\x00" + RUN, "01 FF" + RUN.hex()),
        (RUN + b"\xff", "FF" + RUN.hex() + "02 FF"),
        (RUN[1:] + b"\xff\x00", "FF" + RUN[1:].hex() + "FF 01 01"),
        (RUN[2:] + b"\xff\x00\x01", "FE" + RUN[2:].hex() + "FF 02 01"),
        (bytes(254), "01" * 255),
        (b"\x01" * 508, "FF" + "01" * 254 + "FF" + "01" * 254),
        (b"\x01" * 509, "FF" + "01" * 254 + "FF" + "01" * 254 + "02 01"),
    ],
)
def test_cobs_pairs(contents, encoded):
    assert cobs.encode(contents) == bytes.fromhex(encoded)
    assert cobs.decode(bytes.fromhex(encoded)) == contents


def test_cobs_full_last_block_decodes_with_and_without_the_papers_empty_block():
    assert cobs.decode(b"\xff" + RUN) == RUN
    assert cobs.decode(b"\xff" + RUN + b"\x01") == RUN


@pytest.mark.parametrize(
    ("block", "offset"), [("", 0), ("00", 0), ("03 11", 0), ("05 01 02", 0), ("02 00", 1), ("03 11 00", 2)]
)
def test_cobs_refuses_broken_blocks_and_says_where(block, offset):
    with pytest.raises(FrameError) as caught:
        cobs.decode(bytes.fromhex(block))
    assert caught.value.offset == offset
