import itertools

import pytest

from groundstation.estimation.phases import (
    LOW_PUSH_S,
    OVERDUE_S,
    STILL_S,
    TRANSITIONS,
    Evidence,
    Transition,
    next_transition,
)
from groundstation.state import FlightEventKind, Phase

ORDER = [Phase.PAD, Phase.BOOST, Phase.COAST, Phase.DESCENT, Phase.LANDED]


def test_the_table_leads_from_pad_to_landed_without_a_branch() -> None:
    assert [(t.source, t.target) for t in TRANSITIONS] == list(itertools.pairwise(ORDER))
    assert [t.event for t in TRANSITIONS] == [
        FlightEventKind.LIFTOFF,
        FlightEventKind.BURNOUT,
        FlightEventKind.APOGEE,
        FlightEventKind.LANDED,
    ]


@pytest.mark.parametrize(
    ("source", "evidence"),
    [
        (Phase.PAD, Evidence(lifted_off=True)),
        (Phase.BOOST, Evidence(no_push_s=LOW_PUSH_S, burn_s=3.0, since_liftoff_s=2.0, speed_mps=80.0)),
        (Phase.BOOST, Evidence(burn_s=3.0, since_liftoff_s=3.0 + OVERDUE_S, speed_mps=80.0)),
        (Phase.BOOST, Evidence(has_accel=False, burn_s=3.0, since_liftoff_s=3.0, speed_mps=80.0)),
        (Phase.BOOST, Evidence(burn_s=3.0, since_liftoff_s=1.0, speed_mps=-5.0, speed_sigma_mps=1.0)),
        (Phase.BOOST, Evidence(burn_s=3.0, since_liftoff_s=1.0, still_s=STILL_S)),
        (Phase.COAST, Evidence(speed_mps=-0.4, speed_sigma_mps=0.2)),
        (Phase.COAST, Evidence(speed_mps=0.2, still_s=STILL_S)),
        (Phase.DESCENT, Evidence(speed_mps=-0.1, still_s=STILL_S)),
    ],
)
def test_each_reason_to_leave_a_phase(source: Phase, evidence: Evidence) -> None:
    transition = next_transition(source, evidence)
    assert isinstance(transition, Transition)
    assert transition.source is source
    assert transition.target is ORDER[ORDER.index(source) + 1]


@pytest.mark.parametrize(
    ("source", "evidence"),
    [
        (Phase.PAD, Evidence(speed_mps=30.0, no_push_s=1.0, still_s=99.0)),
        (Phase.BOOST, Evidence(no_push_s=LOW_PUSH_S / 2, burn_s=3.0, since_liftoff_s=2.0, speed_mps=80.0)),
        (Phase.BOOST, Evidence(burn_s=3.0, since_liftoff_s=3.0 + OVERDUE_S / 2, speed_mps=80.0)),
        (Phase.COAST, Evidence(speed_mps=-0.2)),
        (Phase.COAST, Evidence(speed_mps=-2.0, speed_sigma_mps=3.0)),
        (Phase.DESCENT, Evidence(speed_mps=0.0, still_s=STILL_S / 2)),
        (Phase.LANDED, Evidence(lifted_off=True, speed_mps=-20.0, still_s=99.0)),
    ],
)
def test_what_is_no_reason_to_leave_a_phase(source: Phase, evidence: Evidence) -> None:
    assert next_transition(source, evidence) is None


def test_nothing_known_changes_nothing() -> None:
    nan = float("nan")
    for phase in Phase:
        assert next_transition(phase, Evidence(False, nan, nan, True, nan, nan, nan, nan)) is None
