"""The shift entry page: a document of its own that opens without signal.

It is not part of the app that draws the map: that one asks the server for everything it
shows. This page is one plain document and a few small files that a service worker keeps on
the phone; what is filled in stays there too until ``/api/events`` has confirmed it. The
worker carries a hash of all it keeps, so a changed file reaches the phone with the next
signal, and all of them together.
"""

from __future__ import annotations

import hashlib
import html
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict
from importlib.resources import files
from importlib.resources.abc import Traversable
from string import Template

import dash
import flask

from dashboard.parts import frame, palette
from model.project import Project

PATH = "/entry"
NAME = "Shift entry"
SIGN_IN = "/sign-in?next=/entry"
FOLDER = "entry"
NOT_KEPT = ("entry.html", "service_worker.js")
"""Files of the folder that the phone does not fetch under their own name."""

ASK_AGAIN = "no-cache"
"""The browser may keep it, but asks each time whether it has changed."""


def register(
    app: dash.Dash, project: Project, pages: Sequence[frame.Page], *, demo: bool = False
) -> None:
    """Open the addresses of the page.

    Parameters
    ----------
    app
        The app whose server answers.
    project
        Whose name the page carries.
    pages
        What its links lead to, this page among them.
    demo
        Say that the project is invented.
    """
    kept = {
        PATH: (page_document(project.job.name, pages, demo=demo), "text/html"),
        "/entry/palette.css": (palette.css_variables(), "text/css"),
        "/manifest.webmanifest": (manifest(project.job.name), "application/manifest+json"),
    }
    worker = service_worker({path: text for path, (text, _) in kept.items()})
    answers = kept | {"/service-worker.js": (worker, "text/javascript")}
    server: flask.Flask = app.server
    for path, (text, mimetype) in answers.items():
        server.add_url_rule(path, endpoint=path, view_func=_sender(text, mimetype))


def _sender(text: str, mimetype: str) -> Callable[[], flask.Response]:
    body = text.encode()

    def send() -> flask.Response:
        answer = flask.Response(body, mimetype=mimetype)
        answer.headers["Cache-Control"] = ASK_AGAIN
        return answer

    return send


def page_document(project_name: str, pages: Sequence[frame.Page], *, demo: bool = False) -> str:
    """Return the page as HTML; it holds no script and no style of its own.

    Parameters
    ----------
    project_name
        Shown as text, whatever characters it has.
    pages
        What its links lead to.
    demo
        Say that the project is invented.
    """
    notice = f'<span class="quiet demo-notice">{html.escape(frame.DEMO_NOTICE)}</span>'
    data = {"looks": [asdict(look) for look in palette.LOOKS], "sign_in": SIGN_IN}
    return Template(_text("entry.html")).substitute(
        title=html.escape(f"{NAME} · {project_name}"),
        project=html.escape(project_name),
        notice=notice if demo else "",
        links="".join(_link(page) for page in pages),
        data=json.dumps(data).replace("<", "\\u003c"),
        theme=palette.GROUND.ink,
        caution=html.escape(frame.PLANNING_ONLY),
    )


def _link(page: frame.Page) -> str:
    here = ' class="here" aria-current="page"' if page.PATH == PATH else ""
    return f'<a href="{html.escape(page.PATH)}"{here}>{html.escape(page.NAME)}</a>'


def manifest(project_name: str) -> str:
    """Return the web app manifest, by which a phone installs the page."""
    icons = [
        {"src": "/assets/entry/icon.svg", "sizes": "any", "type": "image/svg+xml"},
        *(
            {"src": f"/assets/entry/icon-{size}.png", "sizes": f"{size}x{size}",
             "type": "image/png", "purpose": purpose}
            for size in (192, 512) for purpose in ("any", "maskable")
        ),
    ]  # fmt: skip
    return json.dumps(
        {
            "name": f"{NAME} · {project_name}",
            "short_name": NAME,
            "start_url": PATH,
            "scope": "/",
            "display": "standalone",
            "background_color": palette.GROUND.land,
            "theme_color": palette.GROUND.ink,
            "icons": icons,
        }
    )


def service_worker(documents: dict[str, str]) -> str:
    """Return the service worker, with what it keeps and the version of it all.

    Parameters
    ----------
    documents
        Text of the kept addresses that are no files.
    """
    contents = {path: text.encode() for path, text in documents.items()}
    contents |= {path: file.read_bytes() for path, file in kept_files().items()}
    whole = hashlib.sha256()
    for path, content in sorted(contents.items()):
        whole.update(f"{path} {hashlib.sha256(content).hexdigest()}\n".encode())
    head = (
        f"const VERSION = {json.dumps(whole.hexdigest()[:16])};\n"
        f"const FILES = {json.dumps(sorted(contents))};\n\n"
    )
    return head + _text("service_worker.js")


def kept_files() -> dict[str, Traversable]:
    """Return the files that the phone keeps, by their address."""
    folder = files("assets") / FOLDER
    own = {
        f"/assets/{FOLDER}/{file.name}": file
        for file in folder.iterdir()
        if file.is_file() and file.name not in NOT_KEPT
    }
    return {"/assets/style.css": files("assets") / "style.css", **own}


def _text(name: str) -> str:
    return (files("assets") / FOLDER / name).read_text(encoding="utf-8")
