from groundstation.clock import SessionClock, steady_ns


def test_setting_the_laptops_clock_changes_nothing_within_a_session():
    wall, steady = [1_000_000], [50]
    clock = SessionClock(wall_ns=lambda: wall[0], steady_ns=lambda: steady[0])
    assert (clock.started_ns, clock.now_ns()) == (1_000_000, 1_000_000)
    wall[0], steady[0] = 7, 80
    assert clock.now_ns() == 1_000_030


def test_the_real_clock_starts_at_wall_time_and_never_runs_backwards():
    clock = SessionClock()
    times = [clock.now_ns() for _ in range(1000)]
    assert times[0] >= clock.started_ns
    assert times == sorted(times)
    assert steady_ns() <= steady_ns()
