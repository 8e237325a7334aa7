"""The line page: who lags and why, where every crew was and is likely to be, what a change buys.

The lag and its sentences come with the page. Charts follow, each from one answer of the
project, which holds it while the log stays as it is. On a long line the forecast takes seconds:
then the page comes once it is done, and until then says how far it is. Old projections are
tested on a thread of its own, for that takes seconds on any.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import dash
import numpy as np
from dash import ClientsideFunction, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.figures.control_charts import control_chart_figure
from dashboard.figures.quantity_curves import quantity_chart
from dashboard.figures.time_station import Seen, legend_entries, time_station_chart
from dashboard.pages import line_backtest, line_whatif
from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.crew_looks import crew_look, crew_swatch
from dashboard.parts.forecast_wait import (
    NOTHING_YET,
    pressed_id,
    wait_for,
    wait_inputs,
    wait_outputs,
    wait_section,
    wait_shown,
)
from dashboard.parts.lag_table import lag_table
from dashboard.parts.lag_words import lag_summary
from dashboard.parts.line_address import ALL, LineView, read_line_address
from dashboard.parts.line_lists import drivers_list, pours_table, unit_facts
from dashboard.parts.map_view import SPACE, UNSEEN
from model.project import Project
from model.units import shown_length_unit

PATH = "/line"
NAME = "Line"


def layout(project: Project, search: str = "") -> Component:
    """Return the page as the address asks for it, or while it takes long, how far it is."""
    if project.line.takes_long(lag=True):
        waits = [dcc.Store(id="line-search", data=search), wait_section("line", seen=True)]
        return html.Div(waits, id="line-whole", className="page")
    return _page(project, search)


def _page(project: Project, search: str) -> Component:
    view = _view(project, search)
    return html.Section(
        [
            dcc.Store(id="line-seq", data=project.last_seq()),
            dcc.Store(id="line-screen"),
            dcc.Store(id="line-chosen", data={"unit": view.unit, "units": []}),
            dcc.Store(id="line-address"),
            *(frame.notice("warning", note) for note in view.notes),
            html.H2("Who lags, and who starves next"),
            html.Div(lag_section(project), id="line-lag"),
            *_time_station_section(project, view),
            *_quantity_section(),
            *_cycle_section(),
            *_coming_section(),
            *line_backtest.section(),
            *line_whatif.section(project),
            frame.caution(),
        ],
        className="page page-line",
    )


def _view(project: Project, search: str) -> LineView:
    """Return what the address asks for; by itself, the unit that lags most."""
    late = project.lag().lagging
    usual = LineView()
    if len(late):
        worst = late.iloc[0]
        usual = LineView(worst["heading"], worst["activity"], worst["unit"])
    job = project.job
    return read_line_address(
        search,
        usual,
        headings=[heading.key for heading in job.headings],
        activities=list(job.activity_by_key),
        heading_of_unit=job.heading_of_unit,
    )


def _names(project: Project) -> dict[str, str]:
    return {activity.key: activity.name for activity in project.job.activities}


def lag_section(project: Project) -> list[Component]:
    """Return the sentences on top and the table of what lags."""
    names, found = _names(project), project.lag()
    return [lag_summary(found, project.line.starving(), names), lag_table(found, names)]


def _choice(id_: str, label: str, options: Mapping[str, str], value: str) -> Component:
    choice = dcc.RadioItems(
        id=id_,
        options=[{"value": key, "label": words} for key, words in options.items()],
        value=value,
        className="choice-row",
    )
    return html.Div(choice, role="group", className="choice-group", **aria(label=label))


def _graph(id_: str, height: int, words: str, **more: Any) -> Component:
    """Return a chart that keeps its place on the page before it is drawn."""
    graph = dcc.Graph(
        id=id_,
        responsive=True,
        config={"displayModeBar": False, "doubleClick": False},
        style={"height": f"{height}px"},
        **more,
    )
    return html.Div(graph, className="chart", role="img", **aria(label=words))


def _time_station_section(project: Project, view: LineView) -> list[Component]:
    headings = {ALL: "All headings"} | {h.key: h.key for h in project.job.headings}
    crews = {ALL: "All crews"} | _names(project)
    return [
        html.H2("Time and station"),
        _choice("line-heading", "Heading", headings, view.heading),
        _choice("line-activity", "Crew in focus", crews, view.activity),
        _graph("line-chart", 560, "Time–station chart. The table of what lags says the same."),
        html.Ul(id="line-legend", className="legend line-legend"),
        html.Div(id="line-unit", className="card line-unit", **aria(live="polite")),
    ]


def _quantity_section() -> list[Component]:
    return [
        html.H2("Planned, placed and projected"),
        html.P(id="line-curve-words", className="quiet"),
        _graph("line-curve", 380, "Quantities by day: planned, placed and projected."),
    ]


def _cycle_section() -> list[Component]:
    return [
        html.H2("Is the pace steady?"),
        html.P(id="line-cycles-words"),
        _graph("line-cycles", 380, "Control chart of cycles. The sentence above says the same."),
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
    """Wire the page to an app."""
    _register_wait(app, project)
    _register_browser(app)
    _register_line(app, project)
    _register_crew(app, project)
    line_backtest.register(app, project)
    line_whatif.register(app, project)


def _register_wait(app: dash.Dash, project: Project) -> None:
    """Show the page once the forecast of a long line is done."""

    @app.callback(
        Output("line-whole", "children"),
        *wait_outputs("line"),
        *wait_inputs("line"),
        State("line-search", "data"),
    )
    def wait(*given: Any) -> tuple[Any, ...]:
        pressed = pressed_id(ctx.triggered)
        waited = wait_for(project.line, None, pressed, lag=True)
        if waited.progress is None:
            return _page(project, given[-1]), *(no_update,) * 5
        return no_update, *wait_shown(waited, kept=NOTHING_YET)


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
        ClientsideFunction(SPACE, "lineAddress"),
        Output("line-address", "data"),
        Input("line-heading", "value"),
        Input("line-activity", "value"),
        Input("line-chosen", "data"),
    )


def _register_line(app: dash.Dash, project: Project) -> None:
    """Wire the lag and the time–station chart."""
    names = _names(project)

    @app.callback(
        Output("line-seq", "data"),
        Input("refresh", "n_intervals"),
        State("line-seq", "data"),
        prevent_initial_call=True,
    )
    def look_for_more(_: int, seen: int) -> Any:
        newest = project.last_seq()
        return no_update if newest == seen else newest

    @app.callback(
        Output("line-lag", "children"), Input("line-seq", "data"), prevent_initial_call=True
    )
    def show_lag(_: int) -> list[Component]:
        return lag_section(project)

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
    )
    def show_line(
        heading: str, activity: str, chosen: Mapping[str, Any], screen: Any, _: int
    ) -> tuple[Any, ...]:
        if screen is None:
            return no_update, no_update, no_update, no_update
        cells = project.line.time_station()
        focus = "" if activity == ALL else activity
        figure = time_station_chart(
            cells if heading == ALL else cells[cells["heading"] == heading],
            names,
            _seen(project, focus, chosen["unit"], screen),
            as_of=np.datetime64(project.now().date(), "D"),
            length_unit=shown_length_unit(project.job.units_system),
            structure_names=project.job.structure_names,
        )
        style = {"height": f"{figure.layout.height}px"}
        return figure, style, _legend(focus, names), unit_facts(cells, chosen, focus, names)


def _seen(project: Project, focus: str, unit: str, screen: Mapping[str, Any]) -> Seen:
    late = project.lag().lagging
    pairs = set(zip(late["unit"], late["activity"], strict=True))
    return Seen(focus, unit, pairs, narrow=bool(screen["narrow"]))


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


def _register_crew(app: dash.Dash, project: Project) -> None:
    """Wire quantities, cycles, drivers and pours to the crew in focus."""
    job, names = project.job, _names(project)
    places = {activity.key: place for place, activity in enumerate(job.activities)}
    pours = [activity.key for activity in job.activities if activity.measure == "concrete"]

    @app.callback(
        Output("line-curve", "figure"),
        Output("line-curve-words", "children"),
        Input("line-activity", "value"),
        Input("line-screen", "data"),
        Input("line-seq", "data"),
    )
    def show_quantities(activity: str, screen: Any, _: int) -> tuple[Any, Any]:
        if screen is None:
            return no_update, no_update
        shown = (pours or list(names))[-1] if activity == ALL else activity
        curve = project.line.quantity_curves()[places[shown]]
        return quantity_chart(curve, narrow=screen["narrow"]), f"{names[shown]}. {curve}"

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
        shown = (pours or list(names))[-1] if activity == ALL else activity
        crew = project.line.cycle_chart(on, shown)
        words = [html.Strong(f"{names[shown]} on {on}. "), str(crew)]
        if heading == ALL:
            words.append(" Choose another heading above for its own chart.")
        return control_chart_figure(crew, narrow=screen["narrow"]), words

    @app.callback(
        Output("line-drivers", "children"),
        Output("line-pours", "children"),
        Input("line-seq", "data"),
    )
    def show_what_comes(_: int) -> tuple[Any, Any]:
        forecast = project.forecast()
        return drivers_list(forecast.drivers, names), pours_table(forecast.pours, names)
