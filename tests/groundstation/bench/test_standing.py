from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.bench.kept import KeptProof
from groundstation.bench.proof import Proof, ProofOutcome
from groundstation.bench.standing import CLOCKS_DIFFER_S, Holds, standing, that_count
from groundstation.config.bench_plan import ProofName
from groundstation.inputs import NS_PER_S

NOW_NS = 1_700_000_000 * NS_PER_S
FRESH_S = 1000.0
PASSED, FAILED, CANNOT_TELL = ProofOutcome.PASSED, ProofOutcome.FAILED, ProofOutcome.CANNOT_TELL


def kept(outcome: ProofOutcome, age_s: float, *, configuration: str = "this") -> KeptProof:
    proof = Proof(ProofName.PIN_ORDER, NOW_NS - round(age_s * NS_PER_S), outcome, (), ())
    return KeptProof(proof, configuration, "", "", "")


def holds(*proofs: KeptProof, name: ProofName = ProofName.PIN_ORDER) -> Holds:
    return standing(proofs, name, configuration="this", fresh_s=FRESH_S, now_ns=NOW_NS).holds


def test_nothing_kept_was_never_made() -> None:
    assert holds() is Holds.NEVER
    assert holds(kept(PASSED, 1.0), name=ProofName.RANGE_WALK) is Holds.NEVER


@pytest.mark.parametrize(
    ("age_s", "expected"),
    [
        (0.0, Holds.FRESH),
        (FRESH_S, Holds.FRESH),
        (FRESH_S + 1e-6, Holds.OLD),
        (-CLOCKS_DIFFER_S, Holds.FRESH),
        (-CLOCKS_DIFFER_S - 1e-6, Holds.AHEAD),
    ],
)
def test_freshness_holds_to_its_boundary(age_s: float, expected: Holds) -> None:
    assert holds(kept(PASSED, age_s)) is expected


def test_newest_telling_proof_of_this_configuration_counts() -> None:
    assert holds(kept(PASSED, 50.0), kept(FAILED, 40.0)) is Holds.FAILED
    assert holds(kept(FAILED, 40.0), kept(PASSED, 50.0)) is Holds.FAILED
    assert holds(kept(PASSED, 50.0), kept(FAILED, 40.0), kept(PASSED, 30.0)) is Holds.FRESH
    assert holds(kept(PASSED, 50.0), kept(CANNOT_TELL, 40.0)) is Holds.FRESH
    assert holds(kept(CANNOT_TELL, 40.0)) is Holds.CANNOT_TELL


def test_of_two_made_at_one_time_the_later_kept_counts() -> None:
    assert holds(kept(PASSED, 40.0), kept(FAILED, 40.0)) is Holds.FAILED
    assert holds(kept(FAILED, 40.0), kept(PASSED, 40.0)) is Holds.FRESH


def test_proof_of_another_configuration_counts_only_where_there_is_none_of_this() -> None:
    other = kept(PASSED, 10.0, configuration="other")
    assert holds(other) is Holds.OTHER
    assert holds(kept(PASSED, 50.0), other) is Holds.FRESH
    assert holds(kept(FAILED, 50.0), other) is Holds.FAILED
    assert holds(kept(CANNOT_TELL, 50.0), other) is Holds.CANNOT_TELL


@given(
    st.lists(
        st.builds(
            lambda outcome, age_s, name, mark: KeptProof(
                Proof(name, NOW_NS - age_s * NS_PER_S, outcome, (), ()), mark, "", "", ""
            ),
            st.sampled_from(ProofOutcome),
            st.integers(-200, 1200),
            st.sampled_from([ProofName.PIN_ORDER, ProofName.RANGE_WALK]),
            st.sampled_from(["this", "other"]),
        ),
        max_size=12,
    )
)
def test_proofs_that_count_stand_as_all_of_them_do(all_kept: list[KeptProof]) -> None:
    counting = that_count(all_kept)
    assert len(counting) <= 8
    for name in (ProofName.PIN_ORDER, ProofName.RANGE_WALK):
        assert holds(*counting, name=name) is holds(*all_kept, name=name)


def test_old_failure_is_a_failure() -> None:
    assert holds(kept(FAILED, 10 * FRESH_S)) is Holds.FAILED
    assert holds(replace(kept(PASSED, 10 * FRESH_S))) is Holds.OLD
