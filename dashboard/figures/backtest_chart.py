"""How right past projections were: the bands of then and what came after."""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go

from dashboard.figures.chart_frame import ALARM, BAND, DAY_MS, PLACED, chart, day_words, empty
from dashboard.parts.palette import GROUND
from model.backtest import Backtest

MIDDLE = "#8f9ca8"
"""Fill of the middle half of a band."""


def backtest_chart(found: Backtest, *, narrow: bool = False) -> go.Figure:
    """Draw each past week's band and the day the units were complete.

    Parameters
    ----------
    found
        From ``model.backtest``.
    narrow
        True on a phone.
    """
    if found.outcomes.empty:
        return empty("No past projection can be judged yet.")
    rows = found.headline
    figure = chart(height=400, narrow=narrow)
    figure.update_layout(barmode="overlay")
    for low, high, fill, width in (("p10", "p90", BAND, 4.5), ("p25", "p75", MIDDLE, 4.5)):
        figure.add_bar(
            x=rows["as_of"], base=rows[low].dt.strftime("%Y-%m-%d"), width=width * DAY_MS,
            y=((rows[high] - rows[low]).dt.days + 1) * DAY_MS,
            marker={"color": fill, "line": {"color": GROUND.quiet_ink, "width": 1}},
            hoverinfo="skip",
        )  # fmt: skip
    _actual(figure, rows)
    ahead = int(rows["units_ahead"].iloc[0])
    figure.update_yaxes(type="date", title_text=f"Next {ahead} units complete",
                        tickformat="%-d %b")  # fmt: skip
    figure.update_xaxes(type="date", title_text="Projected on", tickformat="%-d %b<br>%Y",
                        showgrid=False, nticks=4 if narrow else 10)  # fmt: skip
    return figure


def _actual(figure: go.Figure, rows: pd.DataFrame) -> None:
    """Mark what came: a ring inside the band, a cross outside."""
    inside = (rows["actual"] >= rows["p10"]) & (rows["actual"] <= rows["p90"])
    for flag, symbol, colour, word in (
        (True, "circle", PLACED, "inside the 80\u00a0% band"),
        (False, "x", ALARM, "outside the 80\u00a0% band"),
    ):
        here = rows[(inside == flag) & rows["actual"].notna()]
        figure.add_scatter(
            x=here["as_of"], y=here["actual"], mode="markers",
            marker={"symbol": symbol, "size": 11, "color": colour,
                    "line": {"color": GROUND.paper, "width": 1.5}},
            hovertext=[
                f"Projected {day_words(row['as_of'])}<br>10 to 90\u00a0%: "
                f"{day_words(row['p10'])} to {day_words(row['p90'])}<br>"
                f"came {day_words(row['actual'])}, {word}"
                for row in here.to_dict("records")
            ],
            hoverinfo="text",
        )  # fmt: skip
