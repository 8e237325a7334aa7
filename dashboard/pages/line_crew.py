"""Quantities, cycles and what comes: the part of the line page about the crew in focus."""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State, html, no_update
from dash.development.base_component import Component

from dashboard.figures.control_charts import control_chart_figure
from dashboard.figures.quantity_curves import quantity_chart
from dashboard.parts.activity_names import activity_names
from dashboard.parts.chart_place import chart_place
from dashboard.parts.line_address import ALL
from dashboard.parts.line_lists import drivers_list, pours_table
from dashboard.parts.line_shown import shown_line
from model.project import Project


def section() -> list[Component]:
    """Return this part of the page."""
    return [*_quantity_section(), *_cycle_section(), *_coming_section()]


def _quantity_section() -> list[Component]:
    return [
        html.H2("Planned, placed and projected"),
        html.P(id="line-curve-words", className="quiet"),
        chart_place("line-curve", 380, "Quantities by day: planned, placed and projected."),
    ]


def _cycle_section() -> list[Component]:
    return [
        html.H2("Is the pace steady?"),
        html.P(id="line-cycles-words"),
        chart_place(
            "line-cycles", 380, "Control chart of cycles; the sentence above says the same."
        ),
    ]


def _coming_section() -> list[Component]:
    return [
        html.Div(
            [
                html.Section([html.H2("What drives the finish"), html.Div(id="line-drivers")]),
                html.Section([html.H2("Pours to expect"), html.Div(id="line-pours")]),
            ],
            className="columns line-columns",
        )
    ]


def register(app: dash.Dash, project: Project) -> None:
    """Wire it to an app."""
    _register_quantities(app, project)
    _register_cycles(app, project)
    _register_coming(app, project)


def _shown(project: Project, activity: str) -> str:
    """Return the activity to show: that in focus, or else the last pour."""
    job = project.job
    pours = [one.key for one in job.activities if one.measure == "concrete"]
    return (pours or list(job.activity_by_key))[-1] if activity == ALL else activity


def _register_quantities(app: dash.Dash, project: Project) -> None:
    names = activity_names(project.job)
    places = {key: place for place, key in enumerate(names)}

    @app.callback(
        Output("line-curve", "figure"),
        Output("line-curve-words", "children"),
        Input("line-activity", "value"),
        Input("line-screen", "data"),
        Input("line-seq", "data"),
        State("line-back", "value"),
    )
    def show_quantities(activity: str, screen: Any, _: int, back: str) -> tuple[Any, Any]:
        if screen is None:
            return no_update, no_update
        shown = _shown(project, activity)
        curve = shown_line(project, back).quantity_curves()[places[shown]]
        return quantity_chart(curve, narrow=screen["narrow"]), f"{names[shown]}. {curve}"


def _register_cycles(app: dash.Dash, project: Project) -> None:
    job, names = project.job, activity_names(project.job)

    @app.callback(
        Output("line-cycles", "figure"),
        Output("line-cycles-words", "children"),
        Input("line-heading", "value"),
        Input("line-activity", "value"),
        Input("line-screen", "data"),
        Input("line-seq", "data"),
    )
    def show_cycles(heading: str, activity: str, screen: Any, _: int) -> tuple[Any, Any]:
        if screen is None:
            return no_update, no_update
        on = job.headings[0].key if heading == ALL else heading
        shown = _shown(project, activity)
        crew = project.line.cycle_chart(on, shown)
        words = [html.Strong(f"{names[shown]} on {on}. "), str(crew)]
        if heading == ALL:
            words.append(" Choose another heading above for its own chart.")
        return control_chart_figure(crew, narrow=screen["narrow"]), words


def _register_coming(app: dash.Dash, project: Project) -> None:
    names = activity_names(project.job)

    @app.callback(
        Output("line-drivers", "children"),
        Output("line-pours", "children"),
        Input("line-seq", "data"),
        State("line-back", "value"),
    )
    def show_what_comes(_: int, back: str) -> tuple[Any, Any]:
        forecast = shown_line(project, back).forecast()
        return drivers_list(forecast.drivers, names), pours_table(forecast.pours, names)
