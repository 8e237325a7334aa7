"""The table of who lags: by themselves, and with all their heading; what costs most first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from dashboard.parts.lag_words import map_address
from model.lag import Lag
from model.workdays import days_words

SHOWN = 5
"""Rows of a kind before the rest is folded away."""

WORTH_SHOWING_DAYS = 0.05
"""What costs the finish less is folded away; it would read as nothing."""

CAPTION = "Units that lag, worst first in each group"
BY_ITSELF = "Behind the pace of their heading"
WITH_HEADING = "Behind the baseline, on the pace of their heading"
COUNT_ONCE = "What a slow crew costs stands beside each of its units: count it once."

HEADS = (
    ("Unit", ""),
    ("Activity", ""),
    ("Costs the finish", "working days"),
    ("Behind baseline", "working days"),
    ("Behind pace", "working days"),
    ("Buffer left", "working days, next crew"),
    ("Why", ""),
    ("Where", ""),
)

Names = Mapping[str, str]


def lag_table(found: Lag, names: Names) -> Component:
    """Return the units at the front that lag; a button shows each on the chart.

    Parameters
    ----------
    found
        Who lags.
    names
        Names of activities by key.
    """
    alone = found.lagging.assign(costs=found.lagging["costs_finish_days"])
    together = found.late_with_heading
    together = together.assign(costs=together["slow_heading_costs_days"].fillna(0.0))
    if alone.empty and together.empty:
        return frame.notice("empty", "Nothing lags", ["Every crew keeps the pace of its heading."])
    groups = [(words, rows, _worth_showing(rows)) for words, rows in
              ((BY_ITSELF, alone), (WITH_HEADING, together)) if len(rows)]  # fmt: skip
    parts = [_table([(words, rows.iloc[:shown]) for words, rows, shown in groups], names)]
    parts += [_rest(words, rows.iloc[shown:], names) for words, rows, shown in groups
              if len(rows) > shown]  # fmt: skip
    return html.Div(parts)


def _worth_showing(rows: pd.DataFrame) -> int:
    """Return how many rows, which are in order, are not folded away.

    Where none costs anything, those that are farthest behind are shown.
    """
    return min(int((rows["costs"] >= WORTH_SHOWING_DAYS).sum()) or len(rows), SHOWN)


def _rest(words: str, rows: pd.DataFrame, names: Names) -> Component:
    """Fold the rest of a kind away, and say what it is."""
    farthest = days_words(
        float(rows["behind_baseline" if words == WITH_HEADING else "behind_pace"].max())
    )
    more = f"{len(rows)} more" + (
        "" if words == WITH_HEADING else " that wait for these or cost less"
    )
    summary = f"{words}: {more}, by up to {farthest}"
    return html.Details([html.Summary(summary), _table([(words, rows)], names)])


def _table(groups: list[tuple[str, pd.DataFrame]], names: Names) -> Component:
    heads = [
        [name, html.Span(f" {unit}", className="unit-of")] if unit else name for name, unit in HEADS
    ]
    bodies = [
        [_group_row(words), *(_row(row, names) for row in rows.to_dict("records"))]
        for words, rows in groups
    ]
    return frame.titled_table(CAPTION, heads, *bodies, look="lag-table stacked")


def _group_row(words: str) -> Component:
    said: list[Any] = [words]
    if words == WITH_HEADING:
        said.append(html.Span(f" {COUNT_ONCE}", className="unit-of"))
    return html.Tr(
        html.Th(said, colSpan=len(HEADS), scope="rowgroup", className="group"),
        className="group-row",
    )


def _row(row: Mapping[Any, Any], names: Names) -> Component:
    unit, activity = row["unit"], row["activity"]
    button = html.Button(
        unit,
        type="button",
        className="unit-button",
        title=f"Show {unit} on the chart",
        **data(unit=unit, activity=activity, heading=row["heading"]),
    )
    numbers = [
        html.Td(_figure(row[column], fine), className="figure", **data(label=head))
        for column, head, fine in (
            ("costs", "Costs the finish (working days)", True),
            ("behind_baseline", "Behind baseline (working days)", False),
            ("behind_pace", "Behind pace (working days)", False),
        )
    ]
    to_map = dcc.Link("On the map", href=map_address(unit, activity), title=f"{unit} on the map")
    return html.Tr(
        [
            html.Th([button, html.Span(f" {row['heading']}", className="quiet")], scope="row"),
            html.Td(names[activity], className="whole"),
            *numbers,
            _buffer(row, names),
            html.Td(row["why"], className="why", **data(label="Why")),
            html.Td(to_map, className="whole"),
        ]
    )


def _buffer(row: Mapping[Any, Any], names: Names) -> Component:
    """Return the days of work left before the next crew, and which that is."""
    number: list[Any] = [_figure(row["buffer_left"], fine=False)]
    if row["next_crew"]:
        verb = " starves" if row["buffer_left"] < 0 else ""
        crew = f" {names[row['next_crew']].lower()} crew{verb}"
        number.append(html.Span(crew, className="unit-of"))
    return html.Td(number, className="figure next-crew", **data(label="Buffer left (working days)"))


def _figure(number: float, fine: bool) -> str:
    """Write a number of days; with tenths where they matter, a dash for none."""
    if pd.isna(number):
        return "–"
    text = f"{number:.1f}" if fine else f"{number:.0f}"
    return text.replace("-", "−") if text.strip("-0.") else "0"
