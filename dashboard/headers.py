"""What every answer tells the browser not to do.

The content policy allows scripts from this address alone, and the one that Dash writes into
its page by its digest. In pages of Dash ``style-src`` has to allow inline styles: the programs
of its components write style elements into the page while they load, dozens of them, and
without them the page looks broken (tried). Styles cannot run anything, and what a stranger
types is shown as text everywhere, so none gets in. Every other page has only styles by address
or digest.

The map draws in a worker that its program makes from a blob, so ``worker-src`` allows those;
everything a worker fetches is under the same policy.
"""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache

import dash
import flask

from dashboard.access import COOKIE
from dashboard.parts.palette import css_variables

A_YEAR_S = 31_536_000
DASH_PAGES = frozenset({"/", "/<path:path>"})

USUAL = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not "no-referrer": a form would then be sent with the origin "null" and be refused.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}

POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "connect-src": "'self'",
    "worker-src": "'self' blob:",
    "manifest-src": "'self'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
    "base-uri": "'none'",
}


def digest_of(script: str) -> str:
    """Return the digest by which a policy names an inline script.

    Examples
    --------
    >>> digest_of("doSomething();")
    "'sha256-RFWPLDbv2BY+rCkDzsE+0fr8ylGr2R2faWMhq4lfEQc='"
    """
    digest = hashlib.sha256(script.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def content_policy(scripts: tuple[str, ...] = (), styles: tuple[str, ...] = ()) -> str:
    """Write the content policy.

    Parameters
    ----------
    scripts, styles
        What is allowed besides files of this address.
    """
    allowed = {
        "script-src": " ".join(("'self'", *scripts)),
        "style-src": " ".join(("'self'", *styles)),
    }
    return "; ".join(f"{key} {value}" for key, value in {**POLICY, **allowed}.items())


def register(app: dash.Dash) -> None:
    """Put the headers on everything an app answers."""
    server: flask.Flask = app.server

    @lru_cache(maxsize=1)
    def dash_policy() -> str:
        # Asked at the first answer, when every inline script of Dash is known.
        return content_policy(tuple(app.csp_hashes()), ("'unsafe-inline'",))

    plain_policy = content_policy(styles=(digest_of(css_variables()),))

    def policy() -> str:
        rule = flask.request.url_rule
        return dash_policy() if rule and rule.rule in DASH_PAGES else plain_policy

    def add_headers(answer: flask.Response) -> flask.Response:
        for name, value in USUAL.items():
            answer.headers.setdefault(name, value)
        answer.headers.setdefault("Content-Security-Policy", policy())
        if flask.request.is_secure:
            answer.headers.setdefault("Strict-Transport-Security", f"max-age={A_YEAR_S}")
        _keep_private(answer)
        return answer

    server.after_request(add_headers)


def _keep_private(answer: flask.Response) -> None:
    """Keep what a signed-in person may see out of caches on the way, and off a shared phone.

    A page that says nothing of caches would come back with the browser's back button after
    its person has signed out.
    """
    if COOKIE not in flask.request.cookies:
        return
    if answer.cache_control.public:
        answer.cache_control.public = False
        answer.cache_control.private = True
    if not answer.cache_control and not answer.get_etag()[0]:
        answer.cache_control.no_store = True
