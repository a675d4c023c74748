from xml.etree import ElementTree

import pytest
from synthetic import example_vehicle

from dashboard.drawing import axis_svg, vehicle_svg
from groundstation.config.vehicle import Place

SVG = "{http://www.w3.org/2000/svg}"


def anchors(svg: str) -> dict[str, float]:
    root = ElementTree.fromstring(svg)
    return {e.get("data-anchor"): float(e.get("cy")) for e in root.iter() if e.get("data-anchor")}


def test_every_place_has_an_anchor_nose_to_tail():
    found = anchors(vehicle_svg(example_vehicle()))
    parts = [p.place for p in example_vehicle().airframe.parts]
    heights = [found[place.value] for place in parts]
    assert heights == sorted(heights)
    assert {Place.VEHICLE.value, Place.RADIO.value, Place.STATION.value, Place.RANGE.value} <= set(found)


def test_parts_are_drawn_to_scale():
    vehicle = example_vehicle()
    found = anchors(vehicle_svg(vehicle))
    parts = {p.place.value: (p.from_m + p.to_m) / 2 for p in vehicle.airframe.parts}
    per_metre = (found["motor"] - found["nose"]) / (parts["motor"] - parts["nose"])
    for place, middle_m in parts.items():
        assert found[place] - found["nose"] == pytest.approx((middle_m - parts["nose"]) * per_metre, abs=0.05)


def test_a_name_cannot_become_markup():
    vehicle = example_vehicle().model_copy(update={"name": '"><script>alert(1)</script>'})
    assert "<script" not in vehicle_svg(vehicle)


def test_the_gimbals_limit_is_the_second_of_four_rings():
    root = ElementTree.fromstring(axis_svg(6.0))
    rings = [e for e in root if "ring" in (e.get("class") or "").split()]
    assert [float(r.get("r")) for r in rings] == [3.0, 6.0, 9.0, 12.0]
    assert "ring-limit" in rings[1].get("class")
