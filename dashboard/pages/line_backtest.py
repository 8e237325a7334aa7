"""How right projections have been: the part of the line page that tests the old ones.

Each projection looks back from its own week as far as the page does. The test takes seconds, so
it runs on a thread of its own, one at a time, whoever asks; an open page sees how far it is and
can stop it.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import dash
from dash import Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component

from dashboard.figures.backtest_chart import backtest_chart
from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.backtest_words import horizon_table
from dashboard.parts.drawn import drawn
from dashboard.parts.line_back import USUAL, back_words
from dashboard.parts.line_shown import line_back
from dashboard.parts.pressed import pressed_ids
from dashboard.parts.progress_panel import POLL_MS, progress_bar
from model.backtest import Backtest
from model.one_job import OneJob, Progress
from model.project import Project

READS = (
    "Each bar is one past week: the light part 10 to 90\u00a0%, the dark part the middle half. "
    "A dot is the day that came, inside the light part; a cross is one outside."
)


class Tested(NamedTuple):
    """What a test is of: the log up to an event, and how far back each projection looked."""

    last_seq: int
    back: str


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
        State("line-back", "value"),
    )
    def test_projections(
        run: int | None, cancel: int | None, polls: int | None, screen: Any, back: str
    ) -> tuple[Any, ...]:
        pressed, key = pressed_ids(ctx.triggered), Tested(project.last_seq(), back or USUAL)
        if "line-backtest-cancel" in pressed:
            job.stop()
        elif "line-backtest-run" in pressed or job.progress().condition == "idle":
            job.start(line_back(project, back).backtest, key)
        progress = job.progress()
        shown = _backtest_answer(progress, key, narrow=bool(screen and screen["narrow"]))
        return shown, not progress.running, progress.running, not progress.running


def _backtest_answer(
    progress: Progress[Backtest], asked: Tested, *, narrow: bool
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
    if isinstance(progress.key, Tested):
        parts += [html.P(words, className="quiet") for words in _differs(progress.key, asked)]
    if not found.outcomes.empty:
        figure = backtest_chart(found, narrow=narrow)
        parts += [drawn(figure), html.P(READS, className="quiet"), horizon_table(found)]
    return parts


def _differs(tested: Tested, asked: Tested) -> list[str]:
    """Say where what was tested is not what would be tested now."""
    told = []
    if tested.back != asked.back:
        told.append(
            f"This test looked back over {back_words(tested.back)}; “Test again” looks back over "
            f"{back_words(asked.back)}."
        )
    if tested.last_seq != asked.last_seq:
        told.append("The log has grown since this was tested.")
    return told
