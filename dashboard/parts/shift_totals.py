"""What a shift placed, started, finished and left on hold, as one small table."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from model.shift_totals import ShiftTotal, ShiftTotals

TITLE = "Placed in this shift"
COLUMNS = (
    "Activity", "Placed", "Entries", "To date", "Started", "Finished", "Put on hold",
    "On hold at the end",
)  # fmt: skip


def totals_table(totals: ShiftTotals) -> Component:
    """Return the table, by heading and then over all headings.

    Parameters
    ----------
    totals
        Of a shift that has something to say.
    """
    headings = list(dict.fromkeys(total.heading for total in totals.by_heading))
    groups = [
        (f"Heading {key}" if key else "Of no heading",
         [total for total in totals.by_heading if total.heading == key])
        for key in headings
    ]  # fmt: skip
    if totals.added_up:
        groups.append(("All headings", list(totals.added_up)))
    head = [html.Th(name, scope="col", role="columnheader") for name in COLUMNS]
    return frame.wide_table(
        html.Table(
            [
                html.Caption(TITLE),
                html.Thead(html.Tr(head, role="row"), role="rowgroup"),
                *(_group(title, of_one) for title, of_one in groups),
            ],
            className="table day-book-table shift-totals",
            role="table",
        ),
        TITLE,
    )


def _group(title: str, totals: Sequence[ShiftTotal]) -> Component:
    head = html.Th(title, colSpan=len(COLUMNS), scope="rowgroup", role="rowheader")
    return html.Tbody(
        [html.Tr(head, role="row", className="of-heading"), *(_row(total) for total in totals)],
        role="rowgroup",
    )


def _row(total: ShiftTotal) -> Component:
    entries = str(total.entries) if total.entries else ""
    words = (total.placed_words, entries, total.to_date_words,
             *(total.count_words(count) for _, count in total.counts))  # fmt: skip
    return html.Tr(
        [
            html.Th(html.Div(total.activity.name), scope="row", role="rowheader"),
            *(html.Td(html.Div(said), role="cell", **data(column=name))
              for name, said in zip(COLUMNS[1:], words, strict=True)),
        ],
        role="row",
    )  # fmt: skip
