import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from groundstation.config.quantities import is_unit, to_si, unit_to_si

# scipy.constants takes its factors from NIST SP 811 (2008), appendix B.8; the comments give that table's value.
PUBLISHED = [
    ("psi", "Pa", constants.psi),  # 6.894 757 E+03
    ("inHg", "Pa", 3386.389),  # conventional inch of mercury, 3.386 389 E+03: typed from the table
    ("mmHg", "Pa", constants.mmHg),  # 1.333 224 E+02
    ("torr", "Pa", constants.torr),  # 1.333 224 E+02
    ("atm", "Pa", constants.atm),  # 1.013 25 E+05
    ("bar", "Pa", constants.bar),  # 1.0 E+05
    ("hPa", "Pa", 100.0),  # SI prefix
    ("mph", "m/s", constants.mph),  # 4.4704 E-01
    ("kn", "m/s", constants.knot),  # 5.144 444 E-01
    ("km/h", "m/s", constants.kmh),  # 2.777 778 E-01
    ("ft", "m", constants.foot),  # 3.048 E-01
    ("in", "m", constants.inch),  # 2.54 E-02
    ("lb", "kg", constants.lb),  # 4.535 924 E-01
    ("oz", "kg", constants.oz),  # 2.834 952 E-02
    ("lbf", "N", constants.lbf),  # 4.448 222 E+00
    ("kgf", "N", constants.kgf),  # 9.806 65 E+00
    ("g_0", "m/s^2", constants.g),  # 9.806 65 E+00
    ("deg", "rad", constants.degree),  # 1.745 329 E-02
    ("arcmin", "rad", constants.arcminute),  # 2.908 882 E-04
    ("rpm", "rad/s", 2 * constants.pi / 60),  # 1.047 198 E-01
    ("deg/s", "rad/s", constants.degree),  # 1.745 329 E-02
    ("mAh", "coulomb", 3.6),  # ampere hour 3.6 E+03
    ("min", "s", constants.minute),  # 6.0 E+01
    ("kB", "byte", 1000.0),  # SI prefix
    ("mohm", "ohm", 1e-3),  # SI prefix
]


@pytest.mark.parametrize(("unit", "si_unit", "factor"), PUBLISHED, ids=[u for u, _, _ in PUBLISHED])
def test_factor_agrees_with_the_published_one(unit: str, si_unit: str, factor: float) -> None:
    scale, bias = unit_to_si(unit, si_unit)
    assert scale == pytest.approx(factor, abs=2e-7 * factor)  # the table's seven digits
    assert bias == 0.0
    assert to_si(f"2.5 {unit}", si_unit) == pytest.approx(2.5 * factor, abs=5e-7 * factor)


@given(st.floats(-200, 2000))
def test_celsius_and_fahrenheit_agree_with_an_independent_conversion(degrees: float) -> None:
    # NIST SP 811 (2008), B.8: T/K = t/degC + 273.15 and T/K = (t/degF + 459.67)/1.8
    for unit, name in (("degC", "Celsius"), ("degF", "Fahrenheit")):
        expected = float(constants.convert_temperature(degrees, name, "Kelvin"))
        assert to_si(f"{degrees!r} {unit}", "K") == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("-10 degC", "K", 263.15),
        ("850mAh", "coulomb", 3060.0),
        ("+.5e1 m", "m", 5.0),
        ("5 °", "rad", 5 * constants.degree),
        ("3 kΩ", "ohm", 3000.0),
        ("2 m/s²", "m/s^2", 2.0),
        ("0.1 kg m^2", "kg m^2", 0.1),
        ("3 °C", "K", 276.15),
    ],
)
def test_quantity_is_read_as_people_write_it(text: str, unit: str, value: float) -> None:
    assert to_si(text, unit) == pytest.approx(value, abs=1e-9)


def test_plain_number_is_read_without_a_unit() -> None:
    assert to_si(3, "1") == 3.0
    assert to_si(0.25, "1") == 0.25


@pytest.mark.parametrize(
    ("value", "unit", "message"),
    [
        (5, "m", 'found 5, expected a number with a unit such as "1.2 m"'),
        (True, "m", 'found true, expected a number with a unit such as "1.2 m"'),
        ("5", "m", 'found "5", expected a number with a unit such as "1.2 m"'),
        ("m", "m", 'found "m", expected a number with a unit such as "1.2 m"'),
        ("", "m", 'found "", expected a number with a unit such as "1.2 m"'),
        ("nan m", "m", 'found "nan m", expected a number with a unit such as "1.2 m"'),
        ("1e999 m", "m", 'found "1e999 m", expected a number with a unit such as "1.2 m"'),
        (["5 m"], "m", 'found ["5 m"], expected a number with a unit such as "1.2 m"'),
        (
            "5 kg",
            "m",
            'found "5 kg", expected a number with a unit such as "1.2 m"; the unit "kg" does not convert to m',
        ),
        ("5 mtr", "m", 'found "5 mtr", expected a number with a unit such as "1.2 m"; the unit "mtr" is not known'),
        ("1,5 m", "m", 'found "1,5 m", expected a number with a unit such as "1.2 m"; the unit ",5 m" is not known'),
        ("2 3 m", "m", 'found "2 3 m", expected a number with a unit such as "1.2 m"'),
        ("5 m", "1", 'found "5 m", expected a plain number such as 1.2 m'),
        (float("inf"), "1", "found inf, expected a plain number such as 1.2 m"),
    ],
)
def test_what_is_no_quantity_is_refused_in_words(value: object, unit: str, message: str) -> None:
    with pytest.raises(ValueError, match="found") as caught:
        to_si(value, unit, "1.2 m")
    assert str(caught.value) == message


@pytest.mark.parametrize(
    "unit",
    [
        "m**9**9**9",
        "m**99999999",
        "m^10",
        "m ^ 2 ^ 2",
        "(m)",
        "m; import os",
        "9**9 m",
        "",
        " ",
        "m" * 100,
        "__class__",
    ],
)
def test_text_that_is_no_unit_is_never_evaluated(unit: str) -> None:
    assert not is_unit(unit)
    with pytest.raises(ValueError, match="is not known"):
        unit_to_si(unit, "m")


@pytest.mark.parametrize("unit", ["Hz", "percent", "1"])
def test_what_has_no_angle_in_it_is_no_angle(unit: str) -> None:
    with pytest.raises(ValueError, match="does not convert"):
        unit_to_si(unit, "rad/s" if unit == "Hz" else "rad")


def test_levels_are_labels_that_convert_to_nothing_else() -> None:
    for level in ("dB", "dBm"):
        assert unit_to_si(level, level) == (1.0, 0.0)
    for unit, si_unit in (("dB", "dBm"), ("mW", "dBm"), ("dBm", "W"), ("1", "dB"), ("percent", "1")):
        with pytest.raises(ValueError, match="does not convert"):
            unit_to_si(unit, si_unit)


def test_unit_registry_is_not_loaded_by_importing_the_models() -> None:
    code = "import sys; import groundstation.config.load; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
