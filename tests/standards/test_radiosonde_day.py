"""A real day: a radiosonde ascent (source in the tables' headers) against heights from pressure."""

from pathlib import Path

import numpy as np
import pytest

from groundstation.estimation.atmosphere import SEA_LEVEL_K, PadAir, layered_height_m

DATA = Path(__file__).parent / "data"
TABLES = ["radiosonde-2018-08-11.csv", "radiosonde-2018-08-11-lowest-1500-m.csv"]


def ascent(name: str) -> dict[str, np.ndarray]:
    lines = [line for line in (DATA / name).read_text().splitlines() if not line.startswith("#")]
    columns = np.array([[float(x) for x in line.split(",")] for line in lines[1:]]).T
    return dict(zip(lines[0].split(","), columns, strict=True))


def worst_percent(heights_m: np.ndarray, published_m: np.ndarray) -> float:
    return float(np.max(np.abs(heights_m[1:] - published_m[1:]) / published_m[1:] * 100.0))


@pytest.mark.parametrize("name", TABLES)
def test_surface_pressure_and_temperature_alone_give_heights_to_one_percent_up_to_3000_m(name: str) -> None:
    sounding = ascent(name)
    low = sounding["height_agl_m"] <= 3001.0
    published, pressure = sounding["height_agl_m"][low], sounding["pressure_hpa"][low] * 100.0
    surface_k = sounding["temperature_degc"][0] + 273.15
    error = worst_percent(PadAir(pressure[0], surface_k).heights_m(pressure), published)
    standard = worst_percent(PadAir(pressure[0], SEA_LEVEL_K).heights_m(pressure), published)
    print(f"{name}: day's temperature {error:.2f} %, standard day {standard:.2f} % at the worst level")
    assert error < 1.0
    assert standard > 2.0  # what the day's temperature is worth


@pytest.mark.parametrize("name", TABLES)
def test_measured_temperatures_layer_by_layer_give_heights_to_four_tenths_of_a_percent(name: str) -> None:
    sounding = ascent(name)
    heights = layered_height_m(sounding["pressure_hpa"] * 100.0, sounding["temperature_degc"] + 273.15)
    low = sounding["height_agl_m"] <= 3001.0
    error = worst_percent(heights[low], sounding["height_agl_m"][low])
    print(f"{name}: layer by layer {error:.2f} % at the worst level")
    assert error < 0.4


def test_layers_of_unequal_columns_are_refused() -> None:
    with pytest.raises(ValueError, match="expected two equal columns"):
        layered_height_m(np.array([1e5, 9e4]), np.array([280.0]))
