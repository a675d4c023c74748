import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.inputs import Chunk, Stamp, recut


def _bytes_with_times(chunks: list[Chunk]) -> list[tuple[int, int]]:
    out = []
    for chunk in chunks:
        for k, stamp in enumerate(chunk.stamps):
            end = chunk.stamps[k + 1].start if k + 1 < len(chunk.stamps) else len(chunk.data)
            out += [(byte, stamp.received_ns) for byte in chunk.data[stamp.start : end]]
    return out


chunk_lists = st.lists(st.tuples(st.binary(max_size=20), st.integers(0, 50))).map(
    lambda parts: [
        Chunk.at(time, data, link="a")
        for (data, _), time in zip(parts, itertools.accumulate(step for _, step in parts), strict=True)
    ]
)


@given(chunk_lists, st.lists(st.integers(1, 30), min_size=1))
def test_recut_keeps_every_byte_and_its_time(chunks: list[Chunk], sizes: list[int]) -> None:
    again = recut(chunks, itertools.cycle(sizes))
    assert _bytes_with_times(again) == _bytes_with_times(chunks)


@given(chunk_lists, st.integers(1, 30))
def test_recut_pieces_have_the_size_asked_for_unless_silence_or_the_end_cuts_them(
    chunks: list[Chunk], size: int
) -> None:
    again = recut(chunks, itertools.repeat(size))
    for piece, following in itertools.pairwise(again):
        assert len(piece.data) == size or not piece.data or not following.data
    assert [c for c in again if not c.data] == [c for c in chunks if not c.data]


@pytest.mark.parametrize(
    "stamps",
    [(), (Stamp(1, 0),), (Stamp(0, 5), Stamp(1, 4)), (Stamp(0, 0), Stamp(0, 1)), (Stamp(0, 0), Stamp(3, 1))],
)
def test_chunk_refuses_stamps_that_do_not_cover_it_in_order(stamps: tuple[Stamp, ...]) -> None:
    with pytest.raises(ValueError, match="stamp"):
        Chunk("a", b"xyz", stamps)
