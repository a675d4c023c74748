import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.config.errors import ConfigError, Fault
from groundstation.config.load import (
    EXAMPLE_STATION,
    EXAMPLE_VEHICLE,
    load_station,
    load_vehicle,
    parse_station,
    parse_vehicle,
)
from groundstation.errors import GroundstationError

from .sound_files import STATION, VEHICLE, messages

# (what is changed in the file, into what, every message that gives)
VEHICLE_FAULTS = [
    # keys
    ("capacity =", "capcity =", ['17: battery.capcity: found a key that is not known; did you mean "capacity"?']),
    ("[recovery]", "[recovry]", ['41: recovry: found a key that is not known; did you mean "recovery"?']),
    (
        "at = 0,",
        "att = 0,",
        ['73: telemetry.packet[slow].fields[flags].bits[pin].att: found a key that is not known; did you mean "at"?'],
    ),
    (
        "cells = 4",
        "cells = 4\nzzz = 1",
        [
            "17: battery.zzz: found a key that is not known, "
            "expected one of chemistry, cells, capacity, internal_resistance"
        ],
    ),
    ("cells = 4\n", "", ["14: battery.cells: found no such key, expected a whole number from 1 to 12"]),
    ('purpose = "parachute"\n', "", ["19: pyro[0].purpose: found no such key, expected text in quotes"]),
    # types
    ("cells = 4", 'cells = "4"', ['16: battery.cells: found "4", expected a whole number from 1 to 12']),
    ("cells = 4", "cells = 4.0", ["16: battery.cells: found 4.0, expected a whole number from 1 to 12"]),
    ("cells = 4", "cells = true", ["16: battery.cells: found true, expected a whole number from 1 to 12"]),
    ("cells = 4", "cells = 13", ["16: battery.cells: found 13, expected a whole number from 1 to 12"]),
    (
        "drag_coefficient = 0.6",
        'drag_coefficient = "0.6"',
        ['6: airframe.drag_coefficient: found "0.6", expected a number without a unit, more than 0'],
    ),
    (
        "drag_coefficient = 0.6",
        "drag_coefficient = nan",
        ["6: airframe.drag_coefficient: found nan, expected a number without a unit, more than 0"],
    ),
    (
        "drag_coefficient = 0.6",
        "drag_coefficient = inf",
        ["6: airframe.drag_coefficient: found inf, expected a number without a unit, more than 0"],
    ),
    ('name = "Bittern (invented)"', "name = 3", ["1: name: found 3, expected text in quotes"]),
    ("powers_board = false", "powers_board = 0", ["26: pull_pin.powers_board: found 0, expected true or false"]),
    ("inserted_reads = 1", "inserted_reads = 2", ["25: pull_pin.inserted_reads: found 2, expected 0 or 1"]),
    ("signs = [1, -1]", "signs = [1, 0]", ["31: gimbal.signs[1]: found 0, expected -1 or 1"]),
    ("signs = [1, -1]", "signs = [1]", ["31: gimbal.signs: found [1], expected a list of 2: each -1 or 1"]),
    (
        "signs = [1, -1]",
        "signs = [1, 1, 1]",
        ["31: gimbal.signs: found [1, 1, 1], expected a list of 2: each -1 or 1"],
    ),
    ("signs = [1, -1]", "signs = 1", ["31: gimbal.signs: found 1, expected a list of 2: each -1 or 1"]),
    ('load = "igniter"', 'load = "lamp"', ['22: pyro[0].load: found "lamp", expected "igniter" or "auxiliary"']),
    (
        'framing = "cobs"',
        'framing = "cob"',
        [
            '52: telemetry.framing: found "cob", expected "cobs" or "slip" or "rfc 1662" or "hexadecimal lines" or '
            '"delimited values" or "key=value" or "nmea 0183" or "sync" or "fixed length" or "ccsds"; '
            'did you mean "cobs"?'
        ],
    ),
    (
        'framing = "cobs"',
        "framing = 3",
        ['52: telemetry.framing: found 3, expected a name such as "cobs", or a table'],
    ),
    (
        "[pull_pin]\ninserted_reads = 1\npowers_board = false\nenables_pyro = [1]\n",
        "[[pull_pin]]\n",
        ["24: pull_pin: found [a table], expected a table"],
    ),
    # quantities
    (
        'length = "1.5 m"',
        "length = 1.5",
        ['3: airframe.length: found 1.5, expected a number with a unit such as "1.2 m"'],
    ),
    (
        'length = "1.5 m"',
        'length = "1.5 kg"',
        [
            '3: airframe.length: found "1.5 kg", '
            'expected a number with a unit such as "1.2 m"; the unit "kg" does not convert to m'
        ],
    ),
    (
        'diameter = "80 mm"',
        'diameter = "-80 mm"',
        ['4: airframe.diameter: found "-80 mm", expected a number with a unit such as "1.2 m", more than 0'],
    ),
    (
        '["0.1 s", "60 N"]',
        '["0.1 s", "60 kg"]',
        [
            '38: motor.thrust_curve[1][1]: found "60 kg", '
            'expected a number with a unit such as "40 N"; the unit "kg" does not convert to N'
        ],
    ),
    # what does not fit together inside a table
    (
        'from = "1.2 m"',
        'from = "1.6 m"',
        ["12: airframe.part[1].to: found 1.5 m, expected more than 1.6 m, where the part begins"],
    ),
    (
        'to = "1.5 m"',
        'to = "1.7 m"',
        ["12: airframe.part[1].to: found 1.7 m, expected at most the airframe's length of 1.5 m"],
    ),
    (
        'centre_of_mass = "0.8 m"',
        'centre_of_mass = "8 m"',
        ["8: airframe.centre_of_mass: found 8 m, expected at most the airframe's length of 1.5 m"],
    ),
    (
        '["1 ohm", "2 ohm"]',
        '["2 ohm", "1 ohm"]',
        ["23: pyro[0].resistance: found 2 ohm to 1 ohm, expected the least first, at least 0 ohm, then the greatest"],
    ),
    (
        'neutral = ["0 deg", "1 deg"]',
        'neutral = ["0 deg", "-6 deg"]',
        ["30: gimbal.neutral[1]: found -6 deg, expected at most the limit of 5 deg"],
    ),
    (
        '["0.1 s", "60 N"]',
        '["3.1 s", "60 N"]',
        [
            "36: motor.thrust_curve: found the times 0 s, 3.1 s, 3 s, "
            "expected two or more points at rising times from 0 s on"
        ],
    ),
    ('["0.1 s", "60 N"]', '["0.1 s", "-60 N"]', ["38: motor.thrust_curve[1]: found -60 N, expected at least 0 N"]),
    (
        'propellant_mass = "90 g"',
        'propellant_mass = "90 g"\nburn_time = "3 s"',
        [
            "34: motor: found thrust_curve and burn_time, "
            "expected either thrust_curve, or average_thrust and burn_time"
        ],
    ),
    (
        'accel = ["+x", "+y", "+z"]',
        'accel = ["+x", "+x", "+z"]',
        ['45: sensors.accel: found ["+x", "+x", "+z"], expected three different axes such as ["+x", "-z", "+y"]'],
    ),
    (
        'gyro = ["+x", "+y", "+z"]',
        'gyro = ["+x", "+y", "-z"]',
        [
            '46: sensors.gyro: found ["+x", "+y", "-z"], which mirrors the axes, '
            "expected a way the sensor can be turned: check one sign"
        ],
    ),
    (
        'cell_voltage_min = "3.7 V"',
        'cell_voltage_min = "4.3 V"',
        ["48: limits.cell_voltage_min: found 4.3 V, expected less than cell_voltage_max, 4.25 V"],
    ),
    (
        'temperature_min = "-5 degC"',
        'temperature_min = "70 degC"',
        ["49: limits.temperature_min: found 70 degC, expected less than temperature_max, 60 degC"],
    ),
    (
        "packet_loss = 0.3",
        "packet_loss = 30",
        ["50: limits.packet_loss: found 30, expected a number without a unit, more than 0, at most 1"],
    ),
    # what does not fit together between tables
    (
        'propellant_mass = "90 g"',
        'propellant_mass = "1.4 kg"',
        ["35: motor.propellant_mass: found 1.4 kg, expected less than the liftoff mass of 1.4 kg"],
    ),
    (
        'lever_arm = "0.4 m"',
        'lever_arm = "4 m"',
        ["32: gimbal.lever_arm: found 4 m, expected at most the airframe's length of 1.5 m"],
    ),
    (
        "enables_pyro = [1]",
        "enables_pyro = [1, 2]",
        ["27: pull_pin.enables_pyro[1]: found 2, but no [[pyro]] has channel 2, expected one of 1"],
    ),
    (
        "[pull_pin]",
        '[[pyro]]\nchannel = 1\npurpose = "lamp"\nload = "auxiliary"\n[pull_pin]',
        ["25: pyro[1].channel: found 1, which a channel has already, expected one of its own"],
    ),
    # not TOML
    ("cells = 4", "cells = ", ["16: is not TOML: Invalid value"]),
    ("[battery]", "[battery", ["14: is not TOML: Expected ']' at the end of a table declaration"]),
    ("cells = 4", "cells = 4\ncells = 4", ["17: is not TOML: Cannot overwrite a value"]),
]

