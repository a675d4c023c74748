import pytest

from groundstation.config.quantities import is_unit, unit_to_si
from groundstation.measurements import MAX_PYRO_CHANNEL, measurement, names


def test_every_listed_name_is_a_measurement_with_a_unit_and_a_text() -> None:
    listed = names()
    assert len(listed) == len(set(listed))
    for name in listed:
        known = measurement(name.replace("_N_", "_1_"))
        assert known is not None
        assert is_unit(known.unit)
        assert known.text


def test_units_are_si_or_labels() -> None:
    for name in names():
        known = measurement(name.replace("_N_", "_1_"))
        assert known is not None
        assert known.unit in {"1", "s", "V", "A", "K", "Pa", "m", "m/s^2", "rad", "rad/s", "ohm", "dB", "dBm", "byte"}
        assert unit_to_si(known.unit, known.unit) == (1.0, 0.0)


@pytest.mark.parametrize("channel", [1, 9, 10, MAX_PYRO_CHANNEL])
def test_pyro_measurement_carries_its_channel(channel: int) -> None:
    known = measurement(f"pyro_{channel}_sense")
    assert known is not None
    assert (known.name, known.unit) == (f"pyro_{channel}_sense", "V")
    assert known.text.endswith(f" {channel}")


@pytest.mark.parametrize(
    "name",
    [
        "",
        "Pressure",
        "pressure ",
        "pyro_0_sense",
        "pyro_17_sense",
        "pyro_01_sense",
        "pyro_1_colour",
        "pyro_1_",
        "pyro__sense",
        "pyro_N_sense",
        "pyro_100_sense",
        "motion.p",
    ],
)
def test_anything_else_is_no_measurement(name: str) -> None:
    assert measurement(name) is None
