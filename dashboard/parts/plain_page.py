"""Pages that need no program in the browser: signing in, one's account, a refusal.

Whatever is put into them is escaped by ``markupsafe``.
"""

from __future__ import annotations

import flask
from markupsafe import Markup

from dashboard.parts.palette import css_variables

_PAGE = Markup(
    "<!doctype html>"
    '<html lang="en"><head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    "<title>{title} · Viaduct Pour Map</title>"
    "<style>{variables}</style>"
    '<link rel="stylesheet" href="/assets/style.css">'
    '<link rel="stylesheet" href="/assets/plain_page.css">'
    '</head><body><main class="plain-page"><h1>{title}</h1>{body}</main></body></html>'
)


def plain_page(title: str, body: str | Markup, status: int = 200) -> flask.Response:
    """Answer with a page of its own.

    Parameters
    ----------
    title
        Heading of the page.
    body
        A sentence, or markup.
    status
        HTTP status.
    """
    inside = body if isinstance(body, Markup) else Markup("<p>{}</p>").format(body)
    page = _PAGE.format(title=title, variables=Markup(css_variables()), body=inside)
    answer = flask.Response(page, status=status, mimetype="text/html")
    answer.headers["Cache-Control"] = "no-store"
    return answer
