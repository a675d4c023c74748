"""The vehicle drawn to scale from its own file, nose to tail, and the rings of the view along its axis, as SVG text.

Each part carries its place (`data-place`) and an anchor on its right-hand edge, from where the page draws a leader
line to the findings of that place. Colours are left to the style sheet.
"""

import math
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement, tostring

from groundstation.config.vehicle import Part, Place, Vehicle

# One drawing unit is a pixel on a laptop's page; larger pages scale the whole drawing, its words with it.
WIDTH = 236.0
HEIGHT = 460.0
TOP = 8.0
BODY_X = 168.0  # where the vehicle's axis stands
GROUND = 34.0  # room below the tail for the pad and the ground
AXIS_PX = 230.0  # the axis view's least width on a page, in which a ring's word must reach its size
RING_WORD_PX = 13.5
SCALE_X = 50.0  # the scale's line
# A slim vehicle drawn true to scale is a few pixels wide; its smallest half width stays visible.
LEAST_HALF_WIDTH = 6.0


@dataclass(frozen=True, slots=True)
class _Scale:
    """Metres behind the nose's tip to drawing units."""

    per_metre: float
    half_width: float

    def y(self, behind_nose_m: float) -> float:
        return round(TOP + behind_nose_m * self.per_metre, 2)


def vehicle_svg(vehicle: Vehicle) -> str:
    """The vehicle standing, as one `<svg>`."""
    frame = vehicle.airframe
    per_metre = (HEIGHT - TOP - GROUND) / frame.length_m
    scale = _Scale(per_metre, max(LEAST_HALF_WIDTH, frame.diameter_m * per_metre / 2))
    svg = Element(
        "svg",
        {
            "viewBox": f"0 0 {WIDTH:g} {HEIGHT:g}",
            "role": "img",
            "aria-label": f"{vehicle.name}, {frame.length_m:g} m long, drawn to scale",
            "preserveAspectRatio": "xMinYMin meet",
        },
    )
    _ground(svg, scale, frame.length_m)
    _ruler(svg, scale, frame.length_m)
    _body(svg, scale, vehicle)
    for part in frame.parts:
        _part(svg, scale, part, vehicle)
    _points(svg, scale, vehicle)
    return tostring(svg, encoding="unicode")


def axis_svg(limit_deg: float) -> str:
    """Rings of degrees around the vehicle's axis, out to twice the gimbal's limit, with the marks at the centre.

    The marks are moved by the page: `data-mark` is command, angle or tilt. One unit is one degree.
    """
    reach = 2 * limit_deg
    room = reach * 1.16
    svg = Element(
        "svg",
        {
            "viewBox": f"{-room:g} {-room:g} {2 * room:g} {2 * room:g}",
            "role": "img",
            "aria-label": "View along the axis",
        },
    )
    for k in (1, 2, 3, 4):
        radius = limit_deg * k / 2
        ring = SubElement(svg, "circle", {"cx": "0", "cy": "0", "r": f"{radius:g}"})
        ring.set("class", "ring ring-limit" if k == 2 else "ring")
        label = SubElement(
            svg, "text", {"x": f"{radius * 0.7071 + 0.012 * room:.3f}", "y": f"{-radius * 0.7071:.3f}"}
        )
        label.set("class", "ring-word")
        label.set("font-size", f"{2 * room * RING_WORD_PX / AXIS_PX:.2f}")
        label.text = f"{radius:g}°"
    for x1, y1, x2, y2 in ((-reach, 0.0, reach, 0.0), (0.0, -reach, 0.0, reach)):
        SubElement(
            svg, "line", {"x1": f"{x1:g}", "y1": f"{y1:g}", "x2": f"{x2:g}", "y2": f"{y2:g}", "class": "cross"}
        )
    size = reach / 26
    SubElement(svg, "line", {"data-mark": "tilt", "class": "tilt", "x1": "0", "y1": "0", "x2": "0", "y2": "0"})
    head = SubElement(svg, "path", {"data-mark": "tilt-head", "class": "tilt-head"})
    head.set("d", f"M 0 {-size:.3f} L {1.9 * size:.3f} 0 L 0 {size:.3f} Z")
    SubElement(svg, "circle", {"data-mark": "angle", "class": "angle", "r": f"{size:.3f}"})
    SubElement(svg, "circle", {"data-mark": "command", "class": "command", "r": f"{1.7 * size:.3f}"})
    return tostring(svg, encoding="unicode")


