"""Drawing a control chart with plotly."""

from collections.abc import Sequence
from typing import Any

from flask_babel import gettext as _

from qc_app.plan.quantity import Units, axis_unit, plotted
from qc_app.records.chart import Phase
from qc_app.records.shop import Plant
from qc_app.web.show import local_time, rule_word
from qc_app.work.charts import Chart, Plotted

# Okabe and Ito, Color Universal Design: these reach 3:1 on white. Signals also differ by shape.
BLUE, VERMILLION, INK = "#0072B2", "#D55E00", "#1A1A1A"
OUTSIDE = "#8B1A1A"
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, sans-serif"


def figure(chart: Chart, units: Units, plant: Plant) -> str:
    """The chart as JSON for plotly in the browser: a point for each reading, in order of time."""
    import plotly.graph_objects as go

    quantity = chart.stream.quantity
    heights = [plotted(quantity, p.point.deviation, units) for p in chart.points]
    labels = [f"{p.mark}, {local_time(p.point.measured_at, plant)}" for p in chart.points]
    numbers = list(range(chart.older + 1, chart.older + len(heights) + 1))
    drawn = go.Figure(layout=_layout(axis_unit(quantity, units), len(numbers), chart.older))
    drawn.add_scatter(
        x=numbers,
        y=heights,
        mode="lines+markers",
        line={"color": BLUE, "width": 1.5},
        marker={"color": BLUE, "size": 7},
        text=labels,
        hovertemplate="%{text}<br>%{y}<extra></extra>",
        name=_("Reading"),
    )
    _add_signals(drawn, numbers, heights, chart.points)
    for phase, first, last in _stretches(chart.points, numbers):
        _add_limits(drawn, phase, first, last, lambda grains: plotted(quantity, grains, units))
    return str(drawn.to_json())


def _layout(unit: str, points: int, older: int) -> dict[str, Any]:
    axis = {"gridcolor": "#E4E0D8", "linecolor": INK, "ticks": "outside", "zeroline": False}
    return {
        "template": "none",
        "height": 340,
        "margin": {"l": 70, "r": 110, "t": 16, "b": 48},
        "showlegend": False,
        "font": {"size": 14, "color": INK, "family": FONT},
        "xaxis": {
            **axis,
            "title": {"text": _("Reading, in order of time")},
            "showgrid": False,
            "range": [older, older + points + 1],
        },
        "yaxis": {**axis, "title": {"text": _("From target, %(unit)s", unit=unit)}},
        "paper_bgcolor": "#FFFFFF",
        "plot_bgcolor": "#FFFFFF",
    }


def _add_signals(
    drawn: Any, numbers: Sequence[int], heights: Sequence[float], points: Sequence[Plotted]
) -> None:
    at = [i for i, p in enumerate(points) if p.rules]
    drawn.add_scatter(
        x=[numbers[i] for i in at],
        y=[heights[i] for i in at],
        mode="markers",
        marker={"symbol": "square-x-open", "size": 15, "color": OUTSIDE, "line": {"width": 2.5}},
        text=["; ".join(rule_word(rule) for rule in points[i].rules) for i in at],
        hovertemplate="%{text}<extra></extra>",
        name=_("Signal"),
    )


def _stretches(points: Sequence[Plotted], numbers: Sequence[int]) -> list[tuple[Phase, float, float]]:
    """Each phase with the first and last place on the axis where its limits hold."""
    places: dict[int, tuple[Phase, list[int]]] = {}
    for plotted_point, number in zip(points, numbers, strict=True):
        if plotted_point.phase is not None:
            places.setdefault(plotted_point.phase.id, (plotted_point.phase, []))[1].append(number)
    return [(phase, at[0] - 0.5, at[-1] + 0.5) for phase, at in places.values()]


def _add_limits(drawn: Any, phase: Phase, first: float, last: float, scale: Any) -> None:
    lines = (
        (phase.upper, _("upper limit"), "dash", VERMILLION),
        (phase.centre, _("centre line"), "solid", INK),
        (phase.lower, _("lower limit"), "dash", VERMILLION),
    )
    for grains, name, dash, colour in lines:
        height = scale(grains)
        drawn.add_scatter(
            x=[first, last],
            y=[height, height],
            mode="lines",
            line={"color": colour, "width": 2, "dash": dash},
            hoverinfo="skip",
            name=name,
        )
        drawn.add_annotation(
            x=last, y=height, text=name, xanchor="left", showarrow=False, xshift=4, font={"size": 13}
        )
