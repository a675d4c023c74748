import dataclasses
import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from decoders.cutting import STRETCH
from decoders.delimited import DelimitedCutter
from decoders.errors import LayoutError
from decoders.framing import framing
from decoders.layout import Reason

STREAMS = st.lists(
    st.one_of(st.just(b"\0"), st.integers(1, 12).map(lambda n: b"\x05" * n), st.binary(max_size=20)), max_size=40
).map(b"".join)


def everything(cutter, chunks):
    """All that cutting the chunks gave, and then the end."""
    cuts = [*(cutter.take(chunk) for chunk in chunks), cutter.end()]
    frames = [place for cut in cuts for place in zip(cut.frames, cut.starts, cut.ends, strict=True)]
    return frames, [stretch for cut in cuts for stretch in cut.stretches], cutter.offset


def chunked(stream, cuts):
    places = [0, *sorted(c % (len(stream) + 1) for c in cuts), len(stream)]
    return [stream[a:b] for a, b in itertools.pairwise(places)]


@given(STREAMS, st.lists(st.integers(0, 10_000), max_size=20))
def test_frames_and_stretches_do_not_depend_on_the_chunks(stream, cuts):
    whole = everything(DelimitedCutter(b"\0", 6), [stream])
    assert everything(DelimitedCutter(b"\0", 6), chunked(stream, cuts)) == whole
    assert everything(DelimitedCutter(b"\0", 6), [bytes([byte]) for byte in stream]) == whole


@given(STREAMS)
def test_every_byte_but_lone_delimiters_is_in_one_frame_or_stretch(stream):
    frames, stretches, offset = everything(DelimitedCutter(b"\0", 6), [stream])
    pieces = sorted([(start, end) for _, start, end in frames] + [(s.start, s.end) for s in stretches])
    covered = b""
    place = 0
    for start, end in pieces:
        assert start >= place
        assert set(stream[place:start]) <= {0}
        covered += stream[start:end]
        place = end
    assert set(stream[place:]) <= {0}
    assert offset == len(stream)
    assert [f for f in stream.split(b"\0")[:-1] if 0 < len(f) <= 6] == [frame for frame, _, _ in frames]


@pytest.mark.parametrize("size", [1, 7, 1000, 100_000])
def test_endless_run_is_reported_in_stretches_while_little_is_kept(size):
    run = b"\x09" * (3 * STRETCH + 10)
    stream = b"\x01\0" + run + b"\0\x02\0"
    cutter = DelimitedCutter(b"\0", 50)
    frames, stretches, _ = everything(cutter, [stream[i : i + size] for i in range(0, len(stream), size)])
    assert [frame for frame, _, _ in frames] == [b"\x01", b"\x02"]
    assert [(s.start - 2, s.end - 2) for s in stretches] == [
        (0, STRETCH),
        (STRETCH, 2 * STRETCH),
        (2 * STRETCH, 3 * STRETCH),
        (3 * STRETCH, 3 * STRETCH + 11),
    ]
    assert {s.reason for s in stretches} == {Reason.OVERSIZED}
    assert [len(s.raw) for s in stretches] == [50, 50, 50, 10]


def test_endless_run_is_reported_before_any_delimiter_comes():
    cutter = DelimitedCutter(b"\0", 50)
    given_out = [cutter.take(b"\x09" * 100).stretches for _ in range(100)]
    assert sum(len(stretches) for stretches in given_out) == 10_000 // STRETCH


def test_unfinished_frame_is_cut_short_at_the_end_and_cutting_goes_on_after_it():
    cutter = DelimitedCutter(b"\0", 50)
    assert cutter.take(b"\x01\x02").frames == []
    (stretch,) = cutter.end().stretches
    assert (stretch.reason, stretch.start, stretch.end, stretch.raw) == (Reason.CUT_SHORT, 0, 2, b"\x01\x02")
    cut = cutter.take(b"\x03\0")
    assert (cut.frames, cut.starts, cut.ends) == ([b"\x03"], [2], [4])


def test_unknown_framing_is_refused_with_the_known_ones(bench):
    with pytest.raises(LayoutError, match=r"framing: found 'cobbs', expected one of .*cobs"):
        framing(dataclasses.replace(bench.two_kinds, framing="cobbs"))
