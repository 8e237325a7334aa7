"""Quantities by day: what the plan has placed, what is placed, what is projected."""

from __future__ import annotations

import numpy as np
import plotly.graph_objects as go

from dashboard.figures.chart_frame import (
    BAND,
    LIKELY_LINE,
    PLACED,
    PLAN_LINE,
    chart,
    day_words,
    empty,
    iso,
)
from dashboard.parts.palette import GROUND
from model.curves import QuantityCurve
from model.units import PRINTED

WORDS_SHARE = 0.25
"""Room for words beside the day it is, a share of the days before."""

LINE_SHARE = 0.08
"""What a line of words takes of a chart's height, with the room around it."""


def quantity_chart(curve: QuantityCurve, *, narrow: bool = False) -> go.Figure:
    """Draw one activity's quantity by day.

    Parameters
    ----------
    curve
        From ``model.curves``.
    narrow
        True on a phone.
    """
    if not curve.total > 0:
        return empty("Nothing is planned for this activity.")
    figure = chart(height=380, narrow=narrow)
    unit = PRINTED.get(curve.measure_unit, "units")
    _projection(figure, curve)
    if curve.baseline.size:
        figure.add_scatter(
            x=curve.baseline_days, y=curve.baseline, mode="lines",
            line={**PLAN_LINE, "shape": "hv"},
            hovertemplate=f"Planned by %{{x|%-d %b %Y}}: %{{y:,.0f}} {unit}<extra></extra>",
        )  # fmt: skip
    figure.add_scatter(
        x=curve.days, y=curve.placed, mode="lines", line={"color": PLACED, "width": 4},
        hovertemplate=f"Placed by %{{x|%-d %b %Y}}: %{{y:,.0f}} {unit}<extra></extra>",
    )  # fmt: skip
    placed = "Placed" if narrow else f"Placed {curve.placed[-1]:,.0f} {unit}"
    _labels(figure, curve, placed)
    figure.update_yaxes(title_text=f"{unit}, added up", rangemode="tozero", tickformat=",")
    figure.update_xaxes(
        type="date", tickformat="%b<br>%Y", dtick="M3" if narrow else "M1", tickangle=0,
        range=[iso(curve.days[0]), iso(_right_end(curve, narrow=narrow))],
    )  # fmt: skip
    return figure


def _right_end(curve: QuantityCurve, *, narrow: bool) -> np.datetime64:
    """Return the day at the right end, with room for what is written beside the curves."""
    today = curve.days[-1]
    room = WORDS_SHARE * (today - curve.days[0]).astype(int)
    return max(_last_day(curve) + (130 if narrow else 14), today + round(room))


def _last_day(curve: QuantityCurve) -> np.datetime64:
    """Return the day by which all is placed on 90 per cent of the paths, and in the plan."""
    done = curve.projected_days[int(np.argmax(curve.low >= curve.low[-1]))]
    return max([done, *curve.baseline_days[-1:]])


def _projection(figure: go.Figure, curve: QuantityCurve) -> None:
    """Draw the band with an outline, and the likely curve in it."""
    days = curve.projected_days
    figure.add_scatter(
        x=np.concatenate([days, days[::-1]]), y=np.concatenate([curve.high, curve.low[::-1]]),
        mode="lines", fill="toself", fillcolor=BAND, hoverinfo="skip",
        line={"color": GROUND.quiet_ink, "width": 1},
    )  # fmt: skip
    figure.add_scatter(
        x=days, y=curve.likely, mode="lines", line=LIKELY_LINE,
        hovertemplate="As likely as not by %{x|%-d %b %Y}: %{y:,.0f}<extra></extra>",
    )  # fmt: skip


def _labels(figure: go.Figure, curve: QuantityCurve, placed: str) -> None:
    """Write beside each curve what it is, and mark today."""
    today, now = curve.days[-1], curve.placed[-1]
    line = LINE_SHARE * max(curve.total, curve.high[-1], *curve.baseline[-1:])
    figure.add_shape(
        type="line", x0=iso(today), x1=iso(today), y0=0, y1=1, yref="y domain",
        line={"color": GROUND.ink, "width": 2},
    )  # fmt: skip
    # Under a curve that is still low stands what day it is.
    low = now < 2 * line
    said = [
        (iso(today), max(now, line) if low else now, f"<b>{placed}</b>", "left",
         "bottom" if low else "top", PLACED),
        (iso(today), 0.0, f"Now, {day_words(today)}", "left", "bottom", GROUND.ink),
    ]  # fmt: skip
    if curve.likely[-1] > now:
        half = np.searchsorted(curve.likely, (now + curve.likely[-1]) / 2)
        likely = curve.likely[half]
        said.append((iso(curve.projected_days[half]), likely, "Projected", "left",
                     "bottom" if likely - now < line else "top", GROUND.ink))  # fmt: skip
    if curve.baseline.size:
        middle = curve.baseline.size // 2
        said.append((iso(curve.baseline_days[middle]), curve.baseline[middle], "Plan", "right",
                     "bottom", GROUND.quiet_ink))  # fmt: skip
    for x, y, text, xanchor, yanchor, ink in said:
        figure.add_annotation(
            x=x, y=y, text=text, showarrow=False, xanchor=xanchor, yanchor=yanchor,
            xshift=-6 if xanchor == "right" else 6, font={"color": ink, "size": 14},
            bgcolor="rgba(255,255,255,0.85)", borderpad=1,
        )  # fmt: skip
