from collections.abc import Iterator

from hypothesis import given
from hypothesis import strategies as st

from groundstation.inputs import Chunk, EventKind, StationEvent
from groundstation.replay import joined


def _bytes(items: list[Chunk | StationEvent]) -> Iterator[tuple[str, int, int]]:
    for item in items:
        if isinstance(item, StationEvent):
            yield ("event", item.at_ns, 0)
            continue
        if not item.data:
            yield (item.link, item.stamps[0].received_ns, -1)
        for k, stamp in enumerate(item.stamps):
            end = item.stamps[k + 1].start if k + 1 < len(item.stamps) else len(item.data)
            yield from ((item.link, stamp.received_ns, byte) for byte in item.data[stamp.start : end])


items_of_a_session = st.lists(
    st.tuples(st.sampled_from(["a", "b", "event"]), st.binary(max_size=6), st.integers(0, 3))
).map(
    lambda parts: [
        StationEvent(k, EventKind.OPERATOR, True, "note") if kind == "event" else Chunk.at(k, data, link=kind)
        for k, (kind, data, _) in enumerate(parts)
    ]
)


@given(items_of_a_session)
def test_joining_keeps_every_byte_with_its_link_time_and_place_among_events(
    items: list[Chunk | StationEvent],
) -> None:
    again = list(joined(items))
    assert list(_bytes(again)) == list(_bytes(items))
    assert len(again) <= len(items)
