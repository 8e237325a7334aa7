"""The calendar as a plain form, and its fields read back."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria
from model.workdays import WEEKDAYS

DAY_WORDS = dict(zip(WEEKDAYS, ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday",
                                "Saturday", "Sunday"), strict=True))  # fmt: skip
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip

WORKDAYS, HOLIDAYS, DAYS_OFF = "plan-workdays", "plan-holidays", "plan-days-off"
LOST = tuple(f"plan-lost-{month[:3].lower()}" for month in MONTHS)
FIELDS = (WORKDAYS, HOLIDAYS, DAYS_OFF, *LOST)
"""Ids of the fields, in the order ``values_of`` reads them."""


def plan_form(values: Mapping[str, Any]) -> Component:
    """Return the form, filled with a calendar's keys."""
    return html.Div(
        [
            _workdays(values["workdays"]),
            _labelled(
                "Public holidays of",
                dcc.Input(id=HOLIDAYS, type="text", value=values["holidays"]),
                "country or country-subdivision, as US or US-CA; blank: none",
            ),
            _labelled(
                "Further days off",
                dcc.Textarea(id=DAYS_OFF, value="\n".join(values["days_off"]), rows=4),
                "one a line, as 2026-07-03",
            ),
            _lost_days(values["lost_days_per_month"] or [None] * len(MONTHS)),
        ],
        className="form plan-form",
    )


def _workdays(worked: Sequence[str]) -> Component:
    name = "Days of the week worked"
    options = [{"value": key, "label": word} for key, word in DAY_WORDS.items()]
    return html.Div(
        [
            html.Span(name, className="label"),
            dcc.Checklist(id=WORKDAYS, options=options, value=list(worked), className="choice-row"),
        ],
        className="form-row",
        role="group",
        **aria(label=name),
    )


def _lost_days(lost: Sequence[float | None]) -> Component:
    months = [
        _labelled(month, dcc.Input(id=field, type="number", value=days, min=0, max=31, step="any"))
        for month, field, days in zip(MONTHS, LOST, lost, strict=True)
    ]
    return html.Fieldset(
        [
            html.Legend("Working days expected to be lost to weather"),
            html.Div(months, className="plan-months"),
            html.P("All twelve, or all blank where none are known.", className="quiet"),
        ]
    )


def _labelled(label: str, field: Component, hint: str = "") -> Component:
    words: list[Component] = [html.Span(label)]
    if hint:
        words.append(html.Span(hint, className="field-hint"))
    return html.Label([*words, field], className="form-row")


def values_of(fields: Sequence[Any]) -> dict[str, Any]:
    """Read the calendar's keys from the fields.

    Parameters
    ----------
    fields
        What stands in them, in the order of ``FIELDS``.

    Raises
    ------
    ValueError
        When some months are filled in and others are not; its words say so.

    Examples
    --------
    >>> values_of([["Tue", "Mon"], " US-CA ", "2026-07-03, 2026-12-24", *[None] * 12])
    {'workdays': ['Mon', 'Tue'], 'holidays': 'US-CA', 'days_off': ['2026-07-03', '2026-12-24'],
     'lost_days_per_month': None}
    """
    workdays, holidays, days_off, *lost = fields
    given = [days for days in lost if days is not None]
    if given and len(given) < len(MONTHS):
        blank = [month for month, days in zip(MONTHS, lost, strict=True) if days is None]
        raise ValueError(f"Lost days are missing for {', '.join(blank)}.")
    return {
        "workdays": [day for day in WEEKDAYS if day in (workdays or [])],
        "holidays": (holidays or "").strip(),
        "days_off": [day for day in re.split(r"[\s,;]+", days_off or "") if day],
        "lost_days_per_month": given or None,
    }


def calendar_words(values: Mapping[str, Any]) -> list[str]:
    """Say in a few lines what a calendar says.

    Examples
    --------
    >>> calendar_words({"workdays": ["Mon", "Tue"], "holidays": "", "days_off": ["2026-07-03"],
    ...                 "lost_days_per_month": None})
    ['Worked: Mon, Tue', 'Public holidays: none', 'Days off: 2026-07-03',
     'Lost to weather: not known']
    """
    lost = values["lost_days_per_month"]
    return [
        f"Worked: {', '.join(values['workdays']) or 'no day'}",
        f"Public holidays: {values['holidays'] or 'none'}",
        f"Days off: {', '.join(values['days_off']) or 'none'}",
        "Lost to weather: " + (", ".join(f"{days:g}" for days in lost) if lost else "not known"),
    ]