def _ground(svg: Element, scale: _Scale, length_m: float) -> None:
    """The ground with its hatching, the pad's rod, and the station's mast at the right, which radio and station
    findings lead to.
    """
    tail = scale.y(length_m)
    ground_y = tail + 14
    rod = SubElement(svg, "line", {"class": "thin", "x1": f"{BODY_X - scale.half_width - 5:.2f}"})
    rod.set("x2", rod.get("x1", ""))
    rod.set("y1", f"{scale.y(length_m * 0.42):.2f}")
    rod.set("y2", f"{ground_y:.2f}")
    SubElement(svg, "line", _segment("ground-line", 100, ground_y, WIDTH - 4, ground_y))
    for k in range(10):
        x = 106 + k * 13
        SubElement(svg, "line", _segment("thin", x, ground_y + 1, x - 6, ground_y + 8))
    mast_x = WIDTH - 16
    mast = SubElement(svg, "g", {"class": "mast"})
    SubElement(mast, "line", _segment("thin", mast_x, ground_y, mast_x, ground_y - 30))
    for k in (1, 2):
        arc = SubElement(mast, "path", {"class": "thin open"})
        arc.set(
            "d",
            f"M {mast_x - 4 * k:g} {ground_y - 30 - 4 * k:g} A {5.7 * k:g} {5.7 * k:g} 0 0 1 {mast_x + 4 * k:g} {ground_y - 30 - 4 * k:g}",
        )
    _anchor(svg, Place.RADIO, mast_x + 3, ground_y - 28)
    _anchor(svg, Place.STATION, mast_x + 3, ground_y - 10)
    _anchor(svg, Place.RANGE, WIDTH - 6, ground_y)


def _ruler(svg: Element, scale: _Scale, length_m: float) -> None:
    """A ruler at the left, from the nose's tip down: a tick each centimetre would be fur, one each 5 cm reads."""
    SubElement(svg, "line", _segment("thin", SCALE_X, scale.y(0), SCALE_X, scale.y(length_m)))
    steps = int(length_m / 0.05 + 1e-6)
    for k in range(steps + 1):
        y = scale.y(k * 0.05)
        major = k % 4 == 0
        SubElement(svg, "line", _segment("thin", SCALE_X - (9 if major else 4), y, SCALE_X, y))
        if major and length_m - k * 0.05 > 0.03:
            word = SubElement(svg, "text", {"class": "scale-word", "x": f"{SCALE_X - 13:g}", "y": f"{y + 5:.2f}"})
            word.text = f"{k * 5}" if k else "0 cm"
    end = scale.y(length_m)
    SubElement(svg, "line", _segment("thin", SCALE_X - 14, end, SCALE_X + 6, end))
    word = SubElement(svg, "text", {"class": "scale-word", "x": f"{SCALE_X - 13:g}", "y": f"{end + 15:.2f}"})
    word.text = f"{length_m * 100:.0f}"


def _body(svg: Element, scale: _Scale, vehicle: Vehicle) -> None:
    """Outline: a pointed-arch nose as long as the nose part, then the tube."""
    frame = vehicle.airframe
    nose = next((p for p in frame.parts if p.place is Place.NOSE), None)
    nose_m = nose.to_m if nose is not None else min(0.15 * frame.length_m, 3 * frame.diameter_m)
    left, right = BODY_X - scale.half_width, BODY_X + scale.half_width
    tip, shoulder, tail = scale.y(0), scale.y(nose_m), scale.y(frame.length_m)
    bend = tip + (shoulder - tip) * 0.45
    outline = SubElement(svg, "path", {"class": "outline"})
    outline.set(
        "d",
        f"M {left:.2f} {shoulder:.2f} C {left:.2f} {bend:.2f} {BODY_X - 0.35 * scale.half_width:.2f} {tip + 6:.2f} {BODY_X:g} {tip:.2f} "
        f"C {BODY_X + 0.35 * scale.half_width:.2f} {tip + 6:.2f} {right:.2f} {bend:.2f} {right:.2f} {shoulder:.2f} "
        f"L {right:.2f} {tail:.2f} L {left:.2f} {tail:.2f} Z",
    )
    # Findings about the whole vehicle lead to a bracket along its body.
    x = right + 9
    bracket = SubElement(svg, "path", {"class": "thin open", "data-place": Place.VEHICLE.value})
    top, bottom = scale.y(frame.length_m * 0.66), scale.y(frame.length_m * 0.78)
    bracket.set("d", f"M {x - 4:.2f} {top:.2f} L {x:.2f} {top:.2f} L {x:.2f} {bottom:.2f} L {x - 4:.2f} {bottom:.2f}")
    _anchor(svg, Place.VEHICLE, x, (top + bottom) / 2)


def _part(svg: Element, scale: _Scale, part: Part, vehicle: Vehicle) -> None:
    top, bottom = scale.y(part.from_m), scale.y(part.to_m)
    half = scale.half_width
    group = SubElement(svg, "g", {"data-place": part.place.value, "class": "part"})
    if part.place is not Place.NOSE:
        for y in {top, bottom}:
            if y < scale.y(vehicle.airframe.length_m) - 1:
                SubElement(group, "line", _segment("thin", BODY_X - half, y, BODY_X + half, y))
    _inside(group, part.place, top, bottom, half)
    _anchor(svg, part.place, BODY_X + half, (top + bottom) / 2)


