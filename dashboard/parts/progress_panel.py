"""How far a long computation is, with a button that stops it."""

from __future__ import annotations

from typing import Any

from dash import html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria
from model.one_job import Progress

POLL_MS = 500
"""How often an open page asks how far a computation is."""


def progress_bar(progress: Progress[Any], what: str) -> Component:
    """Return a bar and words.

    Parameters
    ----------
    progress
        Of the job that runs.
    what
        What a step is, for example ``"past weeks"``, where the job does not say so itself.
    """
    what = progress.what or what
    words = f"{progress.done:,} of {progress.total:,} {what}" if progress.total else "starting"
    bar = html.Div(
        html.Div(style={"width": f"{progress.share:.0%}"}),
        className="progress",
        role="progressbar",
        **aria(valuenow=f"{100 * progress.share:.0f}", valuemin="0", valuemax="100", label=what),
    )
    return html.Div([bar, html.P(words, className="quiet")])
