"""Who may do what here: a table of every address and every callback, and the guard that asks it.

While a project has no users, anybody on this machine may do everything and nobody else is let
in. As soon as there is one, every page, callback and door asks who is there. What is not in
the tables is refused to everybody, so that something new cannot be open by mistake.

Every write, callbacks among them, must come from a page of ours (the ``Origin`` header); every
denied try goes into the audit trail.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal
from urllib.parse import quote, urlsplit

import dash
import flask
import werkzeug
from werkzeug.exceptions import RequestEntityTooLarge

from dashboard.callback_values import misfit
from dashboard.parts.plain_page import plain_page
from dashboard.parts.problem_answers import problem_answer
from model.accounts import Right, Token, User
from model.membership import Membership
from model.problems import StoreError
from model.project import Project

COOKIE = "viaduct_session"
SIGN_IN_PATH = "/sign-in"
CALLBACK_PATH = "/_dash-update-component"

Needed = Right | Literal["anybody"]

ROUTES: Mapping[str, Needed] = {
    # What a browser needs before anybody is signed in; nothing of the project is in it.
    "GET /sign-in": "anybody",
    "POST /sign-in": "anybody",
    "GET /assets/<path:filename>": "anybody",
    "GET /static/<path:filename>": "anybody",
    "GET /_favicon.ico": "anybody",
    # Pages: the empty frame, its parts, and the program that fills it.
    "GET /": "read",
    "GET /<path:path>": "read",
    "GET /_dash-layout": "read",
    "GET /_dash-dependencies": "read",
    "GET /_dash-component-suites/<string:package_name>/<path:fingerprinted_path>": "read",
    "GET /_reload-hash": "read",
    "POST /_dash-update-component": "read",  # and then what CALLBACKS says
    # Shift entry: the page that a phone keeps.
    "GET /entry": "read",
    "GET /entry/palette.css": "read",
    "GET /manifest.webmanifest": "read",
    "GET /service-worker.js": "read",
    # Documents a page fetches.
    "GET /geometry/<name>.geojson": "read",
    "GET /context/<name>.geojson": "read",
    # One's own account.
    "GET /account": "read",
    "POST /account/password": "read",
    "POST /account/tokens": "read",
    "POST /account/tokens/<token_id>/revoke": "read",
    "POST /sign-out": "read",
    "POST /sign-out-everywhere": "read",
    # The API.
    "GET /api/openapi.json": "read",
    "GET /api/<path:rest>": "read",
    "GET /api/entry-sheet": "read",
    "GET /api/day-book": "read",
    "POST /api/events": "record",
    "GET /api/attachments/<key>": "read",
    "POST /api/attachments": "record",
    # The plan: everybody may read it, the scheduler changes it and tries cases.
    "GET /api/plan/baseline": "read",
    "GET /api/plan/calendar": "read",
    "PUT /api/plan/baseline": "plan",
    "POST /api/plan/baseline/review": "plan",
    "PUT /api/plan/calendar": "plan",
    "POST /api/whatif": "plan",
}
"""The right that each address needs; writes by their own method, HEAD and OPTIONS as GET."""

CALLBACKS: Mapping[str, Right] = {
    "page.children": "read",
    "changes.data": "read",
    "lag.data": "read",
    "cycle-card.children": "read",
    "history-title.children": "read",
    "day-book.children": "read",
    "line-whole.children": "read",
    "line-seq.data": "read",
    "line-lag.children": "read",
    "line-chart.figure": "read",
    "line-curve.figure": "read",
    "line-cycles.figure": "read",
    "line-drivers.children": "read",
    "line-backtest.children": "read",
    "pour-whole.children": "read",
    "pour-seq.data": "read",
    "pour-answer.children": "read",
    # Cases are the scheduler's, also while they are only looked at.
    "whatif-answer.children": "plan",
    "whatif-file.data": "plan",
    "plan-review.children": "plan",
    "plan-told.children": "plan",
}
"""The right that each callback of the server needs, by the first thing it fills."""

KIB = 1024
USUAL_BODY = 1024 * KIB
SIGN_IN_BODY = 16 * KIB
ATTACHMENT_BODY = 10 * 1024 * KIB
SMALL_BODY = 64 * KIB
BODIES: Mapping[str, int] = {
    "POST /sign-in": SIGN_IN_BODY,
    "POST /api/attachments": ATTACHMENT_BODY,
    "PUT /api/plan/calendar": SMALL_BODY,
    "POST /api/whatif": SMALL_BODY,
}
"""Bytes a body may have at most, where it is not the usual."""

READING = frozenset({"GET", "HEAD", "OPTIONS"})
NO_ADDRESS = "no address"
HOMES = frozenset({"localhost", "localhost.localdomain"})


@dataclass(frozen=True, slots=True)
class Denial:
    """Why a request is not let through.

    Parameters
    ----------
    status
        HTTP status.
    why
        For the audit trail.
    message, fix
        For the person.
    """

    status: int
    why: str
    message: str
    fix: str


NOT_SIGNED_IN = Denial(401, "not signed in", "You are not signed in.", "Sign in and try again.")


def asker() -> User | None:
    """Return who is asking; None where the project has no users."""
    user: User | None = flask.g.get("asker")
    return user


def asker_records_on() -> frozenset[str] | None:
    """Return the headings that who is asking may record on; None for all of them."""
    user = asker()
    return None if user is None else user.records_on


def may(right: Right) -> bool:
    """Tell whether who is asking has a right."""
    user = asker()
    return user is None or user.may(right)


def note_denial(project: Project, why: str) -> None:
    """Put into the audit trail what a door refuses after the guard let it through."""
    user = asker()
    project.membership.deny(user.name if user else "", sender(), _asked(), why)


def sender() -> str:
    """Return the network address a request came from.

    A proxy may hand on whatever a stranger wrote: what is no address counts as one and the
    same, and is not kept.
    """
    try:
        return str(ipaddress.ip_address(flask.request.remote_addr or ""))
    except ValueError:
        return NO_ADDRESS


def is_loopback(host: str) -> bool:
    """Tell whether a host name means this machine alone.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    name = host.strip("[]").casefold()
    if name in HOMES:
        return True
    try:
        return ipaddress.ip_address(name).is_loopback
    except ValueError:
        return False


