import numpy as np
import pytest

from decoders.stream import StreamDecoder

COUNT = 200
ODDS = 2.0**-16  # of a damaged frame passing a 16-bit checksum


def rows_of(bench, stream):
    decoder = StreamDecoder(bench.two_kinds)
    rows, rejects = bench.gathered(decoder.feed(stream), decoder.finish())
    return sorted((start, kind, values) for kind, found in rows.items() for start, _, *values in found), rejects


def damaged_streams(stream, place, rng):
    """The stream with one byte changed (to another value), dropped, doubled."""
    changed = bytes([stream[place] ^ int(rng.integers(1, 256))])
    yield stream[:place] + changed + stream[place + 1 :]
    yield stream[:place] + stream[place + 1 :]
    yield stream[:place] + stream[place : place + 1] + stream[place:]


def check_places(bench, places):
    """Damage one byte at each place; the number of wrong packets accepted."""
    rng = np.random.default_rng(77)
    stream = b"".join(bench.frames_of_two_kinds(COUNT, seed=31))
    good = [(kind, values) for _, kind, values in rows_of(bench, stream)[0]]
    assert len(good) == COUNT
    wrong = 0
    for place in places:
        for damaged in damaged_streams(stream, place, rng):
            found = [(kind, values) for _, kind, values in rows_of(bench, damaged)[0]]
            head = next((i for i, (a, b) in enumerate(zip(good, found, strict=False)) if a != b), len(found))
            tail = 0
            while tail < len(found) - head and found[-1 - tail] == good[-1 - tail]:
                tail += 1
            wrong += len(found) - head - tail
            assert head + tail >= COUNT - 2, place
    return wrong


def test_damaged_byte_costs_at_most_its_packet_and_a_neighbour_sampled(bench):
    length = sum(map(len, bench.frames_of_two_kinds(COUNT, seed=31)))
    places = np.random.default_rng(5).choice(length, 250, replace=False)
    assert check_places(bench, places.tolist()) <= 1  # 750 trials expect 750 * 2**-16 = 0.01


@pytest.mark.campaign
def test_damaged_byte_costs_at_most_its_packet_and_a_neighbour_everywhere(bench):
    length = sum(map(len, bench.frames_of_two_kinds(COUNT, seed=31)))
    wrong = check_places(bench, range(length))
    expected = 3 * length * ODDS
    assert wrong <= expected + 5 * expected**0.5 + 1


def check_noise(bench, size, chunk):
    decoder = StreamDecoder(bench.two_kinds)
    rng = np.random.default_rng(2)
    accepted = rejected = 0
    for _ in range(size // chunk):
        part = decoder.feed(rng.bytes(chunk))
        accepted += sum(len(table) for table in part.tables)
        rejected += len(part.rejects)
        assert all(len(reject.raw) <= 20 for reject in part.rejects)
    assert rejected > size / 1000  # a zero every 256 bytes
    expected = (accepted + rejected) * ODDS
    assert accepted <= expected + 5 * expected**0.5 + 1


def test_random_bytes_are_rejected(bench):
    check_noise(bench, 500_000, 10_000)


@pytest.mark.campaign
def test_ten_megabytes_of_random_bytes_are_rejected(bench):
    check_noise(bench, 10_000_000, 1_000_000)
