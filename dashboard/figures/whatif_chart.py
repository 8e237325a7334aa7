"""Cases side by side: each one's projected finish with its band."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.chart_frame import BAND, DAY_MS, PLACED, as_text, chart, day_words
from dashboard.parts.palette import GROUND
from model.whatif import WhatIf


def whatif_chart(found: WhatIf, *, narrow: bool = False) -> go.Figure:
    """Draw the finish of every case: 10 to 90 per cent, as likely as not, 80 per cent.

    Parameters
    ----------
    found
        From ``model.whatif``; the first case is the line as it is.
    narrow
        True on a phone.
    """
    names = [as_text(case.name) for case in found.cases]
    dates = pd.DataFrame([case.finish.as_dict() for case in found.cases]).apply(pd.to_datetime)
    figure = chart(height=110 + 64 * len(names), narrow=narrow)
    figure.add_bar(
        orientation="h", y=names, base=dates["p10"].dt.strftime("%Y-%m-%d"), width=0.5,
        x=((dates["p90"] - dates["p10"]) / pd.Timedelta(days=1) + 1) * DAY_MS,
        marker={"color": BAND, "line": {"color": GROUND.quiet_ink, "width": 1}}, hoverinfo="skip",
    )  # fmt: skip
    for column, symbol, colour, words in (
        ("p50", "diamond", PLACED, "as likely as not"),
        ("p80", "line-ns", GROUND.ink, "80\u00a0% sure"),
    ):
        figure.add_scatter(
            x=dates[column], y=names, mode="markers",
            marker={"symbol": symbol, "size": 16, "color": colour,
                    "line": {"color": colour, "width": 3}},
            hovertext=[f"{name}: {day_words(day)}, {words}"
                       for name, day in zip(names, dates[column], strict=True)],
            hoverinfo="text",
        )  # fmt: skip
    figure.add_shape(
        type="line", x0=dates["p50"].iloc[0], x1=dates["p50"].iloc[0], y0=0, y1=1, yref="y domain",
        line={"color": PLACED, "width": 2, "dash": "dot"},
    )  # fmt: skip
    figure.update_yaxes(autorange="reversed", showgrid=False, type="category")
    figure.update_xaxes(type="date", title_text="Projected finish", tickformat="%-d %b<br>%Y")
    return figure
