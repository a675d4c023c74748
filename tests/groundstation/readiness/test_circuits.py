import math

import numpy as np
import pytest

from groundstation.readiness.finding import Status
from groundstation.readiness.pull_pin import TRUTH, Contact, Supply

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN


def once(name, value, at_s=5.0):
    """One packet in which a measurement is another."""

    def made(pad):
        def changed(t, v):
            out = np.array(v, float)
            out[int(np.searchsorted(t, at_s))] = value
            return out

        pad.changes[name] = changed
        return pad

    return made


def moved_together(pad, *, share=1.0):
    for n in (1, 2):
        pad.changes[f"pyro_{n}_resistance"] = lambda t, v: v + share * 0.5 * (np.sin(3.0 * t) > 0)
    return pad


PYRO_FAULTS = [
    ("igniter 2 drops out for one packet", once("pyro_2_resistance", 655.35), "pyro_circuit", "dropped out once"),
    ("camera's plug loose", once("pyro_3_resistance", 655.35), "pyro_circuit", "camera) is loose"),
    ("circuits share a return", moved_together, "pyro_crosstalk", "Pyro circuits 1 and 2 move together"),
    ("pin's contact bounces", once("pull_pin", 0.0), "pull_pin", "its contact: it is loose"),
    (
        "pin's pyro switch bounces",
        once("pyro_supply_voltage", 0.0),
        "pull_pin",
        "pyro supply dropped out once",
    ),
]


def test_circuit_is_loose_until_it_has_held_for_the_steady_time(pad) -> None:
    p = once("pyro_1_resistance", math.nan)(pad(seconds=40.0))
    assert p.findings("pyro_circuit", 4.9)[0].status is PASS
    assert [p.findings("pyro_circuit", at)[0].status for at in (5.5, 20.0, 34.0)] == [FAIL] * 3
    assert p.findings("pyro_circuit", 36.0)[0].status is PASS


def test_looking_back_at_an_earlier_moment_says_what_was_said_then(pad) -> None:
    from groundstation.readiness.checks import CHECKS
    from groundstation.readiness.window import Window

    from .conftest import STARTED_NS

    made = once("pyro_1_resistance", 655.35)(pad(seconds=40.0)).timeline()
    check = next(c for c in CHECKS if c.name == "pyro_circuit")

    def status(at_s):
        return check.run(Window(made, STARTED_NS + round(at_s * 1e9)))[0].status

    assert [status(at) for at in (39.0, 10.0, 4.0, 10.0, 39.0)] == [PASS, FAIL, PASS, FAIL, PASS]


def test_circuit_judged_by_sense_or_continuity_may_not_drop_out_either(pad) -> None:
    p = pad(seconds=8.0).mean("pyro_1_resistance", "pyro_1_continuity")
    assert once("pyro_1_continuity", 0.0)(p).findings("pyro_circuit")[0].status is FAIL
    p = pad(seconds=8.0).mean("pyro_1_resistance", "pyro_1_sense")
    p.vehicle["pyro"][0]["sense"] = ["0.9 V", "1.4 V"]
    assert "is loose" in once("pyro_1_sense", 0.0)(p).findings("pyro_circuit")[0].text


def test_noise_and_a_small_common_drift_are_no_crosstalk(pad) -> None:
    for seed in range(20):
        assert pad(seconds=31.0, seed=seed).finding("pyro_crosstalk").status is PASS
    assert moved_together(pad(seconds=31.0), share=0.2).finding("pyro_crosstalk").status is PASS
    assert moved_together(pad(seconds=31.0)).finding("pyro_crosstalk").status is FAIL


def test_one_circuit_alone_has_no_crosstalk(pad) -> None:
    p = pad()
    del p.vehicle["pyro"][1:]
    p.vehicle["pull_pin"]["enables_pyro"] = [1]
    p.vehicle["camera"].pop("channel")
    p.drop("pyro_2_resistance", "pyro_3_resistance", "pyro_2_energised")
    assert p.findings("pyro_crosstalk") == ()


def test_truth_table_of_the_pull_pin_is_whole() -> None:
    assert set(TRUTH) == {(c, b, s) for c in Contact for b in (True, False) for s in Supply}
    right = {key for key, text in TRUTH.items() if text is None}
    assert right == {(Contact.OUT, b, s) for b in (True, False) for s in (Supply.LIVE, Supply.NONE)}


@pytest.mark.parametrize("key", TRUTH)
def test_each_row_of_the_truth_table_is_what_the_check_says(pad, key) -> None:
    contact, powers_board, supply = key
    p = pad().set("pull_pin", 0.0 if contact is Contact.IN else 1.0)
    p.set("pyro_supply_voltage", {Supply.DEAD: 0.1, Supply.WEAK: 6.0}.get(supply, 12.1))
    p.vehicle["pull_pin"] |= {"powers_board": powers_board}
    if supply is Supply.NONE:
        p.vehicle["pull_pin"]["enables_pyro"] = []
    finding = p.finding("pull_pin")
    assert finding.status is (PASS if TRUTH[key] is None else FAIL)
    if TRUTH[key] is not None:
        assert "Look at the pin" in finding.text
        assert "{" not in finding.text
