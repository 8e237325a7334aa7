"""Put the app together: pages, doors and the frame around them.

Nothing happens at import. ``create_app`` makes an app for one project; several apps can live
in one process, each on its own project, because pages and doors register with the app they
are handed and with nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

import dash
from dash import Input, Output, dcc, html

from dashboard.doors import documents
from dashboard.pages import line_map, not_found, shift_entry
from dashboard.parts import frame
from model.project import Project

PAGES = {line_map.PATH: line_map, shift_entry.PATH: shift_entry}
"""Which page answers to which path."""


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
        suppress_callback_exceptions=True,
    )
    app.layout = html.Div(
        [
            dcc.Location(id="url", refresh="callback-nav"),
            frame.header(project.job.name, list(PAGES.values()), demo=settings.demo),
            html.Main(id="page", tabIndex="-1"),
            dcc.Interval(id="refresh", interval=settings.refresh_ms),
        ],
        id="app",
    )

    @app.callback(Output("page", "children"), Input("url", "pathname"))
    def show_page(path: str | None) -> object:
        page = PAGES.get(path or "/", not_found)
        return page.layout(project)

    for page in PAGES.values():
        page.register(app, project)
    documents.register(app, project)
    return app
