"""What all charts share: type, ink, axes, and how dates and nothing-to-show look."""

from __future__ import annotations

import datetime as dt
import html
from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.parts.palette import GROUND, look_of

FONT = {
    "family": "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', sans-serif",
    "size": 15,
    "color": GROUND.ink,
}
BAND = "#c9d2da"
"""Fill of a projected band; always with an outline or a hatch."""

PLACED = look_of("complete").fill
ALARM = look_of("on_hold").fill
GRID = "#dcdfe2"
DAY_MS = 86_400_000

PLAN_LINE = {"color": GROUND.quiet_ink, "width": 2.5, "dash": "dot"}
LIKELY_LINE = {"color": GROUND.ink, "width": 3, "dash": "dash"}


def chart(*, height: int, narrow: bool = False) -> go.Figure:
    """Return an empty chart.

    Parameters
    ----------
    height
        Pixels.
    narrow
        True on a phone: thinner margins, smaller type.
    """
    figure = go.Figure()
    figure.update_layout(
        template="none",
        height=height,
        font={**FONT, "size": 13 if narrow else 15},
        paper_bgcolor=GROUND.paper,
        plot_bgcolor=GROUND.paper,
        margin={"l": 62 if narrow else 84, "r": 10 if narrow else 24, "t": 34, "b": 58},
        showlegend=False,
        hovermode="closest",
        hoverlabel={"bgcolor": GROUND.paper, "bordercolor": GROUND.ink, "font": FONT},
        uirevision="the chart keeps the view a person chose",
        dragmode=False,
    )
    axes(figure)
    return figure


def axes(figure: go.Figure) -> None:
    """Give every axis of a chart the same quiet grid and readable type."""
    shared: dict[str, Any] = {
        "gridcolor": GRID,
        "zeroline": False,
        "showline": True,
        "linecolor": GROUND.ink,
        "linewidth": 1,
        "ticks": "outside",
        "automargin": True,
        "showgrid": True,
        "fixedrange": True,
    }
    figure.update_xaxes(**shared)
    figure.update_yaxes(**shared)


def empty(words: str, *, height: int = 220) -> go.Figure:
    """Return a chart that says why there is nothing to draw."""
    figure = chart(height=height)
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    figure.add_annotation(text=words, x=0.5, y=0.5, xref="paper", yref="paper", showarrow=False)
    return figure


def as_text(words: str) -> str:
    """Return what people named as charts have to be given it, so that it is shown as typed.

    Charts read tags and entities in every text: a name could be bold, or lead elsewhere.

    Examples
    --------
    >>> as_text("Crew <b>A</b> & B")
    'Crew &lt;b&gt;A&lt;/b&gt; &amp; B'
    """
    return html.escape(words, quote=False)


def day_words(day: Any) -> str:
    """Write a date as people say it; a dash for none.

    Examples
    --------
    >>> day_words(np.datetime64("2026-11-24")), day_words(np.datetime64("NaT"))
    ('24 Nov 2026', '–')
    """
    date = np.datetime64(day, "D")
    if np.isnat(date):
        return "–"
    plain: dt.date = date.astype(object)
    return f"{plain.day} {plain:%b %Y}"


def iso(day: Any, plus_days: int = 0) -> str:
    """Return a day as Plotly reads it."""
    return str(np.datetime64(day, "D") + plus_days)
