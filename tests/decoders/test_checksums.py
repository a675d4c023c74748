import zlib

import crccheck.checksum
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.checksums import checksum, names


def sums(data, modulus, size):
    """Fletcher's two sums by their definition, over little-endian words."""
    padded = data + bytes(-len(data) % size)
    words = [int.from_bytes(padded[i : i + size], "little") for i in range(0, len(padded), size)]
    first = sum(words) % modulus
    second = sum(sum(words[: k + 1]) for k in range(len(words))) % modulus
    return second, first


DEFINITIONS = {
    "none": lambda data: 0,
    "XOR-8": crccheck.checksum.ChecksumXor8.calc,
    "sum-8": crccheck.checksum.Checksum8.calc,
    "sum-16": lambda data: sum(data) % 65_536,
    "sum-32": lambda data: sum(data) % 2**32,
    "Adler-32": zlib.adler32,
    "Fletcher-16": lambda data: sums(data, 255, 1)[0] * 256 + sums(data, 255, 1)[1],
    "Fletcher-32": lambda data: sums(data, 65_535, 2)[0] * 65_536 + sums(data, 65_535, 2)[1],
}


def test_every_checksum_that_is_no_crc_has_a_definition_here():
    assert set(DEFINITIONS) == {name for name in names() if not name.startswith("CRC-")}


@pytest.mark.parametrize("name", DEFINITIONS)
@given(st.one_of(st.binary(max_size=60), st.integers(0, 300).map(lambda n: b"\xff" * n)))
def test_checksum_equals_its_definition(name, data):
    assert checksum(name).of(data) == DEFINITIONS[name](data)


@pytest.mark.parametrize("name", names())
def test_checksum_fits_its_bytes_and_rows_give_the_same(name):
    found = checksum(name)
    rows = np.random.default_rng(4).integers(0, 256, (7, 31), dtype=np.uint8)
    one_by_one = [found.of(row.tobytes()) for row in rows]
    assert found.of_rows(rows).tolist() == one_by_one
    assert found.of_rows(rows[:, ::2]).tolist() == [found.of(row.tobytes()) for row in rows[:, ::2]]
    assert all(0 <= number < 256**found.size or (number == found.size == 0) for number in one_by_one)
