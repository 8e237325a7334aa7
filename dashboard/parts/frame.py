"""The frame around every page: the project's name, the way between pages, notices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal, Protocol

from dash import dcc, html
from dash.development.base_component import Component

from dashboard.parts.attributes import aria

Tone = Literal["done", "error", "warning", "empty", "busy", "caution"]

DEMO_NOTICE = "An invented viaduct with invented people: try anything."
PLANNING_ONLY = (
    "Planning figures only. Whether falsework may be moved or released, forms stripped or "
    "concrete loaded is decided by the engineer of record, by local codes and licensed practice."
)

GROWTH_MS = 2500
"""How often an open page asks whether the log has grown; others' entries show within 5 s."""


class Page(Protocol):
    """What the frame needs to know of a page."""

    PATH: str
    NAME: str


def growth_clock(key: str) -> Component:
    """Return what makes a page ask whether the log has grown.

    Parameters
    ----------
    key
        Its id, which no other page and no part of the frame may have: of two with one id, the
        page that is left takes the other's name away.
    """
    return dcc.Interval(id=key, interval=GROWTH_MS)


def header(name: str, *, demo: bool, who: str = "") -> Component:
    """Return the head of every page; the links in it come from ``links``.

    Parameters
    ----------
    name
        The project's name.
    demo
        Say that the project is invented.
    who
        Name of who is signed in; blank where the project has no users.
    """
    about = [html.Span(DEMO_NOTICE, className="quiet demo-notice")] if demo else []
    return html.Header(
        [
            html.A("Skip to the page", href="#page", className="only-read-aloud"),
            html.H1(name),
            *about,
            *([html.A(who, href="/account", className="who")] if who else []),
            html.Nav(id="top-links", className="page-nav", **aria(label="Pages")),
        ],
        className="page-header",
    )


def bottom_bar() -> Component:
    """Return the bar under the thumb on a phone; the links in it come from ``links``."""
    return html.Nav(id="bottom-links", className="bottom-bar", **aria(label="Pages, within reach"))


def links(pages: Sequence[Page], here: str, own_documents: Sequence[Page] = ()) -> list[Component]:
    """Return links to the pages, the present one marked.

    Parameters
    ----------
    pages
        Pages of the app, reached without loading it again.
    here
        Path of the present one.
    own_documents
        What the browser has to load, because it is no page of the app.
    """
    inside = [
        dcc.Link(page.NAME, href=page.PATH, className="here" if here == page.PATH else "")
        for page in pages
    ]
    return [*inside, *(html.A(page.NAME, href=page.PATH) for page in own_documents)]


def notice(tone: Tone, title: str, lines: Sequence[str | Component] = ()) -> Component:
    """Return a banner that says how something went.

    Parameters
    ----------
    tone
        Also said by a mark and by the words, never by colour alone.
    title
        What happened, in a few words.
    lines
        The rest, one line each.
    """
    parts: list[Component] = [html.Strong(title)]
    if lines:
        parts.append(html.Ul([html.Li(line) for line in lines]))
    role = "alert" if tone == "error" else "status"
    return html.Div(parts, className=f"banner {tone}", role=role)


def wide_table(table: Component, name: str) -> Component:
    """Return a table that moves sideways on a narrow screen, by keyboard too.

    Parameters
    ----------
    table
        An ``html.Table``.
    name
        What it shows, for people who hear the page.
    """
    return html.Div(
        table, className="table-scroll", tabIndex="0", role="region", **aria(label=name)
    )


def titled_table(
    caption: str, heads: Sequence[Any], *bodies: Sequence[Component], look: str = "", name: str = ""
) -> Component:
    """Return a table under its caption, as ``wide_table`` moves it.

    Parameters
    ----------
    caption, heads
        What stands above it, and above each column.
    bodies
        Rows, group by group.
    look
        Further classes.
    name
        As ``wide_table``; the caption without it.
    """
    head = html.Thead(html.Tr([html.Th(words, scope="col") for words in heads]))
    table = html.Table(
        [html.Caption(caption), head, *(html.Tbody(rows) for rows in bodies)],
        className=f"table {look}".strip(),
    )
    return wide_table(table, name or caption)


def caution() -> Component:
    """Return the usual caution where dates could be taken for permission."""
    return html.Footer(PLANNING_ONLY, className="caution")
