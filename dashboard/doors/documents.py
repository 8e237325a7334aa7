"""Documents the browser fetches once: footprints and background, named by their content.

The name of a document carries the hash of its content, so a browser may keep it for ever;
when the content changes, so does the name.
"""

from __future__ import annotations

import dash
import flask

from model.documents import Document
from model.project import Project

FOR_EVER = "public, max-age=31536000, immutable"


def register(app: dash.Dash, project: Project) -> None:
    """Open the addresses of the documents."""

    def footprints(name: str) -> flask.Response:
        return _answer(project.footprints, name)

    def context(name: str) -> flask.Response:
        return _answer(project.context, name)

    server: flask.Flask = app.server
    server.add_url_rule("/geometry/<name>.geojson", view_func=footprints)
    server.add_url_rule("/context/<name>.geojson", view_func=context)


def _answer(document: Document | None, name: str) -> flask.Response:
    """Send a document compressed; an old name gets a plain answer that says so."""
    if document is None or document.hash != name:
        return flask.Response(
            "This document has changed since the page was opened; reload the page.",
            status=404,
            mimetype="text/plain",
        )
    accepts = "gzip" in flask.request.headers.get("Accept-Encoding", "")
    body = document.gzipped if accepts else document.content
    answer = flask.Response(body, mimetype="application/geo+json")
    if accepts:
        answer.headers["Content-Encoding"] = "gzip"
    answer.headers["Vary"] = "Accept-Encoding"
    answer.headers["Cache-Control"] = FOR_EVER
    return answer