def route_name() -> str:
    """Return the name under which the present request stands in ``ROUTES``."""
    method = "GET" if flask.request.method in READING else flask.request.method
    rule = flask.request.url_rule
    return f"{method} {rule.rule if rule else 'no such address'}"


def callback_name(output: str) -> str:
    """Return the name of a callback: the first thing it fills.

    Examples
    --------
    >>> callback_name("..page.children...top-links.children..")
    'page.children'
    >>> callback_name("day.data@0f3c")
    'day.data'
    """
    first = output.removeprefix("..").split("...")[0].removesuffix("..")
    return first.split("@")[0]


def guard(app: dash.Dash, project: Project, *, users_only: bool) -> None:
    """Put the guard before everything an app answers.

    Parameters
    ----------
    app
        The app.
    project
        Has the accounts.
    users_only
        True where others than this machine can reach the app: without users nobody is let in.
    """
    server: flask.Flask = app.server
    membership = project.membership

    def let_through() -> Any:
        flask.request.max_content_length = BODIES.get(route_name(), USUAL_BODY)
        # Most cheaply told first; who is asking last, for that reads the accounts.
        denial = next(_denials(app, project, users_only), None)
        if denial is None:
            flask.g.inside = ROUTES.get(route_name()) != "anybody"
            return None
        user = asker()
        membership.deny(user.name if user else "", sender(), _asked(), denial.why)
        return _answer(denial)

    def too_large(_: RequestEntityTooLarge) -> werkzeug.Response:
        return _answer(_too_large())

    def out_of_order(error: StoreError) -> flask.Response:
        server.logger.error("%s: %s", route_name(), error)
        # A stranger is not told how the database is called and where it is.
        told = str(error) if flask.g.get("inside") else "The accounts or the log cannot be used."
        return problem_answer(503, told, "Nothing is lost that was confirmed. Try again.")

    def no_such_file(_: dash.exceptions.DashException) -> flask.Response:
        return problem_answer(404, "There is no such file.", "Reload the page.")

    server.before_request(let_through)
    server.register_error_handler(dash.exceptions.DependencyException, no_such_file)
    server.register_error_handler(dash.exceptions.InvalidResourceError, no_such_file)
    server.register_error_handler(RequestEntityTooLarge, too_large)
    server.register_error_handler(StoreError, out_of_order)


