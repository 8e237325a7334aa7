"""Where the documents are that a page tells the browser to fetch."""

from __future__ import annotations

from model.project import Project


def footprints_url(project: Project) -> str:
    """Return where the footprints of a project are."""
    return f"/geometry/{project.footprints.hash}.geojson"


def context_url(project: Project) -> str | None:
    """Return where the background layers are, None when there are none."""
    document = project.context
    return None if document is None else f"/context/{document.hash}.geojson"
