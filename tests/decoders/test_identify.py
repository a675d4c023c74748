import sys
from pathlib import Path

import numpy as np
import pytest

from decoders.identify import identify
from decoders.identifying.evidence import Strength

sys.path.insert(0, str(Path(__file__).parent))
import unknown_streams as unknown

SEEDS = range(1, 4)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", unknown.STREAMS)
def test_framing_is_proposed_for_each_stream_of_the_set_without_being_told(name, seed):
    found = identify(unknown.STREAMS[name](np.random.default_rng(seed)))
    assert found.proposed is not None
    assert found.proposed.kind.value == name


CHECKSUMS = {
    "COBS": ("CRC-16/IBM-3740", 0),
    "SLIP": ("CRC-16/KERMIT", 0),
    "RFC 1662": ("CRC-16/IBM-SDLC", 0),
    "sync word and length field": ("sum-8", 2),
    "sync word and fixed length": ("CRC-8/SMBUS", 2),
    "fixed length without a delimiter": ("CRC-16/MODBUS", 0),
    "CCSDS space packets behind an attached sync marker": ("CRC-16/IBM-3740", 4),
}


@pytest.mark.parametrize("name", CHECKSUMS)
def test_checksum_and_its_start_are_found_by_trial(name):
    proposed = identify(unknown.STREAMS[name](np.random.default_rng(7))).proposed
    assert proposed is not None
    assert proposed.strength is Strength.PROVEN
    assert proposed.checksum is not None
    assert (proposed.checksum.name, proposed.checksum.start) == CHECKSUMS[name]
    assert proposed.checksum.hits >= 0.9 * proposed.checksum.of


def tells_nothing(data):
    found = identify(data)
    assert found.proposed is None
    assert all(hypothesis.strength is Strength.HINT for hypothesis in found.hypotheses)
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_random_bytes_are_told_to_be_nothing_known(seed):
    found = tells_nothing(unknown.random_bytes(np.random.default_rng(seed)))
    assert found.statistics.entropy_bits > 7.9
    assert found.ruled_out


@pytest.mark.parametrize("data", [b"", b"\x00", bytes(5000), b"\xff" * 5000, b"U" * 70], ids=len)
def test_silence_and_a_line_that_never_changes_give_no_framing(data):
    tells_nothing(data)


@pytest.mark.parametrize(("sent", "read"), [(57600, 115200), (57600, 38400), (57600, 9600), (115200, 57600)])
def test_a_stream_read_at_the_wrong_speed_cannot_be_told(sent, read):
    rng = np.random.default_rng(11)
    stream = unknown.cobs_crc16(rng, 200)
    garbled = unknown.at_wrong_speed(stream, sent_baud=sent, read_baud=read, rng=rng)
    assert len(garbled) > 500
    tells_nothing(garbled)


def test_the_receiver_model_gives_the_bytes_sent_at_the_right_speed():
    rng = np.random.default_rng(5)
    stream = unknown.cobs_crc16(rng, 20)
    assert unknown.at_wrong_speed(stream, sent_baud=57600, read_baud=57600, rng=rng) == stream


def test_lines_of_the_receiver_between_frames_are_seen():
    found = identify(unknown.slip_crc16(np.random.default_rng(3)))
    assert found.lines is not None
    assert found.lines.count >= 30
    assert found.lines.example.startswith("RX ok rssi=-")
