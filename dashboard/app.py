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

from dashboard.doors import documents, entry_page
from dashboard.pages import line_map, not_found
from dashboard.parts import frame, palette
from model.project import Project

PAGES = (line_map,)
"""Each answers to its own ``PATH``."""

LINKS = (*PAGES, entry_page)
"""In the order of the links: the pages, and what is a document of its own."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How one app behaves.

    Parameters
    ----------
    demo
        Say on every page that the project is invented.
    refresh_ms
        How often an open page asks whether the log has grown.
    """

    demo: bool = False
    refresh_ms: int = 2500


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
    app.index_string = app.index_string.replace(
        "{%css%}", f"<style>{palette.css_variables()}</style>{{%css%}}"
    )
    app.layout = html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            frame.header(project.job.name, demo=settings.demo),
            html.Main(id="page", tabIndex="-1"),
            frame.bottom_bar(),
            dcc.Interval(id="refresh", interval=settings.refresh_ms),
        ]
    )
    _register_pages(app, project)
    documents.register(app, project)
    entry_page.register(app, project, LINKS, demo=settings.demo)
    return app


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
        links = frame.links(PAGES, here, own_documents=(entry_page,))
        return shown, links, links

    for page in PAGES:
        page.register(app, project)
