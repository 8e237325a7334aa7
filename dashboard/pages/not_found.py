"""What an address that leads nowhere shows."""

from __future__ import annotations

from dash import dcc, html

from model.project import Project


def layout(project: Project) -> html.Section:
    """Say that there is no such page, and where to go."""
    return html.Section(
        [
            html.H1("There is no page at this address"),
            html.P(f"Go back to the map of {project.job.name}."),
            dcc.Link("Open the map", href="/", className="button"),
        ],
        className="page page-narrow",
    )
