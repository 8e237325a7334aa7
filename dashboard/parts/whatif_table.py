"""Cases side by side, as a table."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.finish_cards import date_words
from model.whatif import Case, WhatIf

HEADS = (
    "Case", "As likely as not", "80\u00a0% sure by", "10 to 90\u00a0%", "Comes sooner by",
    "Most sets in use", "Pours a week", "Crew-days",
)  # fmt: skip


def whatif_table(found: WhatIf) -> Component:
    """Return every case's dates, sets, pours and crew-days; the first row is the line as it is.

    A heading that a case adds is said under it, for it may be a mistyped one.
    """
    return frame.titled_table(
        "Cases side by side, each with the same luck",
        HEADS,
        [_row(case, first=at == 0) for at, case in enumerate(found.cases)],
        look="whatif-table",
        name="Cases side by side",
    )


def _row(case: Case, *, first: bool) -> Component:
    sets = ", ".join(f"{key}: {number}" for key, number in case.sets_in_use.items())
    return html.Tr(
        [
            html.Th([case.name, *_added(case)], scope="row"),
            html.Td(date_words(case.finish.p50), className="figure"),
            html.Td(date_words(case.finish.p80), className="figure"),
            html.Td(
                f"{date_words(case.finish.p10)} to {date_words(case.finish.p90)}",
                className="figure",
            ),
            html.Td("–" if first else sooner_words(case.sooner_days), className="figure"),
            html.Td(sets),
            html.Td(f"{case.pours_per_week:.1f}", className="figure"),
            html.Td(f"{case.crew_days:,.0f}", className="figure"),
        ]
    )


def _added(case: Case) -> list[Component]:
    return [html.Div(str(heading), className="quiet added-heading") for heading in case.added]


def sooner_words(days: int) -> str:
    """Write how much sooner, in calendar days.

    Examples
    --------
    >>> sooner_words(4), sooner_words(-1), sooner_words(0)
    ('4 calendar days', '1 calendar day later', 'no change')
    """
    if days == 0:
        return "no change"
    number = abs(days)
    words = f"{number} calendar day" if number == 1 else f"{number} calendar days"
    return words if days > 0 else f"{words} later"
