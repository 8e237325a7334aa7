"""Lists of the line page: what drives the finish, pours to expect, facts of the selected unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

import pandas as pd
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from dashboard.parts.lag_words import map_address, short_day
from dashboard.parts.status_chip import status_chip
from model.units import share_words

MOST_DRIVERS = 8
MOST_POURS = 12

CONSTRAINT_WORDS = {
    "crew": "the crew is busy on the unit before",
    "predecessor": "the work itself, after what it follows",
    "set": "no free falsework set",
    "cure": "curing",
    "weather": "days lost to weather",
    "hold": "holds",
}


def drivers_list(drivers: pd.DataFrame, names: Mapping[str, str]) -> Component:
    """Return what accounts for most of the days left, the largest first."""
    if drivers.empty:
        return frame.notice("empty", "Nothing is left to drive the finish")
    rows = [
        html.Tr(
            [
                html.Th(f"{names[row['activity']]} on {row['heading']}", scope="row"),
                html.Td(CONSTRAINT_WORDS.get(row["constraint"], row["constraint"])),
                html.Td(share_words(row["share"]), className="figure"),
            ]
        )
        for row in drivers.head(MOST_DRIVERS).to_dict("records")
    ]
    heads = ("Work", "Why it takes its days", "Share")
    return frame.titled_table("Of the days left on the chain of work that ends last", heads, rows)


def pours_table(pours: pd.DataFrame, names: Mapping[str, str]) -> Component:
    """Return the likeliest day of each pour to come."""
    if pours.empty:
        return frame.notice("empty", "No pour is expected in the next 15 working days")
    likeliest = pours.sort_values("chance", ascending=False).drop_duplicates(["unit", "activity"])
    rows = [
        html.Tr(
            [
                html.Th(short_day(row["day"]), scope="row"),
                html.Td(
                    [
                        f"{names[row['activity']]} of ",
                        dcc.Link(row["unit"], href=map_address(row["unit"])),
                    ]
                ),
                html.Td(share_words(row["chance"]), className="figure"),
            ]
        )
        for row in likeliest.sort_values("day").head(MOST_POURS).to_dict("records")
    ]
    heads = ("Likeliest day", "Pour", "Chance of that day")
    return frame.titled_table("In the next 15 working days", heads, rows)


def unit_facts(
    cells: pd.DataFrame, chosen: Mapping[str, Any], focus: str, names: Mapping[str, str]
) -> list[Component]:
    """Return what is known of the selected unit, and links to it on the other pages.

    Parameters
    ----------
    cells
        From ``model.time_station``.
    chosen
        ``unit``, and the ``units`` of a brush.
    focus
        Activity in focus; blank for none.
    names
        Names of activities by key.
    """
    unit = chosen["unit"]
    rows = cells[cells["unit"] == unit]
    if rows.empty:
        return [html.P("Select a unit on the chart, or brush over several.", className="quiet")]
    parts: list[Component] = [
        html.Div(
            [
                html.Strong(f"Unit {unit}"),
                dcc.Link("Show on the map", href=map_address(unit, focus)),
                html.A("Enter its shift", href=entry_address(unit, rows["heading"].iloc[0])),
            ],
            className="controls",
        )
    ]
    if len(chosen["units"]) > 1:
        parts.append(_brushed(chosen["units"], focus))
    heads = ("Activity", "Status", "Finished or likely", "80\u00a0% sure by", "Planned")
    facts = [_fact(row, names) for row in rows.to_dict("records")]
    caption = f"Unit {unit}, activity by activity"
    return [*parts, frame.titled_table(caption, heads, facts, look="stacked")]


def entry_address(unit: str, heading: str) -> str:
    """Return the address of shift entry, open on a unit.

    Examples
    --------
    >>> entry_address("W22", "W_from_east")
    '/entry?heading=W_from_east&unit=W22'
    """
    return f"/entry?{urlencode({'heading': heading, 'unit': unit})}"


def _brushed(units: list[str], focus: str) -> Component:
    links = [dcc.Link(unit, href=map_address(unit, focus)) for unit in units]
    every = dcc.Link("all on the map", href=map_address(units[0], focus, units))
    return html.P(["Brushed: ", *(part for link in (*links, every) for part in (link, " "))])


def _fact(row: Mapping[Any, Any], names: Mapping[str, str]) -> Component:
    done = not pd.isna(row["finished"])
    dates = (
        ("Finished" if done else "Likely", row["finished"] if done else row["p50"]),
        ("80\u00a0% sure by", row["p80"]),
        ("Planned", row["baseline"]),
    )
    return html.Tr(
        [
            html.Th(names[row["activity"]], scope="row"),
            html.Td(status_chip(row["status"])),
            *(html.Td(_day(date), **data(label=head)) for head, date in dates),
        ]
    )


def _day(date: Any) -> str:
    return "–" if pd.isna(date) else short_day(date)
