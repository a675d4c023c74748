import random
from dataclasses import replace
from pathlib import Path

import pytest

from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle
from groundstation.readiness.checks import CHECKS
from groundstation.simulator.faults import FAULTS, refusal

from .fault_matrix import (
    NOT_SIMULATED,
    WAITING,
    Case,
    alone,
    judge,
    judged_names,
    main,
    missed,
    missing_checks,
    pairs,
    redshank,
)

SAMPLE_ALONE, SAMPLE_PAIRS = 20, 8


def shown(case: Case) -> str:
    return f"{'+'.join(case.names)} {case.motion_hz}Hz {case.loss:.0%}"


def sample() -> list[Case]:
    draws = random.Random(20)
    names = judged_names()
    return draws.sample(alone(1, names), SAMPLE_ALONE) + draws.sample(pairs(40, 2, names), SAMPLE_PAIRS)


@pytest.mark.parametrize("case", sample(), ids=shown)
def test_fault_is_noticed_by_its_check_in_time(case: Case) -> None:
    assert missed(case, judge(case)) == []


def test_every_fault_has_a_check_that_is_registered() -> None:
    print("waiting:", WAITING or "none")
    assert missing_checks() == {}
    assert WAITING == {}


def test_every_check_has_a_fault_or_a_reason_why_none_is_simulated() -> None:
    shown_by = {check for fault in FAULTS.values() for check in fault.checks}
    assert {check.name for check in CHECKS} - shown_by == set(NOT_SIMULATED)
    for why in NOT_SIMULATED.values():
        place = why.rsplit(": ", 1)[1].partition(";")[0]
        assert (Path(__file__).parents[2] / place).is_file(), place


def test_the_matrix_judges_every_fault_on_one_vehicle() -> None:
    assert len(FAULTS) >= 45
    for name, fault in FAULTS.items():
        channel = 3 if name.startswith("auxiliary") else 1
        assert refusal(fault, redshank(5), channel) is None, name


def test_most_faults_can_be_tried_on_the_example_vehicle() -> None:
    vehicle = load_vehicle(EXAMPLE_VEHICLE)
    possible = [n for n, f in FAULTS.items() if refusal(f, vehicle, 3 if n.startswith("auxiliary") else 1) is None]
    assert len(possible) >= 60


def test_a_fault_noticed_by_another_check_or_too_late_is_a_miss(monkeypatch: pytest.MonkeyPatch) -> None:
    case = Case(("battery-low",), 5, 0.0, 7)
    (seen,) = judge(case)
    assert (seen.check, seen.miss) == ("battery_voltage", "")
    low = FAULTS["battery-low"]
    wrong = (replace(low, checks=("tilt",)), "not noticed by tilt"), (replace(low, within_s=0.1), "after 0.2 s")
    for other, said in wrong:
        monkeypatch.setattr("groundstation.simulator.faults.FAULTS", dict(FAULTS) | {"battery-low": other})
        (bad,) = missed(case, judge(case))
        assert said in bad.miss


@pytest.mark.campaign
@pytest.mark.timeout(7200)
def test_whole_matrix() -> None:
    assert main(["--seeds", "3", "--pairs", "200"]) == 0
