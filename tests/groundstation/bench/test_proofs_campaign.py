"""Every proof, nominal and with each of its faults, over seeds and packet loss."""

import pytest

from groundstation.bench.proof import ProofOutcome

from .test_proofs import FAULTY, NOMINAL, made

SEEDS, LOSSES = range(200, 220), (0.0, 0.1, 0.3)


@pytest.mark.campaign
@pytest.mark.parametrize("loss", LOSSES)
@pytest.mark.parametrize("seed", SEEDS)
def test_proof_comes_out_alike_whatever_the_noise_and_the_loss(bench, seed: int, loss: float) -> None:
    wrong = []
    for vehicle, name in NOMINAL:
        proof = made(bench, name, vehicle, seed=seed, loss=loss)
        if proof.outcome is not ProofOutcome.PASSED:
            wrong.append((name, vehicle, proof.reasons))
    for name, vehicle, faults, _, _ in FAULTY:
        proof = made(bench, name, vehicle, seed=seed, loss=loss, faults=faults)
        if proof.outcome is not ProofOutcome.FAILED:
            wrong.append((name, vehicle, faults, proof.reasons))
    assert wrong == []
