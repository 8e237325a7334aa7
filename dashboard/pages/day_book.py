"""The day book of a shift, to be read, printed and signed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any
from urllib.parse import parse_qs

import dash
from dash import ClientsideFunction, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard.parts import frame
from dashboard.parts.attributes import data
from dashboard.parts.days import read_day
from dashboard.parts.note_text import note_text
from dashboard.parts.shift_totals import totals_table
from model.clock import short_date
from model.daybook import DayBook, DayBookEntry
from model.project import Project

PATH = "/daybook"
NAME = "Day book"
COLUMNS = ("Happened", "Where", "Activity", "What", "By", "Known")
SIGNERS = ("For the contractor", "For the owner")


def layout(project: Project, search: str = "") -> Component:
    """Return the page for the day in the address, or for the shift that runs now."""
    wanted = parse_qs(search.removeprefix("?")).get("date", [""])[-1]
    day = read_day(wanted)
    book = project.day_book(day)
    notes = [frame.notice("warning", f"{wanted!r} is no day; write it like 2026-07-31.")]
    return html.Section(
        [
            *(notes if wanted and day is None else []),
            html.Div(
                [
                    html.Label(
                        [
                            html.Span("Day the shift began"),
                            _day_field(book),
                        ],
                        className="day-field",
                    ),
                    html.Button("Print", id="day-book-print", type="button", className="button"),
                ],
                className="controls only-screen",
            ),
            html.Div(sheet(project, book), id="day-book"),
        ],
        className="page page-day-book",
    )  # fmt: skip


def _day_field(book: DayBook) -> Component:
    kind: Any = "date"  # the component passes it on
    return dcc.Input(id="day-book-day", type=kind, value=f"{book.day}", className="field")


def sheet(project: Project, book: DayBook) -> list[Component]:
    """Return what is printed."""
    parts: list[Component] = [
        html.H1(f"{book.project}: day book"),
        html.P([html.Strong(f"Shift of {book.day:%A} {book.day.day} {book.day:%B %Y}"),
                f", as known on {short_date(book.known_on)} {book.known_on:%Y %H:%M}"]),
        html.P(f"{book.extent}."),
    ]  # fmt: skip
    if book.totals.by_heading:
        parts.append(totals_table(book.totals))
    if book.of_earlier_days:
        parts.append(html.P(book.of_earlier_days, className="quiet"))
    headings = [heading.key for heading in project.job.headings]
    for key in [*headings, ""]:
        entries = [e for e in book.happened if e.heading == key]
        if entries:
            title = f"Heading {key}" if key else "Of no heading"
            parts.append(_table(book, title, entries))
    if not book.happened:
        parts.append(html.P("Nothing was recorded of this shift."))
    if book.recorded:
        title = "Recorded in this shift about earlier days"
        parts.append(_table(book, title, book.recorded, days=True))
    return [html.Div([*parts, _signatures(book)], className="sheet", **data(name=_name(book)))]


def _name(book: DayBook) -> str:
    """Return what stands on every sheet of paper."""
    return (f"{book.project}: day book, shift of {_shift(book)}, "
            f"as known on {short_date(book.known_on)} {book.known_on:%Y %H:%M}")  # fmt: skip


def _shift(book: DayBook) -> str:
    return f"{book.day:%a} {short_date(book.day)} {book.day.year}"


def _moment(at: dt.datetime) -> str:
    return f"{short_date(at)} {at:%H:%M}"


def _table(
    book: DayBook, title: str, entries: Sequence[DayBookEntry], *, days: bool = False
) -> Component:
    # On paper the heading stands over the columns, so that it comes again on the next sheet.
    again = html.Th(f"{title}, shift of {_shift(book)}", colSpan=len(COLUMNS))
    return frame.wide_table(
        html.Table(
            [
                html.Caption(title),
                html.Colgroup([html.Col() for _ in COLUMNS]),
                html.Thead(
                    [
                        html.Tr(again, className="on-paper"),
                        _tr([html.Th(name, scope="col", role="columnheader") for name in COLUMNS]),
                    ],
                    role="rowgroup",
                ),
                html.Tbody([_row(entry, days=days) for entry in entries], role="rowgroup"),
            ],
            className="table day-book-table",
            role="table",
        ),
        title,
    )


def _row(entry: DayBookEntry, *, days: bool) -> Component:
    event = entry.event
    happened = _moment(event.at) if days else f"{event.at:%H:%M}"
    what: list[str | Component] = [html.Span(note_text(entry.what))]
    if entry.voided_by:
        what = [html.Del(note_text(entry.what)), f" cancelled by {entry.voided_by.by}"]
    known = _moment(entry.known_local) + (", late" if entry.late else "")
    cells = (happened, entry.place, entry.activity_name, what, event.by, known)
    return _tr(
        [
            html.Td(html.Div(cell), role="cell", **data(column=name))
            for name, cell in zip(COLUMNS, cells, strict=True)
        ]
    )


def _tr(cells: list[Component]) -> Component:
    """Return a row that is still heard as one where a narrow screen stacks its cells."""
    return html.Tr(cells, role="row")


def _signatures(book: DayBook) -> Component:
    """Return a line to sign for everybody who recorded, and for both sides."""
    lines = [
        html.Li([html.Span(className="sign-here"), html.Span(name), html.Span("Date"),
                 html.Span(className="sign-here sign-date")])
        for name in (*book.people, *SIGNERS)
    ]  # fmt: skip
    return html.Div(
        [
            html.H2("Signed"),
            html.Ul(lines, className="signatures"),
            frame.caution(),
        ],
        className="sign-off",
    )


def register(app: dash.Dash, project: Project) -> None:
    """Wire the page to an app."""

    @app.callback(
        Output("day-book", "children"),
        Input("day-book-day", "value"),
        prevent_initial_call=True,
    )
    def show_day(text: str | None) -> list[Component]:
        day = read_day(text)
        if day is None:
            return [frame.notice("empty", "That is no day", ["Write it like 2026-07-31."])]
        return sheet(project, project.day_book(day))

    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("pourmap", "dayBookAddress"),
        Input("day-book-day", "value"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("pourmap", "printPage"),
        Input("day-book-print", "n_clicks"),
        prevent_initial_call=True,
    )
