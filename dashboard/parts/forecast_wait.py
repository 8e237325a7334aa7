"""A forecast that takes long: how far it is, a button that stops it, and what there is then.

One of a long line marches for seconds. It runs on a thread of its own, one for all pages and
all who look at them (``LineAnswers.watched``). One that is done at once never shows any of this.
While the log grows faster than it is worked through, the last answer for the same day is shown.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from dash import Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import aria
from dashboard.parts.progress_panel import POLL_MS, progress_bar
from model.line_answers import MARCHES, LineAnswers, Watched
from model.one_job import Progress
from model.projection import Forecast

AT_ONCE_S = 1.0
"""A forecast that takes no longer is shown at once, without a progress bar."""

FROM_THOSE = "The dates shown are from those; more marches would steady them."
ANOTHER_FIRST = "Another forecast is being worked out first; this one follows."
NOTHING_YET = "Who lags takes all of them, so nothing is shown yet."
OLDER_STAYS = "Who lags takes all of them, so what was there before stays."


@dataclass(frozen=True)
class Waited:
    """What there is of a forecast.

    Parameters
    ----------
    forecast
        Whole, or of the marches done when it was stopped, or the last one before; None while
        it runs and there is none for that day.
    progress
        Of the job that is waited for or was stopped; None when the forecast is whole.
    mine
        Whether that job is the one asked for, and not another that has to end first.
    behind
        Events recorded since what ``forecast`` is of.
    """

    forecast: Forecast | None
    progress: Progress[Forecast] | None = None
    mine: bool = True
    behind: int = 0

    @property
    def running(self) -> bool:
        """Whether to ask again soon."""
        return self.progress is not None and self.progress.running


def wait_for(
    line: LineAnswers, as_of: dt.datetime | None, pressed: Collection[str], *, lag: bool
) -> Waited:
    """Return the usual forecast, or how far it is.

    Parameters
    ----------
    line
        Answers about the line.
    as_of
        Of which day; the present one without it.
    pressed
        The ids of the buttons pressed, and of what else set the callback off.
    lag
        Whether who lags is waited for as well.
    """
    if line.takes_long(as_of, lag=lag):
        _act(line, as_of, pressed, lag=lag)
    if not line.takes_long(as_of, lag=lag):
        return Waited(line.forecast(as_of))
    progress = line.watched.progress()
    mine = line.watch_key(as_of, lag=lag).like(progress.asked)
    if mine and not progress.running and progress.cut_short is not None:
        return Waited(progress.cut_short, progress)
    before = line.shown(as_of, lag=lag)
    if before is None:
        return Waited(None, progress, mine)
    return Waited(before.forecast(as_of), progress, mine, before.behind())


def _act(
    line: LineAnswers, as_of: dt.datetime | None, pressed: Collection[str], *, lag: bool
) -> None:
    """Stop the job if it is the one looked at, or start the one that is wanted.

    One that was stopped is not started again by itself, but for a log that has grown.
    """
    job, key = line.watched, line.watch_key(as_of, lag=lag)
    if any(one.endswith("-wait-cancel") for one in pressed):
        if key.like(job.progress().asked):
            job.stop()
            job.wait(AT_ONCE_S)
        return
    again = any(one.endswith("-wait-again") for one in pressed)
    if (again or not _ended_early(job.progress(), key)) and line.watch(as_of, lag=lag):
        job.wait(AT_ONCE_S)


def _ended_early(progress: Progress[Forecast], key: Watched) -> bool:
    """Tell whether a job was stopped or broke that was of the very same log."""
    return progress.condition in ("stopped", "failed") and progress.asked == key


def wait_section(name: str, *, seen: bool = False) -> Component:
    """Return the place of the words and buttons.

    Parameters
    ----------
    name
        Begins their ids.
    seen
        Whether it is known already that there is something to wait for.
    """
    buttons = [
        html.Button(
            words, id=f"{name}-wait-{what}", type="button", className="button", disabled=off
        )
        for what, words, off in (("cancel", "Cancel", not seen), ("again", "Run it again", True))
    ]
    return html.Div(
        [
            html.Div(id=f"{name}-wait-words", **aria(live="polite")),
            html.Div(buttons, className="controls"),
            dcc.Interval(id=f"{name}-wait-poll", interval=POLL_MS, disabled=not seen),
        ],
        id=f"{name}-wait",
        className="card",
        hidden=not seen,
    )


def wait_inputs(name: str) -> list[Input]:
    """Return what a callback that waits is set off by."""
    return [
        Input(f"{name}-wait-cancel", "n_clicks"),
        Input(f"{name}-wait-again", "n_clicks"),
        Input(f"{name}-wait-poll", "n_intervals"),
    ]


def wait_outputs(name: str) -> list[Output]:
    """Return what ``wait_shown`` fills."""
    return [
        Output(f"{name}-wait-words", "children"),
        Output(f"{name}-wait", "hidden"),
        Output(f"{name}-wait-cancel", "disabled"),
        Output(f"{name}-wait-again", "disabled"),
        Output(f"{name}-wait-poll", "disabled"),
    ]


def wait_shown(waited: Waited, *, kept: str) -> tuple[Any, ...]:
    """Return what to show of the wait.

    Parameters
    ----------
    waited
        What there is.
    kept
        What becomes of marches that were stopped: ``FROM_THOSE``, ``NOTHING_YET`` or
        ``OLDER_STAYS``.
    """
    progress = waited.progress
    if progress is None:
        return [], True, True, True, True
    stoppable = progress.running and waited.mine
    words = _words(waited, progress, kept)
    return words, False, not stoppable, progress.running, not waited.running


def _behind_words(behind: int) -> str:
    """Say that what is shown is of a somewhat older log.

    Examples
    --------
    >>> _behind_words(1)
    'What is shown is from before the latest event recorded; that is being worked through.'
    """
    latest = "latest event" if behind == 1 else f"latest {behind:,} events"
    these = "that is" if behind == 1 else "these are"
    return f"What is shown is from before the {latest} recorded; {these} being worked through."


def _words(waited: Waited, progress: Progress[Forecast], kept: str) -> Component:
    if progress.condition == "running":
        lead = "Working out when the line finishes." if waited.mine else ANOTHER_FIRST
        older = [html.P(_behind_words(waited.behind), className="quiet")] if waited.behind else []
        bar = progress_bar(progress, MARCHES)
        return html.Div([html.P(lead, className="lead"), *older, bar])
    if progress.condition == "failed":
        return frame.notice("error", "The forecast ended without an answer")
    if not waited.mine or not progress.total:
        return frame.notice("empty", "Waiting for its turn")
    done = f"Stopped after {progress.done:,} of {progress.total:,} {progress.what or MARCHES}"
    return frame.notice("empty", done, [kept])
