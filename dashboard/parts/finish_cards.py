"""Recent cycle and projected finish, as cards."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from dashboard.parts.cards import number_card
from model.activities import Activity
from model.against_plan import FinishAgainstPlan
from model.projection import Forecast
from model.workdays import days_words


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


def finish_card(forecast: Forecast, plan: FinishAgainstPlan) -> Component:
    """Return the projected finish with its band, and how it stands to the plan.

    Where nothing is left, the day of the last finish stands alone.
    """
    finish = forecast.finish
    label, notes = "Finished", []
    if not plan.done:
        label = "Projected finish"
        notes = [
            f"80\u00a0% sure by {date_words(finish.p80)}",
            f"10 to 90\u00a0%: {date_words(finish.p10)} to {date_words(finish.p90)}",
        ]
    if plan.planned is not None:
        notes.append(f"plan: {date_words(plan.planned)}, so {late_words(plan)}")
    return number_card(label, date_words(finish.p50), " · ".join(notes))


def late_words(plan: FinishAgainstPlan) -> str:
    """Say how far a finish is from the planned one."""
    days = plan.days_late
    if days is None:
        return "no plan"
    if days == 0:
        return "on plan"
    return f"{days_words(abs(days))} {'late' if days > 0 else 'early'}"


def heading_table(plans: Sequence[FinishAgainstPlan]) -> Component:
    """Return when each heading finishes, beside its plan."""
    heads = ("Heading", "As likely as not", "80\u00a0% sure by", "Plan", "Against the plan")
    rows = [
        html.Tr(
            [
                html.Th(plan.heading, scope="row"),
                *(
                    html.Td(words, **data(label=head))
                    for head, words in zip(heads[1:], _plan_words(plan), strict=True)
                ),
            ]
        )
        for plan in plans
        if plan.heading
    ]
    return frame.titled_table("When each heading finishes", heads, rows, look="stacked")


def _plan_words(plan: FinishAgainstPlan) -> tuple[str, ...]:
    planned = "–" if plan.planned is None else date_words(plan.planned)
    likely, sure = date_words(plan.finish.p50), date_words(plan.finish.p80)
    if plan.done:
        likely, sure = f"finished {likely}", "–"
    return likely, sure, planned, late_words(plan)


def finish_notes(forecast: Forecast, plans: Sequence[FinishAgainstPlan]) -> list[Component]:
    """Return when headings finish, and what a reader of it should know, one line each."""
    notes: list[Component] = [html.P(note, className="quiet") for note in forecast.notes]
    return [heading_table(plans), *notes] if len(plans) > 2 else notes