def _denials(app: dash.Dash, project: Project, users_only: bool) -> Iterator[Denial]:
    """Say everything that stands against the present request, the first of which counts."""
    request, membership = flask.request, project.membership
    if (request.content_length or 0) > (request.max_content_length or 0):
        yield _too_large()
    callback: str | None = None
    if request.path == CALLBACK_PATH and request.method == "POST":
        callback = _callback_asked_for(app)
        if callback is None:
            yield Denial(400, "malformed callback", "The page sent what cannot be read.",
                         "Reload the page.")  # fmt: skip
    in_use = membership.in_use()
    if request.method not in READING:
        yield from _foreign_origin(in_use)
    if not in_use:
        yield from _not_from_here(users_only)
    elif ROUTES.get(route_name()) != "anybody":
        user, token = _who(membership)
        if user is None:
            yield NOT_SIGNED_IN
            return
        flask.g.asker, flask.g.token = user, token
        yield from _without_the_right(user, token, callback)
    if callback is not None:
        yield from _wrong_values(app, project)


def _callback_asked_for(app: dash.Dash) -> str | None:
    """Return the callback a page asks for, None when the body makes no sense."""
    try:
        body = flask.request.get_json(silent=True)
    except RecursionError:
        return None
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return None
    known = app.callback_map.get(body["output"])
    if known is None or "callback" not in known:
        return None
    for part, wanted in (("inputs", known["inputs"]), ("state", known["state"])):
        given = body.get(part) or []
        if not isinstance(given, list) or len(given) != len(wanted):
            return None
        if not all(_is_of(one, sent) for one, sent in zip(wanted, given, strict=True)):
            return None
    return callback_name(body["output"]) if _is_wired(body) else None


def _is_wired(body: Mapping[str, Any]) -> bool:
    """Tell whether what is to be filled, and by what, is said as a page says it."""
    several = body["output"].startswith("..")
    names = body["output"].removeprefix("..").removesuffix("..").split("...")
    outputs, changed = body.get("outputs"), body.get("changedPropIds", [])
    listed = outputs if several else [outputs]
    return (
        isinstance(listed, list)
        and all(isinstance(one, dict) for one in listed)
        and [f"{one.get('id')}.{one.get('property')}" for one in listed] == names
        and isinstance(changed, list)
        and all(isinstance(one, str) for one in changed)
    )


def _is_of(wanted: Mapping[str, Any], sent: Any) -> bool:
    """Tell whether what was sent is said to be of the property that is wanted."""
    names = ("id", "property")
    return isinstance(sent, dict) and all(sent.get(name) == wanted[name] for name in names)


def _wrong_values(app: dash.Dash, project: Project) -> Iterator[Denial]:
    """Refuse values that no page of ours sends; asked last, for the answer tells of the job."""
    body = flask.request.get_json()
    known = app.callback_map[body["output"]]
    for part, wanted in (("inputs", known["inputs"]), ("state", known["state"])):
        wrong = misfit(wanted, body.get(part) or [], project.job)
        if wrong is not None:
            yield Denial(400, "malformed callback", f"The page sent what cannot be: {wrong}",
                         "Reload the page.")  # fmt: skip


