"""Who lags, and who starves next, in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from dash import html
from dash.development.base_component import Component

from model.lag import Lag
from model.lag_cost import WORTH_SAYING_DAYS
from model.starving import NO_SET, Starving
from model.workdays import days_words

Names = Mapping[str, str]


def short_day(day: Any) -> str:
    """Write a day of this or the next season, with its weekday.

    Examples
    --------
    >>> short_day("2026-12-01")
    'Tue 1 Dec'
    """
    date = pd.Timestamp(day)
    return f"{date:%a} {date.day} {date:%b}"


def lag_summary(found: Lag, crews: Starving, names: Names) -> Component:
    """Say which unit lags most and why, who stands idle, and who starves next and when."""
    late = found.lagging
    lines = [_worst(late.iloc[0].to_dict(), names)] if len(late) else []
    if not lines:
        lines = [html.P("No unit lags behind the pace of its heading.", className="lead")]
    soon = crews.crews[~crews.crews["idle_now"]]
    if len(soon):
        lines.append(_next_to_starve(soon.iloc[0].to_dict(), names))
    else:
        lines.append(html.P("No crew is about to starve."))
    behind = found.units.dropna(subset=["behind_baseline"]).sort_values("behind_baseline")
    if len(behind):
        lines.append(_farthest(behind.iloc[-1].to_dict(), names))
    idle = crews.crews[crews.crews["idle_now"]]
    if len(idle):
        lines.append(_idle(idle, names))
    return html.Div(lines, className="card lag-summary")


def _worst(row: Mapping[Any, Any], names: Names) -> Component:
    behind = f"{days_words(row['behind_pace'])} behind the pace of its heading"
    if row["behind_baseline"] <= -WORTH_SAYING_DAYS:
        behind += f" (but {days_words(-row['behind_baseline'])} ahead of the baseline)"
    return html.P(["Lags most: ", *_unit_words(row, behind, row["costs_finish_days"], names)],
                  className="lead")  # fmt: skip


def _unit_words(
    row: Mapping[Any, Any], behind: str, costs: float, names: Names
) -> list[str | Component]:
    """Say of a unit how far it is behind, what that costs and why."""
    return [
        html.Strong(f"{names[row['activity']]} of {row['unit']}"),
        f" on {row['heading']}, {behind}, costs the finish {days_words(costs)}. ",
        html.Span(f"Why: {row['why']}"),
    ]


def _next_to_starve(row: Mapping[Any, Any], names: Names) -> Component:
    return html.P(
        [
            "Next to starve: ",
            html.Strong(f"the {names[row['activity']].lower()} crew"),
            f" on {row['heading']}, after {short_day(row['free_from'])}, for "
            f"{days_words(row['wait_days'])}: {_goes_on(row, names)}.",
        ],
        className="lead",
    )


def _farthest(row: Mapping[Any, Any], names: Names) -> Component:
    """Say what is farthest behind the baseline, which a slow heading is on its own pace too."""
    if row["behind_baseline"] <= 0:
        return html.P("No unit at the front is behind the baseline.")
    slow = row["slow_heading_costs_days"]
    costs = row["costs_finish_days"] if pd.isna(slow) else slow
    behind = days_words(row["behind_baseline"])
    return html.P(["Farthest behind the baseline: ", *_unit_words(row, behind, costs, names)])


def _waits_for(row: Mapping[Any, Any], names: Names) -> str:
    if row["waits_for"] == NO_SET:
        return f"the falsework set under {row['waits_for_unit']} is free"
    return f"{names[row['waits_for']].lower()} of {row['waits_for_unit']} is finished"


def _goes_on(row: Mapping[Any, Any], names: Names) -> str:
    """Say what a crew waits for, and when it can go on: a lag may lie between the two."""
    return f"waits until {_waits_for(row, names)}, can go on after {short_day(row['ready_on'])}"


def _idle(rows: pd.DataFrame, names: Names) -> Component:
    """List the crews that stand idle already."""
    items = [
        html.Li(
            f"{names[row['activity']]} crew on {row['heading']}, since "
            f"{short_day(row['free_from'])}: {_goes_on(row, names)}."
        )
        for row in rows.to_dict("records")
    ]
    crews = "1 crew stands" if len(items) == 1 else f"{len(items)} crews stand"
    return html.Details(
        [html.Summary(f"{crews} idle now, longer than planned"), html.Ul(items)],
        open=len(items) < 3,
    )


def map_address(unit: str, activity: str = "", together: Sequence[str] = ()) -> str:
    """Return the address of the map with a unit selected, alone or together with others.

    Examples
    --------
    >>> map_address("W07", "rebar")
    '/?unit=W07&activity=rebar&lag=1'
    >>> map_address("W07", together=["W07", "W08"])
    '/?unit=W07&units=W07,W08'
    """
    words = f"/?unit={unit}"
    if activity:
        words += f"&activity={activity}&lag=1"
    return f"{words}&units={','.join(together)}" if together else words