STATION_FAULTS = [
    ('"47 deg"', '"97 deg"', ["3: site.latitude: found 97 deg, expected -90 deg to 90 deg"]),
    ('"-15 deg"', '"-181 deg"', ["4: site.longitude: found -181 deg, expected -180 deg to 180 deg"]),
    ('"500 m"', '"50 km"', ["5: site.elevation: found 50000 m, expected -450 m to 6000 m above mean sea level"]),
    (
        '"955 hPa"',
        '"1016.4 hPa"',
        [
            "6: site.pressure: found 1016.4 hPa, "
            "expected within 60 hPa of 954.6 hPa, the standard atmosphere's at 500 m: "
            "at the pad, not reduced to sea level"
        ],
    ),
    (
        '"955 hPa"',
        '"955"',
        ['6: site.pressure: found "955", expected a number with a unit such as "1009.3 hPa"'],
    ),
    (
        '"2 m/s"',
        '"-2 m/s"',
        ['7: site.wind: found "-2 m/s", expected a number with a unit such as "3.5 m/s", at least 0'],
    ),
    ("port = 8050", "port = 80500", ["9: pages.port: found 80500, expected a whole number from 0 to 65535"]),
    ("[pages]", "[page]", ['8: page: found a key that is not known; did you mean "pages"?']),
    (
        '["tcp://127.0.0.1:4000"]',
        '"tcp://127.0.0.1:4000"',
        ['1: links: found "tcp://127.0.0.1:4000", expected a list, each text in quotes'],
    ),
]


