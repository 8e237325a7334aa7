"""The map page: where every trade stands, what is placed against plan, when it will finish.

The page is sent once. From then on a change of activity, of day or of selection is drawn in
the browser; the server is asked for a projection, for a unit's history, and whether the log
has grown.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash
import numpy as np
from dash import ClientsideFunction, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.figures.base_map import base_map
from dashboard.parts import frame, legend, map_view, strip_view
from dashboard.parts.activity_names import activity_names
from dashboard.parts.address import Known, View, read_address
from dashboard.parts.attributes import aria, data
from dashboard.parts.cards import number_card
from dashboard.parts.document_urls import context_url, footprints_url
from dashboard.parts.finish_cards import cycle_card, finish_card, finish_notes
from dashboard.parts.forecast_wait import (
    FROM_THOSE,
    wait_for,
    wait_inputs,
    wait_outputs,
    wait_section,
    wait_shown,
)
from dashboard.parts.line_address import unit_on_line
from dashboard.parts.numbers import numbers_by_day
from dashboard.parts.pour_fields import unit_at_pour
from dashboard.parts.pressed import pressed_ids
from dashboard.parts.unit_history import history_list
from model.activities import planned_line_cycle_days
from model.against_plan import against_plan
from model.clock import end_of_day
from model.project import Project
from model.projection import Forecast

PATH = "/"
NAME = "Map"


def layout(project: Project, search: str = "") -> Component:
    """Return the page as the address asks for it."""
    days = project.days().days
    view = read_address(search, known_addresses(project))
    day = int(np.searchsorted(days, np.datetime64(view.as_of)))
    job = project.job
    return html.Section(
        [
            *_stores(project, view),
            *(frame.notice("warning", note) for note in view.notes),
            _cards(),
            wait_section("finish"),
            html.Div(map_view.activity_choice(job.activities, view.activity), className="controls"),
            html.Div(
                [map_view.day_slider(len(days), day), map_view.lag_choice(view.outlines)],
                className="controls",
            ),
            map_view.map_view(_figure(project)),
            map_view.selection_words(),
            html.Div(
                map_view.heading_choice([h.key for h in job.headings], view.heading),
                className="controls",
            ),
            strip_view.strip_view(),
            legend.legend(),
            _placed_table(project),
            html.Div(id="finish-notes"),
            _history_panel(),
            frame.caution(),
        ],
        className="page",
    )


def known_addresses(project: Project) -> Known:
    """Return what an address of this page may name."""
    days, job = project.days().days, project.job
    pours = [a.key for a in job.activities if a.measure == "concrete"]
    return Known(
        activities=tuple(job.activity_by_key),
        headings=tuple(heading.key for heading in job.headings),
        units=tuple(job.heading_of_unit),
        usual=pours[-1] if pours else job.activities[0].key,
        first=days[0].astype(dt.date),
        last=days[-1].astype(dt.date),
    )


def _stores(project: Project, view: View) -> list[Component]:
    document = project.footprints
    info = map_view.geometry_info(
        footprints_url(project),
        document.hash,
        project.job.units_system,
        project.job.structure_names,
    )
    chosen = {"unit": view.unit, "span": view.span}
    info["chosen"] = {**chosen, "units": list(view.units)}
    selection = {**chosen, "open": False, "opened": 0} if view.unit else None
    filled = {"geometry-info": info, "selection": selection, **growing_stores(project)}
    return [
        *map_view.stores(filled),
        dcc.Store(id="settled"),
        dcc.Store(id="seen-seq", data=project.last_seq()),
        frame.growth_clock("map-refresh"),
    ]


def growing_stores(project: Project) -> dict[str, Any]:
    """Return the stores that change when the log grows, by id."""
    days, key = project.days(), project.footprints.hash
    changes = project.changes()
    columns = {
        "day": np.searchsorted(days.days, changes["day"].to_numpy("datetime64[D]")),
        **{name: changes[name].to_numpy() for name in ("span", "activity", "status")},
    }
    job = project.job
    return {
        "changes": map_view.changes_store(key, days.days, job.activities, len(job.spans), columns),
        "numbers": map_view.numbers_store(key, numbers_by_day(days, job.activities)),
    }


def _figure(project: Project) -> Any:
    return base_map(
        footprints_url(project),
        len(project.job.spans),
        project.bounds_deg,
        context_url(project),
    )


def _cards() -> Component:
    activity = html.Span(**data(activity_label="yes"))
    return html.Div(
        [
            number_card(
                [activity, " complete"], map_view.number_by_day("units"), "units of the whole job"
            ),
            number_card(
                "Placed against plan",
                map_view.number_by_day("placed"),
                map_view.number_by_day("share"),
            ),
            html.Div(number_card("Recent cycle", "…"), id="cycle-card"),
            html.Div(number_card("Projected finish", "…"), id="finish-card"),
        ],
        className="number-cards",
    )


def _placed_table(project: Project) -> Component:
    """Return placed against planned of every activity; the numbers follow the slider."""
    figures = {"units": "Units complete", "placed": "Placed of planned", "share": "Share"}
    planned = "Planned from"
    heads = [
        html.Th("Activity", scope="col"),
        *(html.Th(head, scope="col", className="figure") for head in figures.values()),
        html.Th(planned, scope="col"),
    ]
    rows = [
        html.Tr(
            [
                html.Th(activity.name, scope="row"),
                *(
                    html.Td(
                        map_view.number_by_day(name, activity.key),
                        className="figure",
                        **data(label=head),
                    )
                    for name, head in figures.items()
                ),
                html.Td(
                    ", ".join(project.planned_from(activity.key)) or "no plan",
                    **data(label=planned),
                ),
            ]
        )
        for activity in project.job.activities
    ]
    return frame.wide_table(
        html.Table(
            [
                html.Caption(["Placed against plan, as of ", html.Span(**data(day_label="yes"))]),
                html.Thead(html.Tr(heads)),
                html.Tbody(rows),
            ],
            className="table stacked",
        ),
        "Placed against plan",
    )


def _history_panel() -> Component:
    return html.Aside(
        [
            html.Div(
                [
                    html.H2(id="history-title"),
                    html.Button("Close", id="history-close", type="button", className="button"),
                ],
                className="panel-head",
            ),
            html.Div(id="history"),
        ],
        id="history-panel",
        className="panel closed",
        tabIndex="-1",
        **aria(label="History of the selected unit"),
    )


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""
    map_view.register(app)
    _register_growth(app, project)
    _register_finish(app, project)
    _register_lag(app, project)
    _register_history(app, project)
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction(map_view.SPACE, "settle"),
        Input("view", "data"),
        Input("changes", "data"),
    )


def _register_growth(app: dash.Dash, project: Project) -> None:
    """Look every few seconds whether the log has grown."""

    @app.callback(
        Output("changes", "data"),
        Output("numbers", "data"),
        Output("seen-seq", "data"),
        Output("day", "max"),
        Input("map-refresh", "n_intervals"),
        State("seen-seq", "data"),
        prevent_initial_call=True,
    )
    def look_for_more(_: int, seen: int) -> tuple[Any, Any, Any, Any]:
        newest = project.last_seq()
        if newest == seen:
            return no_update, no_update, no_update, no_update
        grown = growing_stores(project)
        return grown["changes"], grown["numbers"], newest, len(grown["changes"]["dates"]) - 1


def _register_finish(app: dash.Dash, project: Project) -> None:
    """Project the finish of the day shown; where that takes long, say how far it is."""

    @app.callback(
        Output("cycle-card", "children"),
        Output("finish-card", "children"),
        Output("finish-notes", "children"),
        *wait_outputs("finish"),
        Input("settled", "data"),
        Input("seen-seq", "data"),
        *wait_inputs("finish"),
    )
    def project_finish(settled: dict[str, Any] | None, *_: int | None) -> tuple[Any, ...]:
        pressed = pressed_ids(ctx.triggered)
        if not settled:
            return (no_update,) * 8
        day = end_of_day(_day_shown(project, settled))
        waited = wait_for(project.line, day, pressed, lag=False)
        same = bool(pressed) and pressed <= {"finish-wait-poll", "finish-wait-cancel", "seen-seq"}
        cards = _finish_cards(project, settled["activity"], waited.forecast, keep=same)
        return *cards, *wait_shown(waited, kept=FROM_THOSE)


def _finish_cards(
    project: Project, key: str, forecast: Forecast | None, *, keep: bool
) -> tuple[Any, Any, Any]:
    """Return the cards and notes; without a forecast yet, keep what is there or say so."""
    if forecast is None:
        if keep:
            return no_update, no_update, no_update
        return number_card("Recent cycle", "…"), number_card("Projected finish", "…"), []
    plan = planned_line_cycle_days(project.job.activities)
    card = cycle_card(forecast, project.activity(key), plan)
    plans = against_plan(project.job, forecast)
    return card, finish_card(forecast, plans[0]), finish_notes(forecast, plans)


def _register_lag(app: dash.Dash, project: Project) -> None:
    """Say which spans lag on the day shown, for their outlines."""

    @app.callback(
        Output("lag", "data"),
        Input("settled", "data"),
        Input("outlines", "value"),
        Input("seen-seq", "data"),
    )
    def find_lag(settled: dict[str, Any] | None, outlines: list[str], _: int) -> Any:
        if not settled or not outlines:
            return no_update
        day, days = _day_shown(project, settled), project.days().days
        late = project.line.lagging_spans(end_of_day(day))
        number = int(np.searchsorted(days, np.datetime64(day)))
        return map_view.lag_store(project.footprints.hash, number, late)


def _day_shown(project: Project, settled: dict[str, Any]) -> dt.date:
    """Return the day of the slider, which ends today.

    Lag as of a later day takes the longer the later it is, whoever asks for it.
    """
    return min(dt.date.fromisoformat(settled["date"]), project.now().date())


def _register_history(app: dash.Dash, project: Project) -> None:
    """Show a unit's history beside the map."""
    names = activity_names(project.job)

    @app.callback(
        Output("history-title", "children"),
        Output("history", "children"),
        Input("selection", "data"),
        Input("seen-seq", "data"),
    )
    def show_history(selection: dict[str, Any] | None, _: int) -> tuple[Any, Any]:
        if not selection or not selection.get("opened"):
            return no_update, no_update
        unit = selection["unit"]
        onward = (
            dcc.Link("Status, dates and cause: on the line", href=unit_on_line(unit)),
            dcc.Link("What its next pour needs", href=unit_at_pour(unit)),
        )
        history = history_list(project.history(unit), names)
        return f"Unit {unit}", [*(html.P(link) for link in onward), history]

    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction(map_view.SPACE, "openHistory"),
        Input("selection", "data"),
        Input("history-close", "n_clicks"),
    )
