"""The plan page: the baseline and the calendar, replaced by who schedules.

What is sent is looked over first and saved by a second press. Whatever the doors of the API
refuse is refused here in the same words; nothing is written then.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Sequence
from typing import Any

import dash
from dash import Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard import access
from dashboard.parts import frame
from dashboard.parts.activity_names import activity_names
from dashboard.parts.attributes import aria
from dashboard.parts.calendar_shape import wrong_calendar
from dashboard.parts.cards import number_card
from dashboard.parts.finish_cards import date_words
from dashboard.parts.plan_form import FIELDS, calendar_words, plan_form, values_of
from dashboard.parts.plan_review import plan_review
from model.plan_files import PlanChanged, PlanPut
from model.problems import InputError, Problem, StoreError
from model.project import Project

PATH = "/plan"
NAME = "Plan"
BASELINE = "/api/plan/baseline"
NOT_SAVED = "The calendar was not saved"


def layout(project: Project, search: str = "") -> Component:
    """Return the page, or for who may not plan, who may."""
    if not access.may("plan"):
        access.note_denial(project, "may not plan")
        told = ["Ask a scheduler or an administrator of this project to change it."]
        return html.Section(
            frame.notice("empty", "The plan is changed by schedulers and administrators", told),
            className="page",
        )
    return html.Section(
        [
            *_disk_notice(project),
            html.H2("Baseline"),
            html.Div(baseline_section(project), id="plan-baseline"),
            *_upload(project),
            html.H2("Calendar"),
            *_calendar_section(project),
            frame.caution(),
        ],
        className="page page-plan",
    )


def _disk_notice(project: Project) -> list[Component]:
    _ = project.job  # looks at the disk first
    if not project.plan_problems:
        return []
    title = "The files on the server's disk are not sound: the plan before stays in use"
    return [frame.notice("error", title, _lines(project.plan_problems))]


def baseline_section(project: Project) -> list[Component]:
    """Return what the baseline in use says in numbers."""
    job = project.job
    rows = job.baseline
    if rows.empty:
        told = [
            "Without it, units lag behind the pace of their heading, never behind a plan.",
            "Choose a baseline.csv with the columns unit, activity and planned_finish.",
        ]
        return [frame.notice("empty", "There is no baseline yet", told)]
    first, last = rows["planned_finish"].min(), rows["planned_finish"].max()
    planned = rows["unit"].nunique()
    return [
        html.Div(
            [
                number_card("Planned finishes", f"{len(rows):,}"),
                number_card("Units planned", f"{planned:,}", f"of {len(job.units):,}"),
                number_card("First finish planned", date_words(first)),
                number_card("Last finish planned", date_words(last)),
            ],
            className="number-cards",
        ),
        html.P(html.A("Save the one in use as a file", href=BASELINE, download="baseline.csv",
                      className="button"), className="plan-in-use"),
    ]  # fmt: skip


def _upload(project: Project) -> list[Component]:
    other = "a" if project.job.baseline.empty else "another"
    return [
        html.Label(
            # The label opens the choice of files, so that the component must not do it as well.
            dcc.Upload(
                html.Span(f"Choose {other} baseline.csv", className="button"),
                id="plan-file",
                accept=".csv,text/csv",
                disable_click=True,
            ),
            className="plan-file",
        ),
        html.Div(id="plan-review", **aria(live="polite")),
        html.Div(
            [
                html.Button("Save this baseline", id="plan-save", type="button",
                            className="button main"),
                html.Button("Leave it as it is", id="plan-leave", type="button",
                            className="button"),
            ],
            id="plan-decide",
            className="controls",
            hidden=True,
        ),
        dcc.Store(id="plan-reviewed"),
    ]  # fmt: skip


def _calendar_section(project: Project) -> list[Component]:
    try:
        found = project.plan.calendar()
    except (InputError, StoreError) as error:
        return [_refused("The calendar cannot be read", error)]
    return [
        html.Div(calendar_cards(project), id="plan-calendar", className="number-cards"),
        html.P("Other keys and comments of project.toml stay as they are.", className="quiet"),
        plan_form(found.values),
        html.Div(id="plan-told", **aria(live="polite")),
        html.Div(
            html.Button("Save this calendar", id="plan-calendar-save", type="button",
                        className="button main"),
            className="controls",
        ),
        dcc.Store(id="plan-calendar-seen", data=found.hash),
    ]  # fmt: skip


def calendar_cards(project: Project) -> list[Component]:
    """Return what the calendar in use says in numbers."""
    calendar = project.job.calendar
    lost, week = calendar.lost_days_per_month, len(calendar.workdays)
    year = project.now().year
    holidays = [day for day in calendar.holidays if day.year == year]
    return [
        number_card("Working week", f"{week} day{'s' * (week != 1)}",
                    ", ".join(calendar.workdays)),
        number_card("Public holidays", f"{len(holidays)}", f"in {year}"),
        number_card("Further days off", f"{len(calendar.days_off):,}"),
        number_card("Lost to weather", f"{sum(lost):g}" if lost else "not known",
                    "working days a year" if lost else ""),
    ]  # fmt: skip


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""
    _register_baseline(app, project)
    _register_calendar(app, project)


def _register_baseline(app: dash.Dash, project: Project) -> None:
    """Look a chosen file over, and save it when told to."""

    @app.callback(
        Output("plan-review", "children"),
        Output("plan-reviewed", "data"),
        Output("plan-decide", "hidden"),
        Output("plan-baseline", "children"),
        Output("plan-file", "contents"),
        Input("plan-file", "contents"),
        Input("plan-save", "n_clicks"),
        Input("plan-leave", "n_clicks"),
        State("plan-file", "filename"),
        State("plan-reviewed", "data"),
        prevent_initial_call=True,
    )
    def choose_baseline(
        contents: str | None, save: int, leave: int, name: str | None, reviewed: Any
    ) -> tuple[Any, ...]:
        if ctx.triggered_id == "plan-save" and reviewed:
            return *_save(project, reviewed), baseline_section(project), None
        if ctx.triggered_id == "plan-file" and contents:
            return *_look_over(project, name or "The file", contents), no_update, None
        return [], None, True, no_update, None


def _look_over(project: Project, name: str, contents: str) -> tuple[Any, Any, bool]:
    """Return the review, what to save if told to, and whether there is nothing to decide."""
    text = _text_of(contents)
    if text is None:
        told = frame.notice("error", f"{name} is no text", ["Save it as CSV in UTF-8."])
        return told, None, True
    seen = project.plan.baseline().hash
    try:
        review, warnings = project.look_over_baseline(text)
    except (InputError, StoreError) as error:
        return _refused(f"{name} cannot be the baseline; nothing was changed", error), None, True
    shown = [plan_review(name, review, activity_names(project.job)), *_warned(warnings)]
    return shown, {"text": text, "seen": seen, "name": name}, review.changes_nothing


def _save(project: Project, reviewed: Any) -> tuple[Any, Any, bool]:
    text, name = reviewed["text"], reviewed["name"]
    try:
        put = project.put_baseline(text, reviewed["seen"], *_asker())
    except PlanChanged as changed:
        title = "Somebody saved another baseline while you looked. Nothing was overwritten"
        told = frame.notice("warning", title, [
            "Below is what yours would change of theirs. Save again if yours is to stand.",
            html.A("Look at theirs", href=BASELINE, target="_blank"),
        ])  # fmt: skip
        review, _ = project.look_over_baseline(text)
        shown = [told, plan_review(name, review, activity_names(project.job))]
        return shown, {**reviewed, "seen": changed.now.hash}, review.changes_nothing
    except (InputError, StoreError) as error:
        return _refused(f"{name} was not saved", error), None, True
    return _saved("The baseline is saved and in use", put), None, True


def _register_calendar(app: dash.Dash, project: Project) -> None:
    """Save the calendar of the form."""

    @app.callback(
        Output("plan-told", "children"),
        Output("plan-calendar-seen", "data"),
        Output("plan-calendar", "children"),
        Input("plan-calendar-save", "n_clicks"),
        State("plan-calendar-seen", "data"),
        *(State(field, "value") for field in FIELDS),
        prevent_initial_call=True,
    )
    def save_calendar(_: int, seen: str | None, *fields: Any) -> tuple[Any, Any, Any]:
        told, now = _save_calendar(project, seen or "", fields)
        return told, now or no_update, calendar_cards(project)


def _save_calendar(project: Project, seen: str, fields: Sequence[Any]) -> tuple[Component, str]:
    """Return what came of it, and the hash of the calendar in use where it is another."""
    try:
        values = values_of(fields)
    except ValueError as missing:
        lines = [f"{missing} Give all twelve, or leave all blank."]
        return frame.notice("error", NOT_SAVED, lines), ""
    if wrong := wrong_calendar(values):
        return _refused(NOT_SAVED, InputError([wrong])), ""
    try:
        put = project.put_calendar(values, seen, *_asker())
    except PlanChanged as changed:
        return _both(changed), changed.now.hash
    except (InputError, StoreError) as error:
        return _refused(NOT_SAVED, error), ""
    return _saved("The calendar is saved and in use", put), put.hash


def _both(changed: PlanChanged) -> Component:
    """Show the calendar somebody else saved beside the one in the form."""
    theirs = calendar_words(getattr(changed.now, "values", {}))
    return frame.notice(
        "warning",
        "Somebody saved another calendar while you looked. Nothing was overwritten",
        [
            *(f"Theirs: {line}" for line in theirs),
            "Yours stands in the form above. Save again if it is to stand.",
            html.A("Load the page again to take theirs", href=PATH),
        ],
    )


def _asker() -> tuple[str, str]:
    user = access.asker()
    return (user.name if user else ""), access.sender()


def _text_of(contents: str) -> str | None:
    """Return the text of a chosen file; None where it is none."""
    try:
        return base64.b64decode(contents.partition(",")[2], validate=True).decode()
    except (binascii.Error, UnicodeDecodeError, ValueError):
        return None


def _saved(title: str, put: PlanPut) -> Component:
    if not put.changed:
        return frame.notice("empty", "Nothing is different from what is in use")
    lines = [f"The one before is kept as {put.kept}."] if put.kept else []
    return html.Div([frame.notice("done", title, lines), *_warned(put.warnings)])


def _refused(title: str, error: InputError | StoreError) -> Component:
    lines = _lines(error.problems) if isinstance(error, InputError) else [str(error)]
    return frame.notice("error", title, lines)


def _warned(warnings: tuple[Problem, ...]) -> list[Component]:
    return [frame.notice("warning", "Worth knowing", _lines(warnings))] if warnings else []


def _lines(problems: tuple[Problem, ...]) -> list[str]:
    return [str(problem) for problem in problems]
