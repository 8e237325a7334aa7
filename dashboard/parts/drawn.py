"""A chart that is sent drawn."""

from __future__ import annotations

import plotly.graph_objects as go
from dash import dcc, html
from dash.development.base_component import Component


def drawn(figure: go.Figure) -> Component:
    """Return a chart at the height it asks for."""
    graph = dcc.Graph(
        figure=figure,
        responsive=True,
        config={"displayModeBar": False},
        style={"height": f"{figure.layout.height}px"},
    )
    return html.Div(graph, className="chart")
