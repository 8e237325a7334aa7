"""The frame around every page: the project's name, the way between pages, notices."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from dash import dcc, html
from dash.development.base_component import Component


class Page(Protocol):
    """What the frame needs to know of a page."""

    PATH: str
    NAME: str


DEMO_NOTICE = "Demo: an invented viaduct with invented people. Try anything; nothing here is real."


def header(name: str, pages: Sequence[Page], *, demo: bool) -> Component:
    """Return the head of every page.

    Parameters
    ----------
    name
        The project's name.
    pages
        Pages to lead to, in order.
    demo
        Say that the project is invented.
    """
    links = [dcc.Link(page.NAME, href=page.PATH, className="nav-link") for page in pages]
    parts: list[Component] = [
        html.A("Skip to the page", href="#page", className="skip-link"),
        html.Div(
            [html.Div(name, className="project-name"), html.Nav(links, className="nav")],
            className="header-row",
        ),
    ]
    if demo:
        parts.append(html.P(DEMO_NOTICE, className="demo-notice"))
    return html.Header(parts, className="page-header")


def notice(
    tone: str, title: str, lines: Sequence[str | Component] = (), *, focus: bool = False
) -> Component:
    """Return a banner that says how something went.

    Parameters
    ----------
    tone
        ``"good"``, ``"error"``, ``"warning"`` or ``"empty"``; also said by a mark and words,
        never by colour alone.
    title
        What happened, in a few words.
    lines
        The rest, one line each.
    focus
        Read it out at once to people who do not see the page.
    """
    items = html.Ul([html.Li(line) for line in lines]) if lines else None
    role = "alert" if focus and tone == "error" else "status"
    return html.Div([html.Strong(title), items], className=f"banner banner-{tone}", role=role)
