"""The pad page: the verdict with its reasons, the vehicle with its findings, what changed, three trends."""

from dash import html

from dashboard import wording
from dashboard.pad_frame import sensor_choices, sensor_series
from groundstation.timeline import Timeline

TRENDS = ("battery", "link", "sensor")


def layout(timeline: Timeline) -> html.Section:
    """Empty places that frames fill."""
    return html.Section(
        id="pad",
        children=[
            html.Div(
                id="band",
                children=[
                    html.Div(
                        [
                            html.Div([html.Strong(id="verdict"), html.Span(id="verdict-since")], id="verdict-place"),
                            html.Ul(id="reasons"),
                        ],
                        id="band-words",
                        role="status",
                        **{"aria-live": "assertive", "aria-atomic": "true"},
                    ),
                    html.Div(
                        [html.Span("count"), html.Span(id="count"), html.Span(id="count-word")],
                        id="count-place",
                        role="timer",
                        hidden=True,
                        **{"aria-label": "Count"},
                    ),
                    html.Div(
                        [
                            html.Span("last packet", id="age-label"),
                            html.Span(id="age"),
                            html.Span("old", id="age-old"),
                        ],
                        id="age-place",
                    ),
                ],
            ),
            html.Div(
                id="pad-body",
                children=[
                    html.Div(
                        id="vehicle-place",
                        children=[
                            html.Div(id="vehicle"),
                            html.Div(id="findings", role="list", **{"aria-label": "Findings, nose to tail"}),
                        ],
                    ),
                    html.Div(
                        id="pad-right",
                        children=[
                            html.Section(
                                [html.H2("Since GO"), html.P(id="changes-heading"), html.Div(id="changes")],
                                id="since-go",
                            ),
                            _operator(),
                            *(_trend(key, timeline) for key in TRENDS),
                        ],
                    ),
                ],
            ),
        ],
    )


def _operator() -> html.Section:
    """The operator's panel; its buttons and forms are made by the page, which knows what can be done now."""
    return html.Section(
        id="operator",
        children=[
            html.Div(
                [
                    html.H2("Operator"),
                    html.Div(id="operator-buttons"),
                    html.Span(id="operator-when"),
                    html.Span(id="operator-said", role="status"),
                ],
                id="operator-head",
            ),
            html.P(id="count-why"),
            html.Div(id="operator-form"),
            html.Ul(id="operator-waived", **{"aria-label": "Waived findings"}),
            html.Details(
                id="operator-log",
                hidden=True,
                children=[html.Summary(html.Span(id="operator-last")), html.Ul(id="operator-log-lines")],
            ),
        ],
        **{"aria-label": "Operator"},
    )


def _trend(key: str, timeline: Timeline) -> html.Section:
    heading = [
        html.H2(id=f"{key}-label", children=key),
        html.Span(id=f"{key}-value", className="trend-value"),
        html.Span(id=f"{key}-stale", className="stale-word"),
        html.Span(id=f"{key}-beside", className="trend-beside"),
    ]
    if key == "sensor":
        heading[0] = html.Label(
            [html.Span("Sensor", className="unseen"), html.Span(id="sensor-place")], htmlFor="sensor"
        )
    return html.Section(
        className="trend",
        children=[html.Div(heading, className="trend-heading"), html.Div(id=f"plot-{key}", className="plot")],
    )


def choices(timeline: Timeline) -> list[dict[str, str]]:
    """Series for the third trend, with their labels."""
    return [{"value": name, "label": wording.series_name(name)} for name in sensor_choices(timeline)]


def first_choice(timeline: Timeline) -> str:
    """The series shown until the viewer chooses."""
    return sensor_series(timeline, "")
