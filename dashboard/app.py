"""Put the app together: pages, doors and the frame around them.

Nothing happens at import. ``create_app`` makes an app for one project; several apps can live
in one process, each on its own project, because pages and doors register with the app they
are handed and with nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import dash
from dash import Input, Output, State, dcc, html

from dashboard import access, headers, sign_in
from dashboard.doors import (
    attachments,
    documents,
    entry_page,
    entry_sheet,
    events_api,
    no_door,
    openapi,
    plan_api,
    whatif_api,
)
from dashboard.doors import day_book as day_book_door
from dashboard.pages import day_book, line, line_map, not_found, plan, pour
from dashboard.parts import frame, palette
from model.project import Project

FOR_ALL = (line_map, line, pour, day_book)
FOR_PLANNERS = (plan,)
"""Linked only for who may change the plan."""

PAGES = (*FOR_ALL, *FOR_PLANNERS)
"""Each answers to its own ``PATH``."""

LINKS = (*FOR_ALL, entry_page)
"""In the order of the links: the pages, and what is a document of its own."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How one app behaves.

    Parameters
    ----------
    demo
        Say on every page that the project is invented.
    users_only
        Let in nobody but users: others than this machine can reach the app.
    """

    demo: bool = False
    users_only: bool = False


def create_app(project: Project, settings: Settings | None = None) -> dash.Dash:
    """Make the dashboard of a project.

    Parameters
    ----------
    project
        An open project.
    settings
        How the app behaves.

    Returns
    -------
    Dash
        ``app.server`` is the WSGI application.
    """
    settings = settings or Settings()
    app = dash.Dash(
        __name__,
        assets_folder=str(files("assets")),
        title=f"{project.job.name} · Viaduct Pour Map",
        update_title="",
        # Shift entry is a document of its own; its files are no part of this one.
        assets_path_ignore=[f"^{entry_page.FOLDER}$"],
        suppress_callback_exceptions=True,
    )
    app.index_string = app.index_string.replace("<html>", '<html lang="en">').replace(
        "{%css%}", f"<style>{palette.css_variables()}</style>{{%css%}}"
    )
    app.layout = lambda: _frame(project, settings)
    access.guard(app, project, users_only=settings.users_only)
    headers.register(app)
    _register_pages(app, project)
    _register_doors(app, project, settings)
    return app


def _frame(project: Project, settings: Settings) -> html.Div:
    user = access.asker()
    return html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            frame.header(project.job.name, demo=settings.demo, who=user.name if user else ""),
            html.Main(id="page", tabIndex="-1"),
            frame.bottom_bar(),
        ]
    )


def _register_doors(app: dash.Dash, project: Project, settings: Settings) -> None:
    sign_in.register(app, project)
    documents.register(app, project)
    entry_page.register(app, project, LINKS, demo=settings.demo)
    entry_sheet.register(app, project)
    events_api.register(app, project)
    attachments.register(app, project)
    day_book_door.register(app, project)
    plan_api.register(app, project)
    whatif_api.register(app, project)
    openapi.register(app)
    no_door.register(app)


def _register_pages(app: dash.Dash, project: Project) -> None:
    by_path = {page.PATH: page for page in PAGES}

    @app.callback(
        Output("page", "children"),
        Output("top-links", "children"),
        Output("bottom-links", "children"),
        Input("url", "pathname"),
        State("url", "search"),
    )
    def show_page(path: str | None, search: str | None) -> tuple[Any, Any, Any]:
        here = path or "/"
        page = by_path[here].layout(project, search or "") if here in by_path else None
        shown = page or not_found.layout(project)
        linked = PAGES if access.may("plan") else FOR_ALL
        links = frame.links(linked, here, own_documents=(entry_page,))
        return shown, links, links

    for page in PAGES:
        page.register(app, project)
