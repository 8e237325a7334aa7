"""What a change would buy: the part of the line page that compares cases.

On a long line a comparison takes seconds, so it runs on a thread of its own, one at a time;
an open page sees how far it is and can stop it. It never touches the log.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash
from dash import Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from dashboard.figures.whatif_chart import whatif_chart
from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.drawn import drawn
from dashboard.parts.line_shown import line_back
from dashboard.parts.pressed import pressed_ids
from dashboard.parts.progress_panel import POLL_MS, progress_bar
from dashboard.parts.whatif_form import FIELDS, changes_of, field_id, whatif_form
from dashboard.parts.whatif_table import whatif_table
from model.line_answers import LineAnswers
from model.one_job import OneJob, Progress, Report
from model.problems import InputError
from model.project import Project
from model.starving import NO_SET
from model.whatif import MOST_CASES, Change, WhatIf

READS = "Bar: 10 to 90\u00a0%. Diamond: as likely as not. Upright stroke: 80\u00a0% sure."
AT_ONCE_S = 1.0
"""A comparison that takes no longer is answered at once, without a progress bar."""

Compared = WhatIf | InputError


def section(project: Project, line: LineAnswers) -> list[Component]:
    """Return this part of the page."""
    job = project.job
    headings = [heading.key for heading in job.headings]
    return [
        html.H2("What if"),
        html.P(
            "Compare up to four cases with the line as it is. Nothing here changes the log.",
            className="quiet",
        ),
        whatif_form(headings, job.activities, _first_cases(project, line)),
        html.Div(
            [
                html.Button("Compare", id="whatif-run", type="button", className="button main"),
                html.Button("Cancel", id="whatif-cancel", type="button", className="button",
                            disabled=True),
                html.Button("Save the cases as a file", id="whatif-save", type="button",
                            className="button"),
            ],
            className="controls",
        ),
        dcc.Download(id="whatif-file"),
        html.Div(id="whatif-problems"),
        html.Div(id="whatif-answer", **aria(live="polite")),
        dcc.Store(id="whatif-asked"),
        dcc.Interval(id="whatif-poll", interval=POLL_MS, disabled=True),
    ]  # fmt: skip


def _first_cases(project: Project, line: LineAnswers) -> list[dict[str, Any]]:
    """Return cases worth a look: what would help where it lags most, and a longer week."""
    late = line.lag().lagging
    week = {"name": "Six-day week", "week": "six"}
    if late.empty:
        return [week]
    heading, activity = late.iloc[0]["heading"], late.iloc[0]["activity"]
    crews = line.starving().crews
    short = crews[(crews["heading"] == heading) & (crews["waits_for"] == NO_SET)]
    sets = next(h.falsework_sets for h in project.job.headings if h.key == heading)
    if len(short) and sets:
        more = {"name": "One more falsework set", "heading": heading, "sets": sets + 1}
        return [more, week]
    name = f"Second {project.activity(activity).name.lower()} crew"
    return [{"name": name, "heading": heading, "activity": activity, "crews": 2}, week]


def register(app: dash.Dash, project: Project) -> None:
    """Wire it to an app."""
    _register_compare(app, project)
    _register_save(app, project)


def _fields() -> list[State]:
    """Return all fields of the form, in the order ``changes_of`` reads them."""
    return [State(field_id(name, case), "value") for case in range(MOST_CASES) for name in FIELDS]


def _register_compare(app: dash.Dash, project: Project) -> None:
    """Compare the cases of the form; one comparison at a time, whoever asks."""
    job: OneJob[Compared] = OneJob()

    @app.callback(
        Output("whatif-answer", "children"),
        Output("whatif-asked", "data"),
        Output("whatif-poll", "disabled"),
        Output("whatif-cancel", "disabled"),
        Input("whatif-run", "n_clicks"),
        Input("whatif-cancel", "n_clicks"),
        Input("whatif-poll", "n_intervals"),
        State("whatif-asked", "data"),
        State("line-screen", "data"),
        State("line-back", "value"),
        *_fields(),
        prevent_initial_call=True,
    )
    def compare(
        run: int, cancel: int, polls: int, asked: str | None, screen: Any, back: str, *values: Any
    ) -> tuple[Any, ...]:
        pressed = pressed_ids(ctx.triggered)
        if "whatif-cancel" in pressed:
            job.stop()
        elif "whatif-run" in pressed:
            asked = _ask(job, project, line_back(project, back), changes_of(values))
        progress = job.progress()
        shown = _answer(progress, asked, narrow=bool(screen and screen["narrow"]))
        return shown, asked, not progress.running, not progress.running


def _register_save(app: dash.Dash, project: Project) -> None:
    """Hand the cases of the form over as a file."""

    @app.callback(
        Output("whatif-file", "data"),
        Output("whatif-problems", "children"),
        Input("whatif-save", "n_clicks"),
        *_fields(),
        prevent_initial_call=True,
    )
    def save(_: int, *values: Any) -> tuple[Any, Any]:
        changes = changes_of(values)
        if not changes:
            return no_update, frame.notice("empty", "No case has a name yet")
        return {"content": project.change_text(changes), "filename": "change.toml"}, []


def _ask(
    job: OneJob[Compared], project: Project, line: LineAnswers, changes: Sequence[Change]
) -> str:
    """Start a comparison unless one runs; return what names it."""

    def work(report: Report) -> Compared:
        try:
            return line.whatif(changes, on_case=report)
        except InputError as error:
            return error

    key = f"{project.last_seq()} {line.recent!r} {changes!r}"
    job.start(work, key)
    job.wait(AT_ONCE_S)
    return key


def _answer(
    progress: Progress[Compared], asked: str | None, *, narrow: bool
) -> list[Component] | Component:
    """Return what there is to show: how far it is, what is wrong, or the cases."""
    if progress.running:
        return progress_bar(progress, "cases")
    if progress.condition == "stopped":
        return frame.notice("empty", "Stopped", ["Press “Compare” to start over."])
    if progress.condition == "failed":
        return frame.notice("error", "The comparison ended without an answer")
    if progress.answer is None or progress.key != asked:
        return frame.notice("busy", "Another comparison was running", ["Press “Compare” again."])
    if isinstance(progress.answer, InputError):
        problems = [str(problem) for problem in progress.answer.problems]
        return frame.notice("error", "These cases do not fit the job", problems)
    figure = whatif_chart(progress.answer, narrow=narrow)
    return [whatif_table(progress.answer), drawn(figure), html.P(READS, className="quiet")]
