"""The flight page: height over time, four big numbers, the view along the axis, battery and link."""

from dash import html

from groundstation.timeline import Timeline

NUMBERS = ("height", "speed", "tilt", "time")


def layout(timeline: Timeline) -> html.Section:
    """Empty places that frames fill."""
    return html.Section(
        id="flight",
        children=[
            html.Div(id="flight-warning", role="alert", hidden=True),
            html.Div(
                id="phase-band",
                children=[
                    html.Div(
                        [html.Strong(id="phase"), html.Span(id="phase-since"), html.Span(id="apogee")],
                        role="status",
                        id="phase-words",
                        **{"aria-live": "polite"},
                    ),
                    html.Div(
                        [
                            html.Span("last packet", id="flight-age-label"),
                            html.Span(id="flight-age"),
                            html.Span("old", id="flight-age-old"),
                        ],
                        id="flight-age-place",
                    ),
                ],
            ),
            html.Div([_number(key) for key in NUMBERS], id="numbers"),
            html.Div(
                id="flight-body",
                children=[
                    html.Section(
                        [html.H2("Height above the pad"), html.Div(id="plot-height", className="plot")],
                        id="height-place",
                    ),
                    html.Section(
                        [
                            html.H2("View along the axis"),
                            html.Div(id="axis"),
                            html.P(id="axis-words"),
                            html.Ul(
                                [
                                    html.Li("commanded", className="key-command"),
                                    html.Li("gimbal", className="key-angle"),
                                    html.Li("tilt", className="key-tilt"),
                                ],
                                id="axis-key",
                            ),
                        ],
                        id="axis-place",
                    ),
                    html.Section(
                        [
                            html.Div(
                                [
                                    html.H2("Battery"),
                                    html.Span(id="flight-battery"),
                                    html.Span(id="flight-battery-beside"),
                                ]
                            ),
                            html.Div(
                                [html.H2("Link"), html.Span(id="flight-link"), html.Span(id="flight-link-beside")]
                            ),
                            html.Div([html.H2("Way down"), html.Ul(id="flight-descent")]),
                            html.Div([html.H2("Motor"), html.Ul(id="flight-motor")]),
                            html.Div([html.H2("Events"), html.Ol(id="flight-events")]),
                        ],
                        id="flight-small",
                    ),
                ],
            ),
        ],
    )


def _number(key: str) -> html.Div:
    return html.Div(
        [
            html.Span(id=f"number-{key}-label", className="number-label"),
            html.Strong(id=f"number-{key}"),
            html.Span(id=f"number-{key}-beside", className="number-beside"),
        ],
        className="number",
    )
