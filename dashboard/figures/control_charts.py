"""The control chart of one crew's cycles."""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go

from dashboard.figures.chart_frame import (
    ALARM,
    PLACED,
    PLAN_LINE,
    as_text,
    chart,
    day_words,
    empty,
)
from dashboard.parts.palette import GROUND
from model.cycle_chart import CycleChart
from model.workdays import days_words

LABEL_HEIGHT = 18
"""Pixels that the name of a level takes."""

LEAST_HEIGHT = 270
"""Pixels from 0 to the top that a chart has at least, however long the names of its units."""

END: dict[bool, dict[str, Any]] = {
    False: {"xanchor": "left", "xshift": 4},
    True: {"xanchor": "right"},
}
"""Beside its line stands the name of a level; in it on a phone (True), for there is no room."""


def control_chart_figure(crew: CycleChart, *, narrow: bool = False) -> go.Figure:
    """Draw cycles in order of completion against their own limits.

    Parameters
    ----------
    crew
        From ``model.cycle_chart``.
    narrow
        True on a phone.

    Notes
    -----
    A lower limit below 0 is not drawn: no cycle can be shorter.
    """
    if crew.chart is None:
        return empty("Two cycles are needed for a chart; too few units are complete here.")
    figure = chart(height=380, narrow=narrow)
    if not narrow:
        figure.update_layout(margin={"r": 120})
    figure.add_scatter(
        x=[as_text(unit) for unit in crew.units], y=crew.cycles, mode="lines", hoverinfo="skip",
        line={"color": PLACED, "width": 2},
    )  # fmt: skip
    _points(figure, crew, crew.chart.outside)
    levels, top = _levels(crew), _top(crew)
    places = _label_places([value / top for value, _, _ in levels], inside=narrow)
    for (value, text, line), place in zip(levels, places, strict=True):
        _level(figure, value, f"{text} {value:.1f}", line, {**END[narrow], **place})
    if crew.shift is not None:
        _shift(figure, crew)
    figure.update_yaxes(title_text="Cycle (working days)", range=[0, top])
    figure.update_xaxes(type="category", title_text="Unit, in order of completion", showgrid=False)
    return figure


def _points(figure: go.Figure, crew: CycleChart, outside: np.ndarray[Any, Any]) -> None:
    """Mark cycles: a dot inside the limits, a cross outside."""
    for flag, symbol, colour, size in ((False, "circle", PLACED, 10), (True, "x", ALARM, 15)):
        here = np.flatnonzero(outside == flag)
        figure.add_scatter(
            x=[as_text(crew.units[i]) for i in here], y=crew.cycles[here], mode="markers",
            marker={"symbol": symbol, "color": colour, "size": size},
            hovertext=[
                f"{as_text(crew.units[i])}: {days_words(crew.cycles[i])}<br>"
                f"finished {day_words(crew.finished[i])}" for i in here
            ],
            hoverinfo="text",
        )  # fmt: skip


def _levels(crew: CycleChart) -> list[tuple[float, str, dict[str, Any]]]:
    """Return the level lines: average, limits, plan."""
    assert crew.chart is not None
    limit = {"color": ALARM, "width": 2, "dash": "longdash"}
    levels = [
        (crew.chart.center, "average", {"color": GROUND.ink, "width": 2}),
        (crew.chart.upper, "upper limit", limit),
    ]
    if crew.chart.lower > 0:
        levels.append((crew.chart.lower, "lower limit", limit))
    if not np.isnan(crew.planned_days):
        levels.append((crew.planned_days, "plan", PLAN_LINE))
    return levels


def _top(crew: CycleChart) -> float:
    """Return the highest cycle to have room for."""
    return 1.08 * max(1.0, float(crew.cycles.max()), *(value for value, _, _ in _levels(crew)))


def _label_places(shares: list[float], *, inside: bool) -> list[dict[str, Any]]:
    """Return where the name of each level stands, so that none lies on another.

    Of levels close together the lowest is named under its line, the others over theirs, as far
    up as it takes.

    Parameters
    ----------
    shares
        Height of each level, a share of the chart's.
    inside
        True where the names stand in the chart, on their lines.
    """
    heights = np.array(shares) * LEAST_HEIGHT
    order = np.argsort(heights, kind="stable")
    apart = np.diff(heights[order], prepend=-np.inf, append=np.inf) >= LABEL_HEIGHT
    places: list[dict[str, Any]] = [{} for _ in shares]
    filled = 0.0
    for turn, level in enumerate(order):
        height, first, last = heights[level], apart[turn], apart[turn + 1]
        if first and last and not inside:
            places[level], filled = {"yanchor": "middle"}, height + LABEL_HEIGHT / 2
        elif first and not last and height - LABEL_HEIGHT >= filled:
            places[level], filled = {"yanchor": "top"}, height
        else:
            low = max(height, filled)
            places[level] = {"yanchor": "bottom", "yshift": round(low - height)}
            filled = low + LABEL_HEIGHT
    return places


def _level(
    figure: go.Figure, value: float, text: str, line: dict[str, Any], where: dict[str, Any]
) -> None:
    """Draw a level and name it at its end."""
    figure.add_shape(type="line", x0=0, x1=1, xref="x domain", y0=value, y1=value, line=line)
    figure.add_annotation(
        x=1, xref="x domain", y=value, text=text, showarrow=False,
        font={"size": 13, "color": line["color"]}, **where,
    )  # fmt: skip


def _shift(figure: go.Figure, crew: CycleChart) -> None:
    """Mark where the pace changed, in words."""
    assert crew.shift is not None
    at = crew.shift.at - 0.5
    word = "slower" if crew.shift.after_days > crew.shift.before_days else "faster"
    figure.add_shape(
        type="line", x0=at, x1=at, y0=0, y1=1, yref="y domain",
        line={"color": GROUND.ink, "width": 2, "dash": "dash"},
    )  # fmt: skip
    figure.add_annotation(
        x=at, y=1, yref="y domain", text=f"<b>{word} from here</b>", showarrow=False,
        xanchor="left", xshift=6, yanchor="top", bgcolor="rgba(255,255,255,0.85)",
    )  # fmt: skip