def faults_of(text: str) -> tuple[Fault, ...]:
    """The faults of a text; none where it is a vehicle file."""
    try:
        parse_vehicle(text, file_name="file.toml")
    except ConfigError as error:
        return error.faults
    return ()


def test_the_files_that_faults_are_put_in_have_none() -> None:
    assert parse_vehicle(VEHICLE, file_name="file.toml").battery.cells == 4
    assert parse_station(STATION, file_name="file.toml").pages.port == 8050


@pytest.mark.parametrize(
    ("old", "new", "expected"), VEHICLE_FAULTS, ids=[f"{o[:24]}-{n[:24]}" for o, n, _ in VEHICLE_FAULTS]
)
def test_vehicle_file_fault_is_told_with_line_key_found_and_expected(old, new, expected) -> None:
    assert VEHICLE.count(old) >= 1
    with pytest.raises(ConfigError) as caught:
        parse_vehicle(VEHICLE.replace(old, new, 1), file_name="file.toml")
    assert sorted(messages(caught.value)) == sorted(expected)


@pytest.mark.parametrize(("old", "new", "expected"), STATION_FAULTS, ids=[n for _, n, _ in STATION_FAULTS])
def test_station_file_fault_is_told_with_line_key_found_and_expected(old, new, expected) -> None:
    assert STATION.count(old) == 1
    with pytest.raises(ConfigError) as caught:
        parse_station(STATION.replace(old, new), file_name="file.toml")
    assert messages(caught.value) == expected


def test_all_faults_of_a_file_are_told_at_once_in_the_order_of_lines() -> None:
    text = VEHICLE
    for old, new in (
        ("capacity =", "capcity ="),
        ("id = 2", "id = 1"),
        ('meaning = "pressure"', 'meaning = "presure"'),
        ('propellant_mass = "90 g"', 'propellant_mass = "9 kg"'),
        ("enables_pyro = [1]", "enables_pyro = [3]"),
        ('name = "ok"', 'name = "v"'),
    ):
        text = text.replace(old, new)
    with pytest.raises(ConfigError) as caught:
        parse_vehicle(text, file_name="file.toml")
    faults = caught.value.faults
    assert [(f.line, f.key) for f in faults] == [
        (17, "battery.capcity"),
        (27, "pull_pin.enables_pyro[0]"),
        (35, "motor.propellant_mass"),
        (61, "telemetry.packet[fast].fields[p].meaning"),
        (66, "telemetry.packet[slow].id"),
        (76, "telemetry.packet[slow].fields[v].name"),
    ]
    assert str(caught.value) == "\n".join(str(f) for f in faults)
    assert isinstance(caught.value, GroundstationError)
    assert faults[0] == Fault(
        "file.toml", 17, "battery.capcity", 'found a key that is not known; did you mean "capacity"?'
    )


