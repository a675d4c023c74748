"""The vehicle drawn to scale from its own file, nose to tail, and the rings of the view along its axis, as SVG text.

Each part carries its place (`data-place`) and an anchor on its right-hand edge, from where the page draws a leader
line to the findings of that place. Colours are left to the style sheet.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement, tostring

from dashboard.svg import box, circle, path, polyline, segment, word
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

    The marks are moved by the page: `data-mark` is command, angle, tilt or tilt-head. One unit is one degree.
    """
    reach = 2 * limit_deg
    room = reach * 1.16
    view = f"{-room:g} {-room:g} {2 * room:g} {2 * room:g}"
    svg = Element("svg", {"viewBox": view, "role": "img", "aria-label": "View along the axis"})
    for k in (1, 2, 3, 4):
        radius = limit_deg * k / 2
        circle(svg, "ring ring-limit" if k == 2 else "ring", 0, 0, radius)
        beside = radius * math.sqrt(0.5)
        label = word(svg, "ring-word", beside + 0.012 * room, -beside, f"{radius:g}°")
        label.set("font-size", f"{2 * room * RING_WORD_PX / AXIS_PX:.2f}")
    segment(svg, "cross", -reach, 0, reach, 0)
    segment(svg, "cross", 0, -reach, 0, reach)
    size = reach / 26
    segment(svg, "tilt", 0, 0, 0, 0).set("data-mark", "tilt")
    path(svg, "tilt-head", "M", 0, -size, "L", 1.9 * size, 0, "L", 0, size, "Z").set("data-mark", "tilt-head")
    circle(svg, "angle", 0, 0, size).set("data-mark", "angle")
    circle(svg, "command", 0, 0, 1.7 * size).set("data-mark", "command")
    return tostring(svg, encoding="unicode")


def _ground(svg: Element, scale: _Scale, length_m: float) -> None:
    """The ground with its hatching, the launch rod, and the station's mast at the right, which findings of the radio
    and the station lead to.
    """
    ground_y = scale.y(length_m) + 14
    rod_x = BODY_X - scale.half_width - 5
    segment(svg, "thin", rod_x, scale.y(length_m * 0.42), rod_x, ground_y)
    segment(svg, "ground-line", 100, ground_y, WIDTH - 4, ground_y)
    for k in range(10):
        x = 106 + k * 13
        segment(svg, "thin", x, ground_y + 1, x - 6, ground_y + 8)
    mast_x, top_y = WIDTH - 16, ground_y - 30
    mast = SubElement(svg, "g", {"class": "mast"})
    segment(mast, "thin", mast_x, ground_y, mast_x, top_y)
    for k in (1, 2):
        wide, round_ = 4 * k, 5.7 * k
        path(
            mast, "thin", "M", mast_x - wide, top_y - wide, "A", round_, round_, "0 0 1", mast_x + wide, top_y - wide
        )
    _anchor(svg, Place.RADIO, mast_x + 3, ground_y - 28)
    _anchor(svg, Place.STATION, mast_x + 3, ground_y - 10)
    _anchor(svg, Place.RANGE, WIDTH - 6, ground_y)


def _ruler(svg: Element, scale: _Scale, length_m: float) -> None:
    """A ruler at the left, from the nose's tip down: a tick each centimetre would be fur, one each 5 cm reads."""
    segment(svg, "thin", SCALE_X, scale.y(0), SCALE_X, scale.y(length_m))
    for k in range(int(length_m / 0.05 + 1e-6) + 1):
        y = scale.y(k * 0.05)
        major = k % 4 == 0
        segment(svg, "thin", SCALE_X - (9 if major else 4), y, SCALE_X, y)
        if major and length_m - k * 0.05 > 0.03:
            word(svg, "scale-word", SCALE_X - 13, y + 5, f"{k * 5}" if k else "0 cm")
    end = scale.y(length_m)
    segment(svg, "thin", SCALE_X - 14, end, SCALE_X + 6, end)
    word(svg, "scale-word", SCALE_X - 13, end + 15, f"{length_m * 100:.0f}")


def _body(svg: Element, scale: _Scale, vehicle: Vehicle) -> None:
    """Outline: a pointed-arch nose as long as the nose part, then the tube."""
    frame = vehicle.airframe
    nose = next((p for p in frame.parts if p.place is Place.NOSE), None)
    nose_m = nose.to_m if nose is not None else min(0.15 * frame.length_m, 3 * frame.diameter_m)
    half = scale.half_width
    left, right = BODY_X - half, BODY_X + half
    tip, shoulder, tail = scale.y(0), scale.y(nose_m), scale.y(frame.length_m)
    bend = tip + (shoulder - tip) * 0.45
    up = ("M", left, shoulder, "C", left, bend, BODY_X - 0.35 * half, tip + 6, BODY_X, tip)
    down = ("C", BODY_X + 0.35 * half, tip + 6, right, bend, right, shoulder)
    path(svg, "outline", *up, *down, "L", right, tail, "L", left, tail, "Z")
    # Findings about the whole vehicle lead to a bracket along its body.
    x, top, bottom = right + 9, scale.y(frame.length_m * 0.66), scale.y(frame.length_m * 0.78)
    polyline(svg, "thin", [(x - 4, top), (x, top), (x, bottom), (x - 4, bottom)])
    _anchor(svg, Place.VEHICLE, x, (top + bottom) / 2)


