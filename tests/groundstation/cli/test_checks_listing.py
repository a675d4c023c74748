import re

import pytest

from groundstation.cli import main
from groundstation.cli.checks import check_lines
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle, parse_vehicle
from groundstation.config.vehicle import Limits
from groundstation.readiness.checks import CHECKS


def listing(*changes: tuple[str, str]) -> str:
    text = EXAMPLE_VEHICLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return " ".join(" ".join(check_lines(parse_vehicle(text, file_name="file.toml"))).split())


def test_every_check_is_listed_with_what_it_asks_for_in_the_order_of_gravity(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["checks", str(EXAMPLE_VEHICLE)]) == 0
    shown = capsys.readouterr().out
    assert re.findall(r"(?m)^(\w+) \(\w+\)$", shown) == [check.name for check in CHECKS]
    flat = " ".join(shown.split())
    assert all(check.text in flat for check in CHECKS)
    assert max(map(len, shown.splitlines())) <= 100


def test_every_limit_is_listed_with_its_value_as_written_and_its_source() -> None:
    flat = listing()
    for attribute, field in Limits.model_fields.items():
        default = f"{field.default:g}" if isinstance(field.default, float) else f'"{field.default}"'
        source = field.json_schema_extra["source"]  # type: ignore[index]
        assert re.search(rf"{field.alias or attribute} = {re.escape(str(default))}: [^;]+; from: ", flat), attribute
        assert source in flat


def test_limit_set_in_the_file_comes_from_there_and_another_from_its_source() -> None:
    flat = listing(('tilt = "8 deg"', 'tilt = "0.1 rad"'))
    assert 'tilt = "5.72958 deg": from vertical; from: vehicle file needs:' in flat
    assert 'gnss_distance = "30 m": of the position from the pad\'s in the station file; from: default:' in flat


def test_what_the_vehicle_file_states_is_shown_and_what_it_does_not_is_said() -> None:
    flat = listing()
    assert "longest on the pad: [camera] longest_on = 600 s; from: vehicle file" in flat
    assert "current: [camera] current = 0.15 to 0.45 A; from: vehicle file" in flat
    assert "[computer] firmware_version, not stated, so not asked for" in flat
    assert "[pad] planned_hold = 1200 s" in flat


def test_measurement_that_is_needed_but_not_sent_is_named_as_hold() -> None:
    assert "so HOLD" not in listing()
    assert "not sent, so HOLD: temperature" in listing(('meaning = "temperature"', 'text = "bay"'))


def test_every_published_source_is_named() -> None:
    flat = listing()
    for source in (
        "National Association of Rocketry, 2018",
        "NAR, 2012",
        "ITU-R P.525",
        "Chen and Rincón-Mora",
        "WGS 84",
    ):
        assert source in flat
    assert "local rules decide" in flat


def test_checks_of_a_file_that_cannot_be_used_say_why(tmp_path, capsys) -> None:
    path = tmp_path / "bad.toml"
    path.write_text("name = 3\n")
    assert main(["checks", str(path)]) == 2
    assert "bad.toml" in capsys.readouterr().err
    assert load_vehicle(EXAMPLE_VEHICLE).name in listing()
