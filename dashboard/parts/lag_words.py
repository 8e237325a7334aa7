"""Who lags, in sentences and as a table, worst first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from model.lag import Lag
from model.starving import NO_SET, Starving

SHOWN = 5
"""Rows before the rest is folded away."""

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
    behind = f"{_days(row['behind_pace'])} behind the pace of its heading"
    costs = f"costs the finish {_days(row['costs_finish_days'])}"
    return html.P(
        [
            "Lags most: ",
            html.Strong(f"{names[row['activity']]} of {row['unit']}"),
            f" on {row['heading']}, {behind}, {costs}. ",
            html.Span(f"Why: {row['why']}"),
        ],
        className="lead",
    )


def _next_to_starve(row: Mapping[Any, Any], names: Names) -> Component:
    return html.P(
        [
            "Next to starve: ",
            html.Strong(f"the {names[row['activity']].lower()} crew"),
            f" on {row['heading']}, after {short_day(row['free_from'])}, for "
            f"{_days(row['wait_days'])}, until {_waits_for(row, names)} "
            f"({short_day(row['ready_on'])}).",
        ],
        className="lead",
    )


def _farthest(row: Mapping[Any, Any], names: Names) -> Component:
    """Say what is farthest behind the baseline, which a slow heading is on its own pace too."""
    if row["behind_baseline"] <= 0:
        return html.P("No unit at the front is behind the baseline.")
    return html.P(
        [
            "Farthest behind the baseline: ",
            html.Strong(f"{names[row['activity']]} of {row['unit']}"),
            f" on {row['heading']}, {_days(row['behind_baseline'])}.",
        ]
    )


def _waits_for(row: Mapping[Any, Any], names: Names) -> str:
    if row["waits_for"] == NO_SET:
        return f"the falsework set under {row['waits_for_unit']} is free"
    return f"{names[row['waits_for']].lower()} of {row['waits_for_unit']} is finished"


def _idle(rows: pd.DataFrame, names: Names) -> Component:
    """List the crews that stand idle already."""
    items = [
        html.Li(
            f"{names[row['activity']]} crew on {row['heading']}, since "
            f"{short_day(row['free_from'])}: waits until {_waits_for(row, names)} "
            f"({short_day(row['ready_on'])})."
        )
        for row in rows.to_dict("records")
    ]
    crews = "1 crew stands" if len(items) == 1 else f"{len(items)} crews stand"
    return html.Details(
        [html.Summary(f"{crews} idle now, longer than planned"), html.Ul(items)],
        open=len(items) < 3,
    )


def _days(number: float) -> str:
    """Write working days.

    Examples
    --------
    >>> _days(1.0), _days(19.5), _days(1.7)
    ('1 working day', '20 working days', '1.7 working days')
    """
    text = f"{number:.0f}" if number >= 10 or number == round(number) else f"{number:.1f}"
    return f"{text} working day" if text == "1" else f"{text} working days"


def lag_table(found: Lag, names: Names) -> Component:
    """Return the units at the front that lag, worst first; a button shows each on the chart."""
    rows = found.lagging
    if rows.empty:
        return frame.notice("empty", "Nothing lags", ["Every crew keeps the pace of its heading."])
    parts = [_table(rows.iloc[:SHOWN], names)]
    if len(rows) > SHOWN:
        rest = html.Summary(f"{len(rows) - SHOWN} more that lag and cost the finish less")
        parts.append(html.Details([rest, _table(rows.iloc[SHOWN:], names)]))
    return html.Div(parts)


HEADS = (
    ("Unit", ""),
    ("Activity", ""),
    ("Costs the finish", "working days"),
    ("Behind baseline", "working days"),
    ("Behind pace", "working days"),
    ("Buffer left", "working days"),
    ("Why", ""),
    ("Where", ""),
)


def _table(rows: pd.DataFrame, names: Names) -> Component:
    heads = [
        html.Th([name, html.Span(f" {unit}", className="unit-of")] if unit else name, scope="col")
        for name, unit in HEADS
    ]
    table = html.Table(
        [
            html.Caption("Units that lag, worst first"),
            html.Thead(html.Tr(heads)),
            html.Tbody([_row(row, names) for row in rows.to_dict("records")]),
        ],
        className="table lag-table stacked",
    )
    return frame.wide_table(table, "Units that lag, worst first")


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
            ("costs_finish_days", "Costs the finish (working days)", True),
            ("behind_baseline", "Behind baseline (working days)", False),
            ("behind_pace", "Behind pace (working days)", False),
            ("buffer_left", "Buffer left (working days)", False),
        )
    ]
    to_map = dcc.Link("On the map", href=map_address(unit, activity), title=f"{unit} on the map")
    return html.Tr(
        [
            html.Th([button, html.Span(f" {row['heading']}", className="quiet")], scope="row"),
            html.Td(names[activity], className="whole"),
            *numbers,
            html.Td(row["why"], className="why", **data(label="Why")),
            html.Td(to_map, className="whole"),
        ]
    )


def _figure(number: float, fine: bool) -> str:
    """Write a number of days; with tenths where they matter, a dash for none."""
    if pd.isna(number):
        return "–"
    text = f"{number:.1f}" if fine else f"{number:.0f}"
    return text.replace("-", "−") if text.strip("-0.") else "0"


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
