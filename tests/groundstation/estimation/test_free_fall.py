from groundstation.estimation.free_fall import FOR_S, PULSE_LASTS_S, FreeFallBound
from groundstation.estimation.vertical import VerticalFilter

GRAVITY_MPS2 = 9.81


def motion(h: float, v: float, h_sigma: float = 0.3, v_sigma: float = 0.2) -> VerticalFilter:
    return VerticalFilter(h, v, 0.0, h_sigma=h_sigma, v_sigma=v_sigma, b_sigma=0.1)


def fallen_m(since_s: float) -> float:
    """From 100 m at 5 m/s upwards, freely."""
    return 100.0 + 5.0 * since_s - 0.5 * GRAVITY_MPS2 * since_s**2


def test_nothing_is_a_charges_before_anything_is_known() -> None:
    assert not FreeFallBound().is_a_charges(1.0, -500.0, 0.1)


def test_a_free_fall_is_never_a_charges_and_a_height_well_below_it_is() -> None:
    bound = FreeFallBound()
    bound.know(0.0, motion(100.0, 5.0), GRAVITY_MPS2)
    for tenths in range(1, 60):
        assert not bound.is_a_charges(tenths / 10.0, fallen_m(tenths / 10.0), 0.1)
    bound.know(0.0, motion(100.0, 5.0), GRAVITY_MPS2)
    assert bound.is_a_charges(1.0, fallen_m(1.0) - 10.0, 0.1)


def test_what_lasts_is_no_charge() -> None:
    bound = FreeFallBound()
    bound.know(0.0, motion(100.0, 5.0), GRAVITY_MPS2)
    assert bound.is_a_charges(1.0, 0.0, 0.1)
    assert bound.is_a_charges(1.0 + 0.9 * PULSE_LASTS_S, 0.0, 0.1)
    assert not bound.is_a_charges(1.01 + PULSE_LASTS_S, 0.0, 0.1)


def test_a_moment_less_well_known_than_the_last_is_left_out() -> None:
    bound = FreeFallBound()
    bound.know(0.0, motion(100.0, 5.0), GRAVITY_MPS2)
    bound.know(1.0, motion(50.0, -20.0, h_sigma=9.0, v_sigma=12.0), GRAVITY_MPS2)
    assert bound.is_a_charges(1.1, 60.0, 0.1)
    bound.know(1.2, motion(98.0, -6.0), GRAVITY_MPS2)
    assert not bound.is_a_charges(1.3, 97.0, 0.1)


def test_it_bounds_nothing_for_long() -> None:
    bound = FreeFallBound()
    bound.know(0.0, motion(100.0, 5.0), GRAVITY_MPS2)
    assert not bound.is_a_charges(FOR_S + 0.1, -1e6, 0.1)
