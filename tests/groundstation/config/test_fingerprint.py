import os
import re
import subprocess
import sys

import pytest

from groundstation.config.fingerprint import vehicle_fingerprint
from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle, parse_vehicle

TEXT = EXAMPLE_VEHICLE.read_text(encoding="utf-8")


def mark(text: str) -> str:
    return vehicle_fingerprint(parse_vehicle(text, file_name="test.toml"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("# ", "# another comment "),
        ('"850 mAh"', '"0.85 Ah"'),
        ('"66 mm"', '"6.6 cm"'),
        ('sequence_counts = "all packets"', "# "),
        ('name = "p", ', 'offset = 0.0, name = "p",'),
        ("[battery]\n", "[battery]\n\n# the pack\n"),
    ],
)
def test_what_says_the_same_has_the_same_fingerprint(old: str, new: str) -> None:
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    assert mark(text) == mark(TEXT)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"850 mAh"', '"851 mAh"'),
        ("cells = 3", "cells = 2"),
        ("scale = 0.1,", "scale = 0.2,"),
        ('name = "vbat"', 'name = "vbatt"'),
        ('byte_order = "little"', 'byte_order = "big"'),
        ("[limits]", '[limits]\nstuck_time = "1.3 s"'),
    ],
)
def test_any_other_value_changes_the_fingerprint(old: str, new: str) -> None:
    text = re.sub(r"(?m)^stuck_time.*\n", "", TEXT) if old == "[limits]" else TEXT
    assert old in text
    assert mark(text.replace(old, new, 1)) != mark(TEXT)


def test_fingerprint_is_short_and_the_same_in_another_process() -> None:
    code = (
        "from groundstation.config.fingerprint import vehicle_fingerprint as f\n"
        "from groundstation.config.load import EXAMPLE_VEHICLE, load_vehicle\n"
        "print(f(load_vehicle(EXAMPLE_VEHICLE)), end='')"
    )
    told = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONHASHSEED": "1"},
    )
    assert re.fullmatch(r"[0-9a-f]{12}", told.stdout)
    assert told.stdout == vehicle_fingerprint(load_vehicle(EXAMPLE_VEHICLE))
