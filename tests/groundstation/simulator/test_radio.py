import random

import pytest

from groundstation.simulator.radio import PERFECT, Channel, Radio, damaged

FRAME = bytes(range(1, 41)) + b"\x00"


def carried(radio: Radio, *, n: int = 20_000, seed: int = 3) -> list[tuple[float, bytes] | None]:
    channel = Channel(radio, random.Random(seed))
    return [channel.carry(k / 20, FRAME) for k in range(n)]


def test_perfect_link_changes_nothing() -> None:
    assert carried(PERFECT, n=100) == [(k / 20, FRAME) for k in range(100)]


def test_independent_loss_has_its_share() -> None:
    lost = sum(c is None for c in carried(Radio(loss=0.3, burst_per_s=0.0)))
    assert lost / 20_000 == pytest.approx(0.3, abs=0.012)


def test_bursts_lose_frames_in_a_row() -> None:
    got = carried(Radio(loss=0.0, burst_per_s=0.05, burst_s=2.0, burst_loss=1.0))
    lost = [c is None for c in got]
    runs = "".join("x" if lost_one else "." for lost_one in lost).split(".")
    lengths = [len(run) for run in runs if run]
    # a tenth of the time in bursts of 2 s, which are 40 frames on average
    assert sum(lost) / len(lost) == pytest.approx(0.1, abs=0.03)
    assert sum(lengths) / len(lengths) == pytest.approx(40.0, abs=12.0)


def test_late_frames_keep_their_order() -> None:
    times = [c[0] for c in carried(Radio(jitter_s=0.2), n=2000) if c is not None]
    assert times == sorted(times)
    assert all(t >= k / 20 for k, t in enumerate(times))


def test_damage_changes_exactly_one_byte() -> None:
    draws = random.Random(5)
    for _ in range(500):
        hurt = damaged(FRAME, draws)
        assert len(hurt) == len(FRAME)
        assert sum(a != b for a, b in zip(hurt, FRAME, strict=True)) == 1


def test_damage_has_its_share() -> None:
    got = [c for c in carried(Radio(loss=0.0, burst_per_s=0.0, damage=0.2)) if c is not None]
    assert sum(c[1] != FRAME for c in got) / len(got) == pytest.approx(0.2, abs=0.01)


def test_a_share_above_one_is_refused() -> None:
    with pytest.raises(ValueError, match=r"loss = 1\.5, expected a share from 0 to 1"):
        Radio(loss=1.5)
    with pytest.raises(ValueError, match="jitter_s = -1"):
        Radio(jitter_s=-1)
