"""The few shapes the drawings are made of, as SVG elements with a class and coordinates to a hundredth."""

from xml.etree.ElementTree import Element, SubElement


def segment(parent: Element, style: str, x1: float, y1: float, x2: float, y2: float) -> Element:
    """A straight line."""
    return _shape(parent, "line", style, x1=x1, y1=y1, x2=x2, y2=y2)


def circle(parent: Element, style: str, cx: float, cy: float, r: float) -> Element:
    """A circle."""
    return _shape(parent, "circle", style, cx=cx, cy=cy, r=r)


def box(parent: Element, style: str, left: float, top: float, right: float, bottom: float) -> Element:
    """An upright rectangle."""
    return _shape(parent, "rect", style, x=left, y=top, width=right - left, height=bottom - top)


def path(parent: Element, style: str, *steps: str | float) -> Element:
    """A path from commands and their coordinates, in the order SVG has them."""
    made = SubElement(parent, "path", {"class": style})
    made.set("d", " ".join(step if isinstance(step, str) else _number(step) for step in steps))
    return made


def polyline(parent: Element, style: str, points: list[tuple[float, float]]) -> Element:
    """An open line through points."""
    steps: list[str | float] = []
    for k, (x, y) in enumerate(points):
        steps += ["L" if k else "M", x, y]
    return path(parent, style, *steps)


def word(parent: Element, style: str, x: float, y: float, text: str) -> Element:
    """A word."""
    made = _shape(parent, "text", style, x=x, y=y)
    made.text = text
    return made


def _shape(parent: Element, tag: str, style: str, **places: float) -> Element:
    return SubElement(parent, tag, {"class": style, **{name: _number(value) for name, value in places.items()}})


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