def _inside(group: Element, place: Place, top: float, bottom: float, half: float) -> None:
    """What a part looks like inside, in a few strokes."""
    middle = (top + bottom) / 2
    if place is Place.PARACHUTE:
        fold = SubElement(group, "path", {"class": "thin open"})
        steps = 7
        points = [
            f"{'M' if k == 0 else 'L'} {BODY_X + (0.6 if k % 2 else -0.6) * half:.2f} {top + 8 + (bottom - top - 16) * k / steps:.2f}"
            for k in range(steps + 1)
        ]
        fold.set("d", " ".join(points))
    elif place is Place.BULKHEAD:
        SubElement(
            group,
            "rect",
            {
                "class": "solid",
                "x": f"{BODY_X - half:.2f}",
                "y": f"{top:.2f}",
                "width": f"{2 * half:.2f}",
                "height": f"{max(3.0, bottom - top):.2f}",
            },
        )
    elif place is Place.AVIONICS:
        SubElement(
            group,
            "rect",
            {
                "class": "thin open",
                "x": f"{BODY_X - 0.3 * half:.2f}",
                "y": f"{top + 8:.2f}",
                "width": f"{0.6 * half:.2f}",
                "height": f"{bottom - top - 16:.2f}",
            },
        )
        for k in range(3):
            y = top + 20 + k * (bottom - top - 40) / 2
            SubElement(group, "line", _segment("thin", BODY_X - 0.3 * half, y, BODY_X + 0.3 * half, y))
    elif place is Place.BATTERY:
        for k in range(3):
            x = BODY_X + (k - 1) * 0.55 * half
            SubElement(group, "line", _segment("thin", x, top + 6, x, bottom - 6))
    elif place is Place.CAMERA:
        SubElement(
            group,
            "circle",
            {
                "class": "thin open",
                "cx": f"{BODY_X + 0.35 * half:.2f}",
                "cy": f"{middle:.2f}",
                "r": f"{0.42 * half:.2f}",
            },
        )
    elif place is Place.GIMBAL:
        SubElement(
            group,
            "circle",
            {"class": "thin open", "cx": f"{BODY_X:g}", "cy": f"{middle:.2f}", "r": f"{0.55 * half:.2f}"},
        )
        SubElement(group, "circle", {"class": "solid", "cx": f"{BODY_X:g}", "cy": f"{middle:.2f}", "r": "1.6"})
    elif place is Place.MOTOR:
        nozzle = SubElement(group, "path", {"class": "thin open"})
        throat = bottom - min(16.0, (bottom - top) * 0.3)
        nozzle.set(
            "d",
            f"M {BODY_X - 0.62 * half:.2f} {top + 4:.2f} L {BODY_X - 0.62 * half:.2f} {throat - 6:.2f} L {BODY_X - 0.2 * half:.2f} {throat:.2f} L {BODY_X - 0.62 * half:.2f} {bottom + 6:.2f} L {BODY_X + 0.62 * half:.2f} {bottom + 6:.2f} L {BODY_X + 0.2 * half:.2f} {throat:.2f} L {BODY_X + 0.62 * half:.2f} {throat - 6:.2f} L {BODY_X + 0.62 * half:.2f} {top + 4:.2f} Z",
        )


def _points(svg: Element, scale: _Scale, vehicle: Vehicle) -> None:
    """Centres of mass (quartered disc) and of pressure (dotted ring), the marks drawing offices use, with their names
    at the left.
    """
    frame = vehicle.airframe
    x = BODY_X - scale.half_width - 15
    y = scale.y(frame.centre_of_mass_m)
    radius = 6.0
    group = SubElement(svg, "g", {"class": "point"})
    SubElement(group, "circle", {"class": "thin open", "cx": f"{x:.2f}", "cy": f"{y:.2f}", "r": f"{radius:g}"})
    quarter = SubElement(group, "path", {"class": "solid"})
    quarter.set(
        "d",
        f"M {x:.2f} {y:.2f} L {x:.2f} {y - radius:.2f} A {radius:g} {radius:g} 0 0 1 {x + radius:.2f} {y:.2f} Z M {x:.2f} {y:.2f} L {x:.2f} {y + radius:.2f} A {radius:g} {radius:g} 0 0 1 {x - radius:.2f} {y:.2f} Z",
    )
    other_y = scale.y(frame.centre_of_pressure_m)
    apart = max(0.0, 15.0 - abs(y - other_y)) / 2
    sign = math.copysign(1.0, y - other_y)
    SubElement(group, "circle", {"class": "thin open", "cx": f"{x:.2f}", "cy": f"{other_y:.2f}", "r": f"{radius:g}"})
    SubElement(group, "circle", {"class": "solid", "cx": f"{x:.2f}", "cy": f"{other_y:.2f}", "r": "1.6"})
    for word, at in (("mass", y + sign * apart), ("pressure", other_y - sign * apart)):
        text = SubElement(group, "text", {"class": "point-word", "x": f"{x - 10:.2f}", "y": f"{at + 5:.2f}"})
        text.text = word


def _anchor(svg: Element, place: Place, x: float, y: float) -> None:
    SubElement(
        svg, "circle", {"class": "anchor", "data-anchor": place.value, "cx": f"{x:.2f}", "cy": f"{y:.2f}", "r": "1.5"}
    )


def _segment(style: str, x1: float, y1: float, x2: float, y2: float) -> dict[str, str]:
    return {"class": style, "x1": f"{x1:.2f}", "y1": f"{y1:.2f}", "x2": f"{x2:.2f}", "y2": f"{y2:.2f}"}
