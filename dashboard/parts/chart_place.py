"""Places of the line page's charts, and the choices above them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria


def choice(id_: str, label: str, options: Mapping[str, str], value: str) -> Component:
    """Return a row of choices of which one holds.

    Parameters
    ----------
    id_
        Of the choice.
    label
        What is chosen, for who hears the page.
    options
        Words by value.
    value
        The one that holds at first.
    """
    radio = dcc.RadioItems(
        id=id_,
        options=[{"value": key, "label": words} for key, words in options.items()],
        value=value,
        className="choice-row",
    )
    return html.Div(radio, role="group", className="choice-group", **aria(label=label))


def chart_place(id_: str, height: int, words: str, **more: Any) -> Component:
    """Return a chart that keeps its place on the page before it is drawn.

    Parameters
    ----------
    id_
        Of the chart.
    height
        Pixels.
    words
        What it shows, for who hears the page.
    more
        Further properties of the chart.
    """
    graph = dcc.Graph(
        id=id_,
        responsive=True,
        config={"displayModeBar": False, "doubleClick": False},
        style={"height": f"{height}px"},
        **more,
    )
    return html.Div(graph, className="chart", role="img", **aria(label=words))
