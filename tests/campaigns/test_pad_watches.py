import pytest

from .pad_watches import camera_cycled, main, watch


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_nominal_watch_is_go_once_settled(seed: int) -> None:
    seen = watch(seed, 300.0)
    assert [(f.check, f.text) for f in seen.flickers] == []
    assert seen.go_s == pytest.approx(seen.of_s)


def test_the_camera_is_cycled_in_every_watch() -> None:
    switches = camera_cycled(4, 1200.0).camera_switches
    assert [on for _, on in switches] == [True, False] * (len(switches) // 2)
    assert len(switches) >= 4
    times = [t_s for t_s, _ in switches]
    assert times == sorted(times)


@pytest.mark.campaign
@pytest.mark.timeout(14400)
def test_five_hundred_watches() -> None:
    assert main(["500", "--workers", "2"]) == 0
