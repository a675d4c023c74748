import crccheck.crc
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.checksums import checksum, from_crc
from decoders.crc import CATALOGUE, CrcModel
from decoders.errors import LayoutError

REFERENCE = {model._names[0]: model for model in crccheck.crc.ALLCRCCLASSES if model._names}


@st.composite
def models(draw):
    width = draw(st.integers(8, 64))
    numbers = st.integers(0, 2**width - 1)
    return CrcModel(
        "any",
        width,
        draw(st.one_of(numbers, st.sampled_from([0x1021 & (2**width - 1), 0x04C11DB7 & (2**width - 1)]))),
        draw(numbers),
        draw(st.booleans()),
        draw(st.booleans()),
        draw(numbers),
    )


@st.composite
def library_polynomials(draw):
    width, polynomial = draw(st.sampled_from([(16, 0x1021), (32, 0x04C11DB7)]))
    numbers = st.integers(0, 2**width - 1)
    return CrcModel("any", width, polynomial, draw(numbers), draw(st.booleans()), draw(st.booleans()), draw(numbers))


def bit_by_bit(model, data):
    """Shift register with one bit at a time, straight from the parameters' definition."""
    mirrored = lambda number, bits: int(f"{number:0{bits}b}"[::-1], 2)  # noqa: E731
    register, top = model.init, 1 << (model.width - 1)
    for byte in data:
        for bit in range(8):
            place = bit if model.reflect_in else 7 - bit
            feedback = bool(register & top) != bool(byte >> place & 1)
            register = (register << 1) & (2**model.width - 1)
            if feedback:
                register ^= model.polynomial
    return (mirrored(register, model.width) if model.reflect_out else register) ^ model.xor_out


@given(st.sampled_from(sorted(CATALOGUE)), st.binary(max_size=80))
def test_catalogue_crc_equals_the_reference_library(name, data):
    assert checksum(name).of(data) == REFERENCE[name].calc(data)


@given(st.one_of(models(), library_polynomials()), st.binary(max_size=40))
def test_crc_by_its_parameters_equals_the_bitwise_definition(model, data):
    assert from_crc(model).of(data) == model.of(data) == bit_by_bit(model, data)


@given(
    st.one_of(models(), library_polynomials(), st.sampled_from(sorted(CATALOGUE.values(), key=lambda m: m.name))),
    st.integers(0, 20),
    st.data(),
)
def test_rows_have_the_crcs_of_their_messages(model, length, data):
    messages = data.draw(st.lists(st.binary(min_size=length, max_size=length), max_size=5))
    rows = np.frombuffer(b"".join(messages), dtype=np.uint8).reshape(len(messages), length)
    found = from_crc(model).of_rows(rows)
    assert found.dtype == np.uint64
    assert found.tolist() == [model.of(message) for message in messages]


@pytest.mark.parametrize(("width", "size"), [(8, 1), (15, 2), (16, 2), (24, 3), (32, 4), (33, 5), (64, 8)])
def test_crc_takes_whole_bytes_in_a_frame(width, size):
    assert from_crc(CrcModel("any", width, 7, 0, False, False, 0)).size == size


@pytest.mark.parametrize(("width", "polynomial"), [(7, 1), (65, 1), (16, 0x10000), (16, -1)])
def test_impossible_parameters_are_refused(width, polynomial):
    with pytest.raises(ValueError, match="expected"):
        CrcModel("any", width, polynomial, 0, False, False, 0)


def test_unknown_checksum_is_refused_with_the_nearest_names():
    with pytest.raises(LayoutError, match=r"checksum: found 'CRC-16/MODBUZ'.*CRC-16/MODBUS"):
        checksum("CRC-16/MODBUZ")
