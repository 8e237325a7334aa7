"""The time–station chart: station across, as on the strip; time down, as a calendar reads.

One crew is in focus: its work as it was, its projected finish with the 10 to 90 per cent band,
the plan's finish, the days it stood still. The other crews are drawn quietly around it; with
no crew in focus all of them show, each in its own tone and hatch.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from dashboard.figures.chart_frame import (
    ALARM,
    BAND,
    DAY_MS,
    LIKELY_LINE,
    PLAN_LINE,
    as_text,
    axes,
    chart,
    day_words,
    empty,
    iso,
)
from dashboard.figures.time_station_words import IDLE_WORTH_DRAWING, cell_words
from dashboard.parts.crew_looks import crew_look
from dashboard.parts.palette import GROUND, look_of
from dashboard.parts.stations import station_ticks, station_words
from model.workdays import days_words

HATCHES = {"complete": "", "under_way": "/", "on_hold": "x"}
QUIET = "#e3e6e9"


@dataclass(frozen=True)
class Seen:
    """What of the line is seen, and how wide the screen is.

    Parameters
    ----------
    focus
        Key of the activity in focus; blank for all crews.
    unit
        Selected unit; blank for none.
    lagging
        Pairs of unit and activity that lag.
    narrow
        True on a phone.
    """

    focus: str = ""
    unit: str = ""
    lagging: Collection[tuple[str, str]] = ()
    narrow: bool = False


def time_station_chart(
    cells: pd.DataFrame,
    names: Mapping[str, str],
    seen: Seen,
    *,
    as_of: np.datetime64,
    length_unit: str,
    structure_names: Mapping[str, str],
) -> go.Figure:
    """Draw who was where when, who is likely to be where, and where the plan had them.

    Parameters
    ----------
    cells
        From ``model.time_station``: one row a unit and activity, only the headings shown.
    names
        Names of activities by key, in working order.
    seen
        What is in focus, selected and outlined.
    as_of
        Day of the log.
    length_unit
        ``"ft"`` or ``"m"``.
    structure_names
        Words for each structure's key; structures side by side get a panel each.
    """
    if cells.empty:
        return empty("No unit lies here.")
    structures = list(cells["structure"].unique())
    figure = _panels(structures, structure_names, seen)
    for place, structure in enumerate(structures):
        panel = _Panel(figure, place, len(structures), seen, names, as_of, length_unit)
        panel.draw(cells[cells["structure"] == structure])
    _time_axes(figure, cells, as_of, narrow=seen.narrow)
    return figure


def _panels(structures: Sequence[str], structure_names: Mapping[str, str], seen: Seen) -> go.Figure:
    """Return an empty chart with one panel a structure: side by side, on a phone stacked."""
    many = len(structures)
    height = 560 if seen.narrow else 680
    if many == 1:
        figure = chart(height=height, narrow=seen.narrow)
    else:
        grid = {"rows": many, "cols": 1} if seen.narrow else {"rows": 1, "cols": many}
        titles = [as_text(structure_names.get(key, key)) for key in structures]
        figure = make_subplots(
            **grid,
            shared_yaxes=not seen.narrow,
            horizontal_spacing=0.03,
            vertical_spacing=0.12,
            subplot_titles=titles,
        )
        figure.update_annotations(yshift=42, font={"size": 16, "color": GROUND.ink})
        figure.update_layout(chart(height=height, narrow=seen.narrow).layout)
        axes(figure)
        if seen.narrow:
            figure.update_layout(height=height * many)
    figure.update_layout(
        margin={"t": 100 if many > 1 else 58},
        barmode="overlay",
        dragmode=False if seen.narrow else "select",
        selectdirection="h",
    )
    return figure


def _time_axes(
    figure: go.Figure, cells: pd.DataFrame, as_of: np.datetime64, *, narrow: bool
) -> None:
    """Let time run down, from the first day there is to the last."""
    columns = ["started", "finished", "p90", "baseline"]
    first = min(cells[columns].min().min(), pd.Timestamp(as_of)) - pd.Timedelta(days=7)
    last = max(cells[columns].max().max(), pd.Timestamp(as_of)) + pd.Timedelta(days=10)
    months = pd.date_range(first, last, freq="MS", normalize=True)
    words = [f"{m:%b}" if m.month > 1 and n else f"<b>{m:%b %Y}</b>" for n, m in enumerate(months)]
    figure.update_yaxes(type="date", range=[last, first], tickvals=months, ticktext=words)
    if not narrow:
        figure.update_layout(yaxis={"title": {"text": "Time, downwards"}})


class _Panel:
    """One structure's part of the chart."""

    def __init__(
        self,
        figure: go.Figure,
        place: int,
        panels: int,
        seen: Seen,
        names: Mapping[str, str],
        as_of: np.datetime64,
        length_unit: str,
    ) -> None:
        self.figure, self.seen, self.names = figure, seen, names
        self.as_of, self.length_unit = as_of, length_unit
        self.panels = panels
        self.number = "" if place == 0 else str(place + 1)
        self.axes = {"xaxis": f"x{self.number}", "yaxis": f"y{self.number}"}
        self.refs = {"xref": f"x{self.number}", "yref": f"y{self.number}"}

    def draw(self, cells: pd.DataFrame) -> None:
        """Draw one structure: the quiet crews first, what matters last."""
        focus = self.seen.focus
        for place, key in enumerate(self.names):
            rows = cells[cells["activity"] == key]
            if focus and key != focus:
                self._others(rows)
            elif not focus:
                self._crew(rows, place)
        shown = cells[cells["activity"] == focus] if focus else cells
        if focus:
            self._focused(shown)
        self._outlines(shown)
        if focus:
            self._idle(shown)
            self._overtaking(shown)
        self._frame(cells)

    # What is drawn of a crew

    def _others(self, rows: pd.DataFrame) -> None:
        """Draw a crew out of focus: where it was, and where it is likely to be."""
        worked = rows[rows["started"].notna()]
        self._boxes(worked, worked["started"], self._end(worked), fill=QUIET, line=GROUND.paper)
        self._likely(rows, {"color": "#9aa1a8", "width": 1.2, "dash": "dash"})

    def _crew(self, rows: pd.DataFrame, place: int) -> None:
        """Draw a crew among all crews: its band as worked, and where it is likely to go."""
        look = crew_look(place)
        worked = rows[rows["started"].notna()]
        self._boxes(worked, worked["started"], self._end(worked), fill=look.fill,
                    line=GROUND.ink, hatch=look.hatch, ink=GROUND.ink)  # fmt: skip
        self._likely(rows, {"color": look.line, "width": 2.5, "dash": look.dash})
        self._band_name(rows, place)

    def _focused(self, rows: pd.DataFrame) -> None:
        """Draw the crew in focus."""
        ahead = rows[rows["p50"].notna()]
        self._boxes(ahead, ahead["p10"], ahead["p90"] + pd.Timedelta(days=1), fill=BAND,
                    line=GROUND.quiet_ink, opacity=0.9)  # fmt: skip
        for status, hatch in HATCHES.items():
            worked = rows[rows["started"].notna() & (rows["status"] == status)]
            look = look_of(status)  # type: ignore[arg-type]
            self._boxes(worked, worked["started"], self._end(worked), fill=look.fill,
                        line=GROUND.ink, hatch=hatch, ink=look.ink)  # fmt: skip
        self._plan(rows, PLAN_LINE)
        self._likely(rows, LIKELY_LINE)

    def _end(self, rows: pd.DataFrame) -> pd.Series[pd.Timestamp]:
        """Return the end of work: of the day it was finished, or of today."""
        return rows["finished"].fillna(pd.Timestamp(self.as_of)) + pd.Timedelta(days=1)

    def _boxes(
        self,
        rows: pd.DataFrame,
        begin: pd.Series[pd.Timestamp],
        end: pd.Series[pd.Timestamp],
        *,
        fill: str,
        line: str,
        hatch: str = "",
        ink: str = GROUND.paper,
        opacity: float = 1.0,
        width: float = 1.0,
    ) -> None:
        """Draw one box a unit, from station to station and from day to day."""
        if rows.empty:
            return
        pattern = {
            "shape": hatch,
            "fillmode": "overlay",
            "fgcolor": ink,
            "fgopacity": 0.8,
            "size": 7,
            "solidity": 0.25,
        }
        self.figure.add_bar(
            x=(rows["from_station"] + rows["to_station"]) / 2,
            width=rows["to_station"] - rows["from_station"],
            base=begin.dt.strftime("%Y-%m-%d"),
            y=(end - begin) / pd.Timedelta(days=1) * DAY_MS,
            marker={"color": fill, "line": {"color": line, "width": width}, "pattern": pattern},
            opacity=opacity,
            customdata=rows[["unit", "activity"]].to_numpy(),
            hovertext=[
                cell_words(row, self.names, self.length_unit) for row in rows.to_dict("records")
            ],
            hoverinfo="text",
            **self.axes,
        )

    def _steps(self, rows: pd.DataFrame, dates: pd.Series[pd.Timestamp], line: Any) -> None:
        """Draw finishes as one line a heading, level across each unit."""
        known = rows.assign(date=dates).dropna(subset=["date"])
        x: list[Any] = []
        y: list[Any] = []
        for _, run in known.groupby("heading", sort=False):
            for row in run.to_dict("records"):
                ends = [row["from_station"], row["to_station"]]
                x += ends if self._runs_up(run) else ends[::-1]
                y += [iso(row["date"], 1)] * 2
            x.append(None)
            y.append(None)
        self.figure.add_scatter(
            x=x, y=y, mode="lines", line=line, hoverinfo="skip", connectgaps=False, **self.axes
        )

    @staticmethod
    def _runs_up(run: pd.DataFrame) -> bool:
        """Tell whether a heading is built in the direction of rising stations."""
        return bool(run["from_station"].iloc[-1] >= run["from_station"].iloc[0])

    def _likely(self, rows: pd.DataFrame, line: Any) -> None:
        self._steps(rows, rows["p50"], line)

    def _plan(self, rows: pd.DataFrame, line: Any) -> None:
        self._steps(rows, rows["baseline"], line)

    def _band_name(self, rows: pd.DataFrame, place: int) -> None:
        """Write a crew's name where each of its headings begins."""
        if self.seen.narrow or self.panels > 1 or rows["heading"].nunique() > 1:
            return
        for _, run in rows[rows["started"].notna()].groupby("heading", sort=False):
            at = run.iloc[min(place, len(run) - 1)]
            middle = at["started"] + (self._end(run.iloc[[0]]).iloc[0] - run["started"].iloc[0]) / 2
            self.figure.add_annotation(
                x=(at["from_station"] + at["to_station"]) / 2,
                y=middle,
                text=as_text(self.names[at["activity"]]),
                showarrow=False,
                font={"size": 11, "color": GROUND.ink},
                bgcolor="rgba(255,255,255,0.85)",
                borderpad=1,
                **self.refs,
            )

    # What stands out

    def _outlines(self, rows: pd.DataFrame) -> None:
        """Outline what lags: bright inside dark, over its work and its projection."""
        pairs = pd.Series(zip(rows["unit"], rows["activity"], strict=True), index=rows.index)
        late = rows[pairs.isin(list(self.seen.lagging))]
        begin = late["started"].fillna(late["p10"])
        last = "p90" if self.seen.focus else "p50"
        end = late[last].fillna(late["finished"]) + pd.Timedelta(days=1)
        for line, width in ((GROUND.lag_case, 7), (GROUND.lag_core, 3.5)):
            self._boxes(late, begin, end, fill="rgba(0,0,0,0)", line=line, width=width)

    def _idle(self, rows: pd.DataFrame) -> None:
        """Draw how long the crew stood still, at the edge it came over."""
        idle = rows[rows["idle_days"] >= IDLE_WORTH_DRAWING]
        ends = zip(rows["heading"], rows["finished"], strict=True)
        came_from = dict(zip(ends, rows["from_station"], strict=True))
        for row in idle.to_dict("records"):
            before = came_from.get((row["heading"], row["idle_from"]), row["from_station"])
            up = not row["from_station"] < before
            x = row["from_station"] if up else row["to_station"]
            until = self.as_of if pd.isna(row["started"]) else row["started"]
            days = f"{row['idle_days']:.0f}"
            self.figure.add_scatter(
                x=[x, x],
                y=[iso(row["idle_from"], 1), iso(until, int(pd.isna(row["started"])))],
                mode="lines+markers",
                line={"color": ALARM, "width": 3},
                marker={"symbol": "line-ew", "size": 14, "line": {"color": ALARM, "width": 3}},
                hoverinfo="text",
                hovertext=f"Crew idle {days_words(row['idle_days'])} before {as_text(row['unit'])}",
                **self.axes,
            )
            self.figure.add_annotation(
                x=x, y=iso(until), text=days if self.seen.narrow else f"{days} d idle",
                showarrow=False, xanchor="left" if up else "right", xshift=9 if up else -9,
                yanchor="bottom", font={"color": ALARM, "size": 13}, borderpad=1,
                bgcolor="rgba(255,255,255,0.85)", **self.refs,
            )  # fmt: skip

    def _overtaking(self, rows: pd.DataFrame) -> None:
        """Mark work that began before what it follows was finished there."""
        over = rows[rows["overtakes"] != ""]
        if over.empty:
            return
        self.figure.add_scatter(
            x=(over["from_station"] + over["to_station"]) / 2,
            y=over["started"],
            mode="markers",
            marker={"symbol": "x", "size": 14, "color": ALARM,
                    "line": {"color": GROUND.paper, "width": 2}},
            hoverinfo="text",
            hovertext=[
                f"{as_text(row['unit'])}: {as_text(self.names[row['activity']])} began before "
                f"{as_text(self.names[row['overtakes']])} was finished"
                for row in over.to_dict("records")
            ],
            customdata=over[["unit", "activity"]].to_numpy(),
            **self.axes,
        )  # fmt: skip

    # What is around it

    def _frame(self, cells: pd.DataFrame) -> None:
        """Draw today, unit names along the top, stations along the bottom, the selected unit."""
        low, high = float(cells["from_station"].min()), float(cells["to_station"].max())
        self.figure.add_shape(
            type="line", x0=low, x1=high, y0=iso(self.as_of, 1), y1=iso(self.as_of, 1),
            line={"color": GROUND.ink, "width": 2}, **self.refs,
        )  # fmt: skip
        # Under the line, on the side where no work is left.
        up = self._runs_up(cells)
        self.figure.add_annotation(
            x=low if up else high, y=iso(self.as_of, 1), text=f"Now, {day_words(self.as_of)}",
            showarrow=False, xanchor="left" if up else "right", yanchor="top",
            bgcolor="rgba(255,255,255,0.85)", font={"size": 13}, **self.refs,
        )  # fmt: skip
        self._unit_names(cells.drop_duplicates("unit"))
        most = 4 if self.seen.narrow else 10 // self.panels
        ticks = station_ticks(low, high, most)
        self.figure.update_layout(
            {
                f"xaxis{self.number}": {
                    "range": [low, high],
                    "tickvals": ticks,
                    "ticktext": [station_words(tick, self.length_unit) for tick in ticks],
                    "title": {"text": f"Station ({self.length_unit})"},
                    "showgrid": False,
                }
            }
        )

    def _unit_names(self, units: pd.DataFrame) -> None:
        """Write every unit over its stations, and shade the one that is selected."""
        side_by_side = 1 if self.seen.narrow else self.panels
        crowded = len(units) * side_by_side > (10 if self.seen.narrow else 20)
        every = -(-len(units) // (14 if self.seen.narrow else 60 // side_by_side))
        for place, row in enumerate(units.sort_values("from_station").to_dict("records")):
            chosen = row["unit"] == self.seen.unit
            if chosen:
                self.figure.add_shape(
                    type="rect", x0=row["from_station"], x1=row["to_station"], y0=0, y1=1,
                    xref=self.refs["xref"], yref=f"{self.refs['yref']} domain",
                    fillcolor="rgba(20,24,29,0.08)", line={"color": GROUND.ink, "width": 3},
                    layer="below",
                )  # fmt: skip
            if place % every and not chosen:
                continue
            name = as_text(row["unit"])
            self.figure.add_annotation(
                x=(row["from_station"] + row["to_station"]) / 2,
                xref=self.refs["xref"],
                y=1,
                yref=f"{self.refs['yref']} domain",
                text=f"<b>{name}</b>" if chosen else name,
                textangle=-90 if crowded else 0,
                yanchor="bottom",
                showarrow=False,
                font={"size": 12, "color": GROUND.paper if chosen else GROUND.ink},
                bgcolor=GROUND.ink if chosen else "rgba(0,0,0,0)",
            )
