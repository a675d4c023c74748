import pytest

from groundstation.cli import main
from groundstation.config.bench_faults import lacked_for
from groundstation.config.bench_plan import ProofName
from groundstation.config.errors import ConfigError
from groundstation.config.fingerprint import vehicle_fingerprint
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle, parse_vehicle
from groundstation.config.reference import vehicle_reference

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
LINES = TEXT.count("\n")


def parsed(table: str):
    return parse_vehicle(TEXT + table, file_name="v.toml")


def faults(table: str) -> list[str]:
    with pytest.raises(ConfigError) as refused:
        parsed(table)
    return [
        str(fault).replace(f":{LINES + 1}:", ":1:").replace(f":{LINES + 2}:", ":2:") for fault in refused.value.faults
    ]


def test_plan_states_proofs_and_their_days_with_defaults_written_as_people_do() -> None:
    plan = parsed(
        '[[bench.proof]]\nname = "gimbal-sign"\n[[bench.proof]]\nname = "pin-order"\nfresh = "36 hours"\n'
    ).bench
    assert plan is not None
    assert [(proof.name, proof.fresh_s) for proof in plan.proofs] == [
        (ProofName.GIMBAL_SIGN, 30 * 86_400.0),
        (ProofName.PIN_ORDER, 36 * 3600.0),
    ]
    assert (plan.endurance_s, plan.walk_m) == (1200.0, 200.0)
    assert load_vehicle(EXAMPLE_VEHICLE).bench is None


def test_vehicle_that_asks_for_nothing_keeps_the_fingerprint_it_had() -> None:
    assert vehicle_fingerprint(parsed("")) == vehicle_fingerprint(load_vehicle(EXAMPLE_VEHICLE))
    assert vehicle_fingerprint(parsed('[bench]\nwalk = "90 m"\n')) != vehicle_fingerprint(parsed(""))


@pytest.mark.parametrize(
    ("table", "says"),
    [
        (
            '[bench]\nwalk = "200"\n',
            'v.toml:2: bench.walk: found "200", expected a number with a unit such as "1.2 m"',
        ),
        ('[bench]\nendurance = "0 min"\n', "v.toml:2: bench.endurance: "),
        ("[bench]\nworks = true\n", "v.toml:2: bench.works: "),
        ('[[bench.proof]]\nname = "gimbal"\n', 'v.toml:2: bench.proof[gimbal].name: found "gimbal", expected '),
        ('[[bench.proof]]\nfresh = "3 days"\n', "expected"),
        (
            '[[bench.proof]]\nname = "range-walk"\n',
            'v.toml:2: bench.proof[range-walk].name: found "range-walk", which cannot be proven without [radio], '
            "expected that table too",
        ),
    ],
)
def test_fault_of_the_table_is_told_with_line_and_key(table: str, says: str) -> None:
    (told,) = faults(table)
    assert says in told


def test_proof_asked_for_twice_is_a_fault_of_the_second() -> None:
    (told,) = faults('[[bench.proof]]\nname = "pin-order"\n[[bench.proof]]\nname = "pin-order"\n')
    assert told.startswith(f"v.toml:{LINES + 4}: bench.proof[pin-order].name: ")
    assert "a second time, expected each proof once" in told


def test_each_proof_but_the_battery_lacks_something_in_a_bare_vehicle() -> None:
    bare = load_vehicle(EXAMPLE_VEHICLE).model_copy(
        update={"gimbal": None, "pyro": (), "pull_pin": None, "camera": None, "radio": None}
    )
    assert [name for name in ProofName if lacked_for(bare, name) is None] == [ProofName.ENDURANCE_CAMERA_OFF]


def test_keys_and_check_are_explained_by_the_commands_that_list_them(tmp_path, capsys) -> None:
    assert "[[bench.proof]]" in vehicle_reference()
    assert 'default "30 days"' in vehicle_reference() or "default 30 days" in vehicle_reference()
    path = tmp_path / "v.toml"
    path.write_text(TEXT + '[[bench.proof]]\nname = "pin-order"\n', encoding="utf-8")
    assert main(["checks", str(path)]) == 0
    listed = capsys.readouterr().out
    assert "bench_proofs (vehicle)" in listed
    assert "proofs asked for, and how long each holds: [[bench.proof]] name and fresh; from: vehicle file" in listed
    assert main(["vehicle", str(path)]) == 0
    assert "bench     HOLD until proven: pin-order (30\u2009days)" in capsys.readouterr().out