def _part(svg: Element, scale: _Scale, part: Part, vehicle: Vehicle) -> None:
    top, bottom = scale.y(part.from_m), scale.y(part.to_m)
    half = scale.half_width
    group = SubElement(svg, "g", {"data-place": part.place.value, "class": "part"})
    if part.place is not Place.NOSE:
        for y in (top, bottom):
            if y < scale.y(vehicle.airframe.length_m) - 1:
                segment(group, "thin", BODY_X - half, y, BODY_X + half, y)
    inside = _INSIDE.get(part.place)
    if inside is not None:
        inside(group, top, bottom, half)
    _anchor(svg, part.place, BODY_X + half, (top + bottom) / 2)


def _parachute(group: Element, top: float, bottom: float, half: float) -> None:
    """Folded cloth."""
    height = bottom - top - 16
    folds = [(BODY_X + (0.6 if k % 2 else -0.6) * half, top + 8 + height * k / 7) for k in range(8)]
    polyline(group, "thin", folds)


def _bulkhead(group: Element, top: float, bottom: float, half: float) -> None:
    box(group, "solid", BODY_X - half, top, BODY_X + half, max(bottom, top + 3))


def _avionics(group: Element, top: float, bottom: float, half: float) -> None:
    """A board with three rows of parts."""
    left, right = BODY_X - 0.3 * half, BODY_X + 0.3 * half
    box(group, "thin", left, top + 8, right, bottom - 8)
    for k in range(3):
        y = top + 20 + k * (bottom - top - 40) / 2
        segment(group, "thin", left, y, right, y)


def _battery(group: Element, top: float, bottom: float, half: float) -> None:
    """Cells side by side."""
    for k in (-1, 0, 1):
        x = BODY_X + k * 0.55 * half
        segment(group, "thin", x, top + 6, x, bottom - 6)


def _camera(group: Element, top: float, bottom: float, half: float) -> None:
    circle(group, "thin", BODY_X + 0.35 * half, (top + bottom) / 2, 0.42 * half)


def _gimbal(group: Element, top: float, bottom: float, half: float) -> None:
    """A ring about its pivot."""
    circle(group, "thin", BODY_X, (top + bottom) / 2, 0.55 * half)
    circle(group, "solid", BODY_X, (top + bottom) / 2, 1.6)


def _motor(group: Element, top: float, bottom: float, half: float) -> None:
    """A case with its throat and its nozzle, which stands out of the tail a little."""
    wide, narrow = 0.62 * half, 0.2 * half
    throat = bottom - min(16.0, (bottom - top) * 0.3)
    right = [(wide, bottom + 6), (narrow, throat), (wide, throat - 6), (wide, top + 4)]
    left = [(-x, y) for x, y in reversed(right)]
    polyline(group, "thin", [(BODY_X + x, y) for x, y in (*left, *right, left[0])])


_INSIDE: dict[Place, Callable[[Element, float, float, float], None]] = {
    Place.PARACHUTE: _parachute,
    Place.BULKHEAD: _bulkhead,
    Place.AVIONICS: _avionics,
    Place.BATTERY: _battery,
    Place.CAMERA: _camera,
    Place.GIMBAL: _gimbal,
    Place.MOTOR: _motor,
}


def _points(svg: Element, scale: _Scale, vehicle: Vehicle) -> None:
    """Centres of mass (quartered disc) and of pressure (dotted ring), the marks drawing offices use, with their names
    at the left.
    """
    frame = vehicle.airframe
    x, radius = BODY_X - scale.half_width - 15, 6.0
    y, other_y = scale.y(frame.centre_of_mass_m), scale.y(frame.centre_of_pressure_m)
    group = SubElement(svg, "g", {"class": "point"})
    circle(group, "thin", x, y, radius)
    for side in (-1, 1):
        arc = ("A", radius, radius, "0 0 1", x - side * radius, y, "Z")
        path(group, "solid", "M", x, y, "L", x, y + side * radius, *arc)
    circle(group, "thin", x, other_y, radius)
    circle(group, "solid", x, other_y, 1.6)
    apart = max(0.0, 15.0 - abs(y - other_y)) / 2
    sign = math.copysign(1.0, y - other_y)
    word(group, "point-word", x - 10, y + sign * apart + 5, "mass")
    word(group, "point-word", x - 10, other_y - sign * apart + 5, "pressure")


def _anchor(svg: Element, place: Place, x: float, y: float) -> None:
    circle(svg, "anchor", x, y, 1.5).set("data-anchor", place.value)
