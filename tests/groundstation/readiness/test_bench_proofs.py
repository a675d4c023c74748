from dataclasses import replace

import pytest

from groundstation.bench.configuration import configuration
from groundstation.bench.kept import KeptProof
from groundstation.bench.proof import Proof, ProofOutcome
from groundstation.bench.register import TESTS
from groundstation.bench.store import ProofFile, looks_at
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Place, Vehicle
from groundstation.inputs import NS_PER_S, EventKind
from groundstation.readiness.finding import Status

STARTED_NS = 1_700_000_000 * NS_PER_S
DAY_S = 86_400
SIGN, PIN = ProofName.GIMBAL_SIGN, ProofName.PIN_ORDER


def kept(vehicle, name, *, age_s=DAY_S, outcome=ProofOutcome.PASSED, other=False, at_s=6.0):
    at_ns = STARTED_NS + round(at_s * NS_PER_S) - round(age_s * NS_PER_S)
    proof = Proof(name, at_ns, outcome, (), ("It was so.",), "")
    mark = configuration(Vehicle.model_validate(vehicle), TESTS[name])
    return KeptProof(proof, "0123456789ab" if other else mark, "fingerprint", "0.1.0", "session.sqlite")


def asking(pad, *proofs, fresh="30 days", told=True):
    """The pad's vehicle file asks for the gimbal's sign and the pin's order; `proofs` are (name, how) known."""
    pad.vehicle["bench"] = {"proof": [{"name": name.value, "fresh": fresh} for name in (SIGN, PIN)]}
    if told:
        known = ProofFile(tuple(kept(pad.vehicle, name, **how) for name, how in proofs), ())
        pad.said = (*pad.said, *((look.kind, 0.1, look.ok, look.text) for look in looks_at(known, "x-bench.jsonl")))
    return pad


BENCH_FAULTS = [
    ("proof never made", lambda p: asking(p, (PIN, {})), "bench_proofs", "gimbal-sign was never made"),
    (
        "proof failed",
        lambda p: asking(p, (SIGN, {"outcome": ProofOutcome.FAILED}), (PIN, {})),
        "bench_proofs",
        "gimbal-sign failed",
    ),
    (
        "proof could not tell",
        lambda p: asking(p, (SIGN, {"outcome": ProofOutcome.CANNOT_TELL}), (PIN, {})),
        "bench_proofs",
        "gimbal-sign could not tell",
    ),
    (
        "proof old",
        lambda p: asking(p, (SIGN, {}), (PIN, {"age_s": 40 * DAY_S})),
        "bench_proofs",
        "pin-order is 40.0 days old, 30.0 days allowed",
    ),
    (
        "proof of another configuration",
        lambda p: asking(p, (SIGN, {}), (PIN, {"other": True})),
        "bench_proofs",
        "pin-order was made of another configuration",
    ),
    (
        "proof dated ahead",
        lambda p: asking(p, (SIGN, {"age_s": -DAY_S}), (PIN, {})),
        "bench_proofs",
        "gimbal-sign is dated in the future",
    ),
]


def test_fresh_proofs_of_this_configuration_pass(pad) -> None:
    finding = asking(pad(), (SIGN, {"age_s": 12 * DAY_S}), (PIN, {})).finding("bench_proofs")
    assert finding.status is Status.PASS
    assert finding.text == "All bench proofs asked for are fresh (2), the oldest 12 days."
    assert finding.value == 12.0


def test_vehicle_that_asks_for_no_proof_has_no_such_finding(pad) -> None:
    assert pad().findings("bench_proofs") == ()
    p = asking(pad(), told=True)
    p.vehicle["bench"] = {"walk": "100 m"}
    assert p.findings("bench_proofs") == ()


def test_without_a_word_from_the_station_it_is_unknown(pad) -> None:
    finding = asking(pad(), told=False).finding("bench_proofs")
    assert finding.status is Status.UNKNOWN
    assert "has not said which bench proofs there are" in finding.text