def test_file_about_something_else_is_told_apart() -> None:
    with pytest.raises(ConfigError) as caught:
        parse_vehicle(STATION, file_name="file.toml")
    assert str(caught.value) == (
        "file.toml: found links, site, pages and no key of a vehicle file, expected name, airframe, battery, pyro, "
        "pull_pin, gimbal, motor, recovery, loads, supplies, camera, computer …"
    )
    with pytest.raises(
        ConfigError, match=r"found name, airframe.* and no key of a station file, expected links, site"
    ):
        parse_station(VEHICLE, file_name="file.toml")


def test_empty_vehicle_file_lacks_every_required_table() -> None:
    with pytest.raises(ConfigError) as caught:
        parse_vehicle("", file_name="file.toml")
    assert [(f.line, f.key) for f in caught.value.faults] == [
        (None, key) for key in ("name", "airframe", "battery", "motor", "recovery", "telemetry")
    ]


def test_file_that_cannot_be_read_is_told_with_its_path(tmp_path: Path) -> None:
    absent = tmp_path / "absent.toml"
    with pytest.raises(ConfigError) as caught:
        load_vehicle(absent)
    assert str(caught.value) == f"{absent}: cannot be read: No such file or directory"
    with pytest.raises(ConfigError) as caught:
        load_station(tmp_path)
    assert str(caught.value) == f"{tmp_path}: cannot be read: Is a directory"


def test_file_that_is_not_utf8_is_told_with_line_and_byte(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes('# one\nname = "M\xf6we"\n'.encode("latin-1"))
    with pytest.raises(ConfigError) as caught:
        load_vehicle(path)
    assert str(caught.value) == "latin.toml:2: found the byte 0xf6, expected text in UTF-8"


def test_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "marked.toml"
    path.write_bytes(b"\xef\xbb\xbf" + VEHICLE.encode())
    assert load_vehicle(path).name == "Bittern (invented)"


@pytest.mark.parametrize(
    "text", ["a = " + "[" * 100_000, "a = " + "[" * 300 + "]" * 300, "a." * 3000 + "a = 1", "a = " + "9" * 5000]
)
def test_text_that_breaks_the_reader_is_a_config_error(text: str) -> None:
    with pytest.raises(ConfigError):
        parse_vehicle(text, file_name="file.toml")


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(VEHICLE) - 1), st.integers(0, 12), st.text(max_size=6))
def test_any_damage_to_the_text_gives_a_vehicle_or_a_config_error_with_lines_in_the_file(at, cut, put) -> None:
    text = VEHICLE[:at] + put + VEHICLE[at + cut :]
    for fault in faults_of(text):
        assert fault.line is None or 1 <= fault.line <= text.count("\n") + 1
        for word in ("pydantic", "http", "Input should", "validat"):
            assert word not in fault.text.replace(put, "")


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_wrong_value_anywhere_gives_a_vehicle_or_a_config_error(data) -> None:
    rows = [k for k, row in enumerate(VEHICLE.split("\n")) if re.match(r"[a-z_]+ = [^\[]|[a-z_]+ = \[.*\]$", row)]
    row = data.draw(st.sampled_from(rows))
    junk = data.draw(
        st.sampled_from(
            [
                "1",
                "-1",
                "1.5",
                "nan",
                "true",
                '""',
                '"x"',
                "[]",
                "[[]]",
                "{}",
                "[{}]",
                '[{a = 1}, "b"]',
                "2020-01-01",
                '"1 m"',
                '["1 m"]',
            ]
        )
    )
    lines = VEHICLE.split("\n")
    lines[row] = f"{lines[row].split(' = ')[0]} = {junk}"
    text = "\n".join(lines)
    tomllib.loads(text)
    for fault in faults_of(text):
        assert fault.line is not None
        assert fault.text.startswith("found")
        assert "expected" in fault.text or "did you mean" in fault.text
        assert "pydantic" not in fault.text


def test_examples_load() -> None:
    assert load_vehicle(EXAMPLE_VEHICLE).name.startswith("Curlew")
    assert load_station(EXAMPLE_STATION).site.name.startswith("Saltmarsh")
