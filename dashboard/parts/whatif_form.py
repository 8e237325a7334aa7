"""The what-if form: up to four cases, each read as one change."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria
from model.activities import Activity
from model.whatif import MOST_CASES, Change

FIELDS = (
    "name", "heading", "activity", "cycle", "crews", "sets", "week", "weather", "order",
)  # fmt: skip
"""What one case asks for; a field's id is ``field_id(name, case)``."""

FIVE = ("Mon", "Tue", "Wed", "Thu", "Fri")
WEEKS = {"": (), "five": FIVE, "six": (*FIVE, "Sat"), "seven": (*FIVE, "Sat", "Sun")}
WEEK_WORDS = {
    "": "as now", "five": "Monday to Friday", "six": "Monday to Saturday",
    "seven": "all seven days",
}  # fmt: skip
WEATHER_WORDS = {"1": "as expected", "0": "no lost days", "0.5": "half as many", "2": "twice"}


def field_id(name: str, case: int) -> str:
    """Return the id of a field.

    Examples
    --------
    >>> field_id("crews", 0)
    'case-1-crews'
    """
    return f"case-{case + 1}-{name}"


def whatif_form(
    headings: Sequence[str], activities: Sequence[Activity], filled: Sequence[Mapping[str, Any]]
) -> Component:
    """Return the form with its four cases.

    Parameters
    ----------
    headings, activities
        Of the job.
    filled
        What stands in the first cases from the start, by field.
    """
    crews = [activity for activity in activities if not activity.calendar_days]
    empty: Mapping[str, Any] = {}
    cases = [
        _case(case, headings, crews, filled[case] if case < len(filled) else empty)
        for case in range(MOST_CASES)
    ]
    return html.Div(cases, className="whatif-cases")


def _case(
    case: int, headings: Sequence[str], activities: Sequence[Activity], filled: Mapping[str, Any]
) -> Component:
    every = {"": "Every heading", **{key: key for key in headings}}
    trades = {"": "No trade", **{activity.key: activity.name for activity in activities}}
    name = filled.get("name", "")
    return html.Details(
        [
            html.Summary(f"Case {case + 1}" + (f": {name}" if name else "")),
            html.Div(
                [
                    _text(case, "name", "Name", name, "blank: leave this case out"),
                    _choice(case, "heading", "Where", every, filled),
                    _choice(case, "activity", "Trade", trades, filled),
                    _number(case, "cycle", "Its cycle, working days a unit", filled, 0.1, "any"),
                    _number(case, "crews", "Its crews", filled, 1, 1),
                    _number(case, "sets", "Falsework sets on hand there", filled, 1, 1),
                    _choice(case, "week", "Days worked", WEEK_WORDS, filled),
                    _choice(case, "weather", "Days lost to weather", WEATHER_WORDS,
                            {"weather": "1", **filled}),
                    _text(case, "order", "Units in another order, or on a new heading",
                          filled.get("order", ""),
                          "heading: unit, unit, …; without a heading, the one chosen in “Where”; "
                          "only units not begun"),
                ],
                className="form whatif-fields",
            ),
        ],
        className="card whatif-case",
    )  # fmt: skip


def _labelled(label: str, field: Component, hint: str = "", more: str = "") -> Component:
    words: list[Component] = [html.Span(label)]
    if hint:
        words.append(html.Span(hint, className="field-hint"))
    return html.Label([*words, field], className=f"form-row {more}")


def _text(case: int, name: str, label: str, value: str, hint: str) -> Component:
    field = dcc.Input(id=field_id(name, case), type="text", value=value)
    return _labelled(label, field, hint, "wide")


def _number(
    case: int, name: str, label: str, filled: Mapping[str, Any], least: float, step: float | str
) -> Component:
    field = dcc.Input(
        id=field_id(name, case), type="number", value=filled.get(name), min=least, step=step,
        placeholder="as now",
    )  # fmt: skip
    return _labelled(label, field)


def _choice(
    case: int, name: str, label: str, words: Mapping[str, str], filled: Mapping[str, Any]
) -> Component:
    field = dcc.RadioItems(
        id=field_id(name, case),
        options=[{"value": key, "label": text} for key, text in words.items()],
        value=filled.get(name, ""),
        className="choice-row",
    )
    return html.Div(
        [html.Span(label, className="label"), html.Div(field, className="choice-group")],
        className="form-row whole",
        role="group",
        **aria(label=label),
    )


def changes_of(values: Sequence[Any]) -> list[Change]:
    """Read the cases that have a name.

    Parameters
    ----------
    values
        Of every field of the first case, then of the second, and so on, as ``FIELDS`` says.
    """
    cases = [
        dict(zip(FIELDS, values[at : at + len(FIELDS)], strict=True))
        for at in range(0, len(values), len(FIELDS))
    ]
    return [_change(case) for case in cases if str(case["name"] or "").strip()]


def _change(case: Mapping[str, Any]) -> Change:
    heading, trade = case["heading"] or "", case["activity"] or ""
    cell = (heading, trade)
    return Change(
        name=str(case["name"]).strip(),
        cycles={cell: float(case["cycle"])} if trade and case["cycle"] else {},
        crews={cell: int(case["crews"])} if trade and case["crews"] else {},
        falsework_sets={heading: int(case["sets"])} if case["sets"] else {},
        workdays=WEEKS.get(case["week"] or "", ()),
        weather=float(case["weather"] or 1.0),
        order=order_of(case["order"] or "", heading),
    )


def order_of(text: str, where: str = "") -> dict[str, tuple[str, ...]]:
    """Read units in building order, by heading.

    Parameters
    ----------
    text
        ``heading: unit, unit``, one heading after another with ``;`` between them.
    where
        The heading of units that are written without one.

    Examples
    --------
    >>> order_of("W_new: W14, W13; E_from_east: E15")
    {'W_new': ('W14', 'W13'), 'E_from_east': ('E15',)}
    >>> order_of("W14, W13", "W_from_west")
    {'W_from_west': ('W14', 'W13')}
    """
    orders: dict[str, tuple[str, ...]] = {}
    for part in re.split(r"[;\n]", text):
        named, _, units = part.rpartition(":")
        listed = tuple(unit for unit in re.split(r"[,\s]+", units) if unit)
        heading = named.strip() or where
        if listed:
            orders[heading] = (*orders.get(heading, ()), *listed)
    return orders
