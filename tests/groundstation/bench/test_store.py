import json
import os
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.bench import store
from groundstation.bench.kept import KeptLineError, KeptProof, kept_of, line_of
from groundstation.bench.proof import Figure, Proof, ProofOutcome
from groundstation.bench.store import ProofFileError, keep_proof, proof_file_path, read_proofs
from groundstation.config.bench_plan import ProofName
from groundstation.inputs import NS_PER_S

AT_NS = 1_782_034_200 * NS_PER_S + 1
LINE = (
    '{"proof": "gimbal-sign", "at": "2026-06-21T09:30:00.000000001Z", "outcome": "passed", '
    '"figures": [{"name": "lean about the outer axis", "value": 9.0, "unit": "deg"}], '
    '"reasons": ["The gimbal\'s outer axis rights a lean: 0.40 times the lean."], "look_first": "", '
    '"configuration": "0123456789ab", "vehicle": "ba9876543210", "version": "0.1.0", "recording": "a.sqlite"}'
)
KEPT = KeptProof(
    Proof(
        ProofName.GIMBAL_SIGN,
        AT_NS,
        ProofOutcome.PASSED,
        (Figure("lean about the outer axis", 9.0, "deg"),),
        ("The gimbal's outer axis rights a lean: 0.40 times the lean.",),
    ),
    "0123456789ab",
    "ba9876543210",
    "0.1.0",
    "a.sqlite",
)
words = st.text(max_size=40)
proofs = st.builds(
    Proof,
    st.sampled_from(ProofName),
    st.integers(0, 4_000_000_000 * NS_PER_S),
    st.sampled_from(ProofOutcome),
    st.lists(st.builds(Figure, words, st.floats(allow_nan=False, allow_infinity=False), words), max_size=4).map(
        tuple
    ),
    st.lists(words, max_size=4).map(tuple),
    words,
)
kept_proofs = st.builds(KeptProof, proofs, words, words, words, words)


def refusal(line: str) -> str | None:
    """Why a line keeps no proof; None where it keeps one."""
    try:
        kept_of(line)
    except KeptLineError as error:
        return str(error)
    return None


def test_line_is_written_and_read_as_documented() -> None:
    assert line_of(KEPT) == LINE
    assert kept_of(LINE) == KEPT


@given(kept_proofs)
def test_every_proof_comes_back_from_its_line(kept: KeptProof) -> None:
    line = line_of(kept)
    assert "\n" not in line
    assert line.isascii()
    assert kept_of(line) == kept


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ('"gimbal-sign"', '"gimbal-sigh"', "found 'gimbal-sigh' for proof, expected one of gimbal-sign,"),
        ('"passed"', '"safe"', "found 'safe' for outcome, expected one of passed, failed, cannot tell"),
        ('"passed"', "true", "found True for outcome, expected one of passed"),
        ("09:30:00.000000001Z", "25:30:00.000000001Z", "for at, expected a time such as"),
        ("09:30:00.000000001Z", "09:30:00Z", "for at, expected a time such as"),
        ("2026-06-21", "1969-06-21", "for at, expected a time such as"),
        ("9.0", "NaN", "NaN is no number of JSON's"),
        ("9.0", "1e999", "found inf for figures, expected a number"),
        ("9.0", "9" * 400, "for figures, expected a number"),
        ("9.0", '"9"', "found '9' for figures, expected a number"),
        ("9.0", "true", "found True for figures, expected a number"),
        ('"unit": "deg"', '"units": "deg"', "expected objects of name, value and unit"),
        ('["The gimbal', '[7, "The gimbal', "for reasons, expected a list of texts"),
        ('"look_first": ""', '"look_first": null', "found None for look_first, expected a text"),
        ('"look_first": "", ', "", "found no look_first, expected it among the keys"),
        ('"look_first": ""', '"look_first": "", "colour": 1', "found the key 'colour', expected none but"),
        ("}", "", "found no JSON"),
        (LINE, "[1, 2]", "found [1, 2], expected one JSON object"),
        (LINE, "[" * 60_000, "found no JSON"),
        (LINE, "1" * 70_000, "found 70000 characters, expected at most 65536"),
    ],
)
def test_line_that_keeps_no_proof_says_what_was_found_and_expected(before: str, after: str, says: str) -> None:
    assert before in LINE
    with pytest.raises(KeptLineError) as refused:
        kept_of(LINE.replace(before, after))
    assert says in str(refused.value)


