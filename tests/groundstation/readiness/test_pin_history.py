import numpy as np
import pytest

from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Status
from groundstation.readiness.window import Window
from groundstation.state import RestartSign

from .conftest import STARTED_NS, example_pad

INSERTED = 0.0  # what the example's contact reads with the pin in
CHECK = next(c for c in CHECKS if c.name == "pyro_supply_history")


def pulled_at(pad, at_s: float, *, dead: bool):
    """The pin is in until then; the supply is live all the while, or dead until the pin is out."""
    pad.changes["pull_pin"] = lambda t, v: np.where(t < at_s, INSERTED, v)
    if dead:
        pad.changes["pyro_supply_voltage"] = lambda t, v: np.where(t < at_s - 0.3, 0.05, v)
    return pad


def test_supply_live_with_the_pin_in_stays_a_finding_once_the_pin_is_out() -> None:
    pad = pulled_at(example_pad(seconds=200.0), 8.0, dead=False)
    for at_s in (12.0, 60.0, 200.0):
        assert pad.finding("pull_pin", at_s).status is (Status.PASS if at_s > 40.0 else Status.FAIL)
        found = pad.finding("pyro_supply_history", at_s)
        assert found.status is Status.FAIL
        assert found.text.startswith("The pyro supply was live at 12.1 V with the pull-pin in for 7.")
        assert "after the session began" in found.text
        assert "pyro switch and contact" in found.text
    assert found.value == pytest.approx(12.1, abs=0.05)


def test_supply_that_comes_with_the_pull_is_none_nor_is_a_contact_that_lags_it() -> None:
    pad = pulled_at(example_pad(seconds=30.0), 8.0, dead=True)
    for at_s in (4.0, 8.0, 9.0, 30.0):
        assert pad.finding("pyro_supply_history", at_s).status is Status.PASS


def test_a_loose_contact_is_no_supply_live_with_the_pin_in() -> None:
    pad = example_pad(seconds=60.0)
    pad.changes["pull_pin"] = lambda t, v: np.where(np.arange(len(t)) % 5 < 2, INSERTED, v)
    assert pad.finding("pyro_supply_history").status is Status.PASS


def test_a_new_start_after_it_was_mended_ends_it_and_one_before_does_not() -> None:
    pad = pulled_at(example_pad(seconds=60.0), 8.0, dead=False)
    pad.restarts = ((5.0, 1, RestartSign.CLOCK),)
    assert pad.finding("pyro_supply_history").status is Status.FAIL
    pad.restarts = ((5.0, 1, RestartSign.CLOCK), (20.0, 2, RestartSign.CLOCK))
    assert pad.finding("pyro_supply_history", 19.0).status is Status.FAIL
    assert pad.finding("pyro_supply_history", 25.0).status is Status.PASS


def test_it_is_told_alike_whether_looked_at_tick_by_tick_at_once_or_going_back() -> None:
    timeline = pulled_at(example_pad(seconds=30.0), 8.0, dead=False).timeline()

    def text(at_s: float) -> str:
        return CHECK.run(Window(timeline, STARTED_NS + round(at_s * 1e9)))[0].text

    ticked = [text(k * 0.2) for k in range(1, 151)][-1]
    assert text(1.0) == "The pyro supply has not been live with the pull-pin in."
    assert text(30.0) == ticked
    assert ticked.startswith("The pyro supply was live")


def test_not_a_number_is_no_live_supply_and_no_pin_no_finding() -> None:
    pad = example_pad(seconds=10.0)
    pad.changes["pull_pin"] = lambda t, v: np.full(len(t), INSERTED)
    pad.changes["pyro_supply_voltage"] = lambda t, v: np.full(len(t), np.nan)
    assert pad.finding("pyro_supply_history").status is Status.PASS
    bare = example_pad()
    bare.vehicle["pull_pin"]["enables_pyro"] = []
    assert bare.findings("pyro_supply_history") == ()
    del bare.vehicle["pull_pin"]
    assert bare.findings("pyro_supply_history") == ()


def test_supply_and_contact_in_packets_of_their_own_are_put_together() -> None:
    pad = pulled_at(example_pad(seconds=30.0).alone("pyro_supply_voltage"), 8.0, dead=False)
    assert pad.finding("pyro_supply_history").status is Status.FAIL
    pad = pulled_at(example_pad(seconds=30.0).alone("pyro_supply_voltage"), 8.0, dead=True)
    assert pad.finding("pyro_supply_history").status is Status.PASS
