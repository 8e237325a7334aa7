"""Recent cycle and projected finish, as cards."""

from __future__ import annotations

import datetime as dt

from dash import html
from dash.development.base_component import Component

from dashboard.parts.cards import number_card
from model.activities import Activity
from model.projection import Forecast


def date_words(day: dt.date) -> str:
    """Write a date as people say it.

    Examples
    --------
    >>> date_words(dt.date(2027, 5, 4))
    '4 May 2027'
    """
    return f"{day.day} {day:%b %Y}"


def cycle_card(forecast: Forecast, activity: Activity, plan_days: float) -> Component:
    """Return the recent cycle of one activity, heading by heading, beside the plan.

    Parameters
    ----------
    forecast
        Holds the recent cycles.
    activity
        Which one.
    plan_days
        Cycle the plan allows the whole line [working days].
    """
    rows = forecast.cycle[forecast.cycle["activity"] == activity.key]
    known = rows.dropna(subset=["recent_cycle"])
    days = "calendar days" if activity.calendar_days else "working days"
    plan = f"the line's plan: {plan_days:g}"
    if known.empty:
        return number_card("Recent cycle", "–", f"too few units finished yet · {plan}")
    slowest = known.sort_values("recent_cycle")["heading"].iloc[-1]
    low, high = known["recent_cycle"].min(), known["recent_cycle"].max()
    value = f"{low:.1f}" if low == high else f"{low:.1f} to {high:.1f}"
    return number_card("Recent cycle", value, f"{days} a unit · {plan} · slowest: {slowest}")


def finish_card(forecast: Forecast) -> Component:
    """Return the projected finish with its band."""
    finish = forecast.finish
    band = f"80 % sure by {date_words(finish.p80)} · 10 to 90 %: {date_words(finish.p10)} "
    return number_card(
        "Projected finish", date_words(finish.p50), f"{band}to {date_words(finish.p90)}"
    )


def finish_notes(forecast: Forecast) -> list[Component]:
    """Return what a reader of the projection should know, one line each."""
    return [html.P(note, className="quiet") for note in forecast.notes]
