"""A new baseline beside the one in use, before it is saved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from dashboard.parts.cards import number_card
from dashboard.parts.finish_cards import date_words
from model.plan_review import BaselineReview, Move

MOST_SHOWN = 60
HEADS = ("Unit", "Activity")
FIGURES = ("Working days", "Planned now", "Would be")
"""By how much it moves comes first: it is what one looks for."""


def plan_review(name: str, review: BaselineReview, activities: Mapping[str, str]) -> Component:
    """Return what would change: numbers, units that come and go, and every finish that moves.

    Parameters
    ----------
    name
        Of the file.
    review
        The comparison.
    activities
        Words for each activity's key.
    """
    if review.changes_nothing:
        return frame.notice(
            "empty", f"{name}: every planned finish is as it is now", ["There is nothing to save."]
        )
    return html.Div(
        [
            html.H3(f"What {name} would change"),
            html.Div(
                [
                    number_card("Moved", f"{len(review.moved):,}", _furthest(review.moved)),
                    number_card("Added", f"{len(review.added):,}", _units(review.units_added)),
                    number_card("Removed", f"{len(review.removed):,}",
                                _units(review.units_removed)),
                    number_card("As now", f"{review.unchanged:,}"),
                ],
                className="number-cards",
            ),
            _table([*review.moved, *review.added, *review.removed], activities),
        ]
    )  # fmt: skip


def _units(units: Sequence[str]) -> str:
    return f"with new or lost units: {', '.join(units[:8])}{' …' * (len(units) > 8)}" * bool(units)


def _furthest(moved: Sequence[Move]) -> str:
    days = [move.working_days or 0 for move in moved]
    return f"{days_words(min(days))} to {days_words(max(days))}" if days else ""


def days_words(days: int | None) -> str:
    """Write by how many working days a finish moves.

    Examples
    --------
    >>> days_words(3), days_words(-1), days_words(0), days_words(None)
    ('3 later', '1 sooner', 'same working day', '–')
    """
    if days is None:
        return "–"
    if days == 0:
        return "same working day"
    return f"{days} later" if days > 0 else f"{-days} sooner"


def _table(moves: Sequence[Move], activities: Mapping[str, str]) -> Component:
    left = len(moves) - MOST_SHOWN
    more = [html.P(f"… and {left:,} more.", className="quiet")] if left > 0 else []
    table = html.Table(
        [
            html.Caption("Planned finishes that would not be as they are"),
            html.Thead(html.Tr([
                *(html.Th(head, scope="col") for head in HEADS),
                *(html.Th(head, scope="col", className="figure") for head in FIGURES),
            ])),
            html.Tbody([_row(move, activities) for move in moves[:MOST_SHOWN]]),
        ],
        className="table plan-moves stacked",
    )  # fmt: skip
    return html.Div([frame.wide_table(table, "Planned finishes that would change"), *more])


def _row(move: Move, activities: Mapping[str, str]) -> Component:
    days = days_words(move.working_days)
    if move.was is None or move.will_be is None:
        days = "added" if move.was is None else "removed"
    dates = (date_words(day) if day else "–" for day in (move.was, move.will_be))
    return html.Tr(
        [
            html.Th(move.unit, scope="row"),
            html.Td(activities.get(move.activity, move.activity), className="of"),
            *(
                html.Td(words, className="figure", **data(label=head))
                for head, words in zip(FIGURES, (days, *dates), strict=True)
            ),
        ]
    )
