"""How right projections have been: the part of the line page that tests the old ones.

The test takes seconds, so it runs on a thread of its own, one at a time, whoever asks; an open
page sees how far it is and can stop it.
"""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, ctx, dcc, html
from dash.development.base_component import Component

from dashboard.figures.backtest_chart import backtest_chart
from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.backtest_words import horizon_table
from dashboard.parts.drawn import drawn
from dashboard.parts.progress_panel import POLL_MS, progress_bar
from model.backtest import Backtest
from model.one_job import OneJob, Progress
from model.project import Project

READS = (
    "Each bar is one past week: the light part 10 to 90 %, the dark part the middle half. "
    "A dot is the day that came, inside the light part; a cross is one outside."
)


def section() -> list[Component]:
    """Return this part of the page."""
    return [
        html.H2("How right have projections been?"),
        html.Div(id="line-backtest", **aria(live="polite")),
        html.Div(
            [
                html.Button("Test again", id="line-backtest-run", type="button",
                            className="button"),
                html.Button("Cancel", id="line-backtest-cancel", type="button",
                            className="button"),
            ],
            className="controls",
        ),
        dcc.Interval(id="line-backtest-poll", interval=POLL_MS),
    ]  # fmt: skip


def register(app: dash.Dash, project: Project) -> None:
    """Wire it to an app."""
    job: OneJob[Backtest] = OneJob()

    @app.callback(
        Output("line-backtest", "children"),
        Output("line-backtest-poll", "disabled"),
        Output("line-backtest-run", "disabled"),
        Output("line-backtest-cancel", "disabled"),
        Input("line-backtest-run", "n_clicks"),
        Input("line-backtest-cancel", "n_clicks"),
        Input("line-backtest-poll", "n_intervals"),
        Input("line-screen", "data"),
    )
    def test_projections(
        run: int | None, cancel: int | None, polls: int | None, screen: Any
    ) -> tuple[Any, ...]:
        asked = ctx.triggered_id
        if asked == "line-backtest-run" or job.progress().condition == "idle":
            job.start(project.backtest, key=project.last_seq())
        elif asked == "line-backtest-cancel":
            job.stop()
        progress = job.progress()
        shown = _backtest_answer(progress, project, narrow=bool(screen and screen["narrow"]))
        return shown, not progress.running, progress.running, not progress.running


def _backtest_answer(
    progress: Progress[Backtest], project: Project, *, narrow: bool
) -> list[Component]:
    """Return what there is to show of the test: how far it is, and its answer."""
    parts: list[Component] = []
    if progress.running:
        parts.append(progress_bar(progress, "past weeks"))
    elif progress.condition == "stopped":
        parts.append(frame.notice("empty", "Stopped", ["Press “Test again” to start over."]))
    elif progress.condition == "failed":
        parts.append(frame.notice("error", "The test ended without an answer"))
    if progress.answer is None:
        return parts
    found = progress.answer
    parts.append(html.P(str(found), className="lead"))
    if progress.key != project.last_seq():
        parts.append(html.P("The log has grown since this was tested.", className="quiet"))
    if not found.outcomes.empty:
        figure = backtest_chart(found, narrow=narrow)
        parts += [drawn(figure), html.P(READS, className="quiet"), horizon_table(found)]
    return parts
