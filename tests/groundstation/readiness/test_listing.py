"""Every sentence a check can say, in one listing to be read through: python -m pytest -s -k listing."""

import math
import sys

from groundstation.readiness.checks import CHECKS
from groundstation.readiness.finding import Status

from .conftest import NOMINAL, example_pad
from .test_checks import FAULTS, silent

MOST_CHARACTERS = 280


def _said():
    """(check, status, sentence) of every nominal, faulty, missing, stale and impossible case."""
    pads = [("", example_pad(seconds=8.0))]
    pads += [(check, change(example_pad(seconds=8.0))) for _, change, check, _ in FAULTS]
    pads += [("", example_pad().drop(name)) for name in (*NOMINAL, "sequence", "pyro_1_energised")]
    pads += [("", example_pad().set(name, math.nan)) for name in NOMINAL]
    pads += [("", silent(example_pad(seconds=9.0), since)) for since in (0.0, 2.5)]
    bare = example_pad(recording=())
    bare.site = bare.site.model_copy(update={"pressure_pa": None, "latitude_rad": None})
    for reads, powers in ((0.0, True), (0.0, False), (1.0, False)):
        for supply_v in (0.0, 12.0):
            pad = example_pad().set("pull_pin", reads).set("pyro_supply_voltage", supply_v)
            pad.vehicle["pull_pin"]["powers_board"] = powers
            pads.append(("pull_pin", pad))
    pads.append(("", bare))
    for only, pad in pads:
        window = pad.window()
        for check in CHECKS:
            if only in ("", check.name):
                yield from ((f.check, f.status, f.text) for f in check.run(window))


def test_listing_of_every_sentence() -> None:
    said = sorted(set(_said()), key=lambda s: ([c.name for c in CHECKS].index(s[0]), s[1] != "pass", s))
    for check in CHECKS:
        sys.stdout.write(f"\n{check.name} ({check.place}): {check.text}\n")
        for name, status, text in said:
            if name == check.name:
                sys.stdout.write(f"  {status:8s}{text}\n")
    for _, status, text in said:
        assert text[0].isupper() or text[0].isdigit()
        assert text.endswith(".")
        assert len(text) <= MOST_CHARACTERS, text
        assert " -" not in text
        assert "nan" not in text.lower().replace("financial", "")
        assert "safe" not in text.replace("safety officer", "").replace("safety code", "")
        if status is not Status.PASS:
            assert any(word in text for word in ("Look ", "Add ", "Enter ", "tay clear")), text
