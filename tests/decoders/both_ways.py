"""A stream decoded on the fast way and on the readable one, chunk by chunk, and held to give the same."""

import itertools

import numpy as np

from decoders.recording import RecordingDecoder
from decoders.stream import StreamDecoder


def readable(layout):
    """A decoder that never takes the fast way."""
    decoder = StreamDecoder(layout)
    decoder._tiles = None
    return decoder


def cut_at(stream, places):
    """The stream cut at some places, which are in order."""
    return [stream[a:b] for a, b in itertools.pairwise([0, *places, len(stream)])]


def in_blocks(stream, size):
    """The stream in blocks of a size."""
    return [stream[at : at + size] for at in range(0, len(stream), size)]


def everything(decoder, chunks):
    """What each chunk gave, and then the end."""
    return [*(decoder.feed(chunk) for chunk in chunks), decoder.finish()]


def packets_in(parts):
    """How many packets several calls gave."""
    return sum(len(table) for part in parts for table in part.tables)


def assert_same(layout, chunks):
    """Both ways give the same tables, bit by bit, and the same rejects from every chunk; what the fast way gave."""
    fast = everything(StreamDecoder(layout), chunks)
    for ours, theirs in zip(fast, everything(readable(layout), chunks), strict=True):
        assert ours.rejects == theirs.rejects
        assert all(type(reject.raw) is bytes for reject in ours.rejects)  # a bytearray is equal and no such thing
        assert [table.packet for table in ours.tables] == [table.packet for table in theirs.tables]
        for table, other in zip(ours.tables, theirs.tables, strict=True):
            assert table.start.tolist() == other.start.tolist()
            assert table.end.tolist() == other.end.tolist()
            assert list(table.columns) == list(other.columns)
            for name, column in table.columns.items():
                assert column.dtype == other.columns[name].dtype
                assert column.tobytes() == other.columns[name].tobytes(), name
    assert_same_as_a_recording(layout, chunks, fast)
    return fast


def assert_same_as_a_recording(layout, chunks, parts):
    """Taken as one recording the chunks give the same rejects, and the columns of all parts one after the other."""
    recording = RecordingDecoder(layout, sum(map(len, chunks)))
    rejects = [recording.feed(chunk) for chunk in chunks]
    rejects.append(recording.finish())
    assert rejects == [part.rejects for part in parts]
    whole = {}
    for table in (table for part in parts for table in part.tables):
        for name, column in table.columns.items():
            whole.setdefault(table.packet.name, {}).setdefault(name, []).append(column)
    found = recording.columns()
    assert set(found) == set(whole)
    for packet, columns in whole.items():
        assert list(found[packet]) == list(columns)
        for name, some in columns.items():
            assert found[packet][name].dtype == some[0].dtype
            assert found[packet][name].tobytes() == np.concatenate(some).tobytes(), name
