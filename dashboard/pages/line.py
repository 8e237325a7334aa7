"""The line page: who lags and why, where every crew was and is likely to be, what a change buys.

The lag and its sentences come with the page. Charts follow, each from one answer of the
project, which holds it while the log stays as it is. On a long line the forecast takes seconds:
then the page comes once it is done, and until then says how far it is; while a grown log is
worked through it shows what there was before, how far that is, and a button that stops it.
Old projections are tested on a thread of its own, for that takes seconds on any.
"""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.pages import line_backtest, line_chart, line_crew, line_whatif
from dashboard.parts import frame
from dashboard.parts.activity_names import activity_names
from dashboard.parts.forecast_wait import (
    NOTHING_YET,
    OLDER_STAYS,
    Waited,
    wait_for,
    wait_inputs,
    wait_outputs,
    wait_section,
    wait_shown,
)
from dashboard.parts.lag_table import lag_table
from dashboard.parts.lag_words import lag_summary
from dashboard.parts.line_address import LineView, back_of, read_line_address
from dashboard.parts.line_back import back_choice
from dashboard.parts.line_shown import line_back, shown_line
from dashboard.parts.pressed import pressed_ids
from model.line_answers import LineAnswers
from model.project import Project

PATH = "/line"
NAME = "Line"


def layout(project: Project, search: str = "") -> Component:
    """Return the page as the address asks for it, or while it takes long, how far it is."""
    if line_back(project, back_of(search)).shown(lag=True) is None:
        waits = [dcc.Store(id="line-search", data=search), wait_section("line", seen=True)]
        return html.Div(html.Section(waits, className="page"), id="line-whole")
    return _page(project, search)


def _page(project: Project, search: str) -> Component:
    line = shown_line(project, back_of(search))
    view = _view(project, line, search)
    return html.Section(
        [
            dcc.Store(id="line-seq", data=line.last_seq()),
            frame.growth_clock("line-refresh"),
            dcc.Store(id="line-screen"),
            dcc.Store(id="line-chosen", data={"unit": view.unit, "units": []}),
            dcc.Store(id="line-address"),
            dcc.Store(id="line-back-asked"),
            *(frame.notice("warning", note) for note in view.notes),
            html.H2("Who lags, and who starves next"),
            wait_section("line-newer", seen=line.behind() > 0),
            html.Div(lag_section(project, line), id="line-lag"),
            html.P("Paces, dates and who lags go by the last", className="quiet"),
            back_choice(view.back),
            *line_chart.section(project, view),
            *line_crew.section(),
            *line_backtest.section(),
            *line_whatif.section(project, line),
            frame.caution(),
        ],
        className="page page-line",
    )


def _view(project: Project, line: LineAnswers, search: str) -> LineView:
    """Return what the address asks for; by itself, the unit that lags most."""
    found, usual = line.lag(), LineView()
    late = found.lagging if len(found.lagging) else found.late_with_heading
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


def lag_section(project: Project, line: LineAnswers) -> list[Component]:
    """Return the sentences on top and the table of what lags."""
    names = activity_names(project.job)
    found = line.lag()
    return [lag_summary(found, line.starving(), names), lag_table(found, names)]


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""
    _register_wait(app, project)
    _register_lag(app, project)
    line_chart.register(app, project)
    line_crew.register(app, project)
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
        pressed, search = pressed_ids(ctx.triggered), given[-1] or ""
        line = line_back(project, back_of(search))
        waited = wait_for(line, None, pressed, lag=True)
        if waited.progress is None or line.shown(lag=True) is not None:
            return _page(project, search), *(no_update,) * 5
        return no_update, *wait_shown(waited, kept=NOTHING_YET)


def _register_lag(app: dash.Dash, project: Project) -> None:
    """Look whether the log has grown, and say who lags then; what takes long can be stopped."""

    @app.callback(
        Output("line-seq", "data"),
        *wait_outputs("line-newer"),
        Input("line-refresh", "n_intervals"),
        *wait_inputs("line-newer"),
        State("line-seq", "data"),
        State("line-back", "value"),
        prevent_initial_call=True,
    )
    def look_for_more(*given: Any) -> tuple[Any, ...]:
        pressed, (seen, back) = pressed_ids(ctx.triggered), given[-2:]
        line = line_back(project, back)
        waited = Waited(None)
        if line.takes_long(lag=True):
            waited = wait_for(line, None, pressed, lag=True)
        newest = shown_line(project, back).last_seq()
        looked = not any("-wait-" in one for one in pressed)
        if newest == seen and waited.progress is None and looked:
            return (no_update,) * 6
        return no_update if newest == seen else newest, *wait_shown(waited, kept=OLDER_STAYS)

    @app.callback(
        Output("line-lag", "children"),
        Input("line-seq", "data"),
        State("line-back", "value"),
        prevent_initial_call=True,
    )
    def show_lag(_: int, back: str) -> list[Component]:
        return lag_section(project, shown_line(project, back))
