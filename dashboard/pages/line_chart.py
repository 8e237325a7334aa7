"""Where every crew was and is likely to be: the time–station chart of the line page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
import numpy as np
from dash import ClientsideFunction, Input, Output, State, html, no_update
from dash.development.base_component import Component

from dashboard.figures.time_station import Seen, time_station_chart
from dashboard.figures.time_station_words import legend_entries
from dashboard.parts.activity_names import activity_names
from dashboard.parts.attributes import aria
from dashboard.parts.chart_place import chart_place, choice
from dashboard.parts.crew_looks import crew_look, crew_swatch
from dashboard.parts.line_address import ALL, LineView
from dashboard.parts.line_lists import unit_facts
from dashboard.parts.line_shown import shown_line
from dashboard.parts.map_view import SPACE, UNSEEN
from model.project import Project
from model.units import shown_length_unit


def section(project: Project, view: LineView) -> list[Component]:
    """Return this part of the page."""
    headings = {ALL: "All headings"} | {h.key: h.key for h in project.job.headings}
    crews = {ALL: "All crews"} | activity_names(project.job)
    return [
        html.H2("Time and station"),
        choice("line-heading", "Heading", headings, view.heading),
        choice("line-activity", "Crew in focus", crews, view.activity),
        chart_place("line-chart", 560, "Time–station chart. The table of what lags says the same."),
        html.Ul(id="line-legend", className="legend line-legend"),
        html.Div(id="line-unit", className="card line-unit", **aria(live="polite")),
    ]


def register(app: dash.Dash, project: Project) -> None:
    """Wire it to an app."""
    _register_browser(app)
    names = activity_names(project.job)

    @app.callback(
        Output("line-chart", "figure"),
        Output("line-chart", "style"),
        Output("line-legend", "children"),
        Output("line-unit", "children"),
        Input("line-heading", "value"),
        Input("line-activity", "value"),
        Input("line-chosen", "data"),
        Input("line-screen", "data"),
        Input("line-seq", "data"),
        State("line-back", "value"),
    )
    def show_line(
        heading: str, activity: str, chosen: Mapping[str, Any], screen: Any, _: int, back: str
    ) -> tuple[Any, ...]:
        if screen is None:
            return no_update, no_update, no_update, no_update
        line = shown_line(project, back)
        cells = line.time_station()
        focus = "" if activity == ALL else activity
        figure = time_station_chart(
            cells if heading == ALL else cells[cells["heading"] == heading],
            names,
            Seen(focus, chosen["unit"], set(line.lagging_pairs()), narrow=bool(screen["narrow"])),
            as_of=np.datetime64(project.now().date(), "D"),
            length_unit=shown_length_unit(project.job.units_system),
            structure_names=project.job.structure_names,
        )
        style = {"height": f"{figure.layout.height}px"}
        return figure, style, _legend(focus, names), unit_facts(cells, chosen, focus, names)


def _register_browser(app: dash.Dash) -> None:
    """Join what the browser does by itself."""
    join: Any = app.clientside_callback
    join(
        ClientsideFunction(SPACE, "lineScreen"),
        Output("line-screen", "data"),
        Input("line-seq", "data"),
        State("line-screen", "data"),
    )
    join(
        ClientsideFunction(SPACE, "lineChosen"),
        Output("line-chosen", "data"),
        Input("line-chart", "clickData"),
        Input("line-chart", "selectedData"),
        State("line-chosen", "data"),
        prevent_initial_call=True,
    )
    join(
        ClientsideFunction(SPACE, "lineBack"),
        Output("line-back-asked", "data"),
        Input("line-back", "value"),
        prevent_initial_call=True,
    )
    join(
        ClientsideFunction(SPACE, "lineAddress"),
        Output("line-address", "data"),
        Input("line-heading", "value"),
        Input("line-activity", "value"),
        Input("line-chosen", "data"),
    )


def _legend(focus: str, names: Mapping[str, str]) -> list[Component]:
    """Return what the chart's marks mean; with no crew in focus, also each crew's tone."""
    crews = [
        (html.Img(src=crew_swatch(crew_look(place)), alt="", className="line-mark"), name)
        for place, name in enumerate(names.values())
        if not focus
    ]
    marks = [
        (html.Span(className=f"line-mark mark-{name}", **UNSEEN), words)
        for name, words in legend_entries(focus)
    ]
    return [html.Li(html.Span([mark, words], className="status")) for mark, words in crews + marks]