@given(
    st.one_of(st.text(), st.recursive(st.none() | st.booleans() | st.floats() | st.text(), st.lists).map(json.dumps))
)
def test_any_text_is_a_proof_or_a_clear_refusal(text: str) -> None:
    assert refusal(text) is None or "found" in refusal(text)


@given(st.data())
def test_a_line_with_any_byte_changed_is_a_proof_or_a_clear_refusal(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(LINE) - 1))
    changed = LINE[:at] + data.draw(st.characters(max_codepoint=0x10FFFF, exclude_categories=["Cs"])) + LINE[at + 1 :]
    assert refusal(changed) is None or "expected" in refusal(changed)


@given(lines=st.lists(st.one_of(st.binary(max_size=80), kept_proofs.map(lambda k: line_of(k).encode())), max_size=12))
def test_every_line_of_a_file_is_a_proof_a_fault_or_empty(tmp_path_factory, lines: list[bytes]) -> None:
    path = tmp_path_factory.mktemp("fuzz") / "x-bench.jsonl"
    data = b"\n".join(lines)
    path.write_bytes(data)
    found = read_proofs(path)
    whole = [line for line in data.split(b"\n") if line.strip()]
    assert len(found.kept) + len(found.faults) == len(whole)
    assert all(data.split(b"\n")[fault.line - 1].strip() for fault in found.faults)


def test_no_file_holds_nothing(tmp_path: Path) -> None:
    assert read_proofs(tmp_path / "none.jsonl") == store.ProofFile((), ())


def test_kept_proofs_are_read_in_their_order(tmp_path: Path) -> None:
    path = tmp_path / "curlew-bench.jsonl"
    later = replace(KEPT, proof=replace(KEPT.proof, at_ns=AT_NS + 5, outcome=ProofOutcome.FAILED))
    for kept in (KEPT, later):
        keep_proof(path, kept)
    assert read_proofs(path) == store.ProofFile((KEPT, later), ())
    assert path.read_text(encoding="utf-8").count("\n") == 2


def test_damaged_line_is_told_by_file_and_line_and_costs_no_other(tmp_path: Path) -> None:
    path = tmp_path / "curlew-bench.jsonl"
    path.write_bytes(LINE.encode() + b"\nnot a proof\n\n\xff\xfe\n" + LINE.encode() + b"\n")
    found = read_proofs(path)
    assert found.kept == (KEPT, KEPT)
    assert [fault.line for fault in found.faults] == [2, 4]
    assert str(found.faults[0]).startswith("curlew-bench.jsonl:2: found no JSON (")
    assert str(found.faults[1]) == "curlew-bench.jsonl:4: found the byte 0xff, expected text in UTF-8"


@pytest.mark.parametrize("cut", range(1, len(LINE), 37))
def test_line_cut_off_costs_itself_and_no_line_after_it(tmp_path: Path, cut: int) -> None:
    path = tmp_path / "curlew-bench.jsonl"
    keep_proof(path, KEPT)
    with path.open("ab") as file:
        file.write(LINE[:cut].encode())
    keep_proof(path, KEPT)
    found = read_proofs(path)
    assert found.kept == (KEPT, KEPT)
    assert [fault.line for fault in found.faults] == [2]


def test_full_disk_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "curlew-bench.jsonl"
    keep_proof(path, KEPT)
    before = path.read_bytes()
    write = os.write
    monkeypatch.setattr(store.os, "write", lambda descriptor, data: write(descriptor, data[:20]))
    with pytest.raises(ProofFileError) as refused:
        keep_proof(path, KEPT)
    assert refused.value.path == path
    assert "the disk took only a part of it" in str(refused.value)
    assert path.read_bytes() == before


def test_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ProofFileError, match="cannot write"):
        keep_proof(tmp_path / "gone" / "x.jsonl", KEPT)
    with pytest.raises(ProofFileError, match="cannot read"):
        read_proofs(tmp_path)


def test_file_that_is_far_too_large_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.jsonl"
    path.write_bytes(LINE.encode())
    monkeypatch.setattr(store, "MOST_BYTES", 100)
    with pytest.raises(ProofFileError, match="over 100 bytes"):
        read_proofs(path)


def test_file_is_called_after_the_vehicle_as_its_recordings_are(tmp_path: Path) -> None:
    assert proof_file_path(tmp_path, "Sea Curlew / II").name == "Sea-Curlew-II-bench.jsonl"
