"""Shift entry: what got started, placed, finished and held, for several units at once.

The rows of one activity that can move are listed with where they stand now. Nothing is sent
until the button is pressed; then everything filled in goes to the log together, or nothing
does and each problem is said beside its row. What was typed stays on the device until the log
has taken it.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Protocol, cast

import dash
import pandas as pd
from dash import ALL, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.entry_form import Draft, events_of, parse_moment
from dashboard.parts.status_chip import status_chip
from model.activities import Activity
from model.answers import RecordAnswer
from model.events import Status
from model.problems import InputError
from model.project import Project
from model.units import PRINTED, accepted_units, shown_unit

PATH = "/entry"
NAME = "Shift entry"

DID = {
    "start": "Started",
    "finish": "Finished",
    "hold": "Put on hold",
    "resume": "Resumed",
    "reopen": "Reopened",
}
"""What can be ticked, in the words of the trade."""

OFFERED = {
    "not_started": ("start", "finish"),
    "under_way": ("finish", "hold"),
    "on_hold": ("resume", "finish"),
    "complete": ("reopen",),
}
"""What can be ticked for a row, by where it stands."""


class Row(Protocol):
    """One row of ``Project.at_hand`` as the form reads it."""

    unit: str
    span: str
    status: Status
    waits_for: str
    reason: str


Filled = tuple[Mapping[str, str], Any]
"""One control of the rows: its identifier and what was filled in."""


def layout(project: Project, search: str = "") -> Component:
    """Return the page: who and when, which activity, the rows, the button."""
    now = project.now()
    activities = [{"label": a.name, "value": a.key} for a in project.job.activities]
    headings = [{"label": h.key, "value": h.key} for h in project.job.headings]
    return html.Section(
        [
            html.H1(NAME),
            dcc.Store(id="entry-batch", storage_type="local"),
            html.Div(
                [
                    _field("Your name", _text("entry-by")),
                    _field("Day", _text("entry-day", "date", f"{now:%Y-%m-%d}")),
                    _field("Time", _text("entry-time", "time", f"{now:%H:%M}")),
                ],
                className="form-row",
            ),
            _field("Activity", _choice("entry-activity", activities, activities[0]["value"])),
            _field(
                "Heading",
                _choice("entry-heading", [{"label": "All", "value": ""}, *headings], ""),
            ),
            dcc.Checklist(
                id="entry-all",
                options=[{"label": "List every unit, not only those at hand", "value": "all"}],
                value=[],
                className="check",
            ),
            html.Div(id="entry-rows", className="entry-rows"),
            html.Div(id="entry-answer", **aria(live="polite")),
            html.Div(
                html.Button("Record", id="entry-send", n_clicks=0, className="button button-main"),
                className="action-bar",
            ),
        ],
        className="page page-entry",
    )


def _text(key: str, kind: Any = "text", value: str = "") -> Component:
    return dcc.Input(
        id=key,
        type=kind,
        value=value,
        className="input",
        persistence=True,
        persistence_type="session",
    )


def _choice(key: str, options: list[dict[str, str]], value: str) -> Component:
    return dcc.RadioItems(
        id=key,
        options=options,
        value=value,
        className="segments",
        persistence=True,
        persistence_type="session",
    )


def _field(label: str, control: Component) -> Component:
    return html.Label([html.Span(label, className="field-label"), control], className="field")


def entry_rows(
    cells: pd.DataFrame, activity: Activity, project: Project, batch: str
) -> list[Component]:
    """Return one fieldset per unit or span that can move.

    Parameters
    ----------
    cells
        Rows of ``Project.at_hand``.
    activity, project
        What is being recorded, and where.
    batch
        Identifier of this filling-in of the form.
    """
    if cells.empty:
        lines = ["Every unit is complete, or waits for the trade before it."]
        return [frame.notice("empty", f"No {activity.name.lower()} is at hand here", lines)]
    unit = shown_unit(activity.measure, project.job.units_system)
    rows = cast(Iterable[Row], cells.itertuples())
    return [_entry_row(row, activity, unit, batch) for row in rows]


def _entry_row(row: Row, activity: Activity, unit: str, batch: str) -> Component:
    place = f"Unit {row.unit}" + (f", span {row.span}" if row.span else "")

    def named(field: str) -> dict[str, str]:
        return {
            "entry": field,
            "unit": row.unit,
            "span": row.span,
            "activity": activity.key,
            "batch": batch,
        }

    def keep(field: str) -> dict[str, Any]:
        return {"id": named(field), "persistence": True, "persistence_type": "local"}

    def words(field: str) -> Component:
        return dcc.Input(type="text", className="input", **keep(field))

    ticks = dcc.Checklist(
        options=[{"label": DID[kind], "value": kind} for kind in OFFERED[row.status]],
        value=[],
        className="ticks",
        **keep("did"),
    )
    head = [html.Span(place, className="row-place"), status_chip(row.status)]
    if row.waits_for:
        head.append(html.Span(f"waits for {row.waits_for}", className="row-waits"))
    if row.reason:
        head.append(html.Span(f"held: {row.reason}", className="row-waits"))
    decimal: dict[str, Any] = {"inputMode": "decimal"}  # the component passes it on
    quantity = dcc.Input(type="text", className="input input-short", **decimal, **keep("quantity"))
    units = dcc.RadioItems(
        options=[{"label": PRINTED[u], "value": u} for u in accepted_units(activity.measure)],
        value=unit,
        className="segments segments-small",
        **keep("unit"),
    )
    placed = html.Div(
        [_field("Placed", quantity), units],
        className="form-row",
        hidden=activity.measure == "none",
    )
    return html.Fieldset(
        [
            html.Legend(head),
            ticks,
            placed,
            _field("Reason for the hold", words("reason")),
            _field("Note", words("note")),
        ],
        className="entry-row",
    )


def drafts_of(filled: Iterable[Filled]) -> list[Draft]:
    """Gather the controls of the rows into one draft a row."""
    rows: dict[tuple[str, str, str], dict[str, Any]] = {}
    for name, value in filled:
        key = name["unit"], name["span"], name["activity"]
        rows.setdefault(key, {})[name["entry"]] = value
    return [
        Draft(
            unit,
            span,
            activity,
            did=tuple(values.get("did") or ()),
            quantity=(values.get("quantity") or "").strip(),
            measure_unit=values.get("unit") or "",
            reason=(values.get("reason") or "").strip(),
            note=(values.get("note") or "").strip(),
        )
        for (unit, span, activity), values in rows.items()
    ]


def _well(answer: RecordAnswer) -> list[Component]:
    count = len(answer.accepted)
    what = "1 entry is" if count == 1 else f"{count} entries are"
    lines = [f"{what} in the log."]
    if answer.repeated:
        lines.append(f"{len(answer.repeated)} were in the log already and are counted once.")
    notices = [frame.notice("done", "Recorded", lines)]
    if answer.warnings:
        looked = [f"{problem.message} {problem.fix}" for problem in answer.warnings]
        notices.append(frame.notice("warning", "Recorded, but look again", looked))
    return notices


def _refused(error: InputError, places: Sequence[str] = ()) -> Component:
    """Say what is wrong, row by row; ``places`` names the rows of the batch."""
    lines = []
    for problem in error.problems:
        if problem.severity == "warning":
            continue
        place = ""
        if problem.row is not None and 0 < problem.row <= len(places):
            place = f"{places[problem.row - 1]}: "
        lines.append(f"{place}{problem.message} {problem.fix}")
    return frame.notice("error", "Not recorded; nothing was changed", lines)


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""

    @app.callback(
        Output("entry-rows", "children"),
        Output("entry-batch", "data"),
        Input("entry-activity", "value"),
        Input("entry-heading", "value"),
        Input("entry-all", "value"),
        Input("entry-batch", "data"),
    )
    def list_rows(key: str, heading: str, every: list[str], batch: str | None) -> tuple[Any, Any]:
        activity = project.activity(key)
        cells = project.at_hand(key)
        if heading:
            cells = cells[cells["heading"] == heading]
        if not every:
            cells = cells[cells["at_hand"]]
        form = batch or str(uuid.uuid4())
        return entry_rows(cells, activity, project, form), no_update if batch else form

    @app.callback(
        Output("entry-answer", "children"),
        Output("entry-batch", "data", allow_duplicate=True),
        Input("entry-send", "n_clicks"),
        State("entry-by", "value"),
        State("entry-day", "value"),
        State("entry-time", "value"),
        State("entry-batch", "data"),
        State({"entry": ALL, "unit": ALL, "span": ALL, "activity": ALL, "batch": ALL}, "value"),
        State({"entry": ALL, "unit": ALL, "span": ALL, "activity": ALL, "batch": ALL}, "id"),
        prevent_initial_call=True,
        running=[(Output("entry-send", "disabled"), True, False)],
    )
    def send(
        clicks: int, by: str | None, day: str | None, time: str | None, batch: str,
        values: list[Any], names: list[Mapping[str, str]],
    ) -> tuple[Any, Any]:  # fmt: skip
        places: list[str] = []
        try:
            drafts = drafts_of(zip(names, values, strict=True))
            moment = parse_moment(day, time)
            events = events_of(drafts, by=by or "", at=moment, form_id=batch)
            places = [f"Unit {e.unit}" + (f", span {e.span}" if e.span else "") for e in events]
            answer = project.record(events, source="shift entry")
        except InputError as error:
            return _refused(error, places), no_update
        return _well(answer), str(uuid.uuid4())