def _foreign_origin(in_use: bool) -> Iterator[Denial]:
    """Refuse a write that another site's page makes a browser send."""
    request = flask.request
    denial = Denial(403, "foreign origin", "This did not come from a page of this address.",
                    "Open the page at this address and try again.")  # fmt: skip
    origin = request.headers.get("Origin")
    if origin is not None:
        if origin.casefold() != _own_origin():
            yield denial
        return
    fetched = request.headers.get("Sec-Fetch-Site")
    if fetched is not None and fetched not in ("same-origin", "none"):
        yield denial
    elif fetched is None and in_use and COOKIE in request.cookies and not _bearer():
        # A browser always says where a write comes from; a cookie without it is not to be trusted.
        yield denial


def _own_origin() -> str:
    return flask.request.host_url.rstrip("/").casefold()


def _not_from_here(users_only: bool) -> Iterator[Denial]:
    """Without users only this machine is let in, also against names that lead back to it."""
    host = urlsplit(f"//{flask.request.host}").hostname or ""
    if users_only:
        yield Denial(403, "no users yet", "This project has no users, so nobody is let in.",
                     "On the machine that serves it, run: viaduct user add")  # fmt: skip
    elif not is_loopback(host):
        yield Denial(403, "foreign host name",
                     "Without users this project answers on this machine alone.",
                     "Open it at http://127.0.0.1, or add users: viaduct user add")  # fmt: skip


def _who(membership: Membership) -> tuple[User | None, Token | None]:
    """Return who is asking: by the token of a program, or by the session of a browser."""
    bearer = _bearer()
    if bearer:
        found = membership.of_token(bearer) if flask.request.path.startswith("/api/") else None
        return found or (None, None)
    key = flask.request.cookies.get(COOKIE)
    return (membership.of_session(key) if key else None), None


def _bearer() -> str:
    kind, _, text = flask.request.headers.get("Authorization", "").partition(" ")
    return text.strip() if kind.casefold() == "bearer" else ""


def _without_the_right(user: User, token: Token | None, callback: str | None) -> Iterator[Denial]:
    needed: list[Needed | None] = [ROUTES.get(route_name())]
    if flask.request.routing_exception is not None:
        needed = ["read"]
    if callback is not None:
        needed.append(CALLBACKS.get(callback))
    for right in needed:
        if right is None:
            yield Denial(403, "in no table of rights", "This address is open to nobody.",
                         "Ask whoever looks after this program.")  # fmt: skip
        elif right != "anybody" and not user.may(right):
            yield Denial(403, f"{user.role} may not {right}", f"As {user.role} you may not do "
                         "this.", "Ask whoever looks after the users.")  # fmt: skip
        elif token is not None and right not in token.scopes:
            yield Denial(403, f"token without {right}", f"This token may not {right}.",
                         "Make one with this scope.")  # fmt: skip


def _asked() -> str:
    """Return what was asked for, in the words of the tables: what a stranger types is not kept."""
    if flask.request.path == CALLBACK_PATH:
        try:
            body = flask.request.get_json(silent=True)
        except (RecursionError, RequestEntityTooLarge):
            body = None
        output = body.get("output") if isinstance(body, dict) else None
        name = callback_name(output) if isinstance(output, str) else ""
        return f"callback {name if name in CALLBACKS else '?'}"
    return route_name()


def _too_large() -> Denial:
    limit = BODIES.get(route_name(), USUAL_BODY)
    return Denial(413, "too large", f"More than {limit // KIB} KiB were sent.",
                  "Send it in smaller parts.")  # fmt: skip


def _answer(denial: Denial) -> werkzeug.Response:
    """Answer a program with JSON, and a person with a page."""
    request = flask.request
    for_program = request.path.startswith(("/api/", "/_", "/geometry/", "/context/"))
    answer: werkzeug.Response
    if for_program:
        answer = problem_answer(denial.status, denial.message, denial.fix)
    elif denial.status == 401 and request.method in READING:
        wanted = request.full_path.rstrip("?")
        answer = flask.redirect(f"{SIGN_IN_PATH}?next={quote(wanted)}", code=303)
    else:
        answer = plain_page(denial.message, denial.fix, status=denial.status)
    if denial.status == 401 and for_program:
        answer.headers["WWW-Authenticate"] = "Bearer"
    return answer
