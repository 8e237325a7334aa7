"""Which pour: the ones that come next as large links, and a field for any other unit."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria
from dashboard.parts.pour_fields import POUR_PATH, unit_at_pour
from dashboard.parts.status_chip import status_chip
from model.activities import Activity
from model.pours_ahead import PourAhead

MOST = 8
"""So many are offered at most: the nearest."""


def pour_choice(
    ahead: Sequence[PourAhead],
    units: Sequence[str],
    activities: Sequence[Activity],
    here: tuple[str, str],
) -> Component:
    """Return the choice.

    Parameters
    ----------
    ahead
        Pours that come next, the nearest first.
    units, activities
        Of the job: its units, and the activities that place concrete.
    here
        Unit and activity of the pour shown.
    """
    links = [_link(one, here == (one.unit, one.activity.key)) for one in ahead[:MOST]]
    parts = [html.Ul(links, className="pour-links")] if links else []
    return html.Nav([*parts, _any_other(units, activities, here)], className="pour-choice",
                    **aria(label="Which pour"))  # fmt: skip


def _link(one: PourAhead, chosen: bool) -> Component:
    marked = aria(current="true") if chosen else {}
    return html.Li(
        dcc.Link(
            [
                html.Strong(f"{one.unit} {one.activity.name}"),
                html.Span([status_chip(one.status), html.Span(waits_words(one))]),
            ],
            href=unit_at_pour(one.unit, one.activity.key),
            className="pour-link chosen" if chosen else "pour-link",
        ),
        **marked,
    )


def waits_words(one: PourAhead) -> str:
    """Say in a few words how near a pour is.

    Examples
    --------
    >>> deck = Activity("deck_pour", "Deck pour", measure="concrete")
    >>> waits = ("Deck forms", "Rebar")
    >>> waits_words(PourAhead("E07", "east", deck, "not_started", waits_for=waits))
    'waits for Deck forms and 1 more'
    """
    if one.reason and one.status == "on_hold":
        return one.reason
    if not one.waits_for:
        return "ready" if one.status == "not_started" else ""
    more = len(one.waits_for) - 1
    return f"waits for {one.waits_for[0]}{f' and {more} more' if more else ''}"


def _any_other(
    units: Sequence[str], activities: Sequence[Activity], here: tuple[str, str]
) -> Component:
    """Return a plain form of the browser: a unit, and a button for each pour."""
    # The first button is the one that the Enter key presses.
    ordered = sorted(activities, key=lambda activity: activity.key != here[1])
    form = html.Form(
        [
            html.Label(
                [
                    html.Span("Unit"),
                    dcc.Input(id="pour-unit", name="unit", type="text", list="pour-units",
                              autoComplete="off", required=True, className="field"),
                ],
            ),
            html.Datalist([html.Option(value=unit) for unit in units], id="pour-units"),
            *(
                html.Button(activity.name, type="submit", name="activity", value=activity.key,
                            className="button")
                for activity in ordered
            ),
        ],
        action=POUR_PATH,
        method="get",
        className="form pour-other",
    )  # fmt: skip
    return html.Details([html.Summary("Another unit"), form])
