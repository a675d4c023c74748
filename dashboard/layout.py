"""What stands on every page: the head line, the banner of the watchdog, the time ruler at the foot, the caution."""

import math

from dash import dcc, html

from dashboard.drawing import axis_svg, vehicle_svg
from dashboard.pages import flight, pad
from groundstation.session import Session

CAUTION = "Advice only: the range safety officer decides. A closed circuit (continuity) does not mean safe."
DEFAULT_GIMBAL_DEG = 6.0  # rings of the axis view where the vehicle has no gimbal: only the tilt is drawn on them
SPEEDS = (0.25, 0.5, 1, 2, 5, 10)


def page_layout(session: Session) -> html.Div:
    """Both pages in one document, so that turning from one to the other loses nothing."""
    timeline = session.timeline
    return html.Div(
        id="sheet",
        children=[
            dcc.Store(id="ready"),
            dcc.Store(id="frame"),
            dcc.Store(id="drawn"),
            dcc.Store(id="wish"),
            dcc.Store(id="fixed", data=_fixed(session)),
            dcc.Interval(id="poll", interval=1000, disabled=True),
            html.Div(id="margin-word", **{"aria-hidden": "true"}),
            _head(session),
            html.Div(id="banner", role="alert"),
            html.Div(id="slow", role="status"),
            html.Div(id="turned", role="status"),
            html.Main(
                id="pages",
                children=[pad.layout(timeline), flight.layout(timeline)],
            ),
            _foot(),
        ],
    )


def _fixed(session: Session) -> dict[str, object]:
    """What the page needs once and what never changes: drawings and lists of choices."""
    timeline = session.timeline
    gimbal = timeline.vehicle.gimbal
    limit_deg = DEFAULT_GIMBAL_DEG if gimbal is None else math.degrees(gimbal.limit_rad)
    return {
        "vehicle_svg": vehicle_svg(timeline.vehicle),
        "axis_svg": axis_svg(round(limit_deg, 2)),
        "choices": pad.choices(timeline),
        "first_choice": pad.first_choice(timeline),
        "speeds": [{"value": f"{speed:g}", "label": f"{speed:g}×"} for speed in SPEEDS],
    }


def _head(session: Session) -> html.Header:
    return html.Header(
        id="head",
        children=[
            html.H1(session.timeline.vehicle.name),
            html.Span(session.title, id="session-title"),
            html.Nav(
                [
                    html.A("Pad", href="#pad", id="to-pad"),
                    html.A("Flight", href="#flight", id="to-flight"),
                ],
                **{"aria-label": "Pages"},
            ),
            html.Details(
                id="status",
                children=[html.Summary("Station"), html.Ul(id="status-lines")],
            ),
            html.Button("Day", id="theme", type="button", title="Day, night, or as the system says"),
        ],
    )


def _foot() -> html.Footer:
    return html.Footer(
        id="foot",
        children=[
            html.Div(
                id="time",
                role="group",
                children=[
                    html.Div([html.Strong(id="when-word"), html.Span(id="when-beside")], id="when"),
                    html.Div(
                        id="controls",
                        children=[
                            html.Button("−10 s", id="back", type="button", **{"aria-label": "Back ten seconds"}),
                            html.Button("Play", id="play", type="button"),
                            html.Button("+10 s", id="on", type="button", **{"aria-label": "On ten seconds"}),
                            html.Label(
                                [html.Span("Speed", className="speed-word"), html.Span(id="speed-place")],
                                htmlFor="speed",
                            ),
                            html.Button("Now", id="now", type="button"),
                        ],
                    ),
                    html.Div(
                        id="ruler",
                        role="slider",
                        tabIndex="0",
                        children=[html.Div(id="ruler-line"), html.Div(id="ruler-ticks"), html.Div(id="ruler-cursor")],
                        **{"aria-label": "Time shown", "aria-valuemin": "0"},
                    ),
                    html.Span(id="clock"),
                ],
                **{"aria-label": "Time"},
            ),
            html.P(CAUTION, id="caution"),
        ],
    )