def test_proof_holds_to_the_very_second(pad) -> None:
    p = asking(pad(), (SIGN, {"age_s": 30 * DAY_S}), (PIN, {}))
    assert p.finding("bench_proofs", 6.0).status is Status.PASS
    assert p.finding("bench_proofs", 6.2).status is Status.FAIL


def test_later_attempt_that_cannot_tell_takes_nothing_away(pad) -> None:
    cannot = {"outcome": ProofOutcome.CANNOT_TELL, "age_s": 60}
    assert asking(pad(), (SIGN, {}), (SIGN, cannot), (PIN, {})).finding("bench_proofs").status is Status.PASS


def test_later_failure_counts_and_so_does_a_later_pass(pad) -> None:
    failed = {"outcome": ProofOutcome.FAILED, "age_s": 60}
    assert asking(pad(), (SIGN, {}), (SIGN, failed), (PIN, {})).finding("bench_proofs").status is Status.FAIL
    mended = {"age_s": 30}
    p = asking(pad(), (SIGN, {}), (SIGN, failed), (SIGN, mended), (PIN, {}))
    assert p.finding("bench_proofs").status is Status.PASS


def test_sentence_names_the_others_and_the_command_and_stands_where_the_part_is(pad) -> None:
    finding = asking(pad()).finding("bench_proofs")
    assert finding.status is Status.FAIL
    assert finding.place is Place.GIMBAL
    assert finding.text == (
        "The bench proof gimbal-sign was never made. Look at the bench: run groundstation bench … gimbal-sign, then "
        "begin a new session here. So too: pin-order."
    )


@pytest.mark.parametrize(
    ("change", "holds"),
    [
        (lambda v: v["limits"].update(tilt="5 deg"), True),
        (lambda v: v.update(name="Curlew II"), True),
        (lambda v: v["gimbal"].update(limit="0.10471975511966 rad"), True),  # 6 deg, written otherwise
        (lambda v: v["gimbal"].update(signs=[1, -1]), False),
        (lambda v: v["sensors"].update(gyro=["+y", "-x", "+z"]), False),
        (lambda v: v["telemetry"]["packet"][0]["fields"][15].update(scale=-0.001), False),
        (lambda v: v["computer"].update(firmware_version=7), False),
    ],
)
def test_proof_outlives_changes_it_does_not_depend_on(pad, change, holds) -> None:
    p = asking(pad(), (SIGN, {}), (PIN, {}))
    before = configuration(Vehicle.model_validate(p.vehicle), TESTS[SIGN])
    change(p.vehicle)
    assert (configuration(Vehicle.model_validate(p.vehicle), TESTS[SIGN]) == before) is holds


def test_event_that_cannot_be_read_counts_for_nothing(pad) -> None:
    p = asking(pad(), (SIGN, {}), (PIN, {}))
    p.said = tuple(
        (kind, at_s, ok, text.replace('"outcome"', '"came"') if "gimbal-sign" in text else text)
        for kind, at_s, ok, text in p.said
    )
    assert "gimbal-sign was never made" in p.finding("bench_proofs").text


def test_events_tell_the_proofs_that_count_then_how_the_file_stands(pad) -> None:
    vehicle = asking(pad(), told=False).vehicle
    one = kept(vehicle, SIGN)
    failed = replace(one, proof=replace(one.proof, outcome=ProofOutcome.FAILED))
    untold = replace(one, proof=replace(one.proof, outcome=ProofOutcome.CANNOT_TELL))
    looks = looks_at(ProofFile((one, failed, untold), ()), "x-bench.jsonl")
    assert [(look.kind, look.ok) for look in looks] == [
        (EventKind.BENCH_PROOF, False),
        (EventKind.BENCH_PROOF, False),
        (EventKind.BENCH_FILE, True),
    ]
    assert looks[-1].text == "x-bench.jsonl holds 3 bench proofs"
